"""The part of a small workshop's history in which a source goes to reduced inspection."""

from __future__ import annotations

from kitting.checking.services import checks, switching
from kitting.lots.services.lots import NewBag
from tests import factories
from tests.factories import sign

SOURCE = "Print bench"


def reduce_one() -> None:
    """Ten lots accepted, a decision, and a lot that passes but ends it.

    500 pieces, level II, AQL 1.0: letter H, 50 pieces 1/2; reduced 20 pieces 0/2
    (MIL-STD-105E, Tables II-A and II-C).
    """
    revision = factories.sampled_revision()
    for _ in range(10):
        factories.accept(factories.make_lot(revision, bags=(NewBag(500),)))
    of = switching.Target(revision.part_id, SOURCE, "major")
    switching.reduce_inspection(of=of, steady=True, reason="Good", sign=sign())
    lot = factories.make_lot(revision, bags=(NewBag(500),))
    checks.give_verdict(lot_id=lot.pk, accept=True, found=1, sign=sign())
