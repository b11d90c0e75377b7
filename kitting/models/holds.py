"""Holds: a stop on a thing and on everything derived from it."""

from __future__ import annotations

from functools import reduce
from operator import or_

from django.db import models
from django.db.models import Q

from kitting.models.base import Guarded, check

TARGETS = ("lot", "bag", "run", "box", "revision", "method", "source", "protocol")
"""What a hold can stand on; exactly one of them."""


def _exactly_one() -> Q:
    """Exactly one of the targets is set."""
    return reduce(
        or_,
        (
            Q(**{f"{name}__isnull": name != chosen for name in TARGETS})
            for chosen in TARGETS
        ),
    )


def _target(model: str) -> models.ForeignKey[models.Model | None, models.Model | None]:
    return models.ForeignKey(
        model, on_delete=models.PROTECT, null=True, blank=True, related_name="holds"
    )


class Hold(Guarded):
    """A stop: nothing that it reaches is packed or sent."""

    lot = _target("kitting.Lot")
    bag = _target("kitting.Bag")
    run = _target("kitting.Run")
    box = _target("kitting.Box")
    revision = _target("kitting.Revision")
    method = _target("kitting.Method")
    source = models.CharField(max_length=60, null=True, blank=True)
    protocol = _target("kitting.Protocol")
    reason = models.CharField(max_length=200)

    class Meta:
        default_permissions = ()
        constraints = [
            check("kitting_hold_exactly_one_target", _exactly_one()),
            check("kitting_hold_has_a_reason", ~Q(reason="")),
        ]

    def __str__(self) -> str:
        return f"hold {self.pk}"


class Lift(Guarded):
    """The end of one hold."""

    hold = models.OneToOneField(Hold, on_delete=models.PROTECT, related_name="lift")
    reason = models.CharField(max_length=200)

    def __str__(self) -> str:
        return f"lift of hold {self.hold_id}"
