"""The bench, one screen driven by scans; benches set up."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from typing import Any

from django.contrib import messages
from django.contrib.staticfiles import finders
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from kitting.domain import commands
from kitting.domain.commands import Asked
from kitting.domain.errors import LotwardError, Refused
from kitting.ledger import clock
from kitting.ledger.kept import foresee
from kitting.ledger.locking import begins_with
from kitting.ledger.operations import Sign, outcome_of
from kitting.ledger.reach import standing_reach
from kitting.ledger.tied import is_from
from kitting.models import Bag, Bench, Workshop
from kitting.packing.forms import ScanForm
from kitting.packing.queries import bench as queries
from kitting.packing.queries.at_hand import AtHand, parts_in
from kitting.packing.queries.bench_label import label_screen
from kitting.packing.queries.bench_next import Next, following
from kitting.packing.queries.bench_rows import BENCH, NEWEST_OF, bench_and_box
from kitting.packing.queries.bench_seen import mark_now
from kitting.packing.queries.benches import benches as all_benches
from kitting.packing.queries.commands import command_list, desk_commands, size_commands
from kitting.packing.queries.hand_over import Free, offered
from kitting.packing.queries.keep_going import goes_on
from kitting.packing.queries.shift import MENU as SHIFT
from kitting.packing.queries.shift import asked_after, is_due, questions_at
from kitting.packing.queries.undo import HAND_OVER, UNDO
from kitting.packing.services import counting, set_back
from kitting.packing.services.bench import ABOUT_A_BAG, take_scan
from kitting.packing.services.clearing import MENUS as CLEARING
from kitting.packing.services.scanned import Answer
from kitting.packing.views.last_acts import (
    READY,
    handed_over,
    in_words,
    past_in_words,
)
from kitting.places.queries import quarantines
from kitting.printing.queries.prints import newest_bag_label
from kitting.web import scans
from kitting.web.acting import say_and_go
from kitting.web.figures import pieces
from kitting.web.http import (
    LotwardRequest,
    add_refusal,
    allowed,
    new_op_key,
    render_part,
    wants_fragment,
)
from kitting.web.messages import sentence
from kitting.web.tablet import badge_of, tablet_of

OVERDUE = "bag_open_too_long"
"""The code of a refusal after which a bag can be set back."""
STOPS = {
    "held": frozenset({"box_on_hold", "held_among_others", "held_in_box"}),
    "overdue": frozenset({OVERDUE, "overdue_among_others", "overdue_in_box"}),
}
"""Codes of refusals that say what the step of a box in work says as well."""


@allowed("kitting.pack", by_badge=True)
def benches(request: LotwardRequest) -> HttpResponse:
    rows = all_benches()
    context = {
        "rows": rows,
        "at_work": sum(row.box is not None for row in rows),
        "commands": [*size_commands(), *command_list(), *desk_commands()],
    }
    return render(request, "kitting/packing/benches.html", context)


@allowed("kitting.pack", by_badge=True)
def bench(request: LotwardRequest, code: str) -> HttpResponse:
    at = _bench(code)
    if not at.active:
        closed = sentence(Refused("bench_closed", bench=at.name))
        to = reverse("kitting:benches")
        return say_and_go(request, closed, to, level=messages.WARNING)
    act, gave = queries.last_act(at)
    # No new load of the page loses what is to be put back.
    put_back = act in ("cancel_box", UNDO) and any(
        gave.get(name) for name in ("back", "to", "scrapped")
    )
    shown = Answer(asked=Asked("cancelled")) if put_back else Answer()
    return _show(request, at, shown, ScanForm())


@allowed("kitting.pack", by_badge=True)
def bench_label(request: LotwardRequest, code: str) -> HttpResponse:
    """How far the label is that the bench waits for; 204 where nothing has changed."""
    at = _bench(code)
    screen = label_screen(at)
    if screen is None or request.GET.get("seen") == screen.print_seen:
        return HttpResponse(status=204)
    if screen.box is not None:
        today = timezone.localdate(clock.now())
        screen = replace(screen, goes_on=goes_on(screen.box, today))
    context = {"bench": at, "screen": screen, "op_key": new_op_key()}
    context["scan_url"] = reverse("kitting:bench-scan", args=[code])
    return render(request, "kitting/packing/_bench_print.html", context)


@allowed("kitting.pack", by_badge=True)
def bench_holds(request: LotwardRequest, code: str) -> HttpResponse:
    """The screen anew where what others change changed since it was shown, else 204.

    Idle screens ask every few seconds: it is no activity of a person, writes nothing,
    and the session lasts no longer for it.
    """
    at = _bench(code)
    seen = request.GET.get("seen", "")
    if seen == mark_now(at, seen, clock.today(), clock.now()):
        return HttpResponse(status=204)
    return _show(request, at, Answer(), ScanForm())


@allowed("kitting.pack", "POST", by_badge=True)
def bench_scan(request: LotwardRequest, code: str) -> HttpResponse:
    """Take one scan; a refusal comes back on the same screen, in its zone."""
    form = ScanForm(request.POST)
    begin = begins_with(request.user)
    foresee((NEWEST_OF, code), *scans.asked_of(request.POST.get("scan", "")), *begin)
    found, newest = bench_and_box(code)
    at = _need(found)
    if not form.is_valid():
        return _show(request, at, Answer(), form, status=422)
    sign = Sign(
        by=request.user,
        key=form.key,
        bench_id=at.pk,
        tablet=tablet_of(request),
        badge_id=badge_of(request),
    )
    shown = form.cleaned_data["box"]
    try:
        _need_tied(at, sign)
        answer = take_scan(
            bench_id=at.pk,
            text=form.cleaned_data["scan"] or "",
            box=shown,
            purpose=form.cleaned_data["purpose"],
            sign=sign,
            waited=form.cleaned_data["waited"],
            shift_due=is_due(at, request.user),
            newest=newest,
        )
    except LotwardError as error:
        status = add_refusal(form, error)
        asked = Asked.read(form.cleaned_data["purpose"])
        # Who clears the bench goes on clearing it: the next bag goes into no box.
        still = Answer(asked=asked) if asked.menu in CLEARING else Answer()
        return _show(request, at, still, form, status=status, leads_to=shown)
    if answer.menu or not answer.did or wants_fragment(request):
        started = answer.did in ("start_box", "bring_box")
        leads_to = answer.outcome["box"] if started else shown
        leads_to = answer.outcome.get("next", leads_to)
        return _show(request, at, answer, ScanForm(), leads_to=leads_to)
    return redirect("kitting:bench", code=at.code)


def _need_tied(at: Bench, sign: Sign) -> None:
    """Refuse a scan from another tablet, unless it was taken before and is sent again."""
    if not is_from(getattr(at, "tablet", None), sign) and outcome_of(sign) is None:
        raise Refused("bench_tied_elsewhere", bench=at.name)


@allowed("kitting.pack", by_badge=True)
def bench_offline(request: LotwardRequest) -> HttpResponse:
    """What a tablet shows that starts without network: the same for everybody."""
    context = {"next": Next.OFFLINE, "state": "wait"}
    page = render_to_string("kitting/packing/bench_offline.html", context)
    return HttpResponse(page)


@allowed("kitting.pack", by_badge=True)
def bench_worker(request: LotwardRequest) -> HttpResponse:
    """The script that shows it; a browser lets it see only addresses below its own."""
    script = Path(str(finders.find("kitting/packing/worker.js")))
    return HttpResponse(script.read_bytes(), content_type="text/javascript")


def _bench(code: str) -> Bench:
    return _need(next(iter(BENCH(code)), None))


def _need(found: Bench | None) -> Bench:
    if found is None:
        raise Http404("There is no such bench.")
    return found


def _is_at(request: LotwardRequest, at: Bench) -> bool:
    """Whether the tablet is the one that is tied to the bench."""
    mark = tablet_of(request)
    return (
        mark != ""
        and getattr(at, "tablet", None) is not None
        and (at.tablet.token_sha256 == mark)
    )


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
    screen = queries.screen(at, today=today, now=now, left=answer.left)
    did, outcome = answer.did, answer.outcome
    if not did:
        did, outcome = queries.last_act(at)
    if not answer.menu and screen.step == "choose" and answer.did != "begin_shift":
        answer = _shift_asked(request, at, answer)
    context = screen_context(screen, answer, did, outcome, form) | {
        "question": _question(at, answer),
        "free": _free(screen, answer, today, now),
        "new_label": newest_bag_label(answer.asked.bags[0])
        if answer.menu == set_back.DONE
        else None,
        "leads_to": leads_to,
        "bench_url": reverse("kitting:bench", args=[at.code]),
        "scan_url": reverse("kitting:bench-scan", args=[at.code]),
        "holds_url": reverse("kitting:bench-holds", args=[at.code]),
        "sign_on_url": reverse("sign-on") if _is_at(request, at) else "",
    }
    return render_part(
        request, "kitting/packing/bench", "_bench", context, status=status
    )


def _shift_asked(request: LotwardRequest, at: Bench, answer: Answer) -> Answer:
    """Ask what is asked at the start of a shift; what was answered of it already stays."""
    if not is_due(at, request.user):
        return answer
    asked = Asked.read(request.POST.get("purpose", ""))
    return replace(answer, asked=asked if asked.menu == SHIFT else Asked(SHIFT))


def _question(at: Bench, answer: Answer) -> str:
    if answer.menu != SHIFT:
        return ""
    return asked_after(answer.asked.end, questions_at(at))


def screen_context(
    screen: queries.Screen,
    answer: Answer,
    did: str,
    outcome: Mapping[str, Any],
    form: ScanForm,
) -> dict[str, Any]:
    """Give what the screen of a bench shows.

    Args:
        screen: What is on record.
        answer: What the scan did, if one was taken.
        did: The newest act at the bench.
        outcome: What that gave.
        form: The scan, with what it was refused for.

    Returns:
        Values by the names that its template uses.
    """
    gone = outcome if did in ("cancel_box", UNDO) else {}

    def named(part: AtHand) -> bool:
        return part.named or part.bag in answer.asked.bags

    stuck_start = (answer.did == "start_box" or "next" in outcome) and screen.stuck
    context: dict[str, Any] = {
        "form": form,
        "bench": screen.bench,
        "screen": screen,
        "menu": answer.menu,
        "asked": answer.asked,
        "about": answer.about,
        "bag": answer.bag,
        "past": past_in_words(answer.past, screen.bench),
        "given": answer.past is not None and answer.past.name == HAND_OVER,
        "handed": handed_over(did, outcome, screen.bench),
        "overdue": [
            each
            for each in screen.open_bags
            if each.refusal is not None and each.refusal.code == OVERDUE
        ],
        "gone_back": outcome if did == set_back.MENU else {},
        "not_in_waste": answer.past is not None and answer.past.name == "find_pieces",
        "numbers": _numbers(answer),
        "bad_reasons": _bad_reasons(answer),
        "parts": [
            (part, _("into the waste") if named(part) else "")
            for part in parts_in(screen.at_hand)
        ],
        "nothing_named": not answer.asked.bags,
        "gone": gone,
        "next": following(screen, answer.menu, refused=bool(form.errors)),
        "state": "right" if answer.did and not stuck_start else "ask",
        "finished": answer.did == "see_label",
        "labelled": outcome.get("box", "") if did == "see_label" else "",
        "ready": did == "see_label" and READY.exists(),
        "last": in_words(did, outcome, screen.bench),
        "op_key": new_op_key(),
        "cancel_reasons": commands.CANCEL_REASONS,
        "print_reasons": commands.PRINT_REASONS,
        "quarantines": quarantines() if answer.menu == "quarantine" else [],
    }
    if form.errors:
        wrong, _point, to_do = _first_error(form).partition(". ")
        waited = form.cleaned_data.get("waited", False)
        to_do = f"{_out_again(form)} {to_do}".strip() if waited else to_do
        context |= {"state": "wrong", "wrong": wrong.rstrip("."), "to_do": to_do}
        context["overdue_bag"] = _overdue_bag(form)
        same = _codes(form) & STOPS.get(screen.step, frozenset())
        if same and not waited and not _of_another_bag(form, screen):
            context["next"] = Next(screen.step)  # the same, and it offers the ways on
    return context


def _scanned_bag(form: ScanForm) -> Bag | None:
    try:
        found = scans.read(form.cleaned_data.get("scan") or "").row
    except LotwardError:
        return None
    return found if isinstance(found, Bag) else None


def _overdue_bag(form: ScanForm) -> str:
    """The question that sets back a bag whose scan was refused as it is overdue."""
    bag = _scanned_bag(form) if OVERDUE in _codes(form) else None
    return "" if bag is None else str(Asked(set_back.MENU, (bag.number,)))


def _of_another_bag(form: ScanForm, screen: queries.Screen) -> bool:
    """Whether an overdue bag was scanned of which nothing is in the box."""
    bag = _scanned_bag(form) if OVERDUE in _codes(form) else None
    inside = screen.overdue.lines if screen.overdue else ()
    return bag is not None and bag.pk not in {line.bag_id for line in inside}


def _free(
    screen: queries.Screen, answer: Answer, today: date, now: datetime
) -> list[Free]:
    """The benches that can take the box, where it is asked which one does."""
    if answer.menu != HAND_OVER or screen.box is None:
        return []
    when = {"today": today, "now": now, "reach": standing_reach()}
    return offered(screen.bench, screen.box, answer.asked.bags, **when)  # type: ignore[arg-type]


def _numbers(answer: Answer) -> list[tuple[str, str]]:
    """The numbers that a key answers with: ten of them, and then ten more."""
    bag = answer.bag
    if bag is None or answer.menu not in ("short", "more"):
        return []
    tens = int(answer.asked.end or 0)
    least, most = 1, counting.MOST
    if answer.menu == "short":  # an empty bag may have been counted right into the box
        least, most = 0 if bag.left else 1, bag.inside
    shown = range(max(tens, least), min(tens + 9, most) + 1)
    found = [(f"ACT-{number - tens}", pieces(number)) for number in shown]
    return found + ([("ACT-TEN", "+10")] if tens + 10 <= most else [])


def _bad_reasons(answer: Answer) -> list[tuple[str, str]]:
    if answer.menu != "bad":
        return []
    reasons = Workshop.objects.get(pk=1).scrap_list
    return [(f"ACT-BAD-{commands.end_of(reason)}", reason) for reason in reasons]


def _codes(form: ScanForm) -> set[str | None]:
    found = form.errors.as_data().values()
    return {error.code for errors in found for error in errors}


def _out_again(form: ScanForm) -> str:
    """Say what lies in the box already of a scan that waited and was refused."""
    asked = Asked.read(form.cleaned_data.get("purpose", ""))
    if asked.menu in ABOUT_A_BAG:
        return ""
    bag = _scanned_bag(form)
    if bag is None:
        return ""
    words = _("Take out of the box what you put in from %(part)s bag %(bag)s since.")
    return words % {"part": bag.lot.part.name, "bag": bag.number}


def _first_error(form: ScanForm) -> str:
    return next(str(error) for errors in form.errors.values() for error in errors)
