"""A part with lots to look at on the pages of inspection, and short ways to them."""

from __future__ import annotations

import uuid
from typing import Any

from django.urls import reverse

from kitting.checking.services import checks
from kitting.lots.services.lots import NewBag
from kitting.models import Lot, Part
from tests import factories

SOURCE = "Print bench"
OF = f"?part=HB&source={SOURCE}"


def make_sampled_part() -> Part:
    """A sampled part with a lot of each fate: HB-1 rejected, HB-2 waiting."""
    part = factories.make_part(
        code="HB", name="Headband", sampled=True, aql_major=1_000, aql_minor=2_500
    )
    revision = factories.make_revision(part)
    kind = factories.make_kind(code="SCR", name="Scratched")
    lot = factories.make_lot(revision, number="HB-1", bags=(NewBag(60), NewBag(40)))
    checks.give_verdict(
        lot_id=lot.pk,
        accept=False,
        defects=[(kind.pk, 3)],
        found=1,
        reason="Scratched",
        sign=factories.sign(),
    )
    factories.make_lot(revision, number="HB-2", bags=(NewBag(300), NewBag(201)))
    return part


def lot_of(number: str) -> Lot:
    return Lot.objects.get(number=number)


def address(name: str, *args: str, query: str = "") -> str:
    return reverse(f"kitting:{name}", args=args) + query


def values(**changes: Any) -> dict[str, Any]:
    return {"op_key": str(uuid.uuid4()), "password": "pass", **changes}
