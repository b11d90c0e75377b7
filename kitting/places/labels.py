"""Labels of places and carriers."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from django.db.models import Model, QuerySet
from django.utils.translation import gettext_lazy as _

from kitting.labels import kinds
from kitting.labels.cards import PlaceLabel
from kitting.ledger.upheld import Rows
from kitting.models import Carrier, Place
from kitting.printing import fitting
from kitting.printing.fitting import LAST_COPY
from kitting.printing.queries.labels import (
    Labelled,
    Subject,
    each_once,
    mark_of,
    register,
)

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise


def _labelled(
    name: str, rows: type[Model], number: str, words: tuple[_StrPromise, _StrPromise]
) -> Labelled:
    """Labels of all rows of a table, which are known by a number and have a name."""

    def compose(wanted: Sequence[str]) -> tuple[Subject, ...]:
        mark = mark_of()
        named = rows._default_manager.filter(**{f"{number}__in": wanted})
        found = dict(named.values_list(number, "name"))
        return tuple(
            Subject(one, (PlaceLabel(one, found[one], mark=mark),))
            for one in each_once(wanted, found, name)
        )

    def every() -> list[str]:
        ordered = rows._default_manager.order_by(number)
        if rows is Place:
            ordered = ordered.filter(active=True)
        return list(ordered.values_list(number, flat=True))

    page = f"kitting:{name}-detail"
    return Labelled(name, kinds.PLACE, compose, words=words, page=page, every=every)


def _longest_places(touched: Rows) -> Iterator[tuple[str, PlaceLabel]]:
    yield from _longest(fitting.those(Place.objects.all(), touched), "code")


def _longest_carriers(touched: Rows) -> Iterator[tuple[str, PlaceLabel]]:
    # A carrier keeps its name, and stands nowhere as it is made: no other act asks.
    carriers = Carrier.objects.filter(place=None) if touched else Carrier.objects.all()
    yield from _longest(fitting.those(carriers, touched), "number")


def _longest(rows: QuerySet[Any], number: str) -> Iterator[tuple[str, PlaceLabel]]:
    mark = mark_of()
    for code, name in rows.values_list(number, "name"):
        yield code, PlaceLabel(code, name, mark=mark, copy=LAST_COPY)


fitting.register(
    fitting.Longest(
        "place",
        kinds.PLACE,
        _("place label"),
        _longest_places,
        (Place,),
        "kitting:places",
        number="code",
    ),
    fitting.Longest(
        "carrier",
        kinds.PLACE,
        _("carrier label"),
        _longest_carriers,
        (Carrier,),
        "kitting:carriers",
        number="code",
    ),
)
register(
    _labelled("place", Place, "code", (_("place label"), _("place labels"))),
    _labelled("carrier", Carrier, "number", (_("carrier label"), _("carrier labels"))),
)
