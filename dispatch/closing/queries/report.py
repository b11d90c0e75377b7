"""What the report of a case says."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import datetime
from itertools import groupby
from typing import Final

from django.utils import timezone
from django.utils.translation import gettext as _

from dispatch.closing.queries.closings import ended
from dispatch.consignees.queries import ship_to
from dispatch.effectiveness.queries import checks_of
from dispatch.effectiveness.words import LEVELS
from dispatch.labels.report import Report, Table
from dispatch.labels.sheets import Column, Line
from dispatch.models import Case, Closing, Complaint, Reply, Sought
from dispatch.notices.queries.whom import Whom, whom
from dispatch.notices.words import OUTCOMES
from dispatch.notices.words import WAYS as LETTER_WAYS
from dispatch.recall.listing import Row, rows_of
from dispatch.recall.queries.bringing import bringing
from dispatch.recall.queries.cases import Scoped, Whole, whole
from dispatch.replies.queries.accounts import Account, accounts
from dispatch.replies.queries.follow_up import counted
from dispatch.replies.words import WAYS
from dispatch.trace.queries import trace
from kitting.domain.shown import spaced
from kitting.ledger.proof import heads
from kitting.models import Operation, Workshop
from kitting.printing.queries.labels import mark_of
from kitting.web.figures import amount, pieces
from kitting.web.shapes import stage_word

Acted = tuple[Operation, str]
"""An act, and what the journal calls it."""

TIMELINE: Final[list[Callable[[Case], list[Acted]]]] = []
"""What tells the acts about a case, the oldest first; the journal registers it."""


def _at(moment: datetime | None) -> str:
    if moment is None:
        return ""
    return timezone.localtime(moment).strftime("%Y-%m-%d %H:%M")


def report_of(case: Case, workshop: Workshop, now: datetime) -> Report:
    """Say all that is on record of a case.

    Args:
        case: The case, with its act.
        workshop: The workshop.
        now: When it is read, in the workshop's zone.

    Returns:
        The report; of an open case as not closed.
    """
    found, every, told = whole(case), accounts(case), whom(case)
    ends = ended(case)
    title = _("Recall case %(case)s") % {"case": spaced(case.number)}
    head = heads.of_workshop(workshop)
    as_of = now.strftime("%Y-%m-%d %H:%M")
    return Report(
        title=title,
        state=_state(ends.standing, as_of),
        hazard=case.hazard,
        facts=(
            (_("Workshop"), (workshop.name, *workshop.address.splitlines())),
            (_("Opened"), (_at(case.operation.at), case.operation.by_name)),
            (_("Class, as decided"), (case.rated or "–",)),
            (_("Why"), (found.looks[0].reason,)),
        ),
        decisions=tuple(_decided(each) for each in reversed(ends.closings)),
        tables=(
            _scope(found),
            _consignees(told, every, workshop.country),
            _boxes(case, every, ends.standing),
            _brought(found),
            _balances(found.scope),
            _complaints(case),
            _calls(told),
            _letters(told),
            _answers(every),
            _replies(case),
            _effectiveness(case),
            _timeline(case),
        ),
        running=f"{title} · {as_of}",
        foot=_("Newest link %(head)s") % {"head": head} if head else title,
        page=_("Page {page} of {pages}"),
        mark=mark_of(workshop),
    )


def _state(standing: Closing | None, as_of: str) -> str:
    if standing is None:
        return _("Not closed, as of %(at)s") % {"at": as_of}
    named = {"at": _at(standing.operation.at), "by": standing.operation.by_name}
    return _("Closed %(at)s by %(by)s") % named


def _decided(closing: Closing) -> tuple[str, tuple[tuple[str, str], ...]]:
    done = closing.operation
    said = [
        (_("Cause"), closing.cause),
        (_("What was done"), closing.done),
        (_("What keeps it from happening again"), closing.prevention),
    ]
    reopening = getattr(closing, "reopening", None)
    if reopening is not None:
        again = f"{_at(reopening.operation.at)}, {reopening.operation.by_name}"
        said.append((_("Open again"), f"{again}: {reopening.reason}"))
    return f"{_at(done.at)}, {done.by_name}", tuple(said)


def _scope(found: Whole) -> Table:
    rows = [
        Line(
            (each.hold.on, each.why, each.hold.by, _at(each.hold.at)),
            below=_taken_out(each),
        )
        for each in found.scope
    ]
    columns = (
        Column(_("Held"), 45, bold=True),
        Column(_("Why"), 70),
        Column(_("By"), 32),
        Column(_("Since"), 33),
    )
    return Table(_("What it is about"), columns, tuple(rows), "")


def _taken_out(each: Scoped) -> str:
    if each.lifted is None:
        return ""
    named = {"at": _at(each.lifted.at), "by": each.lifted.by_name, "why": each.reason}
    return _("Taken out %(at)s by %(by)s: %(why)s") % named


def _consignees(told: Iterable[Whom], every: Iterable[Account], home: str) -> Table:
    left = {each.box.box: each.unaccounted for each in every}
    rows = []
    for one in sorted(told, key=lambda one: one.consignee.name):
        call = one.reached
        those = [box.row for box in one.boxes if box.passed_to is None]
        figures = (
            len(one.boxes),
            sum(box.row.pieces for box in one.boxes),
            sum(box.box.size.sets for box in one.boxes),
            sum(left.get(row.box_id, 0) for row in those),
        )
        by = _("not reached") if one.recalled else _("none is recalled any more")
        if call:
            by = f"{_at(call.when)}, {call.spoke_to}"
        address = ", ".join(ship_to(one.consignee, home).below_name)
        cells = (one.consignee.name, *map(pieces, figures), by)
        rows.append(Line(cells, below=address))
    columns = (
        Column(_("Consignee"), 56, bold=True),
        Column(_("Boxes"), 16, right=True),
        Column(_("Pieces"), 18, right=True),
        Column(_("Sets"), 16, right=True),
        Column(_("Sets not accounted for"), 26, right=True),
        Column(_("Reached"), 48),
    )
    empty = _("No box of the case is or was at a consignee.")
    return Table(_("Consignees"), columns, tuple(rows), empty)


def _boxes(case: Case, every: Sequence[Account], standing: Closing | None) -> Table:
    without = standing.boxes.values_list("box", "reason") if standing else []
    reasons = dict(without)
    its = rows_of(case, [each.box for each in every], {})
    rows = [
        Line(
            (
                spaced(each.box.serial),
                pieces(each.box.pieces),
                stage_word(each.box.stage),
                each.box.consignee,
                spaced(each.box.shipment),
                _now(each),
            ),
            below=_beside(row, reasons.get(each.box.box, "")),
        )
        for each, row in zip(every, its, strict=True)
    ]
    columns = (
        Column(_("Box"), 29, bold=True),
        Column(_("Pieces"), 16, right=True),
        Column(_("As it was found"), 25),
        Column(_("Consignee"), 42),
        Column(_("Shipment"), 26),
        Column(_("Now"), 42),
    )
    return Table(_("Boxes"), columns, tuple(rows), _("It reached no box."))


def _now(each: Account) -> str:
    if each.box.is_free:
        now = stage_word(each.box.now)
        return _("%(stage)s, no longer recalled") % {"stage": now}
    said = [f"{part.words} {pieces(part.sets)}" for part in each.parts]
    if each.known is not None and not said:
        said.append(stage_word(each.box.now))
    if each.known is not None and each.unaccounted:
        said.append(
            _("not accounted for: %(sets)s") % {"sets": pieces(each.unaccounted)}
        )
    if not said and each.box.in_quarantine:
        return _("in quarantine, %(place)s") % {"place": each.box.place}
    return ", ".join(said) or stage_word(each.box.now)


def _beside(row: Row, without: str) -> str:
    """What is told of a box below its row."""
    lots = ", ".join(map(spaced, row.lots))
    told = [
        f"{row.product}, {amount(row.box.sets, 'set')}",
        _("lots %(lots)s") % {"lots": lots} if lots else "",
        _("sent %(on)s") % {"on": row.sent_on.isoformat()} if row.sent_on else "",
        _("received %(on)s") % {"on": row.received_on.isoformat()}
        if row.received_on
        else "",
    ]
    if without:
        told.append(_("Closed without it: %(why)s") % {"why": without})
    return "; ".join(filter(None, told))


def _brought(found: Whole) -> Table:
    left = bringing(found)
    note = _("Of %(total)s bags and boxes here, in quarantine: %(brought)s.") % {
        "total": pieces(left.total),
        "brought": pieces(left.brought),
    }
    sought = Sought.objects.filter(case=found.case, into=None).order_by("pk")
    rows = [
        Line(
            (
                spaced(str(row.box or row.bag)),
                _at(row.operation.at),
                row.operation.by_name,
                row.reason,
            )
        )
        for row in sought.select_related("box", "bag", "operation")
    ]
    columns = (
        Column(_("Not found"), 32, bold=True),
        Column(_("When"), 33),
        Column(_("By"), 35),
        Column(_("Looked for"), 80),
    )
    empty = _("Nothing was looked for in vain.")
    return Table(_("Brought to quarantine"), columns, tuple(rows), empty, note)


def _balances(scope: Iterable[Scoped]) -> Table:
    numbers = dict.fromkeys(each.number for each in scope if each.number)
    found = dict(balance for number in numbers for balance in trace(number).balances)
    names = {
        "received": _("Received"),
        "found": _("Found"),
        "in_bags": _("In bags"),
        "in_boxes": _("In boxes here"),
        "sent": _("Sent"),
        "returned": _("Returned"),
        "sampled": _("Sampled"),
        "made_into": _("Made into lots"),
        "scrapped": _("Scrapped"),
        "missing": _("Missing"),
        "difference": _("Difference"),
    }
    rows = [
        Line((spaced(number), *(pieces(getattr(its, name)) for name in names)))
        for number, its in found.items()
    ]
    columns = [Column(_("Number"), 24, bold=True)]
    columns += [Column(title, 13.8, right=True) for title in names.values()]
    empty = _("What it is about has no balance of its own.")
    return Table(_("Balance, to the piece"), tuple(columns), tuple(rows), empty)


def _complaints(case: Case) -> Table:
    found = Complaint.objects.filter(notes__case=case).distinct().order_by("pk")
    rows = [
        Line(
            (
                row.received_on.isoformat(),
                spaced(row.number),
                row.consignee.name if row.consignee else "",
                row.said_by,
                spaced(row.about),
            ),
            below=row.what,
        )
        for row in found.select_related("consignee")
    ]
    columns = (
        Column(_("Received"), 25),
        Column(_("Complaint"), 30, bold=True),
        Column(_("Consignee"), 50),
        Column(_("Who said so"), 45),
        Column(_("About"), 30),
    )
    return Table(_("Complaints"), columns, tuple(rows), _("None led to it."))


def _calls(told: Iterable[Whom]) -> Table:
    calls = [(one, call) for one in told for call in one.good_calls]
    rows = [
        Line(
            (
                _at(call.when),
                one.consignee.name,
                call.spoke_to or str(OUTCOMES[call.outcome]),
                call.operation.by_name,
            ),
            below=call.said,
        )
        for one, call in sorted(calls, key=lambda each: (each[1].when, each[1].pk))
    ]
    columns = (
        Column(_("When"), 33),
        Column(_("Consignee"), 62, bold=True),
        Column(_("Spoke to"), 50),
        Column(_("By"), 35),
    )
    return Table(_("Calls"), columns, tuple(rows), _("Nobody was called."))


def _letters(told: Iterable[Whom]) -> Table:
    letters = [(one, letter) for one in told for letter in one.letters]
    rows = []
    for one, letter in sorted(letters, key=lambda each: each[1].pk):
        went = letter.sent
        at = _at(went.operation.at) if went else _("not sent")
        how = (str(LETTER_WAYS[went.way]), went.to) if went else ("", "")
        cells = (_at(letter.operation.at), one.consignee.name, at, *how)
        back = [each.back.reason for each in letter.tries if hasattr(each, "back")]
        words = _("Did not arrive: %(why)s")
        below = "; ".join(words % {"why": why} for why in back)
        rows.append(Line(cells, below=below))
    columns = (
        Column(_("Made"), 33),
        Column(_("Consignee"), 52, bold=True),
        Column(_("Sent"), 33),
        Column(_("How"), 22),
        Column(_("To"), 40),
    )
    return Table(_("Letters"), columns, tuple(rows), _("No letter was made."))


def _answers(every: tuple[Account, ...]) -> Table:
    rows = [
        Line((each.words, pieces(each.boxes), pieces(each.sets)))
        for each in counted(every)
    ]
    left = sum(each.unaccounted for each in every)
    of = sum(each.unaccounted > 0 for each in every)
    note = _("Not accounted for: %(boxes)s boxes, %(sets)s sets.") % {
        "boxes": pieces(of),
        "sets": pieces(left),
    }
    columns = (
        Column(_("What they are, by the newest answers"), 100, bold=True),
        Column(_("Boxes"), 25, right=True),
        Column(_("Sets"), 25, right=True),
    )
    empty = _("No box of it is at a consignee.")
    return Table(_("Answers about the boxes"), columns, tuple(rows), empty, note)


def _replies(case: Case) -> Table:
    found = Reply.objects.filter(case=case).order_by("pk")
    rows = [
        Line(
            (
                _at(row.when),
                row.consignee.name,
                row.told_by,
                str(WAYS[row.way]),
            ),
            below=row.note,
        )
        for row in found.select_related("operation", "consignee")
    ]
    columns = (
        Column(_("When"), 33),
        Column(_("Consignee"), 62, bold=True),
        Column(_("Who said so"), 45),
        Column(_("How it came"), 40),
    )
    return Table(_("Replies"), columns, tuple(rows), _("Nobody has replied."))


def _effectiveness(case: Case) -> Table:
    rows = []
    for each in reversed(checks_of(case)):
        its = each.result
        share = "–" if its.share is None else f"{its.share} %"
        figures = (its.drawn, its.asked, its.effective)
        at, level = _at(each.check.operation.at), str(LEVELS[each.check.level])
        of = pieces(len(each.everybody))
        rows.append(Line((at, level, of, *map(pieces, figures), share)))
    columns = (
        Column(_("Drawn"), 33),
        Column(_("Level"), 57, bold=True),
        Column(_("Among"), 18, right=True),
        Column(_("Drawn"), 18, right=True),
        Column(_("Asked"), 18, right=True),
        Column(_("Reached as it should"), 24, right=True),
        Column(_("Share"), 12, right=True),
    )
    title, none = _("Effectiveness checks"), _("None was drawn.")
    return Table(title, columns, tuple(rows), none)


def _timeline(case: Case) -> Table:
    acts = [each for tell in TIMELINE for each in tell(case)]
    rows = []
    for (words, by, _day), some in groupby(acts, key=_alike):
        those = [act for act, _words in some]
        times = f" ({len(those)})" if len(those) > 1 else ""
        rows.append(Line((_at(those[0].at), f"{words}{times}", by)))
    columns = (
        Column(_("When"), 33),
        Column(_("What"), 97, bold=True),
        Column(_("By"), 50),
    )
    note = _(
        "From the journal; what one person did several times in a row is one line, with how often."
    )
    return Table(_("What was done"), columns, tuple(rows), "–", note)


def _alike(each: Acted) -> tuple[str, str, str]:
    act, words = each
    return words, act.by_name, _at(act.at)[:10]
