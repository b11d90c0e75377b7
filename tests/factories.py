"""Plain functions that make what tests need, through the services where history counts.

Defaults are fixed; codes and names are made unique by one counter.
"""

from __future__ import annotations

import itertools
import uuid
from datetime import UTC, date, datetime
from typing import Any

from django.contrib.auth.models import Group

from kitting.models import (
    Bag,
    Bench,
    BoxSize,
    Lot,
    Method,
    Part,
    Place,
    Product,
    Recipe,
    RecipeLine,
    Revision,
    User,
)
from kitting.models.catalogue import Per, PlaceKind
from kitting.operations import Sign
from kitting.services import checking, lots

NOW = datetime(2026, 1, 14, 4, 0, tzinfo=UTC)
TODAY = date(2026, 1, 14)

_numbers = itertools.count(1)


def unique(prefix: str) -> str:
    return f"{prefix}{next(_numbers)}"


def make_person(role: str = "manager", name: str = "") -> User:
    user = User.objects.create_user(username=name or unique("person"), password="pass")
    user.groups.add(Group.objects.get(name=role))
    return user


def sign(by: User | None = None, **changes: Any) -> Sign:
    values: dict[str, Any] = {"by": by, "key": uuid.uuid4(), "now": NOW, **changes}
    if values["by"] is None:
        values["by"] = User.objects.filter(username="tester").first() or make_person(
            name="tester"
        )
    return Sign(**values)


def make_part(**changes: Any) -> Part:
    code = unique("P")
    values = {"code": code, "name": f"Part {code}", **changes}
    return Part.objects.create(**values)


def make_revision(part: Part | None = None, code: str = "A") -> Revision:
    return Revision.objects.create(part=part or make_part(), code=code)


def make_method(**changes: Any) -> Method:
    return Method.objects.create(
        **{"code": unique("M"), "machine_group": "Printers", **changes}
    )


def make_place(kind: str = PlaceKind.SHELF) -> Place:
    code = unique("SH")
    return Place.objects.create(code=code, name=f"Place {code}", kind=kind)


def new_lot(revision: Revision, **changes: Any) -> lots.NewLot:
    values: dict[str, Any] = {
        "part_id": revision.part_id,
        "revision_id": revision.pk,
        "made_on": TODAY,
        "source": "Print bench",
        "bags": (lots.NewBag(pieces=100),),
        **changes,
    }
    return lots.NewLot(**values)


def make_lot(revision: Revision | None = None, **changes: Any) -> Lot:
    """A lot taken in through the service; closed unless told otherwise."""
    changes.setdefault("close", True)
    taken = lots.take_in(
        lots=[new_lot(revision or make_revision(), **changes)], sign=sign()
    )
    return Lot.objects.get(number=taken.lots[0])


def accept(lot: Lot) -> Lot:
    checking.give_verdict(
        lot_id=lot.pk, accept=True, plan="all", found=0, reason="", sign=sign()
    )
    lot.refresh_from_db()
    return lot


def make_bag(revision: Revision | None = None, pieces: int = 100, **part: Any) -> Bag:
    """A bag of a part that needs neither check nor clearing: cleared at once."""
    if revision is None:
        part = {"needs_check": False, "needs_clearing": False, **part}
        revision = make_revision(make_part(**part))
    lot = make_lot(revision, bags=(lots.NewBag(pieces=pieces),))
    return lot.bags.get()


def make_bench() -> Bench:
    code = unique("BN")
    place = Place.objects.create(code=code, name=f"Bench {code}", kind=PlaceKind.BENCH)
    return Bench.objects.create(code=code, name=f"Bench {code}", place=place)


def make_product(**changes: Any) -> Product:
    code = unique("FS")
    return Product.objects.create(**{"code": code, "name": f"Shield {code}", **changes})


def make_recipe(
    lines: list[tuple[Revision, int, str]] | None = None, **product: Any
) -> Recipe:
    """A recipe in force; lines are (revision, pieces, per set or box)."""
    recipe = Recipe.objects.create(product=make_product(**product), version=1)
    for revision, pieces, per in lines or [(_free_revision(), 1, Per.SET)]:
        RecipeLine.objects.create(
            recipe=recipe, part=revision.part, revision=revision, pieces=pieces, per=per
        )
    return recipe


def _free_revision() -> Revision:
    return make_revision(make_part(needs_check=False, needs_clearing=False))


def make_size(recipe: Recipe, sets: int = 6, **changes: Any) -> BoxSize:
    return BoxSize.objects.create(product=recipe.product, sets=sets, **changes)
