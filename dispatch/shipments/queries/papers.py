"""What the papers of shipments say: those that go along with one, and the driver's."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import date, timedelta
from typing import Any, Final

from django.db.models import Q, QuerySet

from dispatch.consignees.labels import LISTS, words_for
from dispatch.consignees.queries import ship_to
from dispatch.labels.papers import Load, OnPallet, Packed
from dispatch.labels.stops import Round, Stop
from dispatch.models import Pallet, Shipment, ShipmentBox
from dispatch.shipments.queries.shipments import with_figures
from kitting.domain.errors import NotFit
from kitting.domain.stages import GONE_SHIPMENTS, ShipmentStage
from kitting.ledger.clock import day_of, midnight
from kitting.ledger.proof import heads
from kitting.models import Box, BoxLine, Product, Workshop
from kitting.packing.labels import disinfected_of
from kitting.printing.queries.label_words import words_in
from kitting.printing.queries.labels import mark_of

ADDRESSES: Final[list[Callable[[Shipment], str]]] = []
"""What else a later room knows: where the consignee reads of a shipment, or nothing."""


def load_of(shipment: Shipment, workshop: Workshop) -> Load:
    """Say what the packing list and the delivery note of a shipment say.

    Args:
        shipment: The shipment, with its consignee.
        workshop: The workshop.

    Returns:
        What is on it now, by serial, in the language of its consignee.

    Raises:
        NotFit: ``label_word_missing``.
    """
    whom = shipment.consignee
    words = words_for(whom.language)
    live = ShipmentBox.objects.filter(shipment=shipment, live=True)
    boxes = list(
        Box.objects.filter(pk__in=live.values("box"))
        .select_related("size__product")
        .order_by("serial")
    )
    lines = _lines([box.pk for box in boxes])
    serves = live.exclude(request=None).order_by("request__number")
    opening = f"{words['takes_deliveries']}: {whom.opening}" if whom.opening else ""
    return Load(
        words=words,
        shipment=shipment.number,
        ship_to=ship_to(whom, workshop.country, shipment.point).all,
        contact=tuple(each for each in (whom.contact, opening) if each),
        ship_from=_from(workshop),
        sent_on=day_of(workshop, shipment.sent_at) if shipment.sent_at else None,
        packed=_packed(boxes, lines, whom.language, workshop),
        pallets=_pallets(live),
        reference=shipment.reference,
        haulier=shipment.haulier,
        driver=shipment.driver,
        vehicle=shipment.vehicle,
        seal=shipment.seal,
        requests=tuple(serves.values_list("request__number", flat=True).distinct()),
        cautions=_cautions(boxes, lines, workshop),
        address=next(filter(None, (of(shipment) for of in ADDRESSES)), ""),
        head=heads.of_workshop(workshop),
        mark=mark_of(workshop),
    )


def _pallets(live: QuerySet[ShipmentBox]) -> tuple[OnPallet, ...]:
    """The pallets on which boxes of a shipment came, by number."""
    found: dict[int, list[str]] = {}
    for pallet, serial in live.exclude(pallet=None).values_list(
        "pallet", "box__serial"
    ):
        found.setdefault(pallet, []).append(serial or "")
    rows = Pallet.objects.filter(pk__in=found).order_by("number")
    return tuple(
        OnPallet(row.number, row.sscc or "", frozenset(found[row.pk])) for row in rows
    )


def _from(workshop: Workshop) -> tuple[str, ...]:
    said = (workshop.name, *workshop.address.splitlines(), workshop.contact)
    return tuple(line for line in said if line.strip())


def _lines(boxes: Sequence[int]) -> dict[int, list[BoxLine]]:
    found: dict[int, list[BoxLine]] = {box: [] for box in boxes}
    lines = BoxLine.objects.filter(box__in=boxes).select_related(
        "lot__part", "run__protocol"
    )
    for line in lines.order_by("lot__part__name", "lot__number", "pk"):
        found[line.box_id].append(line)
    return found


def _packed(
    boxes: Iterable[Box],
    lines: dict[int, list[BoxLine]],
    language: str,
    workshop: Workshop,
) -> tuple[Packed, ...]:
    said: dict[str, str] = {}
    packed: list[Packed] = []
    for box in boxes:
        disinfected = disinfected_of(lines[box.pk], workshop)
        for title, _on in disinfected:
            if title not in said:
                said[title] = _spoken(title, language, workshop)
        packed.append(
            Packed(
                serial=str(box),
                sscc=box.sscc or "",
                product=box.size.product.name,
                sets=box.size.sets,
                packed_on=box.packed_on,
                use_by=box.use_by,
                disinfected=tuple((said[title], on) for title, on in disinfected),
                lots=_by_part(lines[box.pk]),
            )
        )
    return tuple(packed)


def _spoken(title: str, language: str, workshop: Workshop) -> str:
    """A protocol's words in a language; in English where nobody has said them in it."""
    try:
        return words_in(language, demo=workshop.demo, also=[title], of=LISTS)[title]
    except NotFit:
        return title


