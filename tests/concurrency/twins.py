"""Unlocked twins of what the project does under locks, to show that the races are real.

They are what the code would be without ``lock_head`` and ``lock_rows``: the same reads
and writes, no lock; all meet between reading and writing, which is the race. Nothing
outside the control tests uses them.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from uuid import uuid4

from django.db import transaction

from kitting.ledger.operations import FORM, link_hash
from kitting.models import Bag, Hold, JournalHead, Link, Operation, User, Workshop
from tests.factories import NOW

Meet = Callable[[], object]


def act_without_the_head_lock(by: User, meet: Meet) -> int:
    """Seal one empty operation after the link that was newest when it looked.

    The uniqueness of a link's number would stop the second of two that read the same
    head; the twin numbers its links by a key of its own and so shows the fork.
    """
    with transaction.atomic(durable=True):
        site = Workshop.objects.get(pk=1).site
        operation = Operation.objects.create(
            site=site,
            key=uuid4().bytes,
            name="twin",
            mark=bytes(32),
            by=by,
            by_name=str(by),
            at=NOW,
        )
        head = JournalHead.objects.get(site=site)
        meet()
        seq = head.seq + 1
        outcome = json.dumps({})
        digest = link_hash(bytes(head.hash), seq, operation, outcome, [])
        link = Link.objects.create(
            operation=operation,
            site=site,
            seq=operation.pk,
            form=FORM,
            outcome=outcome,
            hash=digest,
        )
        JournalHead.objects.filter(pk=head.pk).update(seq=seq, hash=digest)
    return link.pk


def hold_without_the_gate(
    by: User, lot_id: int, look: Callable[[], int], meet: Meet
) -> int:
    """Hold a lot, and look what it reaches, without shutting the gate to others."""
    with transaction.atomic(durable=True):
        operation = Operation.objects.create(
            site=Workshop.objects.get(pk=1).site,
            key=uuid4().bytes,
            name="twin",
            mark=bytes(32),
            by=by,
            by_name=str(by),
            at=NOW,
        )
        Hold.objects.create(lot_id=lot_id, reason="Twin", operation=operation)
        seen = look()
        meet()
    return seen


def take_one_piece_without_the_row_lock(bag_id: int, meet: Meet) -> int:
    """Take one piece out of a bag by read, subtract, save."""
    with transaction.atomic(durable=True):
        bag = Bag.objects.get(pk=bag_id)
        meet()
        bag.pieces -= 1
        bag.save(update_fields=["pieces"])
    return bag.pieces


def lock_in_any_order(first: int, second: int, meet: Meet) -> None:
    """Lock bags one by one in the order in which they were named."""
    with transaction.atomic(durable=True):
        Bag.objects.select_for_update(no_key=True).get(pk=first)
        meet()
        Bag.objects.select_for_update(no_key=True).get(pk=second)
