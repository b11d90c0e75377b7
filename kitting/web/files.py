"""Files of rows that are taken in: a template, what one would bring, the taking in.

A page of such a file takes three requests: one gives an empty template, one looks at a
file and writes nothing, and one takes in the file that was looked at.
"""

from __future__ import annotations

import base64
import binascii
import zlib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final, Protocol

from django import forms
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.http.response import HttpResponseBase
from django.utils.translation import gettext as now_in_words
from django.utils.translation import gettext_lazy as _

from kitting.domain.cells import DateOrder
from kitting.domain.delimited import Problem
from kitting.domain.errors import Refused
from kitting.domain.sheets import Headings
from kitting.models import Operation
from kitting.web.acting import OK, UNFIT, attempt, say_and_go
from kitting.web.forms import SpokenForm, SureForm, sure_field
from kitting.web.http import LotwardRequest, add_refusal, render_part
from kitting.web.messages import sentence
from kitting.web.tables import Column, file_response

LANGUAGES: Final = {"en": "English", "de": "Deutsch", "fr": "Français"}
"""Languages in which a file may have its headings, by their own names."""
LARGEST_FILE = 4 * 1024 * 1024
"""Bytes of a file; ten thousand rows of lots take one."""
LONGEST_PACKED = (LARGEST_FILE + 4 * 1024) * 4 // 3
"""Characters of a packed file that cannot be made smaller, such as a workbook."""
MOST_SHOWN = 200
"""Rows or faults of a file that a page lists."""


