"""Printing labels: one page for every kind, with what the first label looks like."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any, Final

from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import NoReverseMatch, reverse
from django.utils.translation import ngettext

from kitting.domain.errors import LotwardError, Missing, Refused
from kitting.labels.copies import as_copy
from kitting.labels.picture import png
from kitting.labels.press import draw
from kitting.ledger.operations import outcome_of
from kitting.models import User
from kitting.printing.forms.prints import PrintForm
from kitting.printing.queries.labels import (
    Labelled,
    Subject,
    label_words,
    labelled_as,
    numbers_asked,
    page_of,
)
from kitting.printing.queries.prints import copies_made
from kitting.printing.queries.stocks import of_kind
from kitting.printing.services.prints import (
    MOST_LABELS,
    Printed,
    PrintedLabels,
    print_labels,
)
from kitting.web.acting import OK, attempt, form_page, say_and_go, sign_of
from kitting.web.http import LotwardRequest, allowed, go, open_to, status_for
from kitting.web.messages import sentence

ROOM: Final = "kitting:labels"
CSS_PER_MM: Final = 96 / 25.4
"""Pixels of CSS to the mm: an inch has 96 (CSS Values and Units 3, §6.2)."""


@dataclass(frozen=True)
class Sheaf:
    """Labels that one page prints, and what is to be known of them beforehand."""

    labelled: Labelled
    subjects: Sequence[Subject]
    parts: int
    """In how many parts all that was asked for is printed."""

    part: int
    """Which of them this is, from 1."""

    before: dict[str, int]
    """How often each was printed before; nothing for those that never were."""

    @property
    def labels(self) -> int:
        """How many labels come out."""
        return sum(len(subject.labels) for subject in self.subjects)

    @property
    def numbers(self) -> list[str]:
        """What they name, in order."""
        return [subject.number for subject in self.subjects]

    @property
    def last(self) -> str:
        """The last of them."""
        return self.numbers[-1]

    @property
    def words(self) -> str:
        """What they are, in words."""
        return label_words(self.labelled.name, len(self.subjects))

    @property
    def pixels(self) -> tuple[int, int]:
        """Width and height of a label on the screen, true to scale."""
        kind = self.labelled.kind
        return round(kind.width_mm * CSS_PER_MM), round(kind.height_mm * CSS_PER_MM)


@allowed("kitting.print_labels", "GET", "POST")
def label_print(request: LotwardRequest, name: str) -> HttpResponse:
    """Print labels of one kind, named in the address by ``n`` or all of some whole."""
    _refuse_nulls(word for _, words in request.GET.lists() for word in words)
    named = request.GET.getlist("n")
    if name == "box" and len(named) == 1:
        return _to_box(named[0])
    labelled = _labelled(name)
    numbers = numbers_asked(name, request.GET.dict(), named)
    if "new" in request.GET:
        before = copies_made(name, numbers)
        numbers = [number for number in numbers if number not in before]
    if not numbers and request.method == "GET" and request.GET:
        # All bags of a lot are used up by now, or every place has its label.
        return refused(request, Refused("nothing_to_print"), back=reverse(ROOM))
    return print_page(
        request, labelled, numbers, back=_back(request.user, name, numbers)
    )


def _refuse_nulls(words: Iterable[str]) -> None:
    """Nothing that a label names has a null character: PostgreSQL takes none."""
    if any("\0" in word for word in words):
        raise Http404("There is no such label.")


def _to_box(number: str) -> HttpResponse:
    """Lead to the page of one box's label."""
    try:
        return redirect("kitting:box-print", number)
    except NoReverseMatch as error:
        raise Http404("There is no such box.") from error


def _labelled(name: str) -> Labelled:
    """Labels of a kind; those of boxes have a page of their own for each box."""
    try:
        labelled = labelled_as(name)
    except Missing as error:
        raise Http404("There are no labels of this kind.") from error
    if name == "box" or labelled.kind.secret:
        raise Http404("Labels of this kind are printed on a page of their own.")
    return labelled


def _back(user: User, name: str, numbers: Sequence[str]) -> str:
    """The page of what is printed; the room of labels to who may not see that page."""
    if len(numbers) == 1:
        return page_of(numbers[0], name) or reverse(ROOM)
    wholes = {"place": "places", "carrier": "carriers", "command": "benches"}
    return open_to(user, f"kitting:{wholes.get(name, 'labels')}") or reverse(ROOM)


def print_page(
    request: LotwardRequest, labelled: Labelled, numbers: Sequence[str], *, back: str
) -> HttpResponse:
    """Show what would be printed and where, and print it.

    Args:
        request: A GET, or the POST of the page's own form.
        labelled: What the labels are.
        numbers: What they name; a POST says itself what its page showed.
        back: Address of the page that led here.

    Returns:
        The page; after printing the way to the job or the PDF.

    Raises:
        Http404: If nothing is asked for or it is not there.
    """
    if request.method != "POST":
        return _ask(request, labelled, numbers, back)
    numbers = request.POST.getlist("n")
    _refuse_nulls(numbers)
    form = _form(request, labelled, numbers)
    act = partial(print_labels, kind=labelled.name, numbers=numbers)
    done, status = attempt(request, form, act)
    if done is not None:
        return after_print(request, done, done.labels)
    return _ask(request, labelled, numbers, back, form=form, status=status)


