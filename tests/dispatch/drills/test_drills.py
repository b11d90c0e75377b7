"""Recall drills: a lot by chance, nothing held, what is located against the clock."""

from __future__ import annotations

import random
import uuid
from collections import Counter
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from dispatch.domain.effectiveness import in_order
from dispatch.drills import services
from dispatch.drills.queries import Told, called, consignees_of, drills, lots_sent
from dispatch.models import Drill, DrillCall, DrillList
from kitting.domain.errors import LotwardError
from kitting.domain.stages import GONE, MovementKind
from kitting.lots.services.counts import count_again
from kitting.lots.services.scrap import scrap
from kitting.models import Bag, Bench, Box, BoxLine, Hold, Lot, Movement, User
from kitting.packing.services import boxes as packing
from kitting.packing.services.labels import print_box_label
from tests import factories
from tests.assertions import text_of
from tests.factories import sign

pytestmark = pytest.mark.django_db


def sent_box() -> Box:
    box = factories.make_labelled_box()
    factories.send(factories.make_shipment(box))
    return box


def begin(**changes: Any) -> Drill:
    said = {"calling": False, "sign": sign(), **changes}
    return Drill.objects.get(pk=services.begin_drill(**said).drill_id)


def refused(act: Callable[[], object]) -> str:
    with pytest.raises(LotwardError) as caught:
        act()
    return caught.value.code


@pytest.mark.smoke
def test_a_drill_draws_a_lot_and_holds_nothing() -> None:
    for _ in range(3):
        sent_box()
    here = factories.make_labelled_box()
    numbers = list(lots_sent().values_list("number", flat=True))
    assert len(numbers) == 3
    assert here.lines.get().lot.number not in numbers
    drill = begin()
    assert drill.lots == 3
    assert drill.lot.number == in_order(drill.seed, numbers)[0]
    done = services.list_drill(drill_id=drill.pk, sign=sign())
    assert (done.boxes, done.pieces, done.located) == (1, 6, 6)
    services.end_drill(drill_id=drill.pk, remarks="Well", sign=sign())
    assert not Hold.objects.exists()
    assert factories.prove() == []


def test_by_other_seeds_other_lots_are_drawn() -> None:
    """Each of three by about a third of 90 seeds; red by chance once in a million."""
    numbers = [sent_box().lines.get().lot.number for _ in range(3)]
    drawn = Counter(in_order(str(seed), numbers)[0] for seed in range(90))
    assert set(drawn) == set(numbers)
    assert min(drawn.values()) > 10
    drill = begin(seed="1")
    assert drill.lot.number == in_order("1", numbers)[0]


def test_the_list_takes_as_long_as_it_takes() -> None:
    sent_box()
    drill = begin()
    [told] = [Told(each) for each in drills()]
    assert (told.lasted, told.share, told.needs_list) == ("", "", True)
    later = factories.NOW + timedelta(minutes=4, seconds=12)
    services.list_drill(drill_id=drill.pk, sign=sign(now=later))
    [told] = [Told(each) for each in drills()]
    assert (told.seconds, told.lasted, told.share) == (252, "4 min 12 s", "100")
    assert (told.needs_list, told.runs) == (False, True)


def test_what_is_missing_is_not_located() -> None:
    bags = factories.make_bag(pieces=100)
    revision = bags.lot.revision
    recipe = factories.make_recipe([(revision, 1, "set")])
    size, bench = factories.make_size(recipe, 6), factories.make_bench()
    box = packed(size, bench, bags)
    factories.send(factories.make_shipment(box))
    recount(bags, 93)
    drill = begin()
    done = services.list_drill(drill_id=drill.pk, sign=sign())
    assert (done.pieces, done.located) == (100, 99)
    assert Told(drills().get()).share == "99"
    assert factories.prove() == []


def recount(bag: Bag, counted: int) -> None:
    said = {"counted": counted, "counted_by": "hand", "reason": "counted"}
    count_again(bag_id=bag.pk, **said, sign=sign())


def packed(size: Any, bench: Bench, *bags: Bag) -> Box:
    box = factories.make_open_box(size, bench, *bags)
    packing.close_box(box_id=box.pk, sign=sign())
    print_box_label(box_id=box.pk, sign=sign())
    box.refresh_from_db()
    packing.see_label(box_id=box.pk, read=str(box.serial), sign=sign())
    return box


