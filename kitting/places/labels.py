"""Labels of places and carriers."""

from __future__ import annotations

from collections.abc import Sequence

from django.utils.translation import gettext_lazy as _

from kitting.labels import kinds
from kitting.labels.cards import PlaceLabel
from kitting.models import Carrier, Place, Workshop
from kitting.printing.queries.labels import (
    Labelled,
    Subject,
    each_once,
    mark_of,
    register,
)


def _places(wanted: Sequence[str]) -> tuple[Subject, ...]:
    mark = mark_of(Workshop.objects.get(pk=1))
    rows = Place.objects.filter(code__in=wanted).values_list("code", "name")
    found = dict(rows)
    return tuple(
        Subject(one, (PlaceLabel(one, found[one], mark=mark),))
        for one in each_once(wanted, found, "place")
    )


def _carriers(wanted: Sequence[str]) -> tuple[Subject, ...]:
    mark = mark_of(Workshop.objects.get(pk=1))
    rows = Carrier.objects.filter(number__in=wanted).values_list("number", "name")
    found = dict(rows)
    return tuple(
        Subject(one, (PlaceLabel(one, found[one], mark=mark),))
        for one in each_once(wanted, found, "carrier")
    )


def _every_place() -> list[str]:
    return list(Place.objects.order_by("code").values_list("code", flat=True))


def _every_carrier() -> list[str]:
    return list(Carrier.objects.order_by("number").values_list("number", flat=True))


register(
    Labelled(
        "place",
        kinds.PLACE,
        _places,
        words=(_("place label"), _("place labels")),
        page="kitting:place-detail",
        every=_every_place,
    ),
    Labelled(
        "carrier",
        kinds.PLACE,
        _carriers,
        words=(_("carrier label"), _("carrier labels")),
        page="kitting:carrier-detail",
        every=_every_carrier,
    ),
)
