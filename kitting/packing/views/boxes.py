"""Boxes: their table, one box, its label, voiding."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

from django.core.paginator import Paginator
from django.http import Http404, HttpResponse
from django.http.response import HttpResponseBase
from django.urls import reverse
from django.utils.translation import gettext as _

from kitting.domain.errors import Conflict, LotwardError
from kitting.domain.stages import GONE, BoxStage
from kitting.labels.kinds import BOX
from kitting.ledger import clock
from kitting.ledger.needs import wrong_box
from kitting.ledger.reach import holds_on_boxes, standing_reach
from kitting.models import Box, Print
from kitting.packing.forms import BoxFilterForm, CancelForm, MassForm, VoidForm
from kitting.packing.labels import box_subject
from kitting.packing.queries.boxes import (
    box_of_number,
    box_page,
    filtered_boxes,
    logged_print,
    newest_print,
    ready_boxes,
    totals_of,
    was_first_print,
)
from kitting.packing.queries.weighing import moves_of, whole_box
from kitting.packing.services import voiding, weighing
from kitting.packing.services.labels import label_pdf, print_box_label
from kitting.printing.forms.prints import PrintForm
from kitting.printing.queries.labels import label_words
from kitting.printing.services import prints
from kitting.printing.views.prints import after_print, context_of, one_sheaf, refused
from kitting.web.acting import act_page, attempt, done_before, form_page
from kitting.web.forms import NamedForm
from kitting.web.http import (
    LotwardRequest,
    allowed,
    go,
    pdf_response,
    render_part,
)
from kitting.web.tables import Column, file_response

ROWS_A_PAGE = 50
MOVABLE = (BoxStage.LABELLED, BoxStage.LOADED, BoxStage.RETURNED)
VOIDABLE = (BoxStage.CLOSED, BoxStage.LABELLED, BoxStage.RETURNED)

COLUMNS: list[Column[Box]] = [
    Column("box", str),
    Column("sscc", "sscc"),
    Column("product", "size.product.code"),
    Column("sets", "size.sets"),
    Column("stage", "stage"),
    Column("packed on", "packed_on"),
    Column("use by", "use_by"),
    Column("kit batch", "batch"),
    Column("bench", lambda box: box.bench.code if box.bench else ""),
    Column("shipment", "shipment"),
]


def box_address(box: Box) -> str:
    """The address of a box's page."""
    return reverse("kitting:box-detail", args=[str(box)])


@allowed("kitting.see_work")
def box_list(request: LotwardRequest) -> HttpResponseBase:
    """The table of boxes, with its filters in the address."""
    form = BoxFilterForm(request.GET)
    filters = form.chosen()
    reach = standing_reach()
    ready = ready_boxes(reach, clock.today())
    found = filtered_boxes(filters, ready)
    if file := file_response(request, "boxes", COLUMNS, found):
        return file
    totals = totals_of(found, ready, reach)
    pages = Paginator(found, ROWS_A_PAGE)
    pages.count = totals.boxes  # It would count them again.
    page = pages.get_page(request.GET.get("page"))
    context = {
        "form": form,
        "filtered": bool(filters),
        "totals": totals,
        "page": page,
        "held": holds_on_boxes([box.pk for box in page], reach),
    }
    return render_part(request, "kitting/packing/boxes", "_box_list", context)


@allowed("kitting.see_work")
def box_detail(request: LotwardRequest, number: str) -> HttpResponse:
    """Everything about one box."""
    box = _box(number)
    shown = box_page(box, standing_reach())
    printable = box.stage in prints.PRINTABLE
    return render_part(
        request,
        "kitting/packing/box_detail",
        "_box",
        {
            "box": box,
            "shown": shown,
            "printable": printable,
            "first": printable and not shown.prints,
            "again": printable and shown.prints,
            "movable": box.stage in MOVABLE,
            "away": box.stage in GONE and bool(shown.shipment),
            "weighable": box.stage == BoxStage.OPEN and box.size.weigh,
            "voidable": box.stage in VOIDABLE or _put_away_open(box),
        },
    )


@allowed("kitting.print_labels", "GET", "POST")
def box_print(request: LotwardRequest, number: str) -> HttpResponse:
    """Print the label of a box; again only with a reason."""
    box = _box(number)
    form = _print_form(request, box)
    done, status = attempt(request, form, partial(print_box_label, box_id=box.pk))
    if done is not None:
        return after_print(request, done, 1)
    try:
        context = context_of(one_sheaf("box", box_subject(box.pk)))
    except LotwardError:  # The act itself refuses it, and says so.
        context = {"words": label_words("box")}
    return form_page(
        request,
        "kitting/printing/label_print",
        form,
        status,
        fragment="_label_print_form",
        part="box-print",
        back=box_address(box),
        **context,
    )


