"""What is read of drills: lots to draw from, who has the lot, and how long it took."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Exists, OuterRef, Q, QuerySet

from dispatch.models import Consignee, Drill, DrillCall, DrillList, ShipmentBox
from dispatch.notices.queries.whom import Whom
from dispatch.trace.balance import balance_of
from kitting.domain.stages import GONE
from kitting.models import BoxLine, Lot
from kitting.web.figures import seconds


def lots_sent(before: Q | None = None) -> QuerySet[Lot]:
    """The lots that are in boxes which were sent.

    Args:
        before: Which shipments count, as a condition on a line of a box; None for all
            that were sent.

    Returns:
        The lots.
    """
    load = "box__shipment_boxes"
    sent = before or Q(**{f"{load}__shipment__sent_at__isnull": False})
    lines = BoxLine.objects.filter(sent, **{f"{load}__live": True})
    return Lot.objects.filter(Exists(lines.filter(lot=OuterRef("pk"))))


def consignees_of(lot: Lot) -> list[Consignee]:
    """Who has boxes with some of a lot now.

    Args:
        lot: The lot.

    Returns:
        The consignees by name; one that was merged is the one that it turned out to be.
    """
    inside = BoxLine.objects.filter(lot=lot).values("box")
    loads = ShipmentBox.objects.filter(live=True, box__in=inside, box__stage__in=GONE)
    own = loads.filter(passed=None).values("shipment__consignee")
    onward = loads.values("passed__consignee")
    found = Consignee.objects.filter(Q(pk__in=own) | Q(pk__in=onward))
    stay = {each.stays.pk: each.stays for each in found.select_related("merged_into")}
    return sorted(stay.values(), key=lambda each: (each.name, each.code))


@dataclass(frozen=True)
class Located:
    """What is known of a lot at a moment."""

    boxes: int
    """With consignees."""
    pieces: int
    """Received and found."""
    located: int
    """Not missing, and nothing that does not add up."""


def located(lot: Lot) -> Located:
    """Say of how many pieces of a lot it is known where they are.

    Args:
        lot: The lot, with its part.

    Returns:
        By its balance, to the piece.
    """
    balance = balance_of(lot)
    pieces = balance.received + balance.found
    gone = BoxLine.objects.filter(lot=lot, box__stage__in=GONE)
    boxes = gone.order_by().values("box").distinct().count()
    known = pieces - balance.missing - abs(balance.difference)
    return Located(boxes, pieces, max(known, 0))


def drills() -> QuerySet[Drill]:
    """Every drill, the newest first, with its acts.

    Returns:
        The drills.
    """
    beside = ("operation", "lot__part", "list__operation", "end__operation")
    return Drill.objects.select_related(*beside).order_by("-pk")


@dataclass(frozen=True)
class Told:
    """A drill with how long its list took, and what is known by it."""

    drill: Drill

    @property
    def runs(self) -> bool:
        """Whether it is not over."""
        return getattr(self.drill, "end", None) is None

    @property
    def needs_list(self) -> bool:
        """Whether its clock runs."""
        return self.runs and self.seconds is None

    @property
    def seconds(self) -> int | None:
        """How long it took to the list; None while that is not complete."""
        done: DrillList | None = getattr(self.drill, "list", None)
        if done is None:
            return None
        return int((done.operation.at - self.drill.operation.at).total_seconds())

    @property
    def lasted(self) -> str:
        """The same in words; empty while it is not complete."""
        return "" if self.seconds is None else seconds(self.seconds)

    @property
    def share(self) -> str:
        """Per cent of the pieces that are located, rounded down; empty without a list.

        With a single piece missing it is never 100.
        """
        done: DrillList | None = getattr(self.drill, "list", None)
        if done is None:
            return ""
        hundredths = done.located * 10_000 // max(done.pieces, 1)
        return f"{hundredths // 100}.{hundredths % 100:02}".removesuffix(".00")


@dataclass(frozen=True)
class Called:
    """A consignee of a drill, and the calls to it."""

    consignee: Consignee
    calls: list[tuple[DrillCall, str]]
    """Each with how long after the beginning of the drill it was, in words."""

    @property
    def whom(self) -> Whom:
        """Whom to call."""
        return Whom(self.consignee, ())

    @property
    def answered(self) -> bool:
        """Whether somebody answered."""
        return any(call.answered for call, _after in self.calls)


def called(drill: Drill) -> list[Called]:
    """Whom a drill calls, with the calls so far.

    Args:
        drill: The drill, with its act.

    Returns:
        Who has boxes of its lot now, and whoever else was called, by name.
    """
    calls: dict[int, list[tuple[DrillCall, str]]] = {}
    known = {each.pk: each for each in consignees_of(drill.lot)}
    begun = drill.operation.at
    rows = drill.calls.select_related("operation", "consignee__merged_into")
    for call in rows.order_by("pk"):
        whom = call.consignee.stays
        known.setdefault(whom.pk, whom)
        after = seconds(int((call.operation.at - begun).total_seconds()))
        calls.setdefault(whom.pk, []).append((call, after))
    ordered = sorted(known.values(), key=lambda each: (each.name, each.code))
    return [Called(each, calls.get(each.pk, [])) for each in ordered]