def by_hand(lot: Lot) -> tuple[int, int, int]:
    """Boxes gone, pieces and pieces located, by going through single rows."""
    came = missing = 0
    for move in Movement.objects.filter(lot=lot):
        signed = move.pieces if move.delta >= 0 else -move.pieces
        if move.kind in (MovementKind.RECEIVED, MovementKind.FOUND):
            came += signed
        if move.kind == MovementKind.MISSING:
            missing -= signed
    boxes = {
        line.box_id
        for line in BoxLine.objects.filter(lot=lot).select_related("box")
        if line.box.stage in GONE
    }
    return len(boxes), came, came - missing


@pytest.mark.parametrize("seed", range(4))
def test_random_histories_are_located_as_by_hand(seed: int) -> None:
    luck = random.Random(seed)
    bag = factories.make_bag(pieces=60)
    recipe = factories.make_recipe([(bag.lot.revision, 1, "set")])
    size, bench = factories.make_size(recipe, 3), factories.make_bench()
    made = [packed(size, bench, bag)]
    made += [packed(size, bench) for _ in range(3)]
    for box in luck.sample(made, luck.randint(1, 4)):
        factories.send(factories.make_shipment(box))
    for _ in range(3):
        bag.refresh_from_db()
        if luck.random() < 0.5:
            scrap(
                bag_id=bag.pk, pieces=luck.randint(1, 4), reason="Dropped", sign=sign()
            )
        else:
            fewer = bag.pieces - luck.randint(1, 5)
            recount(bag, fewer)
    drill = begin()
    done = services.list_drill(drill_id=drill.pk, sign=sign())
    assert (done.boxes, done.pieces, done.located) == by_hand(bag.lot)
    # What comes later changes nothing of what was located then.
    bag.refresh_from_db()
    recount(bag, bag.pieces - 1)
    assert factories.prove() == []


def test_one_drill_runs_at_a_time_and_each_step_is_done_once() -> None:
    assert refused(begin) == "drill_no_lot"
    sent_box()
    drill = begin()
    assert refused(begin) == "drill_running"
    signed = sign()
    listed = services.list_drill(drill_id=drill.pk, sign=signed)
    assert services.list_drill(drill_id=drill.pk, sign=signed) == listed
    step = {"drill_id": drill.pk}
    assert refused(lambda: services.list_drill(**step, sign=sign())) == "drill_listed"
    end = {**step, "remarks": " "}
    assert refused(lambda: services.end_drill(**end, sign=sign())) == "entry_missing"
    services.end_drill(**{**end, "remarks": "Well"}, sign=sign())
    end["remarks"] = "Again"
    assert refused(lambda: services.end_drill(**end, sign=sign())) == "drill_over"
    assert refused(lambda: services.list_drill(**step, sign=sign())) == "drill_over"
    assert begin().pk != drill.pk
    assert DrillList.objects.count() == 1


def test_calls_are_noted_with_their_minutes() -> None:
    box = sent_box()
    drill = begin(calling=True)
    [whom] = consignees_of(box.lines.get().lot)

    def call(code: str = whom.code, **changes: Any) -> None:
        said = {"answered": True, "said_by": "Porter", "sign": sign(), **changes}
        services.note_drill_call(drill_id=drill.pk, code=code, **said)

    assert refused(call) == "drill_list_first"
    services.list_drill(drill_id=drill.pk, sign=sign())
    other = factories.make_consignee()
    assert refused(lambda: call(other.code)) == "drill_not_reached"
    assert refused(lambda: call(said_by="")) == "entry_missing"
    at = factories.NOW + timedelta(minutes=2)
    call(answered=False, sign=sign(now=at))
    [only] = called(drill)
    assert not only.answered
    call(sign=sign(now=at + timedelta(minutes=3)))
    [only] = called(drill)
    assert only.answered
    assert [after for _call, after in only.calls] == ["2 min", "5 min"]
    assert [each.said_by for each in DrillCall.objects.order_by("pk")] == ["", "Porter"]
    services.end_drill(drill_id=drill.pk, remarks="Well", sign=sign(now=at))
    assert refused(call) == "drill_over"
    assert factories.prove() == []