def _form(
    request: LotwardRequest, labelled: Labelled, numbers: Sequence[str]
) -> PrintForm:
    """The form, of a reprint where one of the labels was printed before.

    A first print that is sent again is answered by its first outcome, so it is no
    reprint although its labels are in the log by then; nor is a further copy of what
    many may be in use of.
    """
    sent = request.POST or None
    kind = labelled.kind
    repeated = 0 if kind.many else len(copies_made(labelled.name, numbers))
    if sent is not None and repeated:
        first = PrintForm(sent, kind=kind, again=False)
        if first.is_valid() and _was_first(request, first):
            return first
    return PrintForm(sent, kind=kind, again=bool(repeated), many=repeated > 1)


def _was_first(request: LotwardRequest, form: PrintForm) -> bool:
    try:
        earlier = outcome_of(sign_of(request, form))
    except LotwardError:
        return False  # The act itself refuses the key.
    return earlier is not None and earlier.outcome.get("copy") == 1


def _ask(
    request: LotwardRequest,
    labelled: Labelled,
    numbers: Sequence[str],
    back: str,
    *,
    form: PrintForm | None = None,
    status: int = OK,
) -> HttpResponse:
    try:
        sheaf = _sheaf(labelled, numbers, request.GET.get("part", ""))
    except Missing as error:
        raise Http404("There is nothing to print.") from error
    except LotwardError as error:
        if form is None:
            return refused(request, error, back=back)
        sheaf = None
    numbers = sheaf.numbers if sheaf else numbers
    words = {"words": label_words(labelled.name, len(numbers))}
    return form_page(
        request,
        "kitting/printing/label_print",
        form or _form(request, labelled, numbers),
        status,
        fragment="_label_print_form",
        numbers=numbers,
        back=back,
        here=ROOM,
        **(context_of(sheaf) if sheaf else words),
    )


def _sheaf(labelled: Labelled, numbers: Sequence[str], part: str) -> Sheaf:
    if not numbers:
        raise Missing("row_missing", what="label")
    subjects = labelled.compose(numbers)
    parts = _parts(subjects)
    at = int(part) if part in map(str, range(1, len(parts) + 1)) else 1
    chosen = parts[at - 1]
    before = copies_made(labelled.name, [subject.number for subject in chosen])
    return Sheaf(labelled, chosen, len(parts), at, before)


def _parts(subjects: Sequence[Subject]) -> list[list[Subject]]:
    """Cut what is asked for into parts that are printed at once."""
    parts: list[list[Subject]] = [[]]
    labels = 0
    for subject in subjects:
        labels += len(subject.labels)
        if parts[-1] and labels > MOST_LABELS:
            parts.append([])
            labels = len(subject.labels)
        parts[-1].append(subject)
    return parts


def context_of(sheaf: Sheaf) -> dict[str, Any]:
    """What the page of a print shows beside its form.

    Args:
        sheaf: What would be printed.

    Returns:
        Figures, words, and why the first label cannot be drawn, where it cannot.
    """
    kind = sheaf.labelled.kind
    return {
        "sheaf": sheaf,
        "words": sheaf.words,
        "first": sheaf.subjects[0].number,
        "repeated": len(sheaf.before),
        "size": (f"{float(kind.width_mm):g}", f"{float(kind.height_mm):g}"),
        "no_picture": _why_no_picture(sheaf.labelled, sheaf.subjects[0]),
        "parts": range(1, sheaf.parts + 1),
    }


def one_sheaf(name: str, subject: Subject) -> Sheaf:
    """A single label or thing as a sheaf.

    Args:
        name: Name of the labels.
        subject: What is printed.

    Returns:
        The sheaf.
    """
    before = copies_made(name, [subject.number])
    return Sheaf(labelled_as(name), [subject], 1, 1, before)


def _why_no_picture(labelled: Labelled, subject: Subject) -> str:
    try:
        _picture(labelled, subject)
    except LotwardError as error:
        return sentence(error)
    return ""


def _picture(labelled: Labelled, subject: Subject) -> bytes:
    """The first label of a thing as its next copy, in dots of a printer."""
    copy = copies_made(labelled.name, [subject.number]).get(subject.number, 0) + 1
    on = of_kind(labelled.kind).on
    return png(draw(labelled.kind, [as_copy(subject.labels[0], copy)], on), on)


@allowed("kitting.print_labels")
def label_preview(request: LotwardRequest, name: str, number: str) -> HttpResponse:
    """The picture of a label as it would be printed now; never of one with a secret."""
    try:
        labelled = labelled_as(name)
        if labelled.kind.secret:
            raise Http404("This label is not shown.")
        [subject] = labelled.compose([number])
        picture = _picture(labelled, subject)
    except LotwardError as error:
        raise Http404("There is no such label.") from error
    return HttpResponse(picture, content_type="image/png")


def refused(request: LotwardRequest, error: LotwardError, *, back: str) -> HttpResponse:
    """A page that says why there is no label."""
    context = {"sentence": sentence(error), "back": back, "here": ROOM}
    return render(
        request,
        "kitting/printing/label_refused.html",
        context,
        status=status_for(error),
    )


def after_print(
    request: LotwardRequest, done: Printed | PrintedLabels, labels: int
) -> HttpResponse:
    """Say what was printed, and lead to the job or to the PDF."""
    if done.job is not None:
        words = ngettext(
            "%(count)s label is on its way to the printer.",
            "%(count)s labels are on their way to the printer.",
            labels,
        )
        to = reverse("kitting:label-job", args=[done.job])
        return say_and_go(request, words % {"count": labels}, to)
    return go(request, reverse("kitting:label-printed", args=[done.pdf_sha]))
