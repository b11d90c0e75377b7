"""Pieces that go to a laboratory or another test, and what comes back for them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from kitting.domain.errors import Refused, WrongStage
from kitting.domain.stages import COUNTABLE, MovementKind
from kitting.ledger import locking
from kitting.ledger.needs import need_length, need_row, need_text
from kitting.ledger.operations import Act, Sign, perform
from kitting.lots.steps.bags import Change, change, need_stage, save_bags
from kitting.lots.steps.counts import close_emptied, lock_bag, refuse_emptying
from kitting.lots.steps.intake import MOST_PIECES
from kitting.models import Bag, Sample, SampleResult

LONGEST: Final = {"purpose": 120, "laboratory": 80, "result": 200, "document": 120}
"""Characters of a sample's texts, as the columns take them."""


@dataclass(frozen=True)
class SentToTest:
    """Pieces that left a bag for a test."""

    sample_id: int
    bag: str
    pieces: int
    left: int


@dataclass(frozen=True)
class Known:
    """A sample whose result is known."""

    sample_id: int
    bag: str
    lot: str


def send_to_test(
    *, bag_id: int, pieces: int, what_for: str, sent_to: str, sign: Sign
) -> SentToTest:
    """Take pieces out of a bag for a test; they do not come back.

    Args:
        bag_id: The bag, of any stage but on the line; a held one too.
        pieces: How many, 1 or more; in the unit of its part.
        what_for: What they are tested for.
        sent_to: To whom they go.
        sign: Who, when and the operation key.

    Returns:
        The sample and what is left in the bag.

    Raises:
        Missing: If there is no such bag.
        NotEnoughPieces: If the bag has fewer.
        Refused: ``entry_missing``, ``entry_too_long``, ``exposed_bag_emptied``,
            ``pieces_out_of_range``.
        WrongStage: If the bag is on the line.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> SentToTest:
        purpose = need_text("purpose", what_for, LONGEST["purpose"])
        whom = need_text("laboratory", sent_to, LONGEST["laboratory"])
        if not 1 <= pieces <= MOST_PIECES:
            raise Refused("pieces_out_of_range", read=pieces, most=MOST_PIECES)
        bag = lock_bag(bag_id, None)
        need_stage(bag, *COUNTABLE)
        if pieces == bag.pieces:
            refuse_emptying(bag, pieces)
        movement = change(
            bag, Change(MovementKind.SAMPLED, pieces, sign=-1, reason=purpose)
        )
        save_bags([bag])
        close_emptied(bag)
        sample = Sample(bag=bag, pieces=pieces, what_for=purpose, sent_to=whom)
        act.write(sample, movement)
        return SentToTest(sample.pk, bag.number, pieces, bag.pieces)

    return perform(
        "send_to_test",
        work,
        SentToTest,
        sign,
        bag=bag_id,
        pieces=pieces,
        what_for=what_for,
        sent_to=sent_to,
    )


def record_result(*, sample_id: int, result: str, document: str, sign: Sign) -> Known:
    """Record what came back for a sample; once.

    Args:
        sample_id: The sample.
        result: What was found.
        document: Where it stands, such as a report's number; may be empty.
        sign: Who, when and the operation key.

    Returns:
        The sample, its bag and lot.

    Raises:
        Missing: If there is no such sample.
        Refused: ``entry_missing``, ``entry_too_long``.
        WrongStage: ``sample_has_a_result``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Known:
        found = need_text("result", result, LONGEST["result"])
        need_length("document", document.strip(), LONGEST["document"])
        sample = need_row(Sample.objects.filter(pk=sample_id))
        # The sample itself is guarded: its bag's lock lets one result in at a time.
        sample.bag = locking.lock_row(Bag, sample.bag_id, "lot")
        if SampleResult.objects.filter(sample=sample).exists():
            raise WrongStage("sample_has_a_result", bag=sample.bag.number)
        act.write(SampleResult(sample=sample, result=found, document=document.strip()))
        return Known(sample.pk, sample.bag.number, sample.bag.lot.number)

    return perform(
        "record_result",
        work,
        Known,
        sign,
        sample=sample_id,
        result=result,
        document=document,
    )
