"""A lot that was taken in by mistake is cancelled while nothing of it was used."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import transaction
from django.test import Client
from django.urls import reverse

from dispatch.trace.balance import balance_of
from kitting.disinfection.services import runs
from kitting.domain.errors import LotwardError
from kitting.ledger import holds, proof
from kitting.lots.queries.lots import bag_ends
from kitting.lots.services import cancelling, counts, lots
from kitting.lots.services.lots import NewBag
from kitting.lots.services.repack import repack
from kitting.lots.services.samples import send_to_test
from kitting.lots.services.scrap import scrap
from kitting.models import Bag, Lot, Movement, Operation, Revision, User
from kitting.packing.services import boxes
from tests import factories
from tests.assertions import (
    assert_page,
    assert_part,
    assert_problem,
    assert_sent_to_sign_in,
    text_of,
)
from tests.databases import guards_away
from tests.factories import sign

pytestmark = pytest.mark.django_db


@pytest.fixture
def lot() -> Lot:
    """A closed lot of two bags, 40 and 20 pieces."""
    return factories.make_lot(number="HB-1", bags=(NewBag(40), NewBag(20)))


@pytest.fixture
def checker(client_for: Any) -> Client:
    return client_for(factories.make_person("checker"))  # type: ignore[no-any-return]


def cancel(lot: Lot, **changes: Any) -> cancelling.Cancelled:
    values = {"reason": "Entered twice", "sign": sign(), **changes}
    done = cancelling.cancel_lot(lot_id=lot.pk, **values)
    lot.refresh_from_db()
    return done


def refused(lot: Lot, **changes: Any) -> str:
    before = Operation.objects.count(), Movement.objects.count(), lot.stage
    with pytest.raises(LotwardError) as caught:
        cancel(lot, **changes)
    lot.refresh_from_db()
    assert (Operation.objects.count(), Movement.objects.count(), lot.stage) == before
    return caught.value.code


def material(revision: Revision | None = None) -> Lot:
    """Spools of filament: two bags of 1 kg."""
    part = factories.make_part(unit="gram", needs_check=False, needs_clearing=False)
    return factories.make_lot(
        revision or factories.make_revision(part), bags=(NewBag(1000), NewBag(1000))
    )


# -- What it does ----------------------------------------------------------------------


@pytest.mark.smoke
@pytest.mark.parametrize("close", [True, False])
def test_the_pieces_count_as_not_received(close: bool) -> None:
    lot = factories.make_lot(bags=(NewBag(40), NewBag(20)), close=close)
    key = sign()
    done = cancel(lot, pieces=60, sign=key)
    assert cancel(lot, pieces=60, sign=key) == done
    assert (done.bags, done.pieces, lot.stage) == (2, 60, "cancelled")
    assert {bag.stage for bag in lot.bags.all()} == {"used_up"}
    moved = lot.movements.filter(kind="cancelled")
    assert {move.reason for move in moved} == {"Entered twice"}
    balance = balance_of(lot)
    assert (balance.received, balance.in_bags, balance.difference) == (0, 0, 0)
    assert factories.prove() == []


@pytest.mark.smoke
def test_the_material_is_back_in_its_bags() -> None:
    spools = material()
    lot = factories.make_lot(made_from=((spools.pk, 1300),))
    other = factories.make_lot(made_from=((spools.pk, 200),))
    assert cancel(lot).material == 2
    first, second = spools.bags.order_by("pk")
    assert (first.pieces, first.stage) == (1000, "cleared")
    assert (second.pieces, second.stage) == (800, "cleared")
    balance = balance_of(spools)
    assert (balance.made_into, balance.in_bags, balance.difference) == (200, 1800, 0)
    assert refused(other, pieces=99) == "pieces_differ"
    cancel(other)
    assert balance_of(spools).made_into == 0
    assert factories.prove() == []


@pytest.mark.parametrize("how", ["other lot", "other amount", "stands again"])
def test_prove_knows_what_came_back(how: str) -> None:
    lot = factories.make_lot(made_from=((material().pk, 300),))
    cancel(lot)
    back = Movement.objects.filter(corrects__isnull=False)
    factories.seal_set_up()
    with transaction.atomic():
        with guards_away():
            if how == "other lot":
                back.update(reason="HB-9")
            elif how == "other amount":
                back.update(pieces=299, delta=299)
            else:
                Lot.objects.filter(pk=lot.pk).update(stage="closed")
        found = {fault.check for fault in proof.prove()}
        transaction.set_rollback(True)
    assert "cancelled lots" in found


def test_only_what_the_lot_itself_used_comes_back() -> None:
    spools = material()
    revision = factories.make_revision()
    new = [
        factories.new_lot(revision, made_from=((spools.pk, grams),), close=True)
        for grams in (300, 500)
    ]
    one, _other = lots.take_in(lots=new, sign=sign()).lots
    cancel(Lot.objects.get(number=one))
    assert balance_of(spools).made_into == 500
    assert factories.prove() == []


def test_bags_that_were_moved_and_counted_are_cancelled_too(lot: Lot) -> None:
    first, second = lot.bags.order_by("pk")
    repack(bag_id=first.pk, pieces=10, sign=sign())
    counts.count_again(
        bag_id=second.pk, counted=18, counted_by="hand", reason="Torn", sign=sign()
    )
    assert cancel(lot).pieces == 58
    balance = balance_of(lot)
    assert (balance.received, balance.missing, balance.difference) == (2, 2, 0)
    assert factories.prove() == []


def test_a_cancelled_lot_takes_nothing_and_is_not_counted(lot: Lot) -> None:
    bag = lot.bags.earliest("pk")
    cancel(lot)
    assert refused(lot) == "lot_cancelled"
    new = factories.new_lot(lot.revision, lot_id=lot.pk)
    with pytest.raises(LotwardError, match="lot_closed"):
        lots.take_in(lots=[new], sign=sign())
    with pytest.raises(LotwardError, match="lot_cancelled"):
        counts.count_again(
            bag_id=bag.pk, counted=3, counted_by="hand", reason="Here", sign=sign()
        )


# -- What stops it ---------------------------------------------------------------------


def used(how: str, lot: Lot) -> None:
    """Use something of a lot, or have it checked."""
    bag = lot.bags.earliest("pk")
    if how == "checked":
        factories.accept(lot)
    elif how == "sampled":
        what = {"what_for": "Fit", "sent_to": "Ward"}
        send_to_test(bag_id=bag.pk, pieces=1, **what, sign=sign())
    elif how == "scrapped":
        scrap(bag_id=bag.pk, pieces=1, reason="Dropped", sign=sign())
    elif how == "held":
        holds.place_hold(target="bag", value=bag.pk, reason="Damp", sign=sign())
    else:
        factories.accept(lot)
        factories.make_lot(made_from=((lot.pk, 5),))


@pytest.mark.parametrize(
    ("how", "code"),
    [
        ("checked", "lot_was_checked"),
        ("sampled", "lot_is_used"),
        ("scrapped", "lot_is_used"),
        ("held", "lot_held"),
        ("made into", "lot_was_checked"),
    ],
)
def test_what_was_used_checked_or_held_stays(how: str, code: str, lot: Lot) -> None:
    used(how, lot)
    assert refused(lot) == code


def test_what_went_on_the_line_or_into_a_box_stays() -> None:
    revision = factories.make_revision(factories.make_part(needs_check=False))
    lot = factories.make_lot(revision)
    run = factories.open_run(factories.make_protocol(revision))
    runs.put_on(run_id=run.pk, bag_id=lot.bags.get().pk, sign=sign())
    assert refused(lot) == "lot_is_used"
    box = factories.make_closed_box()
    assert refused(box.lines.get().lot) == "lot_is_used"
    unpacked = factories.make_bag(pieces=9)
    bench = factories.make_bench().pk
    boxes.bring_bag(bench_id=bench, bag_id=unpacked.pk, sign=sign())
    assert cancel(unpacked.lot).pieces == 9
    assert factories.prove() == []


def test_material_that_was_cleared_anew_takes_nothing_back() -> None:
    revision = factories.make_revision(factories.make_part(needs_check=False))
    stock = factories.make_lot(revision, bags=(NewBag(50),))
    lot = factories.make_lot(made_from=((stock.pk, 10),))
    run = factories.open_run(factories.make_protocol(revision))
    bag = stock.bags.get()
    factories.expose(run, bag)
    factories.close_run(run)
    assert refused(lot) == "material_moved_on"


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"reason": " "}, "reason_missing"),
        ({"reason": "x" * 201}, "entry_too_long"),
        ({"pieces": 59}, "pieces_differ"),
    ],
)
def test_what_makes_no_sense_is_refused(
    changes: dict[str, Any], code: str, lot: Lot
) -> None:
    assert refused(lot, **changes) == code


# -- On the page -----------------------------------------------------------------------

PAGE = reverse("kitting:lot-cancel", args=["HB-1"])


def values(**changes: str) -> dict[str, str]:
    key = str(sign().key)
    return {"op_key": key, "pieces": "60", "reason": "Entered twice", **changes}


@pytest.mark.smoke
def test_a_checker_cancels_a_lot_once(
    lot: Lot, checker: Client, hx: dict[str, str]
) -> None:
    there = reverse("kitting:lot-detail", args=["HB-1"])
    assert PAGE in text_of(checker.get(there))
    assert_page(checker.get(PAGE))
    assert_part(checker.get(PAGE, headers=hx), "lot-cancel")
    assert "60\N{NO-BREAK SPACE}pieces" in text_of(checker.get(PAGE))
    sent = values()
    for _ in range(2):
        assert checker.post(PAGE, sent).headers["Location"] == there
    page = text_of(checker.get(there))
    assert "the lot is cancelled" in page
    assert "40 cancelled, taken in by mistake" in page
    assert PAGE not in page


@pytest.mark.smoke
def test_who_may_not_take_in_may_not_cancel(
    lot: Lot, client: Client, client_for: Any, outsider: User, checker: Client
) -> None:
    assert_sent_to_sign_in(client.get(PAGE))
    for person in (outsider, factories.make_person("packer")):
        assert client_for(person).post(PAGE, values()).status_code == 403
    assert checker.get(PAGE.replace("HB-1", "HB-2")).status_code == 404
    assert_problem(checker.post(PAGE, values(reason="")), "required")
    response = checker.post(PAGE, values(pieces="59"))
    assert_problem(response, "pieces_differ", status=409)
    lot.refresh_from_db()
    assert lot.stage == "closed"


# -- A lot that ended -------------------------------------------------------------------


def test_a_lot_that_ended_says_what_each_bag_came_to(checker: Client) -> None:
    revision = factories.make_revision(
        factories.make_part(needs_check=False, needs_clearing=False)
    )
    lot = factories.make_lot(revision, bags=(NewBag(40), NewBag(6)))
    first, second = lot.bags.order_by("pk")
    there = reverse("kitting:lot-detail", args=[lot.number])
    new = Bag.objects.get(number=repack(bag_id=first.pk, pieces=9, sign=sign()).into[0])
    scrap(bag_id=first.pk, pieces=31, reason="Dropped", sign=sign())
    scrap(bag_id=new.pk, pieces=9, reason="Dropped", sign=sign())
    assert "What each bag came to" not in text_of(checker.get(there))
    size = factories.make_size(factories.make_recipe([(revision, 1, "set")]), 6)
    factories.make_open_box(size, None, second)
    ends = {end.number: (end.came, dict(end.went)) for end in bag_ends(lot)}
    assert ends == {
        first.number: (40, {"repacked into other bags": 9, "scrapped": 31}),
        second.number: (6, {"packed into boxes": 6}),
        new.number: (9, {"scrapped": 9}),
    }
    page = text_of(checker.get(there))
    assert "What each bag came to" in page
    assert "9 repacked into other bags; 31 scrapped" in " ".join(page.split())
