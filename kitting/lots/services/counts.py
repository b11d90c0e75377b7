"""Counting bags again: by hand, by machine, in stacks, or by weight."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from decimal import Decimal
from math import ceil

from kitting.domain import masses, weighing
from kitting.domain.entries import Weighing
from kitting.domain.errors import Refused
from kitting.ledger.operations import Act, Sign, perform
from kitting.lots.steps.counts import Counted, Decided, known_way, lock_bag, recount
from kitting.lots.steps.intake import MOST_PIECES
from kitting.models import Bag, Count, Part
from kitting.models.catalogue import Unit
from kitting.models.lots import CountedBy

__all__ = ["Counted", "Weighed", "count_again", "count_by_weight", "weigh"]


@dataclass(frozen=True)
class Weighed:
    """A count by weight, before it is taken."""

    pieces: int
    sd: float
    """Standard deviation of the count in pieces."""
    trusted: bool
    """The count holds to the piece."""
    fits: bool
    """False where the mass is that of no whole number of pieces."""
    piece_g: Decimal
    """Mean mass of one piece, rounded to 0.1 mg."""
    most: int
    """The largest count that this scale and reference can be trusted with."""
    likely: tuple[Decimal, Decimal] | None = None
    """Lowest and highest mass in g to be expected of one piece; None if not known."""

    @property
    def unlike(self) -> bool:
        """Whether the pieces of the reference weigh otherwise than the part's."""
        return self.likely is not None and not (
            self.likely[0] <= self.piece_g <= self.likely[1]
        )


def weigh(weighed: Weighing, part: Part | None = None) -> Weighed:
    """Work out a count by weight; writes nothing.

    Args:
        weighed: What the scale showed.
        part: What the pieces should be, for the mass to be expected of one.

    Returns:
        Piece mass, count, its uncertainty and the largest count to trust.

    Raises:
        Refused: ``pieces_not_positive``, ``pieces_out_of_range`` for the reference,
            ``gross_below_tare``, ``weighed_out_of_range``, ``mass_out_of_range``,
            ``spread_out_of_range`` or ``scale_out_of_range``.
    """
    if weighed.reference_pieces > MOST_PIECES:
        raise Refused(
            "pieces_out_of_range", read=weighed.reference_pieces, most=MOST_PIECES
        )
    grams = weighing.grams
    scale_u = grams(weighed.scale_u_mg)
    known = (weighed.reference_pieces, grams(weighed.reference_mg), scale_u)
    spread = grams(weighed.spread_mg)
    count = weighing.count_by_weight(
        grams(weighed.gross_mg),
        grams(weighed.tare_mg),
        *known,
        spread,
        reference_u_g=scale_u,
    )
    most = weighing.largest_trusted(*known, spread, reference_u_g=scale_u)
    piece_g = grams(weighed.reference_mg) / weighed.reference_pieces
    return Weighed(
        pieces=count.pieces,
        sd=count.sd,
        trusted=count.trusted,
        fits=count.fits,
        piece_g=round(piece_g, 4),
        most=most,
        likely=_likely(weighed, part),
    )


def _likely(weighed: Weighing, part: Part | None) -> tuple[Decimal, Decimal] | None:
    if part is None or not part.mass_mg:
        return None
    return masses.piece_range(
        weighing.grams(part.mass_mg),
        weighing.grams(part.spread_mg or 0),
        reference_pieces=weighed.reference_pieces,
        scale_u_g=weighing.grams(weighed.scale_u_mg),
    )