class FileForm(SpokenForm):
    """A file to look at; nothing is written."""

    things = {
        "date_order": _("the order of day and month"),
    }

    file = forms.FileField(
        label=_("File"),
        help_text=_(
            "A table as XLSX or CSV, at most 4 MB, with the headings below. Of a workbook"
            " the first sheet is read, and values only."
        ),
        widget=forms.ClearableFileInput(
            attrs={"accept": ".xlsx,.csv,.txt,.tsv,text/csv,text/plain"}
        ),
        max_length=255,
    )
    date_order = forms.ChoiceField(
        label=_("Dates such as 01/03/2026"),
        required=False,
        choices=[
            ("", _("refuse dates in which day and month could be swapped")),
            ("dmy", _("day first: 1 March")),
            ("mdy", _("month first: 3 January")),
        ],
        widget=forms.RadioSelect,
    )

    def __init__(self, *args: Any, dated: bool = True, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not dated:
            del self.fields["date_order"]

    def clean_file(self) -> bytes:
        """Read the file, if it is not too large and no workbook of another kind."""
        file = self.cleaned_data["file"]
        if file.size > LARGEST_FILE:
            raise ValidationError(
                _("The file is larger than 4 MB. Split it into several."),
                code="file_too_large",
            )
        data: bytes = file.read()
        if str(file.name).lower().endswith((".xls", ".ods")):
            raise ValidationError(
                _(
                    "“%(name)s” is a workbook of another kind. Save it as XLSX or CSV in"
                    " the spreadsheet program, and choose that file."
                ),
                code="file_not_text",
                params={"name": str(file.name)[:60]},
            )
        return data


class TakeInFileForm(SureForm):
    """A file that was looked at, sent back whole to be taken in."""

    things = {
        "table": _("the file"),
        "sure": _("why this is right"),
        "date_order": _("the order of day and month"),
    }

    table = forms.CharField(widget=forms.HiddenInput, max_length=LONGEST_PACKED)
    date_order = forms.ChoiceField(
        choices=FileForm.base_fields["date_order"].choices,  # type: ignore[attr-defined]
        required=False,
        widget=forms.HiddenInput,
    )
    sure = sure_field()
    seen = forms.CharField(required=False, widget=forms.HiddenInput, max_length=64)

    def __init__(self, *args: Any, seen: str | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial["seen"] = seen
        if seen is None:
            del self.fields["seen"]

    def show(self, seen: str) -> None:
        """Send back, from now on, the mark of the plan that the page shows."""
        self.data = {**self.data.dict(), "seen": seen}  # type: ignore[attr-defined]

    def clean_table(self) -> bytes:
        """Unpack the file; a packed one that would be too large is refused."""
        try:
            packed = base64.b64decode(self.cleaned_data["table"], validate=True)
            unpacking = zlib.decompressobj()
            data = unpacking.decompress(packed, LARGEST_FILE + 1)
        except (binascii.Error, ValueError, zlib.error):
            data, whole = b"", False
        else:
            whole = unpacking.eof and len(data) <= LARGEST_FILE
        if not whole:
            raise ValidationError(
                _("The file was not sent complete. Choose it again."),
                code="file_broken",
            )
        return data

    @property
    def entries(self) -> dict[str, Any]:
        """The file, the order of its dates where one was said, and why it is right.

        With the mark of what was looked at, where the plan has one.
        """
        data = self.cleaned_data
        order = data["date_order"] or None
        seen = {"seen": data["seen"]} if "seen" in data else {}
        return {"data": data["table"], "date_order": order, "sure": data["sure"]} | seen


def packed(data: bytes) -> str:
    """Pack a file for ``TakeInFileForm.table``."""
    return base64.b64encode(zlib.compress(data)).decode()


class Plan(Protocol):
    """What a file would bring, or what is wrong with it."""

    @property
    def problems(self) -> Sequence[Problem]:
        """Every fault in the order of lines; with any, nothing is taken in."""

    @property
    def questions(self) -> Sequence[Problem]:
        """What can hardly be right: somebody has to say why it is."""

    @property
    def before(self) -> Operation | None:
        """The act that took this very file in before."""


@dataclass(frozen=True)
class ShownRow:
    """One row of a file, in words."""

    line: int
    name: str
    what: str
    """What happens with it."""


@dataclass(frozen=True)
class ShownPlan:
    """A plan with its rows in words, as ``_filed.html`` shows it."""

    problems: Sequence[Problem]
    questions: Sequence[Problem]
    before: Operation | None
    entries: Sequence[ShownRow]
    mark: str = ""
    """What a form remembers of what the file changes, so that a change is noticed."""


@dataclass(frozen=True)
class Filed:
    """A kind of file, and its page."""

    page: str
    """The page's template without its ending; its part has a leading underscore."""
    name: str
    """Of the templates that it gives."""
    headings: Headings
    plan: Callable[[bytes, DateOrder | None], Plan]
    act: Callable[..., Any]
    """Takes in a file, given its sign, data, date_order and sure."""
    said: Callable[[Any], str]
    """What is said of the outcome of the act."""
    to: str
    """The address where the act leads."""
    dated: bool = True
    """Whether it has days, whose order may be unclear."""
    mark: Callable[[Any], str] | None = None
    """Gives the mark of a plan that changes what is on record; the act takes it."""


def file_page(request: LotwardRequest, of: Filed) -> HttpResponseBase:
    """Give a template, look at a file, or take in one that was looked at."""
    if request.method != "POST":
        translated = of.headings.translated
        words = translated.get(request.GET.get("in", ""), of.headings.names)
        columns = [Column(word, str) for word in words]
        template = file_response(request, of.name, columns, ())
        return template or _answer(request, of, form=FileForm(dated=of.dated))
    if "table" in request.POST:
        return _bring_in(request, of)
    form = FileForm(request.POST, request.FILES, dated=of.dated)
    if not form.is_valid():
        return _answer(request, of, form=form, status=UNFIT)
    return _look(request, of, form)


def _look(request: LotwardRequest, of: Filed, form: FileForm) -> HttpResponse:
    data, order = form.cleaned_data["file"], form.cleaned_data.get("date_order", "")
    plan = of.plan(data, order or None)
    if plan.problems:
        add_refusal(form, Refused("file_has_problems", count=len(plan.problems)))
        return _answer(request, of, form=form, plan=plan, status=UNFIT)
    shown = {"table": packed(data), "date_order": order}
    send = TakeInFileForm(initial=shown, seen=of.mark(plan) if of.mark else None)
    if plan.questions:
        send.ask_why()
    return _answer(request, of, form=FileForm(dated=of.dated), plan=plan, send=send)


def _bring_in(request: LotwardRequest, of: Filed) -> HttpResponse:
    send = TakeInFileForm(request.POST, seen="" if of.mark else None)
    done, status = attempt(request, send, of.act)
    if done is not None:
        return say_and_go(request, of.said(done), of.to)
    plan = None
    if data := send.cleaned_data.get("table"):
        plan = of.plan(data, send.cleaned_data.get("date_order") or None)
        if of.mark:
            send.show(of.mark(plan))
    form = FileForm(dated=of.dated)
    return _answer(request, of, form=form, plan=plan, send=send, status=status)


def _answer(
    request: LotwardRequest,
    of: Filed,
    *,
    form: FileForm,
    plan: Plan | None = None,
    send: TakeInFileForm | None = None,
    status: int = OK,
) -> HttpResponse:
    context: dict[str, Any] = {
        "form": form,
        "send": send,
        "plan": plan,
        "faults": told(plan.problems)[:MOST_SHOWN] if plan else [],
        "questions": told(plan.questions)[:MOST_SHOWN] if plan else [],
        "most": MOST_SHOWN,
        "headings": of.headings.names,
        "templates": LANGUAGES,
        "act": now_in_words("Look at the file"),
        "here": request.path,
        "back": of.to,
    }
    name = of.page.rpartition("/")[2]
    context["part"] = name.replace("_", "-")
    return render_part(request, of.page, f"_{name}", context, status=status)


def told(problems: Iterable[Problem]) -> list[dict[str, object]]:
    """Faults of a file, or questions about it, with their sentences."""
    return [
        {
            "line": problem.line,
            "column": problem.column,
            "value": problem.value,
            "reason": sentence(problem.as_error()),
        }
        for problem in problems
    ]
