"""Tampering with effectiveness checks: who is asked, and by which seed."""

from __future__ import annotations

from dispatch.models import EffectAnswer, EffectCheck, EffectConsignee
from kitting.models import Link
from tests import factories
from tests.commands.tampering.ways import Named, change, link_of, remove, tamperer
from tests.ledgers import History


def _asked() -> EffectConsignee:
    return EffectConsignee.objects.get(drawn=True)


def _slip_in(row: EffectConsignee, name: str, nth: int) -> EffectConsignee:
    """Another consignee in the same draw."""
    made = factories.make_consignee(name)
    return EffectConsignee.objects.create(
        operation_id=row.operation_id,
        check_of_id=row.check_of_id,
        consignee=made,
        nth=nth,
        drawn=False,
    )


@tamperer
def effect_consignee_not_asked(history: History) -> list[Named]:
    row = _asked()
    change(row, drawn=False)
    answer = EffectAnswer.objects.earliest("pk")
    return [
        ("effect draws", EffectConsignee, row.pk),
        ("effect draws", EffectAnswer, answer.pk),
        ("chain", Link, link_of(row)),
    ]


@tamperer
def effect_consignee_at_another_place(history: History) -> list[Named]:
    row = _asked()
    change(row, nth=2)
    return [("effect draws", EffectCheck, row.check_of_id)]


@tamperer
def effect_consignee_that_is_another(history: History) -> list[Named]:
    row = _asked()
    change(row, consignee=factories.make_consignee("Nobody of the list"))
    return [("effect consignees", EffectCheck, row.check_of_id)]


@tamperer
def effect_consignee_of_another_act(history: History) -> list[Named]:
    row = _asked()
    change(row, operation=EffectAnswer.objects.earliest("pk").operation)
    return [("effect draws", EffectConsignee, row.pk)]


@tamperer
def effect_consignee_removed(history: History) -> list[Named]:
    row = EffectConsignee.objects.get(drawn=False)
    remove(row)
    return [
        ("effect draws", EffectCheck, row.check_of_id),
        ("effect consignees", EffectCheck, row.check_of_id),
    ]


@tamperer
def effect_check_by_another_seed(history: History) -> list[Named]:
    row = _asked()
    for nth in range(2, 8):
        _slip_in(row, "", nth)
    check = row.check_of
    change(check, seed="0")
    return [("effect draws", EffectCheck, check.pk), ("chain", Link, link_of(check))]
