"""What tests of products, sizes and recipes begin with."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from typing import Any

import pytest
from django.urls import reverse

from kitting.domain.errors import LotwardError
from kitting.models import BoxSize, Operation, Product, Recipe, Revision
from kitting.products.services.products import ProductFacts, add_product
from kitting.products.services.recipes import add_recipe, put_in_force
from kitting.products.steps.recipes import LineFacts
from tests import factories
from tests.factories import sign


def at(act: str, *args: Any) -> str:
    return reverse(f"kitting:{act}", args=args)


def sent(**entered: Any) -> dict[str, Any]:
    return {"op_key": str(uuid.uuid4()), **entered}


def lines(
    *rows: tuple[Any, ...],
    count: int = 3,
    before: int = 0,
    pairs: Sequence[tuple[Any, Any]] = (),
) -> dict[str, Any]:
    """What a form sends: lines of revision, pieces, per and, where it is said, the only
    box size; pairs of two revisions.
    """
    found = {
        "line-TOTAL_FORMS": str(max(count, len(rows))),
        "line-INITIAL_FORMS": str(before),
        "pair-TOTAL_FORMS": str(max(3, len(pairs))),
        "pair-INITIAL_FORMS": "0",
    }
    for prefix, names, sent in (
        ("line", ("revision", "pieces", "per", "sets"), rows),
        ("pair", ("revision", "other"), pairs),
    ):
        for nth, row in enumerate(sent):
            for name, value in zip(names, row, strict=False):
                found[f"{prefix}-{nth}-{name}"] = str(value)
    return found


def product(code: str = "FS9", **facts: Any) -> Product:
    to = ProductFacts(**{"name": "Shield", **facts})
    add_product(code=code, to=to, sign=sign())
    return Product.objects.get(code=code)


def free(name: str = "Headband", code: str = "A") -> Revision:
    part = factories.make_part(name=name, needs_check=False, needs_clearing=False)
    return factories.make_revision(part, code)


def recipe(*rows: LineFacts, code: str = "FS9", force: bool = True) -> Recipe:
    made = add_recipe(product=code, lines=rows, sign=sign())
    if force:
        now = Recipe.objects.filter(product__code=code, in_force=True).first()
        seen = now.version if now else None
        put_in_force(product=code, version=made.version, seen=seen, sign=sign())
    return Recipe.objects.get(product__code=code, version=made.version)


def refused(call: Any, **values: Any) -> LotwardError:
    def state() -> list[Any]:
        models = (Product, BoxSize, Recipe)
        return [Operation.objects.count(), *(list(m.objects.values()) for m in models)]

    before = state()
    with pytest.raises(LotwardError) as caught:
        call(**values, sign=sign())
    assert state() == before
    return caught.value
