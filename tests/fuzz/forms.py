"""The forms of a page, as a browser finds them in its HTML."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from html.parser import HTMLParser
from urllib.parse import urljoin

PASSWORD = "a pass phrase"
"""Of everybody whom ``make_user`` makes."""
ENTERS = {
    "checkbox": "on",
    "password": PASSWORD,
    "email": "a@b.example",
}
SENSIBLE_DAY = "2026-01-14"


@dataclass(frozen=True)
class Field:
    """Something that is sent along, and what a person might have entered."""

    name: str
    kind: str
    value: str


@dataclass(frozen=True)
class Form:
    """Where a form is sent, how, and with what."""

    action: str
    method: str
    fields: tuple[Field, ...]

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(each.name for each in self.fields))

    def filled(self) -> list[tuple[str, str]]:
        return [(each.name, each.value) for each in self.fields if each.kind != "file"]

    @property
    def files(self) -> list[str]:
        return [each.name for each in self.fields if each.kind == "file"]


def forms_in(html: str, at: str) -> list[Form]:
    """Read the forms of a page.

    Args:
        html: The page, or a part of one.
        at: Its address.
    """
    reader = _Reader(at)
    reader.feed(html)
    return reader.found


@dataclass
class _Open:
    action: str
    method: str
    fields: list[Field] = field(default_factory=list)


class _Reader(HTMLParser):
    def __init__(self, at: str) -> None:
        super().__init__()
        self.at = at
        self.found: list[Form] = []
        self._open: _Open | None = None
        self._select: Field | None = None
        self._area: Field | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        said = {name: value or "" for name, value in attrs}
        if tag == "form":
            to = said.get("action") or said.get("hx-post") or said.get("hx-get") or ""
            post = "hx-post" in said or said.get("method", "").lower() == "post"
            self._open = _Open(urljoin(self.at, to), "post" if post else "get")
        elif self._open is not None:
            self._take(tag, said)

    def _take(self, tag: str, said: dict[str, str]) -> None:
        name = said.get("name", "")
        if tag == "option" and self._select is not None:
            chosen = said.get("value", "")
            if "selected" in said or not self._select.value:
                self._select = replace(self._select, value=chosen)
        elif not name:
            return
        elif tag == "select":
            self._select = Field(name, "select", "")
        elif tag == "textarea":
            self._area = Field(name, "textarea", "")
        elif tag in ("input", "button"):
            self._input(tag, name, said)

    def _input(self, tag: str, name: str, said: dict[str, str]) -> None:
        assert self._open is not None
        kind = said.get("type", "text" if tag == "input" else "submit")
        value = said.get("value", "")
        known = {each.name for each in self._open.fields}
        if kind in ("radio", "submit") and name in known:
            return  # one of several
        if not value and kind != "hidden":
            value = SENSIBLE_DAY if "data-day" in said else ENTERS.get(kind, "1")
        self._open.fields.append(Field(name, kind, value))

    def handle_data(self, data: str) -> None:
        if self._area is not None:
            self._area = replace(self._area, value=self._area.value + data)

    def handle_endtag(self, tag: str) -> None:
        if self._open is None:
            return
        if tag == "select" and self._select is not None:
            self._open.fields.append(self._select)
            self._select = None
        elif tag == "textarea" and self._area is not None:
            value = self._area.value.strip() or "1"
            self._open.fields.append(replace(self._area, value=value))
            self._area = None
        elif tag == "form":
            made = self._open
            self.found.append(Form(made.action, made.method, tuple(made.fields)))
            self._open = None
