"""Effectiveness checks of a case: draws among its consignees, and what these said."""

from __future__ import annotations

from typing import Final

from django.db import models
from django.db.models import Q

from dispatch.domain.effectiveness import OWN_SHARES, Level
from dispatch.models.cases import Case
from dispatch.models.consignees import Consignee
from kitting.models.base import Guarded, check, once, word_field

LONGEST_SAID_BY: Final = 80
LONGEST_NOTE: Final = 200


class EffectCheck(Guarded):
    """A draw of those consignees of a case that are asked whether the recall reached them."""

    case = models.ForeignKey(
        Case, on_delete=models.PROTECT, related_name="effect_checks"
    )
    level = word_field(Level)
    share = models.PositiveSmallIntegerField()
    """Per cent of the consignees, rounded up."""
    seed = models.CharField(max_length=32)
    """Decides the order of the draw; see ``in_order``."""

    class Meta:
        default_permissions = ()
        constraints = [
            check(
                "dispatch_effectcheck_share",
                Q(level=Level.A, share=100)
                | Q(level=Level.B, share__range=(OWN_SHARES[0], OWN_SHARES[-1]))
                | Q(level=Level.C, share=10)
                | Q(level=Level.D, share=2)
                | Q(level=Level.E, share=0),
            )
        ]

    def __str__(self) -> str:
        return f"effectiveness check of case {self.case_id}"


class EffectConsignee(Guarded):
    """A consignee among which a check was drawn, with its place in the draw."""

    check_of = models.ForeignKey(
        EffectCheck,
        on_delete=models.PROTECT,
        related_name="consignees",
        db_index=False,
    )
    consignee = models.ForeignKey(Consignee, on_delete=models.PROTECT, related_name="+")
    nth = models.PositiveIntegerField()
    drawn = models.BooleanField()
    """Whether it is to be asked: the first ones are."""

    class Meta:
        default_permissions = ()
        constraints = [
            once("dispatch_effectconsignee_nth", "check_of", "nth"),
            once("dispatch_effectconsignee_once", "check_of", "consignee"),
        ]

    def __str__(self) -> str:
        return f"consignee {self.consignee_id} in check {self.check_of_id}"


class EffectAnswer(Guarded):
    """What a consignee that was drawn said; the newest of several counts."""

    of = models.ForeignKey(
        EffectConsignee, on_delete=models.PROTECT, related_name="answers"
    )
    got = models.BooleanField()
    """Whether it received the notice."""
    understood = models.BooleanField()
    acted = models.BooleanField()
    said_by = models.CharField(max_length=LONGEST_SAID_BY)
    """Who said so, as written."""
    note = models.CharField(max_length=LONGEST_NOTE, blank=True)

    class Meta:
        default_permissions = ()
        constraints = [check("dispatch_effectanswer_has_who", ~Q(said_by=""))]

    def __str__(self) -> str:
        return f"answer {self.pk} of consignee {self.of_id}"
