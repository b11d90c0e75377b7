"""The bench, one screen driven by scans; boxes: their table, one box, its label, voiding."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from kitting.domain import commands
from kitting.domain.errors import Conflict, LotwardError, Refused
from kitting.domain.stages import BoxStage
from kitting.labels.kinds import BOX
from kitting.ledger import clock
from kitting.ledger.coded import mark_of
from kitting.ledger.needs import wrong_box
from kitting.ledger.operations import Sign
from kitting.ledger.reach import holds_on_boxes, standing_reach
from kitting.models import Bench, Box, Print
from kitting.packing.forms import (
    BenchChangeForm,
    BenchForm,
    BoxFilterForm,
    ScanForm,
    VoidForm,
)
from kitting.packing.labels import box_subject
from kitting.packing.queries import bench as queries
from kitting.packing.queries.bench_label import label_screen
from kitting.packing.queries.bench_next import following
from kitting.packing.queries.benches import benches as all_benches
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
from kitting.packing.queries.commands import command_list, size_commands
from kitting.packing.services import benches as set_up
from kitting.packing.services import voiding
from kitting.packing.services.bench import Answer, take_scan
from kitting.packing.services.labels import label_pdf, print_box_label
from kitting.printing.forms.prints import PrintForm
from kitting.printing.queries.labels import label_words
from kitting.printing.services import prints
from kitting.printing.views.prints import after_print, context_of, one_sheaf, refused
from kitting.web.acting import act_page, attempt, form_page, say_and_go
from kitting.web.http import (
    LotwardRequest,
    add_refusal,
    allowed,
    get_or_404,
    new_op_key,
    pdf_response,
    render_part,
    wants_fragment,
)
from kitting.web.messages import sentence
from kitting.web.tables import Column, file_response

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise

LAST_ACTS: dict[str, _StrPromise] = {
    "bring_bag": gettext_lazy("%(part)s bag %(bag)s: %(taken)s taken"),
    "bring_bag, emptied": gettext_lazy(
        "%(part)s bag %(bag)s is empty: %(taken)s taken"
    ),
    "cancel_box": gettext_lazy("Box %(box)s cancelled"),
    "cancel_box, scrapped": gettext_lazy(
        "Box %(box)s cancelled. Of two lots, so into the waste: %(scrapped)s"
    ),
    "close_box": gettext_lazy("Box closed; its serial is %(serial)s"),
    "take_off_bench": gettext_lazy("%(part)s bag %(bag)s taken off the bench"),
    "print_box_label": gettext_lazy("Label of box %(box)s printed"),
    "print_box_label, sent": gettext_lazy(
        "Label of box %(box)s is on its way to the printer"
    ),
    "see_label": gettext_lazy("Box %(box)s labelled"),
    "start_box": gettext_lazy("Box %(box)s started"),
    "start_box, emptied": gettext_lazy("Box started; empty now: %(emptied)s"),
}
"""How the strip says the newest act, with values of its outcome."""


@allowed("kitting.pack")
def benches(request: LotwardRequest) -> HttpResponse:
    rows = all_benches()
    context = {
        "rows": rows,
        "at_work": sum(row.box is not None for row in rows),
        "commands": [*size_commands(), *command_list()],
    }
    return render(request, "kitting/packing/benches.html", context)


@allowed("kitting.pack")
def bench(request: LotwardRequest, code: str) -> HttpResponse:
    at = _bench(code)
    if not at.active:
        closed = sentence(Refused("bench_closed", bench=at.name))
        to = reverse("kitting:benches")
        return say_and_go(request, closed, to, level=messages.WARNING)
    return _show(request, at, Answer(), ScanForm())


@allowed("kitting.pack")
def bench_label(request: LotwardRequest, code: str) -> HttpResponse:
    """How far the label is that the bench waits for; 204 where nothing has changed."""
    at = _bench(code)
    screen = label_screen(at)
    if screen is None or request.GET.get("seen") == screen.print_seen:
        return HttpResponse(status=204)
    context = {"bench": at, "screen": screen, "op_key": new_op_key()}
    return render(request, "kitting/packing/_bench_print.html", context)


@allowed("kitting.pack", "POST")
def bench_scan(request: LotwardRequest, code: str) -> HttpResponse:
    """Take one scan; a refusal comes back on the same screen, in its zone."""
    at = _bench(code)
    form = ScanForm(request.POST)
    if not form.is_valid():
        return _show(request, at, Answer(), form, status=422)
    sign = Sign(by=request.user, key=form.key, bench_id=at.pk)
    shown = form.cleaned_data["box"]
    try:
        answer = take_scan(
            bench_id=at.pk,
            text=form.cleaned_data["scan"] or "",
            box=shown,
            purpose=form.cleaned_data["purpose"],
            sign=sign,
        )
    except LotwardError as error:
        status = add_refusal(form, error)
        return _show(request, at, Answer(), form, status=status, leads_to=shown)
    if answer.menu or wants_fragment(request):
        started = answer.did == "start_box"
        leads_to = answer.outcome["box"] if started else shown
        return _show(request, at, answer, ScanForm(), leads_to=leads_to)
    return redirect("kitting:bench", code=at.code)


@allowed("kitting.set_up", "GET", "POST")
def bench_new(request: LotwardRequest) -> HttpResponse:
    """Add a bench."""
    return act_page(
        request,
        "kitting/packing/bench_set",
        BenchForm(request.POST or None),
        set_up.add_bench,
        said=_("%(name)s is added. It works at %(place)s."),
        to=reverse("kitting:benches"),
        act=_("Add the bench"),
    )


@allowed("kitting.set_up", "GET", "POST")
def bench_change(request: LotwardRequest, code: str) -> HttpResponse:
    """Call a bench something else, close it or open it again."""
    at = _bench(code)
    on_record = {"seen": mark_of(at), "name": at.name, "active": at.active}
    return act_page(
        request,
        "kitting/packing/bench_set",
        BenchChangeForm(request.POST or None, initial=on_record),
        partial(set_up.change_bench, code=code),
        said=_("%(name)s is changed."),
        to=reverse("kitting:benches"),
        act=_("Change the bench"),
        bench=at,
    )


def _bench(code: str) -> Bench:
    return get_or_404(Bench.objects.select_related("place"), code=code)


def _show(
    request: LotwardRequest,
    at: Bench,
    answer: Answer,
    form: ScanForm,
    *,
    status: int = 200,
    leads_to: str = "",
) -> HttpResponse:
    """Show the screen; ``leads_to`` is the box that a scan made meanwhile means."""
    now = clock.now()
    today = timezone.localdate(now)  # the zone in force is the workshop's
    screen = queries.screen(at, today=today, now=now)
    did, outcome = answer.did, answer.outcome
    if not did:
        did, outcome = queries.last_act(at)
    if outcome.get("emptied"):
        did += ", emptied"
    if outcome.get("scrapped"):
        did += ", scrapped"
    if outcome.get("job"):
        did += ", sent"
    stuck_start = answer.did == "start_box" and screen.stuck
    context: dict[str, Any] = {
        "form": form,
        "bench": at,
        "screen": screen,
        "menu": answer.menu,
        "next": following(screen, answer.menu, refused=bool(form.errors)),
        "leads_to": leads_to,
        "state": "right" if answer.did and not stuck_start else "ask",
        "labelled": outcome.get("box", "") if did == "see_label" else "",
        "last": str(LAST_ACTS[did]) % outcome if did in LAST_ACTS else "",
        "op_key": new_op_key(),
        "cancel_reasons": commands.CANCEL_REASONS,
        "print_reasons": commands.PRINT_REASONS,
    }
    if form.errors:
        wrong, _point, to_do = _first_error(form).partition(". ")
        context |= {"state": "wrong", "wrong": wrong.rstrip("."), "to_do": to_do}
    return render_part(
        request, "kitting/packing/bench", "_bench", context, status=status
    )


def _first_error(form: ScanForm) -> str:
    return next(str(error) for errors in form.errors.values() for error in errors)


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
            "voidable": box.stage in VOIDABLE,
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


@allowed("kitting.void_boxes", "GET", "POST")
def box_void(request: LotwardRequest, number: str) -> HttpResponse:
    """Void a box: its pieces are scrapped."""
    box = _box(number)
    return act_page(
        request,
        "kitting/packing/box_void",
        VoidForm(request.POST or None, by=str(request.user)),
        partial(voiding.void_box, box_id=box.pk),
        said=_("Box %(box)s is voided."),
        to=box_address(box),
        around=lambda: {"shown": box_page(box, standing_reach())},
        box=box,
        act=_("Void the box"),
        stop=True,
    )


@allowed("kitting.print_labels")
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
