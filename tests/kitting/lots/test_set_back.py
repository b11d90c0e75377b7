"""A bag that was open for too long: its pieces are cleared again, with all they had."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone

from dispatch.trace.queries import trace
from kitting.checking.services.again import accept_again
from kitting.disinfection.services import runs, verdicts
from kitting.domain.errors import LotwardError, Refused
from kitting.ledger import holds
from kitting.ledger.reach import standing_reach
from kitting.lots.services import counts
from kitting.lots.services.blanks import give_out_numbers
from kitting.lots.services.lots import NewBag
from kitting.lots.services.repack import repack
from kitting.lots.services.set_back import SetBack, set_back
from kitting.models import Bag, Movement, OpenBag, Operation, Part, Run
from kitting.packing.services import boxes
from tests import factories
from tests.assertions import assert_problem, text_of
from tests.factories import NOW, sign
from tests.kitting.lots.test_repack import assert_kept, clear

pytestmark = pytest.mark.django_db

LATE = NOW + timedelta(hours=9)


def opened_bag(**part: Any) -> Bag:
    """A cleared bag of a part that may be open for eight hours, opened at ``NOW``."""
    made = factories.make_part(**{"open_hours": 8, **part})
    revision = factories.make_revision(made)
    lot = factories.make_lot(revision, bags=(NewBag(40),))
    if made.needs_check:
        factories.accept(lot)
    bag = lot.bags.get()
    if made.needs_clearing:
        clear(bag)
    bench = factories.make_bench()
    boxes.bring_bag(bench_id=bench.pk, bag_id=bag.pk, sign=sign())
    bag.refresh_from_db()
    return bag


def back(bag: Bag, now: datetime = LATE, **more: Any) -> tuple[SetBack, Bag]:
    done = set_back(bag_id=bag.pk, sign=sign(now=now), **more)
    bag.refresh_from_db()
    return done, Bag.objects.select_related("lot__part").get(number=done.into)


@pytest.mark.smoke
def test_all_pieces_are_accepted_in_a_new_bag_to_be_disinfected_again() -> None:
    bag = opened_bag()
    run = bag.cleared_run
    done, new = back(bag)
    assert (bag.pieces, bag.stage) == (0, "used_up")
    assert (new.pieces, new.stage, new.cleared_run) == (40, "accepted", None)
    assert (new.opened_at, new.place, new.container) == (None, bag.place, "tote")
    assert (done.pieces, done.stage) == (40, "accepted")
    assert not OpenBag.objects.filter(bag=bag).exists()
    kinds = Movement.objects.filter(bag=new).order_by("nth")
    assert list(kinds.values_list("kind", flat=True)) == ["repacked", "set_back"]
    assert [stay.run for stay in new.run_bags.all()] == [run]
    assert_kept(bag, 40)


def test_it_goes_through_a_run_again_and_is_packed_from() -> None:
    _done, new = back(opened_bag())
    protocol = factories.make_protocol(new.lot.revision)
    run = factories.open_run(protocol, sign=sign(now=LATE))
    runs.put_on(run_id=run.pk, bag_id=new.pk, sign=sign(now=LATE))
    after = factories.after_passes(run, LATE)
    runs.take_off(run_id=run.pk, bag_id=new.pk, sign=sign(now=after))
    verdicts.close_run(
        run_id=run.pk, readings=[(1, "top", 4_000)], sign=sign(now=after)
    )
    bench = factories.make_bench().pk
    boxes.bring_bag(bench_id=bench, bag_id=new.pk, sign=sign(now=after))
    new.refresh_from_db()
    assert (new.passes, new.opened_at) == (2, after)
    assert factories.prove() == []


def test_passes_and_dose_that_it_had_count_on() -> None:
    bag = opened_bag()
    had = bag.passes
    _done, new = back(bag)
    assert new.passes == had == 1
    at = sign(now=LATE)
    once = factories.make_protocol(new.lot.revision, max_passes=1)
    run = factories.open_run(once, sign=at)
    with pytest.raises(Refused) as worn:
        runs.put_on(run_id=run.pk, bag_id=new.pk, sign=sign(now=LATE))
    assert worn.value.code == "passes_over_most"
    # 4 mW/cm² for 333 s is 1.33 J/cm² a run: one is borne, two are not.
    Part.objects.filter(pk=new.lot.part_id).update(max_dose_uj_cm2=2_000_000)
    other = factories.make_protocol(new.lot.revision)
    run = factories.open_run(other, sign=sign(now=LATE))
    with pytest.raises(Refused) as dosed:
        runs.put_on(run_id=run.pk, bag_id=new.pk, sign=sign(now=LATE))
    assert dosed.value.code == "dose_over_largest"
    assert Run.objects.count() == 3


@pytest.mark.parametrize("needs_check", [True, False])
def test_it_stands_among_what_waits_for_a_check_until_it_was_looked_at(
    needs_check: bool, client_for, make_user
) -> None:
    checker = client_for(make_user("checker", group="checker"))

    def waiting() -> tuple[str, str]:
        at = reverse("kitting:lots") + "?verdict=waiting"
        return text_of(checker.get(at)), text_of(checker.get(reverse("kitting:day")))

    bag = opened_bag(needs_check=needs_check, needs_clearing=False)
    assert bag.lot.number not in waiting()[0]
    _done, new = back(bag)
    lots, day = waiting()
    assert f"bag {new.number} waiting" in lots
    assert "1 lot waits for its check." in day
    accept_again(bag_id=new.pk, reason="Clean", sign=sign(now=LATE))
    lots, day = waiting()
    assert bag.lot.number not in lots
    assert "waits for its check" not in day


@pytest.mark.parametrize("needs_check", [True, False])
def test_what_is_not_disinfected_waits_for_a_checker(needs_check: bool) -> None:
    """Also where a part needs no check: else its limit would mean nothing."""
    bag = opened_bag(needs_check=needs_check, needs_clearing=False)
    done, new = back(bag)
    assert (done.stage, new.stage) == ("arrived", "arrived")
    bench = factories.make_bench().pk
    with pytest.raises(LotwardError) as early:
        boxes.bring_bag(bench_id=bench, bag_id=new.pk, sign=sign(now=LATE))
    assert early.value.code == "bag_not_cleared"
    looked = accept_again(bag_id=new.pk, reason="Clean", sign=sign(now=LATE))
    assert looked.stage == "cleared"
    boxes.bring_bag(bench_id=bench, bag_id=new.pk, sign=sign(now=LATE))
    assert_kept(bag, 40)


@pytest.mark.parametrize("needs_check", [True, False])
@pytest.mark.parametrize("in_another", [False, True])
def test_no_count_and_no_repacking_takes_it_past_the_checker(
    needs_check: bool, in_another: bool
) -> None:
    bag = opened_bag(needs_check=needs_check, needs_clearing=False)
    _done, new = back(bag)
    late = {"reason": "Under the flap", "counted_by": "hand"}
    if in_another:
        moved = repack(bag_id=new.pk, pieces=40, sign=sign(now=LATE))
        new = Bag.objects.get(number=moved.into[0])
    for counted in (0, 40):
        counts.count_again(bag_id=new.pk, counted=counted, **late, sign=sign(now=LATE))
    new.refresh_from_db()
    assert (new.pieces, new.stage) == (40, "arrived")
    assert factories.prove() == []


def test_a_bag_that_waits_for_the_check_of_its_lot_is_not_accepted_alone() -> None:
    bag = factories.make_lot(factories.make_revision()).bags.first()
    assert bag is not None
    with pytest.raises(Refused) as early:
        accept_again(bag_id=bag.pk, reason="Clean", sign=sign())
    assert early.value.code == "check_comes_first"


def test_what_is_held_may_be_set_back_and_stays_held() -> None:
    bag = opened_bag()
    holds.place_hold(target="bag", value=bag.pk, reason="Haze", sign=sign(now=LATE))
    _done, new = back(bag)
    assert standing_reach().bag(new)
    assert factories.prove() == []


@pytest.mark.parametrize("hours", [0, 8])
def test_a_bag_that_was_not_open_for_too_long_stays(hours: int) -> None:
    bag = opened_bag()
    acts = Operation.objects.count()
    with pytest.raises(Refused) as early:
        back(bag, NOW + timedelta(hours=hours))
    assert early.value.code == "bag_not_open_too_long"
    assert Operation.objects.count() == acts


def test_another_stage_is_refused_and_so_is_what_changed_since() -> None:
    bag = opened_bag()
    with pytest.raises(LotwardError) as moved:
        back(bag, moves=bag.moves - 1)
    assert moved.value.code == "bag_moved_since"
    back(bag)
    with pytest.raises(LotwardError) as gone:
        back(bag)
    assert gone.value.code == "bag_wrong_stage"


def test_the_new_bag_may_have_a_blank_label_and_one_key_makes_one() -> None:
    bag = opened_bag()
    (number,) = give_out_numbers(count=1, sign=sign()).numbers
    signed = sign(now=LATE)
    for _ in range(2):
        done = set_back(bag_id=bag.pk, into=number, sign=signed)
        assert done.into == number
    assert bag.lot.bags.count() == 2


def test_recall_finds_what_was_packed_from_either_bag() -> None:
    """The old bag is named by the trace of the new one, as after any repacking."""
    bag = opened_bag(needs_check=False, needs_clearing=False)
    _done, new = back(bag)
    assert {each.number for each in trace(bag.number).bags} >= {new.number}
    assert {each.number for each in trace(new.number).bags} >= {new.number}


# -- Pages ---------------------------------------------------------------------------


@pytest.fixture
def late(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(timezone, "now", lambda: LATE)


def page(name: str, bag: Bag) -> str:
    return reverse(f"kitting:{name}", args=[bag.number])


@pytest.mark.usefixtures("late")
def test_the_page_of_the_bag_offers_it_and_leads_to_the_new_label(
    client_for, make_user
) -> None:
    client = client_for(make_user("manager", group="manager"))
    bag = opened_bag()
    shown = client.get(page("bag-detail", bag))
    assert "It was open for longer than its part allows, 8 h" in text_of(shown)
    assert page("bag-set-back", bag) in shown.content.decode()
    form = client.get(page("bag-set-back", bag))
    assert "to be disinfected again" in text_of(form)
    values = {
        "op_key": form.context["form"]["op_key"].value(),
        "moves": bag.moves,
        "into": "",
    }
    for _ in range(2):
        done = client.post(page("bag-set-back", bag), values)
        new = bag.lot.bags.exclude(pk=bag.pk).get()
        assert done.status_code == 302
        assert done.url.endswith(f"?n={new.number}")


@pytest.mark.usefixtures("late")
def test_a_checker_accepts_it_on_its_page(client_for, make_user) -> None:
    client = client_for(make_user("checker", group="checker"))
    _done, new = back(opened_bag(needs_clearing=False))
    shown = client.get(page("bag-detail", new))
    assert "waits for a checker" in text_of(shown)
    form = client.get(page("bag-accept", new))
    values = {
        "op_key": form.context["form"]["op_key"].value(),
        "moves": new.moves,
        "reason": "",
    }
    assert client.post(page("bag-accept", new), values).status_code == 422
    done = client.post(page("bag-accept", new), values | {"reason": "Clean"})
    assert done.status_code == 302
    new.refresh_from_db()
    assert new.stage == "cleared"


def test_who_may_not_is_kept_out(client, client_for, make_user, outsider) -> None:
    bag = factories.make_bag()
    for name, code, status in (
        ("bag-set-back", "bag_not_open_too_long", 422),
        ("bag-accept", "bag_wrong_stage", 409),
    ):
        assert client.get(page(name, bag)).status_code == 302
        assert client_for(outsider).get(page(name, bag)).status_code == 403
        unknown = reverse(f"kitting:{name}", args=["B1000999X"])
        boss = client_for(make_user(f"boss {name}", group="manager"))
        assert boss.get(unknown).status_code == 404
        values = {"op_key": str(sign().key), "moves": bag.moves, "reason": "Clean"}
        assert_problem(boss.post(page(name, bag), values), code, status=status)
