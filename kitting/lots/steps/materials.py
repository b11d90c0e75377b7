"""Inner step of taking in: what a lot is made from leaves its bags."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from kitting.domain.errors import Missing, NotEnoughPieces, Refused
from kitting.domain.stages import BagStage, MovementKind
from kitting.ledger import locking
from kitting.ledger.reach import Reach, refuse_held_bag, standing_reach
from kitting.lots.steps.bags import Change, change, drop_used_up, save_bags
from kitting.models import Bag, Lot, LotOrigin, Movement

WASTE = "Cutting waste of "
"""How the reason begins with which waste is scrapped; the lot's number follows."""

USABLE = (BagStage.ACCEPTED, BagStage.CLEARED)
"""Stages of a bag of material that may be made into something."""


class Materials:
    """The lots that other lots are made from, with their bags, locked once."""

    def __init__(self, ids: Iterable[int]) -> None:
        """Lock the usable bags of the lots.

        Args:
            ids: The lots of material.

        Raises:
            Missing: ``row_missing`` if there is no such lot.
        """
        wanted = set(ids)
        self.lots = Lot.objects.in_bulk(wanted)
        if len(self.lots) != len(wanted):
            raise Missing("row_missing", what="lot")
        found = Bag.objects.filter(lot__in=wanted, stage__in=USABLE)
        locked = locking.lock_rows(Bag, found.values_list("pk", flat=True))
        usable = [bag for bag in locked.values() if bag.stage in USABLE]
        self.bags: dict[int, list[Bag]] = {pk: [] for pk in wanted}
        for bag in usable:
            self.bags[bag.lot_id].append(bag)
        self.reach: Reach = standing_reach() if wanted else Reach()
        self.changed: dict[int, Bag] = {}

    def use(
        self, lot: Lot, material_id: int, amount: int, waste: int
    ) -> tuple[LotOrigin, list[Movement]]:
        """Take material out of its bags, oldest first, for a lot made from it.

        Args:
            lot: The lot that is made; it has its number and id.
            material_id: The lot it is made from.
            amount: How much, in the material's unit.
            waste: How much of that was cut off: it is scrapped.

        Returns:
            The origin and the movements, not yet inserted; see ``save``.

        Raises:
            NotEnoughPieces: ``not_enough_material`` if the usable bags hold less.
            OnHold: If a bag that would be used is on hold.
            Refused: ``material_past_use_by`` if it was so on the day the lot was made.
        """
        material = self.lots[material_id]
        if material.use_by is not None and material.use_by < lot.made_on:
            raise Refused(
                "material_past_use_by",
                lot=material.number,
                use_by=material.use_by,
                made_on=lot.made_on,
            )
        here = sum(bag.pieces for bag in self.bags[material_id])
        if here < amount:
            short = amount - here
            raise NotEnoughPieces(
                "not_enough_material", lot=material.number, wanted=amount, short=short
            )
        used = amount - waste
        made = [
            *self._out(material_id, used, MovementKind.MADE_INTO, lot.number),
            *self._out(material_id, waste, MovementKind.SCRAPPED, WASTE + lot.number),
        ]
        origin = LotOrigin(lot=lot, from_lot=material, amount=used)
        origin.waste = waste or None
        return origin, made

    def _out(
        self, material_id: int, amount: int, kind: MovementKind, reason: str
    ) -> Iterator[Movement]:
        """Take an amount that is there out of bags, in memory."""
        for bag in self.bags[material_id]:
            taken = min(amount, bag.pieces)
            if not taken:
                continue
            refuse_held_bag(bag, self.reach)
            run = bag.cleared_run_id
            yield change(bag, Change(kind, taken, sign=-1, reason=reason, run_id=run))
            self.changed[bag.pk] = bag
            amount -= taken

    def save(self) -> None:
        """Write the bags that were used back; an emptied one is open nowhere."""
        if self.changed:
            save_bags(list(self.changed.values()))
            drop_used_up(self.changed.values())
