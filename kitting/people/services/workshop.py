"""The workshop's own particulars, which stand on every label."""

from __future__ import annotations

from dataclasses import dataclass
from zoneinfo import available_timezones

from kitting.domain import gs1
from kitting.domain.errors import Refused
from kitting.labels.postal import country_name
from kitting.ledger import locking
from kitting.ledger.operations import Act, Sign, perform
from kitting.models import Workshop


@dataclass(frozen=True)
class Particulars:
    """Who makes the goods, as it will stand on labels from now on."""

    name: str
    address: str
    time_zone: str
    gs1_prefix: str
    country: str
    """Two capitals, as in ISO 3166-1."""


def change_workshop(*, to: Particulars, sign: Sign) -> Particulars:
    """Change the workshop's name, address, country, time zone and GS1 company prefix.

    Boxes that have their identity keep it; labels printed again show the new name.

    Args:
        to: The new particulars; the prefix and the country may be empty.
        sign: Who, when and the operation key.

    Returns:
        The particulars as they stand now.

    Raises:
        CodeError: ``gs1_prefix`` for a prefix that is none, ``country_unknown``.
        Refused: ``name_missing``, ``time_zone_unknown``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Particulars:
        workshop = locking.lock_row(Workshop, act.workshop.pk)
        if not to.name.strip():
            raise Refused("name_missing")
        if to.time_zone not in available_timezones():
            raise Refused("time_zone_unknown", read=to.time_zone)
        if to.gs1_prefix:
            gs1.sscc(to.gs1_prefix, 1)
        if to.country:
            country_name(to.country)
        workshop.name = to.name.strip()
        workshop.address = to.address.strip()
        workshop.country = to.country
        workshop.time_zone = to.time_zone
        workshop.gs1_prefix = to.gs1_prefix
        workshop.save(update_fields=list(vars(to)))
        return Particulars(
            name=workshop.name,
            address=workshop.address,
            time_zone=workshop.time_zone,
            gs1_prefix=workshop.gs1_prefix,
            country=workshop.country,
        )

    return perform("change_workshop", work, Particulars, sign, **vars(to))
