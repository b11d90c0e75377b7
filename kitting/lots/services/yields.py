"""Setting what a material gives at most."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from kitting.domain.errors import Refused
from kitting.ledger import locking
from kitting.ledger.needs import need_row
from kitting.ledger.operations import Act, Sign, perform
from kitting.models import Part, Yield

MOST: Final = 10_000_000
"""Pieces or amount of a yield: what one bag holds at most."""


@dataclass(frozen=True)
class YieldSet:
    """A yield as it stands now, and as it stood before."""

    part: str
    material: str
    pieces: int
    """0 if the yield was taken out."""
    amount: int
    before_pieces: int
    """0 if there was none."""
    before_amount: int


def set_yield(
    *, part_id: int, material_id: int, pieces: int, amount: int, sign: Sign
) -> YieldSet:
    """Say that an amount of a material gives at most so many pieces of a part.

    Lots that are in already are compared with it from now on, and none is refused.

    Args:
        part_id: The part that is made.
        material_id: What it is made from: a raw material or another part.
        pieces: From 1 to ``MOST``.
        amount: From 1 to ``MOST``, in the material's unit.
        sign: Who, when and the operation key.

    Returns:
        The yield, now and before.

    Raises:
        Missing: ``row_missing`` if there is no such part.
        Refused: ``yield_of_itself``, ``yield_out_of_range``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> YieldSet:
        parts = locking.lock_rows(Part, [part_id, material_id])
        part, material = parts[part_id], parts[material_id]
        if part.pk == material.pk:
            raise Refused("yield_of_itself", part=part.name)
        for read in (pieces, amount):
            if not 1 <= read <= MOST:
                raise Refused("yield_out_of_range", read=read, most=MOST)
        known = Yield.objects.filter(part=part, material=material).first()
        Yield.objects.update_or_create(
            part=part,
            material=material,
            defaults={"pieces": pieces, "amount": amount},
        )
        return YieldSet(
            part=part.code,
            material=material.code,
            pieces=pieces,
            amount=amount,
            before_pieces=known.pieces if known else 0,
            before_amount=known.amount if known else 0,
        )

    return perform(
        "set_yield",
        work,
        YieldSet,
        sign,
        part=part_id,
        material=material_id,
        pieces=pieces,
        amount=amount,
    )


def drop_yield(*, yield_id: int, sign: Sign) -> YieldSet:
    """Take a yield out: lots of that part and material are not questioned any more.

    Args:
        yield_id: The yield.
        sign: Who, when and the operation key.

    Returns:
        The yield as it stood.

    Raises:
        Missing: ``row_missing`` if there is no such yield.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> YieldSet:
        known = Yield.objects.filter(pk=yield_id).select_related("part", "material")
        row = need_row(known)
        row.delete()
        return YieldSet(
            part=row.part.code,
            material=row.material.code,
            pieces=0,
            amount=0,
            before_pieces=row.pieces,
            before_amount=row.amount,
        )

    return perform("drop_yield", work, YieldSet, sign, which=yield_id)