def _by_part(lines: Iterable[BoxLine]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    found: dict[str, dict[str, None]] = {}
    for line in lines:
        found.setdefault(line.lot.part.name, {})[line.lot.number] = None
    return tuple((part, tuple(numbers)) for part, numbers in found.items())


def _cautions(
    boxes: Iterable[Box], lines: dict[int, list[BoxLine]], workshop: Workshop
) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """What the boxes of each product warn of, in the words that are on them."""
    latex: dict[Product, bool] = {}
    for box in boxes:
        inside = any(line.lot.part.latex for line in lines[box.pk])
        latex[box.size.product] = inside or latex.get(box.size.product, False)
    found = []
    for product in sorted(latex, key=lambda one: one.name):
        words = words_in(product.language, demo=workshop.demo)
        said = [*product.caution_lines(demo=workshop.demo)]
        said += [words["latex"]] if latex[product] else []
        said += [words["non_sterile"]] if product.profile == "device" else []
        if said:
            found.append((product.name, tuple(said)))
    return tuple(found)


# -- The driver ---------------------------------------------------------------------------

FURTHEST: Final = 100
"""How many shipments of a day are offered as stops."""


def leaving_on(day: date) -> list[Any]:
    """Shipments that left on a day, and those that are open still.

    Args:
        day: The workshop's day.

    Returns:
        With their figures; those that were sent first, in the order of sending.
    """
    sent = Q(stage__in=GONE_SHIPMENTS, sent_at__gte=midnight(day))
    on_day = sent & Q(sent_at__lt=midnight(day + timedelta(days=1)))
    found: Iterable[Any] = with_figures(on_day | Q(stage=ShipmentStage.OPEN))[:FURTHEST]
    rows = [row for row in found if row.on]
    return sorted(rows, key=lambda row: (row.sent_at is None, row.sent_at, row.pk))


def round_of(stops: Sequence[Any], day: date, workshop: Workshop) -> Round:
    """Say what the driver's copy says.

    Args:
        stops: Shipments from ``leaving_on``, in the order of the stops.
        day: The day.
        workshop: The workshop.

    Returns:
        The stops, and who drives, where all of them say the same.
    """
    who = {", ".join(_taking(row)) for row in stops}
    return Round(
        day=day,
        who=who.pop() if len(who) == 1 else "",
        ship_from=_from(workshop),
        stops=tuple(_stop(row, workshop) for row in stops),
        mark=mark_of(workshop),
    )


def _taking(row: Any) -> list[str]:
    return [each for each in (row.haulier, row.driver, row.vehicle) if each]


def _stop(row: Any, workshop: Workshop) -> Stop:
    whom = row.consignee
    return Stop(
        ship_to=ship_to(whom, workshop.country, row.point).all,
        shipment=row.number,
        boxes=row.on,
        sets=row.sets_on,
        contact=whom.contact,
        night_contact=whom.night_contact,
        opening=whom.opening,
        reference=row.reference,
        seal=row.seal,
        sent=row.sent_at is not None,
    )
