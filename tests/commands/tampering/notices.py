"""Tampering with what is said of those who were told of a case."""

from __future__ import annotations

from dispatch.models import CallUndone, CaseCall, Consignee
from kitting.models import Link
from tests.commands.tampering.ways import Named, change, link_of, remove, tamperer
from tests.ledgers import History


@tamperer
def call_to_whom_the_case_does_not_reach(history: History) -> list[Named]:
    row = CaseCall.objects.latest("pk")
    change(row, consignee=Consignee.objects.create(code="ELSE", name="Else"))
    return [("case calls", CaseCall, row.pk), ("chain", Link, link_of(row))]


@tamperer
def call_that_reached_another(history: History) -> list[Named]:
    row = CaseCall.objects.latest("pk")
    change(row, spoke_to="Somebody else")
    return [("chain", Link, link_of(row))]


@tamperer
def call_that_is_good_again(history: History) -> list[Named]:
    row = CallUndone.objects.latest("pk")
    remove(row)
    return [("chain", Link, link_of(row))]
