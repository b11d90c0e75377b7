"""Benches are added, changed and closed on pages, by managers, each an act."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from kitting.domain.errors import LotwardError, Missing
from kitting.ledger.coded import mark_of
from kitting.models import Bench, Operation, Place
from kitting.models.catalogue import Per, PlaceKind
from kitting.packing.services import boxes, voiding
from kitting.packing.services.benches import add_bench, change_bench
from kitting.places.services.set_up import change_place
from lotward.catalogue.loading import CatalogueRefused, load_catalogue
from tests import factories
from tests.assertions import (
    assert_page,
    assert_refused,
    assert_sent_to_sign_in,
    text_of,
)
from tests.factories import sign

pytestmark = pytest.mark.django_db

NEW, LIST = reverse("kitting:bench-new"), reverse("kitting:benches")


def at(bench: Bench) -> str:
    return reverse("kitting:bench-change", args=[bench.code])


def sent(**entered: Any) -> dict[str, Any]:
    return {"op_key": str(uuid.uuid4()), **entered}


def close(bench: Bench, **more: Any) -> Any:
    said = {"code": bench.code, "name": bench.name, "active": False, **more}
    return change_bench(**said, sign=sign())


def refused(call: Any, *args: Any, **values: Any) -> LotwardError:
    before = Operation.objects.count(), list(Bench.objects.values())
    with pytest.raises(LotwardError) as caught:
        call(*args, **values)
    assert (Operation.objects.count(), list(Bench.objects.values())) == before
    return caught.value


@pytest.fixture
def manager(make_user: Any, client_for: Any) -> Client:
    return client_for(make_user("manager", group="manager"))  # type: ignore[no-any-return]


@pytest.mark.parametrize("role", ["packer", "checker", "clerk", "quality officer"])
def test_only_managers_set_benches_up(
    role: str, make_user: Any, client_for: Any, outsider: Any
) -> None:
    bench = factories.make_bench()
    other = client_for(make_user("other", group=role))
    for path in (NEW, at(bench)):
        assert_sent_to_sign_in(Client().get(path))
        assert client_for(outsider).get(path).status_code == 403
        assert other.get(path).status_code == 403
        assert other.post(path, sent(code="B", name="B")).status_code == 403
    if role == "packer":
        assert "Add a bench" not in text_of(other.get(LIST))
    assert list(Bench.objects.all()) == [bench]


def test_a_bench_that_is_not_there_is_404(manager: Client) -> None:
    path = reverse("kitting:bench-change", args=["NONE"])
    assert manager.get(path).status_code == 404
    with pytest.raises(Missing):
        change_bench(code="NONE", name="None", active=True, sign=sign())


@pytest.mark.smoke
def test_a_bench_is_added_at_a_place_of_its_own(
    manager: Client, django_assert_max_num_queries: Any
) -> None:
    place = factories.make_place(PlaceKind.BENCH)
    assert "Add a bench" in text_of(manager.get(LIST))
    with django_assert_max_num_queries(15):
        assert_page(manager.get(NEW))
    once = sent(code="b-9", name="Bench 9", place=place.pk)
    for _ in range(2):  # the same key: once
        assert manager.post(NEW, once)["Location"] == LIST
    bench = Bench.objects.get(code="B-9")
    assert (bench.name, bench.place, bench.active) == ("Bench 9", place, True)
    assert Operation.objects.filter(name="add_bench").count() == 1
    shown = text_of(manager.get(LIST))
    assert f"Bench 9 is added. It works at {place.name}." in shown
    assert place.name not in text_of(manager.get(NEW))
    packed = manager.get(reverse("kitting:bench", args=["B-9"]))
    assert packed.status_code == 200
    assert factories.prove() == []


def test_what_cannot_be_a_bench_is_said_and_nothing_is_kept(manager: Client) -> None:
    taken = factories.make_bench()
    place = factories.make_place(PlaceKind.BENCH)
    shelf, closed = factories.make_place(), factories.make_place(PlaceKind.BENCH)
    change_place(code=closed.code, name="Closed", active=False, sign=sign())
    good = {"code": "B-9", "name": "Bench 9", "place": place.pk}
    for changes, words in (
        ({"code": ""}, "code"),
        ({"code": "A BENCH"}, "is no code"),
        ({"code": "A" * 13}, "12"),
        ({"code": taken.code.lower()}, "is in use already"),
        ({"name": " "}, "name"),
        ({"name": "N" * 61}, "60"),
        ({"place": ""}, "choose the place"),
        ({"place": shelf.pk}, "the place"),
        ({"place": closed.pk}, "Closed is closed"),
        (
            {"place": taken.place.pk},
            f"{taken.name} works at {taken.place.name} already",
        ),
    ):
        answer = manager.post(NEW, sent(**{**good, **changes}))
        assert answer.status_code in (409, 422), changes
        assert words.lower() in text_of(answer).lower(), changes
    for where, code in (
        (shelf, "bench_place_kind"),
        (closed, "place_closed"),
        (taken.place, "bench_place_taken"),
    ):
        values = {"code": "B-9", "name": "Bench 9", "place_id": where.pk}
        assert refused(add_bench, **values, sign=sign()).code == code
    assert list(Bench.objects.all()) == [taken]


def test_a_bench_is_made_silent_and_loud_again(manager: Client) -> None:
    bench = factories.make_bench()
    page = reverse("kitting:bench", args=[bench.code])
    assert "data-silent" not in text_of(manager.get(page))
    for sounds in (False, True):
        said = {"name": bench.name, "active": "on"} | (
            {"sounds": "on"} if sounds else {}
        )
        assert manager.post(at(bench), sent(**said))["Location"] == LIST
        bench.refresh_from_db()
        assert (bench.sounds, bench.active) == (sounds, True)
        assert ("data-silent" in text_of(manager.get(page))) is not sounds
        assert manager.get(at(bench)).context["form"].initial["sounds"] is sounds
    assert Operation.objects.filter(name="change_bench").count() == 2
    assert factories.prove() == []


def test_a_bench_gets_another_name_unless_somebody_was_faster(manager: Client) -> None:
    bench = factories.make_bench()
    said = {"seen": mark_of(bench), "active": "on"}
    assert manager.post(at(bench), sent(name="By the door", **said))["Location"] == LIST
    bench.refresh_from_db()
    assert bench.name == "By the door"
    late = manager.post(at(bench), sent(name="Window", **said))
    assert late.status_code == 409
    assert "has changed since this page was loaded" in text_of(late)
    assert Operation.objects.filter(name="change_bench").count() == 1


def test_a_bench_is_closed_only_when_no_work_is_there() -> None:
    bag, bench = factories.make_bag(), factories.make_bench()
    recipe = factories.make_recipe([(bag.lot.revision, 1, Per.SET)])
    size = factories.make_size(recipe)
    here = {"bench_id": bench.pk, "bag_id": bag.pk}
    boxes.bring_bag(**here, sign=sign())
    error = refused(close, bench)
    assert_refused(error, "bench_has_bags", bench=bench.name, bags=1)
    box = boxes.start_box(bench_id=bench.pk, size_id=size.pk, sign=sign())
    assert refused(close, bench).code == "bench_has_a_box"
    voiding.cancel_box(box_id=box.box_id, reason="tried", sign=sign())
    boxes.take_off_bench(**here, sign=sign())
    close(bench)
    for act, more in ((boxes.bring_bag, here), (boxes.start_box, {"size_id": size.pk})):
        error = refused(act, **{"bench_id": bench.pk, **more}, sign=sign())
        assert_refused(error, "bench_closed", bench=bench.name)
    close(bench, active=True)
    boxes.bring_bag(**here, sign=sign())
    assert factories.prove() == []


def test_the_place_of_a_closed_bench_can_be_closed_too(manager: Client) -> None:
    bench = factories.make_bench()
    place = {"code": bench.place.code, "name": bench.place.name, "active": False}
    assert refused(change_place, **place, sign=sign()).code == "place_has_bench"
    close(bench)
    change_place(**place, sign=sign())
    assert Place.objects.get(pk=bench.place_id).active is False
    assert refused(close, bench, active=True).code == "place_closed"
    # A tablet that is still there is told, and led to the others.
    screen = reverse("kitting:bench", args=[bench.code])
    shown = manager.get(screen, follow=True)
    assert f"{bench.name} is closed. Go to another bench" in text_of(shown)
    assert f'href="{screen}"' not in shown.content.decode()
    scan = reverse("kitting:bench-scan", args=[bench.code])
    answer = manager.post(scan, sent(scan="ACT-BOX-6"))
    assert answer.status_code in (409, 422)


def test_the_file_makes_what_the_page_makes() -> None:
    place = factories.make_place(PlaceKind.BENCH)
    add_bench(code="B-9", name="Bench 9", place_id=place.pk, sign=sign())
    row = {"code": "B-9", "name": "Bench 9", "place": place.code}
    assert load_catalogue(data={"benches": [row]}, sign=sign()).benches == 0
    shelf = factories.make_place()
    wrong = {"benches": [{**row, "code": "B-8", "place": shelf.code}]}
    with pytest.raises(CatalogueRefused) as caught:
        load_catalogue(data=wrong, sign=sign())
    [problem] = caught.value.problems
    assert (problem.path, problem.code) == ("benches[1].place", "bench_place_kind")


def test_the_page_says_where_no_tablet_starts_without_network(manager: Client) -> None:
    """Secure contexts alone have service workers: W3C, Secure Contexts, 3.1 and 3.2."""
    told = "starts again without network"
    assert told in text_of(manager.get(NEW))
    assert told in text_of(manager.get(at(factories.make_bench())))
    for secure in ({"secure": True}, {"SERVER_NAME": "localhost"}):
        assert told not in text_of(manager.get(NEW, **secure))


def test_what_stands_in_for_a_bench_names_nobody(
    make_user: Any, client_for: Any
) -> None:
    """A tablet keeps it, whoever works there next."""
    shown = [
        client_for(make_user(name, group="packer"))
        .get(reverse("kitting:bench-offline"))
        .content
        for name in ("robin", "sasha")
    ]
    assert shown[0] == shown[1]
    assert b"robin" not in shown[0]


# -- Its scale ------------------------------------------------------------------------

SCALE = {"scale_step_mg": "0,5", "scale_u_mg": "0.2", "scale_most_mg": "15000"}
ON_RECORD = (500, 200, 15_000_000)


def scale_of(bench: Bench) -> tuple[int | None, ...]:
    bench.refresh_from_db()
    return bench.scale_step_mg, bench.scale_u_mg, bench.scale_most_mg


def test_a_bench_gets_a_scale_changes_it_and_loses_it(manager: Client) -> None:
    place = Place.objects.create(code="BX", name="Bench X", kind=PlaceKind.BENCH)
    entered = {"code": "B9", "name": "Bench 9", "place": place.pk, **SCALE}
    assert manager.post(NEW, sent(**entered)).status_code == 302
    bench = Bench.objects.get()
    assert scale_of(bench) == ON_RECORD
    page = manager.get(at(bench)).content.decode()
    assert 'value="0.5"' in page
    assert 'value="15000"' in page
    said = {"name": bench.name, "active": "on"}
    for scale, kept in (
        (SCALE | {"scale_u_mg": "0"}, (500, 0, 15_000_000)),
        ({}, (None,) * 3),
    ):
        entered = {**said, "seen": mark_of(bench), **scale}
        assert manager.post(at(bench), sent(**entered)).status_code == 302
        assert scale_of(bench) == kept
    assert factories.prove() == []


@pytest.mark.parametrize(
    ("entered", "code"),
    [
        ({"scale_step_mg": "1"}, "scale_incomplete"),
        ({**SCALE, "scale_u_mg": ""}, "scale_incomplete"),
        ({**SCALE, "scale_step_mg": "0"}, "scale_wrong"),
        ({**SCALE, "scale_step_mg": "15001"}, "scale_wrong"),
        ({**SCALE, "scale_u_mg": "15000"}, "scale_wrong"),
        ({**SCALE, "scale_most_mg": "1000001"}, "scale_wrong"),
        ({**SCALE, "scale_most_mg": "15 kg"}, "figure_unreadable"),
        ({**SCALE, "scale_u_mg": "-1"}, "figure_negative"),
    ],
)
def test_a_scale_that_cannot_be_is_refused(
    manager: Client, entered: dict[str, str], code: str
) -> None:
    bench = factories.make_bench()
    said = {"name": bench.name, "active": "on", **entered}
    answer = manager.post(at(bench), sent(**said))
    assert answer.status_code == 422
    codes = [
        each.code
        for errors in answer.context["form"].errors.as_data().values()
        for each in errors
    ]
    assert codes == [code]
    assert scale_of(bench) == (None, None, None)