def _print_form(request: LotwardRequest, box: Box) -> PrintForm:
    """The form of a reprint, unless no print is logged but the one sent again here."""
    first = PrintForm(request.POST or None, kind=BOX, again=False)
    if newest_print(box.pk) is None:
        return first
    if first.is_valid() and was_first_print(box.pk, first.key):
        return first
    return PrintForm(request.POST or None, kind=BOX, again=True)


def _put_away_open(box: Box) -> bool:
    """Whether it was put away before it was full; at its bench it is cancelled there."""
    return box.stage == BoxStage.OPEN and not box.in_work


@allowed("kitting.void_boxes", "GET", "POST")
def box_void(request: LotwardRequest, number: str) -> HttpResponse:
    """Void a box: its pieces are scrapped; an open one put away is cancelled."""
    box = _box(number)
    named = {"by": str(request.user)}
    if box.stage == BoxStage.VOIDED:  # cancelled maybe, by this form sent again
        again = NamedForm(request.POST or None, **named)
        if done_before(request, again, "cancel_box"):
            return go(request, box_address(box))
    reach = standing_reach()
    shown = box_page(box, reach)
    if _put_away_open(box):
        form: NamedForm = CancelForm(request.POST or None, lines=shown.lines, **named)
        act: Callable[..., Any] = voiding.cancel_box
        words, said = _("Cancel"), _("Box %(box)s is cancelled.")
    else:
        printed = newest_print(box.pk) is not None
        form = VoidForm(request.POST or None, printed=printed, **named)
        act = voiding.void_box
        words, said = _("Void the box"), _("Box %(box)s is voided.")
    return act_page(
        request,
        "kitting/packing/box_void",
        form,
        partial(act, box_id=box.pk),
        said=lambda done: " ".join((said % vars(done), *_pieces_of(done))),
        to=box_address(box),
        shown=shown,
        held=reach.on(box),
        box=box,
        act=words,
        stop=True,
        plain=True,
    )


@allowed("kitting.allow_masses", "GET", "POST")
def box_mass(request: LotwardRequest, number: str) -> HttpResponse:
    """Let an open box close at a mass outside of its window."""
    box = _box(number)
    seen = moves_of(box)
    return act_page(
        request,
        "kitting/packing/box_mass",
        MassForm(request.POST or None, by=str(request.user), initial={"seen": seen}),
        partial(weighing.allow_mass, box_id=box.pk),
        said=_("Box %(box)s may close at that mass. Its packer weighs it once more."),
        to=box_address(box),
        around=lambda: {
            "whole": whole_box(box),
            "shown": box_page(box, standing_reach()),
        },
        box=box,
        act=_("Let it close"),
    )


def _pieces_of(done: Any) -> list[str]:
    """Say where the pieces of a box that was cancelled are now."""
    said = []
    if back := getattr(done, "back", ""):
        said.append(_("Back into the bag: %(out)s.") % {"out": back})
    if scrapped := getattr(done, "scrapped", ""):
        said.append(_("Into the waste: %(out)s.") % {"out": scrapped})
    return said


@allowed("kitting.print_labels", by_badge=True)
def box_label(request: LotwardRequest, number: str) -> HttpResponse:
    """The PDF of a print that stands in the log; the newest, or ``?copy=`` of it."""
    box = _box(number)
    logged = _print_asked(request, box)
    if logged is None:
        raise Http404("This label was never printed.")
    if box.stage == BoxStage.VOIDED:
        gone = wrong_box(box, "labelled")
        return refused(request, gone, back=box_address(box))
    pdf = label_pdf(box_id=box.pk, copy=logged.copy)
    if not prints.same_as_printed(pdf, bytes(logged.pdf_sha)):
        changed = Conflict("record_has_changed", label=str(box))
        return refused(request, changed, back=box_address(box))
    return pdf_response(pdf, f"label-{box.serial}-{logged.copy}")


def _print_asked(request: LotwardRequest, box: Box) -> Print | None:
    asked = request.GET.get("copy")
    if asked is None:
        return newest_print(box.pk)
    digits = asked.isascii() and asked.isdecimal() and len(asked) < 6
    return logged_print(box.pk, int(asked)) if digits else None


def _box(number: str) -> Box:
    box = box_of_number(number.upper())
    if box is None:
        raise Http404("There is no such box.")
    return box
