"""What the label of a pallet says: which one it is, what is on it and where it goes."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import fields
from datetime import date
from typing import Final

from django.db.models import Count, Q, QuerySet, Sum
from django.utils.translation import gettext_lazy as _

from dispatch.consignees.labels import words_for
from dispatch.consignees.queries import points_of, ship_to
from dispatch.domain.needs import MOST_SETS
from dispatch.domain.pallets import PalletStage
from dispatch.labels.pallet import PALLET, Going, PalletLabel, PalletWords
from dispatch.models import Consignee, Pallet, Shipment, ShipmentBox
from kitting.domain import gs1
from kitting.domain.errors import Missing, NotFit
from kitting.ledger import clock
from kitting.ledger.clock import day_of
from kitting.ledger.upheld import Rows
from kitting.models import LabelWord, Print, Workshop
from kitting.printing import fitting
from kitting.printing.fitting import LAST_COPY, LONGEST_NUMBER
from kitting.printing.queries.labels import Labelled, Subject, mark_of, register
from kitting.printing.queries.prints import still_so

NAME: Final = "pallet"


def with_boxes(pallets: QuerySet[Pallet]) -> QuerySet[Pallet]:
    """Pallets with ``boxes`` and ``sets``, how many are on each now.

    Args:
        pallets: The pallets.

    Returns:
        The same, newest first.
    """
    live = Q(pallet_boxes__live=True)
    return pallets.annotate(
        boxes=Count("pallet_boxes", filter=live),
        sets=Sum("pallet_boxes__box__size__sets", filter=live, default=0),
    ).order_by("-pk")


def shipments_of(pallets: Sequence[int]) -> dict[int, Shipment]:
    """Give the shipments on which pallets are, or with which they left.

    Args:
        pallets: Ids of pallets.

    Returns:
        By pallet, each with its consignee; one that is on none is not in it.
    """
    on = ShipmentBox.objects.filter(pallet__in=pallets, live=True)
    rows = on.select_related("shipment__consignee").order_by("pk")
    return {row.pallet_id: row.shipment for row in rows if row.pallet_id}


def compose(wanted: Sequence[str]) -> tuple[Subject, ...]:
    """Compose labels of pallets.

    Args:
        wanted: Numbers of pallets.

    Returns:
        What is printed, in order.

    Raises:
        Missing: If there is no such pallet, or it was broken up.
        NotFit: ``label_word_missing``.
    """
    found = with_boxes(Pallet.objects.filter(number__in=wanted))
    rows = {row.number: row for row in found.exclude(stage=PalletStage.BROKEN_UP)}
    if not set(wanted) <= rows.keys():
        raise Missing("row_missing", what="pallet")
    workshop = Workshop.objects.get(pk=1)
    on = shipments_of([row.pk for row in rows.values()])
    every = (rows[number] for number in wanted)
    return tuple(_subject(row, on.get(row.pk), workshop) for row in every)


def _subject(row: Pallet, shipment: Shipment | None, workshop: Workshop) -> Subject:
    return Subject(row.number, (_label(row, shipment, workshop),))


def _label(row: Pallet, shipment: Shipment | None, workshop: Workshop) -> PalletLabel:
    counted: Mapping[str, int] = vars(row)
    going, words = None, PalletWords()
    if shipment is not None:
        words = _words(shipment.consignee)
        sent_on = day_of(workshop, shipment.sent_at or clock.now())
        going = _going(shipment.consignee, shipment.point, workshop, sent_on, shipment)
    return PalletLabel(
        number=row.number,
        sscc=row.sscc,
        boxes=counted["boxes"],
        sets=counted["sets"],
        maker_name=workshop.name,
        maker_address=tuple(workshop.address.splitlines()),
        going=going,
        mark=mark_of(workshop),
        words=words,
    )


def _words(consignee: Consignee) -> PalletWords:
    said = words_for(consignee.language)
    return PalletWords(**{each.name: said[each.name] for each in fields(PalletWords)})


def _going(
    consignee: Consignee,
    point: str,
    workshop: Workshop,
    sent_on: date,
    shipment: Shipment,
) -> Going:
    to = ship_to(consignee, workshop.country, point)
    return Going(
        ship_to=to.lines,
        name=to.name,
        country=to.country,
        sent_on=sent_on,
        shipment=shipment.number,
        reference=shipment.reference,
    )


def is_printed(pallet: Pallet) -> bool | None:
    """Whether the newest label of a pallet says what is so now.

    Args:
        pallet: The pallet; not broken up.

    Returns:
        None where none was printed.
    """
    newest = _newest([pallet.number]).get(pallet.number)
    if newest is None:
        return None
    [subject] = compose([pallet.number])
    return still_so(newest, subject)


def labelled_on(shipment: Shipment) -> dict[str, bool]:
    """Whether the newest label of each pallet on a shipment says what is so.

    Args:
        shipment: The shipment as it is, or as an act is about to leave it.

    Returns:
        By the pallet's number.
    """
    on = ShipmentBox.objects.filter(shipment=shipment, live=True).exclude(pallet=None)
    rows = list(with_boxes(Pallet.objects.filter(pk__in=on.values("pallet"))))
    if not rows:
        return {}
    newest = _newest([row.number for row in rows])
    workshop = Workshop.objects.get(pk=1)
    return {
        row.number: row.number in newest
        and still_so(newest[row.number], _subject(row, shipment, workshop))
        for row in rows
    }


def _newest(pallets: Sequence[str]) -> dict[str, Print]:
    printed = Print.objects.filter(kind=NAME, number__in=pallets).order_by("copy")
    return {str(row.number): row for row in printed}


def prints_of(pallets: Collection[int]) -> Q:
    """Which rows of the print log are labels of pallets.

    Args:
        pallets: Ids of the pallets.
    """
    numbers = Pallet.objects.filter(pk__in=pallets).values("number")
    return Q(kind=NAME, number__in=numbers)


PALLETS: Final = Labelled(
    NAME,
    PALLET,
    compose,
    words=(_("pallet label"), _("pallet labels")),
    page="dispatch:pallet-detail",
)
register(PALLETS)


def _longest(touched: Rows) -> Iterator[tuple[str, PalletLabel]]:
    workshop = Workshop.objects.get(pk=1)
    prefix = workshop.gs1_prefix
    every = {} if LabelWord in touched else touched
    shipment = Shipment(number=LONGEST_NUMBER.replace("K", "S"), reference="M" * 40)
    for consignee in fitting.those(Consignee.objects.all(), every):
        words = PalletWords()
        with suppress(NotFit):  # words that are missing are refused by themselves
            words = _words(consignee)
        # The longest is not the widest, and each has letters of its own.
        for point in points_of(consignee) or [""]:
            sent_on = date(2026, 12, 28)
            going = _going(consignee, point, workshop, sent_on, shipment)
            label = PalletLabel(
                number=LONGEST_NUMBER.replace("K", "P"),
                sscc=gs1.sscc(prefix, 1, extension=9) if prefix else None,
                boxes=_MOST,
                sets=MOST_SETS,
                maker_name=workshop.name,
                maker_address=tuple(workshop.address.splitlines()),
                going=going,
                mark=mark_of(workshop),
                copy=LAST_COPY,
                words=words,
            )
            yield consignee.name, label


_MOST: Final = 999
"""Boxes of a pallet whose label is tried."""

fitting.register(
    fitting.Longest(
        NAME,
        PALLET,
        PALLETS.words[0],
        _longest,
        (Consignee,),
        "dispatch:consignees",
        (Workshop, LabelWord),
    )
)
