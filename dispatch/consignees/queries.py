"""Where a consignee is: the lines that stand on labels, packing lists and pages."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from django.db.models import Count, Q, QuerySet
from django.db.models.functions import Coalesce

from dispatch.domain.folding import fold
from dispatch.domain.needs import RequestStage
from dispatch.models import Consignee
from kitting.domain.errors import CodeError
from kitting.domain.shown import is_legible
from kitting.domain.stages import ShipmentStage
from kitting.labels.postal import Address, country_name, doubts, lines

NAME_LONGEST: Final = 80
LONGEST: Final = {
    "street": 300,
    "postcode": 20,
    "city": 80,
    "region": 80,
    "contact": 120,
    "night_contact": 120,
    "email": 120,
    "opening": 120,
    "points": 1_000,
}
"""Characters that what is known of a consignee may have."""
FEWEST: Final = 2
"""Letters or digits by which somebody is looked for."""
POINT_LONGEST: Final = 80
"""Characters that the name of a delivery point or ward may have."""


@dataclass(frozen=True)
class ShipTo:
    """To whom something goes, as it is written on it."""

    lines: tuple[str, ...]
    """From the top, with the name where the post wants it, without the country."""
    name: int
    """Which of the lines is the name, from 0."""
    country: str
    """Its name in capitals; empty inside the workshop's own country."""

    @property
    def all(self) -> tuple[str, ...]:
        """The lines and, where it is needed, the country below them."""
        return (*self.lines, self.country) if self.country else self.lines

    @property
    def below_name(self) -> tuple[str, ...]:
        """All but the name, for pages on which it stands already."""
        return tuple(each for nth, each in enumerate(self.all) if nth != self.name)


def ship_to(consignee: Consignee, home: str, point: str = "") -> ShipTo:
    """Write a consignee's address.

    In parts it has the order of the country's post. One that the workshop has only as a
    text is written as it was entered.

    Args:
        consignee: The consignee.
        home: The workshop's own country; empty if it is not set, and then a country
            that is known is always written.
        point: The delivery point or ward; below the name, where it is given.

    Returns:
        The lines; the name alone if nothing else is on record.

    Raises:
        CodeError: ``country_unknown``.
    """
    name, country = consignee.name.strip(), ""
    if consignee.country and consignee.country != home:
        country = country_name(consignee.country)
    parts = address_of(consignee)
    if not (parts.street or parts.postcode or parts.city or parts.region):
        written = [line for line in consignee.address.splitlines() if line.strip()]
        return ShipTo(_with_point((name, *written), 0, point), 0, country)
    found = lines(parts, name=name)
    at = next((nth for nth, line in enumerate(found) if line == name), 0)
    return ShipTo(_with_point(found, at, point), at, country)


def _with_point(lines: tuple[str, ...], name: int, point: str) -> tuple[str, ...]:
    return (*lines[: name + 1], point, *lines[name + 1 :]) if point else lines


def points_of(consignee: Consignee) -> list[str]:
    """The delivery points and wards of a consignee."""
    return consignee.points.splitlines()


def points_at(code: str) -> list[str]:
    """The delivery points and wards of the consignee of a code; none of an unknown one."""
    known = code.isprintable()  # PostgreSQL has no text with NUL
    found = Consignee.objects.filter(code=code).first() if known else None
    return points_of(found) if found else []


def stays(what: str, consignee: str) -> Coalesce:
    """What is so of the consignee that a row names, or of the one that it turned out to be.

    Args:
        what: A field, such as ``code``.
        consignee: The way from the row to its consignee.

    Returns:
        The expression.
    """
    return Coalesce(f"{consignee}__merged_into__{what}", f"{consignee}__{what}")


def same_as(consignee_id: int) -> QuerySet[Consignee]:
    """A consignee, and those that turned out to be it.

    Args:
        consignee_id: The consignee.

    Returns:
        Them.
    """
    return Consignee.objects.filter(Q(pk=consignee_id) | Q(merged_into=consignee_id))


def in_use() -> QuerySet[Consignee]:
    """The consignees that something can be sent to."""
    return Consignee.objects.filter(active=True)


def address_of(consignee: Consignee) -> Address:
    """The parts of a consignee's address.

    Args:
        consignee: The consignee.

    Returns:
        The parts; only the country, or nothing, where it has none.
    """
    return Address(
        country=consignee.country,
        street=tuple(consignee.street.splitlines()),
        postcode=consignee.postcode,
        city=consignee.city,
        region=consignee.region,
    )


def open_requests(consignee: Consignee) -> list[str]:
    """The numbers of the requests that are open for a consignee, the oldest first."""
    asked = consignee.requests.filter(stage=RequestStage.OPEN).order_by("pk")
    return [*asked.values_list("number", flat=True)]


def open_shipments(consignee: Consignee) -> list[str]:
    """The numbers of the shipments that are being loaded for it, the oldest first."""
    begun = consignee.shipments.filter(stage=ShipmentStage.OPEN).order_by("pk")
    return [*begun.values_list("number", flat=True)]


def open_numbers(consignee: Consignee) -> list[str]:
    """The numbers of the requests and shipments that are open for a consignee.

    Args:
        consignee: The consignee.

    Returns:
        The numbers, requests first.
    """
    return [*open_requests(consignee), *open_shipments(consignee)]


def all_consignees() -> QuerySet[Consignee]:
    """Every consignee with ``sent``, how many shipments are for it, by name.

    Returns:
        The consignees.
    """
    return Consignee.objects.annotate(sent=Count("shipments")).order_by("name", "pk")


def called(text: str) -> QuerySet[Consignee]:
    """The consignees whose name or code has each of some words in it, by name.

    Args:
        text: The words, in any spelling of capitals and accents.

    Returns:
        As ``all_consignees``; nobody for less than two letters or digits.
    """
    found = all_consignees()
    if sum(map(str.isalnum, text)) < FEWEST or not is_legible(text.strip()):
        return found.none()
    for word in fold(text).split():
        found = found.filter(search__contains=word)
    return found


def doubts_of(consignee: Consignee) -> tuple[CodeError, ...]:
    """Say what looks wrong in a consignee's address; it is printed all the same.

    Args:
        consignee: The consignee.

    Returns:
        The doubts; none of an address that is a text alone.
    """
    return doubts(address_of(consignee)) if consignee.country else ()