def test_where_nobody_is_called_no_call_is_taken() -> None:
    box = sent_box()
    drill = begin()
    services.list_drill(drill_id=drill.pk, sign=sign())
    [whom] = consignees_of(box.lines.get().lot)
    said = {"drill_id": drill.pk, "code": whom.code, "answered": False, "said_by": ""}
    call = lambda: services.note_drill_call(**said, sign=sign())  # noqa: E731
    assert refused(call) == "drill_calls_nobody"


# -- Pages --------------------------------------------------------------------------


@pytest.fixture
def quality(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("quality officer"))


def words_of(answer: Any) -> str:
    return " ".join(text_of(answer).split())


def keyed(**said: str) -> dict[str, str]:
    return {"op_key": str(uuid.uuid4()), **said}


def page(name: str, *args: object) -> str:
    return reverse(f"dispatch:{name}", args=args)


@pytest.mark.smoke
def test_a_drill_is_led_through_its_pages(quality: Client) -> None:
    box = sent_box()
    day = reverse("kitting:day")
    assert "No recall drill is on record yet." in words_of(quality.get(day))
    begun = quality.post(page("drill-new"), keyed(calling="on"), follow=True)
    drill = Drill.objects.get()
    detail = page("drill-detail", drill.pk)
    assert begun.redirect_chain[-1][0] == detail
    text = words_of(begun)
    assert f"The clock runs. Who has lot {drill.lot.number}?" in text
    assert f"{reverse('dispatch:recall')}?q={drill.lot.number}" in text
    assert "A recall drill runs since" in words_of(quality.get(day))
    listed = quality.post(page("drill-list", drill.pk), keyed(), follow=True)
    assert "100 % of the pieces were located." in words_of(listed)
    [whom] = consignees_of(box.lines.get().lot)
    at = page("drill-call", drill.pk, whom.code)
    assert f'href="{at}"' in listed.content.decode()
    assert quality.post(at, keyed(answered="yes")).status_code == 422
    quality.post(at, keyed(answered="yes", said_by="Porter"))
    assert "Porter" in words_of(quality.get(detail))
    ended = quality.post(
        page("drill-end", drill.pk), keyed(remarks="Print it sooner"), follow=True
    )
    assert "Print it sooner" in words_of(ended)
    assert "The list is complete" not in words_of(ended)
    assert "100 % of the pieces were located." in words_of(quality.get(day))
    over = quality.get(page("drills"))
    assert "Print it sooner" in words_of(over)
    lines = quality.get(page("drills"), {"as": "csv"})
    assert b",100" in b"".join(lines.streaming_content)  # type: ignore[arg-type]
    again = quality.post(page("drill-list", drill.pk), keyed())
    assert again.status_code == 409
    assert quality.post(page("drill-end", drill.pk), keyed()).status_code == 422


def test_who_may_recall_lists_and_who_places_holds_begins(
    client: Client, outsider: User, client_for: Callable[[User], Client]
) -> None:
    box = sent_box()
    drill = begin(calling=True)
    [whom] = consignees_of(box.lines.get().lot)
    clerks = [
        page("drills"),
        page("drill-detail", drill.pk),
        page("drill-list", drill.pk),
        page("drill-call", drill.pk, whom.code),
    ]
    officers = [page("drill-new"), page("drill-end", drill.pk)]
    clerk = client_for(factories.make_person("clerk"))
    stranger = client_for(outsider)
    for address in (*clerks, *officers):
        assert client.get(address).status_code == 302
        assert stranger.get(address).status_code == 403
    assert [clerk.get(address).status_code for address in clerks] == [200] * 4
    assert [clerk.get(address).status_code for address in officers] == [403] * 2
    assert clerk.get(page("drill-detail", 1)).status_code == 404


def test_the_journal_finds_a_drill_by_its_lot(quality: Client) -> None:
    sent_box()
    drill = begin()
    asked = {"about": drill.lot.number}
    found = words_of(quality.get(reverse("dispatch:journal"), asked))
    assert "Recall drill begun" in found
