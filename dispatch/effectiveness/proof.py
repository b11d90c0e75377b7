"""Effectiveness checks: drawn again from their seeds, among those that the lists name."""

from __future__ import annotations

from django.db.models import F, Max

from dispatch.domain.effectiveness import how_many, in_order
from dispatch.models import (
    CaseBox,
    EffectAnswer,
    EffectCheck,
    EffectConsignee,
    PassedOn,
    ShipmentBox,
)
from dispatch.receipts.proof import NEVER, same_then
from kitting.domain.stages import GONE
from kitting.ledger.proof import register
from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.streams import rows
from kitting.models import Lift

CHECK = EffectCheck._meta.db_table
CONSIGNEE = EffectConsignee._meta.db_table
ANSWER = EffectAnswer._meta.db_table


def draws(tally: Tally) -> None:
    """A check is drawn as its seed says, as many as its share; only these are asked.

    Args:
        tally: Where checks are counted and faults noted.
    """
    for pk, share, seed in rows(
        EffectCheck.objects.order_by("pk").values_list("pk", "share", "seed")
    ):
        tally.count += 1
        of = EffectConsignee.objects.filter(check_of=pk).order_by("nth")
        found = list(of.values_list("pk", "consignee__code", "nth", "drawn"))
        codes = [code for _pk, code, _nth, _drawn in found]
        right = in_order(seed, codes)
        tally.same(CHECK, pk, "It was drawn in another order.", right, codes)
        wanted = list(range(1, max(len(codes), 1) + 1))
        nths = [nth for _pk, _code, nth, _drawn in found]
        tally.same(CHECK, pk, "The places of its draw are not in a row.", wanted, nths)
        many = how_many(len(codes), share)
        for row, _code, nth, drawn in found:
            words = "A consignee was drawn otherwise than its place says."
            tally.same(CONSIGNEE, row, words, nth <= many, drawn)
    other = EffectConsignee.objects.exclude(operation=F("check_of__operation"))
    tally.each(CONSIGNEE, other, "It came into a draw by another act.")
    strange = EffectAnswer.objects.filter(of__drawn=False)
    tally.each(ANSWER, strange, "It is of one that was not drawn.", "drawn", "not")


def among(tally: Tally) -> None:
    """A check is drawn among all whom the list of its case names, and nobody else.

    Where something was lifted before, it must name those of the boxes that were listed
    since: of earlier ones some may have been free again.

    Args:
        tally: Where checks are counted and faults noted.
    """
    seq, same = "operation__link__seq", same_then(NEVER)
    for pk, case, at in rows(
        EffectCheck.objects.order_by("pk").values_list("pk", "case", seq)
    ):
        tally.count += 1
        listed = CaseBox.objects.filter(case=case, operation__link__seq__lt=at or 0)
        boxes = listed.values("box")
        gone = listed.filter(stage__in=GONE, consignee__isnull=False)
        frozen = gone.values_list("consignee", flat=True)
        lifts = Lift.objects.filter(hold__of_case__look__case=case)
        lifted = lifts.filter(operation__link__seq__lt=at or 0).aggregate(last=Max(seq))
        since = frozen.filter(operation__link__seq__gt=lifted["last"] or 0)
        sent = ShipmentBox.objects.filter(box__in=boxes)
        passed = PassedOn.objects.filter(box__in=boxes)
        in_it = EffectConsignee.objects.filter(check_of=pk)
        has = {same.get(one, one) for one in in_it.values_list("consignee", flat=True)}
        must = {same.get(one, one) for one in since}
        words = "Whom its list names is not in its draw."
        tally.same(CHECK, pk, words, [], sorted(must - has))
        sent_to = sent.values_list("shipment__consignee", flat=True)
        to = [*frozen, *sent_to, *passed.values_list("consignee", flat=True)]
        may = {same.get(one, one) for one in to}
        words = "Whom its list does not name is in its draw."
        tally.same(CHECK, pk, words, [], sorted(has - may))


register(
    ("effect draws", "checks", draws, EffectCheck, EffectConsignee, EffectAnswer),
    ("effect consignees", "checks", among, EffectCheck),
)