def count_again(
    *,
    bag_id: int,
    counted: int,
    counted_by: str,
    reason: str,
    sign: Sign,
    stacks: tuple[int, int] | None = None,
    moves: int | None = None,
    found: str = "",
    checker_id: int | None = None,
) -> Counted:
    """Take a count of a bag; a difference is found or missing pieces.

    Args:
        bag_id: The bag, of any stage but on the line; what is found in a used up one
            brings it back to the stage it had.
        counted: Pieces, or g or mm, that are in it; 0 where all is missing.
        counted_by: hand, machine or stack; by weight there is ``count_by_weight``.
        reason: Why it differs; may be empty where it does not.
        sign: Who, when and the operation key.
        stacks: For stack: full stacks and the pieces in each; the rest lay loose.
        moves: How many movements the bag had when it was shown; None takes any.
        found: What becomes of pieces that are found in a cleared bag: scrapped, or
            kept on the word of a checker.
        checker_id: The other person, a checker, who confirms that they stay.

    Returns:
        The count before and now, and the boxes that were filled from the bag.

    Raises:
        Conflict: ``bag_moved_since``.
        Missing: If there is no such bag.
        Refused: ``counted_out_of_range``, ``counting_way_unknown``,
            ``entry_too_long``, ``exposed_bag_emptied``, ``found_undecided``,
            ``found_needs_a_checker``, ``found_own``, ``reason_missing``,
            ``stacks_hold_more``, ``stacks_missing``, ``weigh_to_count``.
        WrongStage: If the bag is on the line.
        OperationKeyReused: If the key was used for another act.
    """
    decided = Decided(found, checker_id)

    def work(act: Act) -> Counted:
        way = known_way(counted_by)
        if way is CountedBy.WEIGHT:
            raise Refused("weigh_to_count")
        row = Count(counted_by=way, counted=counted, reason=reason)
        if way is CountedBy.STACK:
            row.stacks, row.stack_pieces = _stacked(stacks, counted)
        return recount(act, lock_bag(bag_id, moves), row, decided)

    return perform(
        "count_again",
        work,
        Counted,
        sign,
        bag=bag_id,
        counted=counted,
        counted_by=counted_by,
        reason=reason,
        stacks=stacks,
        moves=moves,
        **asdict(decided),
    )


def _stacked(stacks: tuple[int, int] | None, counted: int) -> tuple[int, int]:
    if stacks is None or min(stacks) < 1:
        raise Refused("stacks_missing")
    many, each = stacks
    if many * each > counted:
        raise Refused("stacks_hold_more", stacks=many, each=each, counted=counted)
    return stacks


def count_by_weight(
    *,
    bag_id: int,
    weighed: Weighing,
    reason: str,
    sign: Sign,
    sure: bool = False,
    other_mass: bool = False,
    moves: int | None = None,
    found: str = "",
    checker_id: int | None = None,
) -> Counted:
    """Take a count by weight; one that cannot be trusted only on somebody's word.

    A reference whose pieces weigh otherwise than the part's is asked about: most often
    it was counted wrong, weighed with its container, or is of another part.

    Args:
        bag_id: The bag; of a part that is counted in pieces.
        weighed: What the scale showed.
        reason: Why the count differs, or why an uncertain one is taken.
        sign: Who, when and the operation key.
        sure: Take a count that is not trusted to the piece; needs a reason.
        other_mass: Somebody has looked: these are the pieces, though they weigh
            otherwise than the part by the set-up.
        moves: How many movements the bag had when it was shown; None takes any.
        found: What becomes of pieces that are found in a cleared bag: scrapped, or
            kept on the word of a checker.
        checker_id: The other person, a checker, who confirms that they stay.

    Returns:
        The count before and now, and the boxes that were filled from the bag.

    Raises:
        Conflict: ``bag_moved_since``.
        Missing: If there is no such bag.
        Refused: ``count_not_trusted``, ``not_in_pieces``, ``piece_mass_differs``,
            ``reason_missing``, and what ``weigh`` and ``count_again`` refuse.
        WrongStage: If the bag is on the line.
        OperationKeyReused: If the key was used for another act.
    """
    decided = Decided(found, checker_id)

    def work(act: Act) -> Counted:
        bag = lock_bag(bag_id, moves)
        _need_pieces(bag)
        result = weigh(weighed, bag.lot.part)
        if result.unlike and not other_mass:
            raise _unlike(result, bag.lot.part)
        if not result.trusted:
            if not sure:
                raise Refused(
                    "count_not_trusted", pieces=result.pieces, most=result.most
                )
            if not reason.strip():
                raise Refused("reason_missing")
        row = Count(
            counted_by=CountedBy.WEIGHT,
            counted=result.pieces,
            sd_millipieces=ceil(result.sd * 1000),
            reason=reason,
            **asdict(weighed),
        )
        return recount(act, bag, row, decided)

    return perform(
        "count_by_weight",
        work,
        Counted,
        sign,
        bag=bag_id,
        weighed=asdict(weighed),
        reason=reason,
        sure=sure,
        other_mass=other_mass,
        moves=moves,
        **asdict(decided),
    )


def _unlike(result: Weighed, part: Part) -> Refused:
    low, high = result.likely or (None, None)
    return Refused(
        "piece_mass_differs",
        part=part.name,
        read=result.piece_g,
        known=weighing.grams(part.mass_mg or 0),
        low=low,
        high=high,
    )


def _need_pieces(bag: Bag) -> None:
    part = bag.lot.part
    if part.unit != Unit.PIECE:
        raise Refused("not_in_pieces", bag=bag.number, part=part.name, unit=part.unit)
