"""What tests say about an answer, in one line each."""

from __future__ import annotations

import re

from django.http import HttpResponse

from kitting.domain.errors import LotwardError

BLOCKS = "article|br|dd|div|dl|dt|h[1-4]|legend|li|ol|option|p|section|t[dhr]|ul"

NUMBER = re.compile(r'<span class="number">(?:<span class="four">[^<]*</span>)+</span>')
"""A number in its groups, which read and copy as one."""


def _text(response: HttpResponse) -> str:
    return response.content.decode()


def laid_out(html: str) -> str:
    """HTML with its white space as a browser takes it: one blank, none at a block."""
    plain = NUMBER.sub(lambda found: re.sub("<[^>]*>", "", found[0]), html)
    single = re.sub(r"[ \t\r\n]+", " ", plain)
    return re.sub(rf" ?(</?(?:{BLOCKS})\b[^>]*>) ?", r"\1", single)


def text_of(response: HttpResponse) -> str:
    """A page with its white space as a browser takes it."""
    return laid_out(_text(response))


def assert_page(response: HttpResponse, *, status: int = 200) -> None:
    """Assert that a whole document came."""
    assert response.status_code == status, _text(response)[:500]
    assert "<html" in _text(response)


def assert_part(response: HttpResponse, name: str, *, status: int = 200) -> None:
    """Assert that one part came, alone: its root element carries the part's name."""
    text = _text(response)
    assert response.status_code == status, text[:500]
    assert "<html" not in text
    assert text.count(f'id="{name}"') == 1, text[:500]
    assert f'id="{name}"' in text.lstrip().split(">", maxsplit=1)[0], text[:500]
    assert "HX-Request" in response["Vary"]


def assert_problem(response: HttpResponse, code: str, *, status: int = 422) -> None:
    """Assert that a form came back with a refusal of this code."""
    assert response.status_code == status, _text(response)[:500]
    forms = [form for form in _forms(response) if form.is_bound]
    codes = {
        error.code
        for form in forms
        for errors in form.errors.as_data().values()
        for error in errors
    }
    assert code in codes, f"{code} is not among {sorted(map(str, codes))}."


def assert_refused(error: LotwardError, code: str, **params: object) -> None:
    """Assert that an error has this code and carries at least these values."""
    assert error.code == code, str(error)
    assert {name: error.params.get(name) for name in params} == params


def assert_sent_to_sign_in(response: HttpResponse) -> None:
    """Assert that somebody unknown was asked to sign in, with or without htmx."""
    to = response.headers.get("HX-Redirect") or response.headers.get("Location", "")
    assert to.startswith("/sign-in/?next="), f"{response.status_code} {to!r}"


def _forms(response: HttpResponse) -> list:  # type: ignore[type-arg]
    from django.forms import BaseForm

    contexts = response.context or []  # type: ignore[attr-defined]
    return [
        value
        for layer in contexts
        for values in layer.dicts
        for value in values.values()
        if isinstance(value, BaseForm)
    ]
