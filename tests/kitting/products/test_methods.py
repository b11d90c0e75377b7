"""Methods are added beside the machine, tried, and released by somebody else."""

from __future__ import annotations

import re
import uuid
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from kitting.domain.errors import LotwardError, Missing
from kitting.ledger import packable
from kitting.lots.services.lots import NewBag
from kitting.models import Bag, Method, MethodRelease, Operation, Part
from kitting.models.catalogue import Per
from kitting.packing.queries.bench import screen
from kitting.packing.services import bench as packing
from kitting.packing.services import boxes
from kitting.products.queries.methods import mark_of
from kitting.products.services.methods import (
    add_method,
    change_method,
    release_method,
)
from lotward.catalogue.loading import CatalogueRefused, load_catalogue
from tests import factories
from tests.assertions import (
    assert_page,
    assert_part,
    assert_refused,
    assert_sent_to_sign_in,
    text_of,
)
from tests.factories import NOW, TODAY, sign, sign_by_another

pytestmark = pytest.mark.django_db

LIST, NEW = reverse("kitting:methods"), reverse("kitting:method-new")
GROUP = "Printers, row A"
FREE = {"needs_check": False, "needs_clearing": False}


def at(code: str, act: str = "detail") -> str:
    return reverse(f"kitting:method-{act}", args=[code])


def sent(**entered: Any) -> dict[str, Any]:
    return {"op_key": str(uuid.uuid4()), **entered}


def added(version: str = "1", *parts: Part, **more: Any) -> Method:
    ids = [part.pk for part in parts]
    said = {"machine_group": GROUP, "part_ids": ids, "sign": sign(), **more}
    return Method.objects.get(code=add_method(settings_version=version, **said).code)


def released(method: Method) -> Method:
    release_method(code=method.code, seen=mark_of(method), sign=sign_by_another())
    return Method.objects.get(pk=method.pk)


def refused(call: Any, *args: Any, **values: Any) -> LotwardError:
    before = Operation.objects.count(), list(Method.objects.values())
    with pytest.raises(LotwardError) as caught:
        call(*args, **values)
    assert (Operation.objects.count(), list(Method.objects.values())) == before
    return caught.value


@pytest.fixture
def checker(make_user: Any, client_for: Any) -> Client:
    return client_for(make_user("mira", group="checker"))  # type: ignore[no-any-return]


@pytest.fixture
def officer(make_user: Any, client_for: Any) -> Client:
    return client_for(make_user("officer", group="quality officer"))  # type: ignore[no-any-return]


# -- Who may --------------------------------------------------------------------------


def test_checkers_add_methods_and_do_not_release_them(
    checker: Client, make_user: Any, client_for: Any, outsider: Any
) -> None:
    method = added()
    packer = client_for(make_user("packer", group="packer"))
    for path in (LIST, NEW, at(method.code), at(method.code, "change")):
        assert_sent_to_sign_in(Client().get(path))
        assert client_for(outsider).get(path).status_code == 403
        assert checker.get(path).status_code == 200
    for path in (NEW, at(method.code, "change")):
        assert packer.get(path).status_code == 403
        assert packer.post(path, sent()).status_code == 403
    assert checker.get(at(method.code, "release")).status_code == 403
    assert "Release it" not in text_of(checker.get(at(method.code)))
    assert "Add new settings" not in text_of(packer.get(LIST))


def test_a_method_that_is_not_there_is_404(officer: Client) -> None:
    for act in ("detail", "change", "release"):
        assert officer.get(at("NONE", act)).status_code == 404
    with pytest.raises(Missing):
        change_method(code="NONE", active=True, sign=sign())


# -- New settings ---------------------------------------------------------------------


@pytest.mark.smoke
def test_new_settings_are_one_touch_after_the_newest(checker: Client) -> None:
    part, other = factories.make_part(), factories.make_part()
    added("7", part, code="PRINT-S7")
    form = checker.get(NEW).context["form"]
    filled = {name: form[name].value() for name in form.fields if name != "op_key"}
    assert filled == {
        "settings_version": "8",
        "machine_group": GROUP,
        "parts": [part.pk],
        "code": None,
    }
    once = sent(settings_version="8", machine_group=GROUP, parts=[part.pk, other.pk])
    for _ in range(2):  # the same key: once
        answer = checker.post(NEW, once)
        assert answer["Location"] == at("PRINT-S8")
    method = Method.objects.get(code="PRINT-S8")
    assert [each.part for each in method.made_with_it.all()] == [part, other]
    assert Operation.objects.filter(name="add_method").count() == 2
    shown = text_of(checker.get(answer["Location"]))
    assert "PRINT-S8 is added. It is on trial: nothing made with it is packed" in shown
    assert "Version 8 of the settings of Printers, row A." in shown
    assert "mira" in shown
    # Those of another machine, from the page of an older method.
    after = checker.get(f"{NEW}?after=PRINT-S7").context["form"]
    assert after["settings_version"].value() == "8"
    factories.seal_set_up()
    assert factories.prove() == []


def test_what_cannot_be_settings_is_said_and_nothing_is_kept(checker: Client) -> None:
    part = factories.make_part()
    added("7", part, code="PRINT-S7")
    good = {"settings_version": "8", "machine_group": GROUP, "parts": [part.pk]}
    for changes, words in (
        ({"settings_version": ""}, "version of the settings"),
        ({"settings_version": "8" * 21}, "20"),
        ({"machine_group": " "}, "machines"),
        ({"machine_group": "A" * 61}, "60"),
        ({"parts": []}, "parts that are made so"),
        ({"parts": [part.pk, 0]}, "parts that are made so"),
        ({"parts": [part.pk, "9" * 19]}, "parts that are made so"),
        ({"parts": ["1\0"]}, "parts that are made so"),
        ({"code": "A CODE"}, "is no code"),
        ({"code": "print-s7"}, "Code PRINT-S7 is in use already"),
        (
            {"settings_version": "7", "machine_group": GROUP.upper(), "code": "OTHER"},
            "is on record already, as method PRINT-S7",
        ),
    ):
        answer = checker.post(NEW, sent(**{**good, **changes}))
        assert answer.status_code in (409, 422), changes
        assert words.lower() in text_of(answer).lower(), changes
    assert Method.objects.count() == 1
    # The same version for another part, and one of sixty letters, are none of these.
    other = factories.make_part(name="N" * 60)
    for entered in ({"parts": [other.pk]}, {"machine_group": "A" * 60}):
        said = {**good, "settings_version": "7", "code": factories.unique("M")}
        assert checker.post(NEW, sent(**{**said, **entered})).status_code == 302


def test_the_list_shows_methods_of_a_part_and_those_for_every_part(
    checker: Client, django_assert_max_num_queries: Any
) -> None:
    band, visor = factories.make_part(), factories.make_part()
    for number, parts in enumerate(([band], [visor], [], [band, visor])):
        added(str(number), *parts, code=f"M{number}")
    closed = change_method(code="M3", active=False, sign=sign())
    with django_assert_max_num_queries(15):
        shown = text_of(checker.get(LIST))
    opening = re.sub("<[^>]*>", "", shown)
    assert "3 methods are in use. On trial until somebody releases it:" in opening
    assert re.search("releases it: *M2, *M1, *M0", opening)
    of_band = checker.get(LIST, {"part": band.code}, headers={"HX-Request": "true"})
    assert_part(of_band, "method-list")
    rows = of_band.context["rows"]
    assert [row.method.code for row in rows] == ["M2", "M0", closed.code]
    file = checker.get(LIST, {"part": band.code, "as": "csv"})
    assert b'M3,"Printers, row A",3' in b"".join(file)


# -- Changing -------------------------------------------------------------------------


def test_a_slip_is_corrected_while_nothing_rests_on_it(checker: Client) -> None:
    part = factories.make_part()
    method = added("7", part)
    page = at(method.code, "change")
    was = {"seen": mark_of(method), "active": "on", "machine_group": GROUP}
    right = sent(**was, settings_version="9", parts=[part.pk])
    assert checker.post(page, right)["Location"] == at(method.code)
    method.refresh_from_db()
    assert method.settings_version == "9"
    late = checker.post(page, sent(**was, settings_version="6", parts=[part.pk]))
    assert late.status_code == 409
    assert "has changed since this page was loaded" in text_of(late)
    factories.make_lot(factories.make_revision(part), method_id=method.pk)
    assert "lots were made with it, or it is released" in text_of(checker.get(page))
    said = {"machine_group": GROUP, "settings_version": "1", "active": True}
    error = refused(change_method, code=method.code, **said, sign=sign())
    assert_refused(error, "method_stays", method=method.code)


def test_a_method_is_closed_and_used_again_unless_another_took_its_place() -> None:
    part = factories.make_part()
    method = added("7", part)
    change_method(code=method.code, active=False, sign=sign())
    revision = factories.make_revision(part)
    error = refused(factories.make_lot, revision, method_id=method.pk)
    assert_refused(error, "method_closed", method=method.code)
    error = refused(release_method, code=method.code, seen="", sign=sign_by_another())
    assert error.code == "page_is_old"
    method.refresh_from_db()
    assert refused(released, method).code == "method_closed"
    added("7", part, code="AGAIN")
    said = {"code": method.code, "active": True, "sign": sign()}
    assert refused(change_method, **said).code == "method_there"
    change_method(code="AGAIN", active=False, sign=sign())
    change_method(**said)
    factories.make_lot(revision, method_id=method.pk)


# -- Of which parts -------------------------------------------------------------------


def test_a_lot_is_made_with_a_method_of_its_part() -> None:
    band, visor = factories.make_revision(), factories.make_revision()
    method = added("1", band.part)
    factories.make_lot(band, method_id=method.pk)
    error = refused(factories.make_lot, visor, method_id=method.pk)
    assert_refused(
        error, "method_of_other_part", part=visor.part.name, method=method.code
    )
    factories.make_lot(visor, method_id=added("2").pk)


# -- On trial -------------------------------------------------------------------------


def cleared(method: Method) -> Bag:
    revision = factories.make_revision(factories.make_part(**FREE))
    lot = factories.make_lot(revision, bags=(NewBag(60),), method_id=method.pk)
    bag = lot.bags.get()
    assert bag.stage == "cleared"
    return bag


@pytest.mark.smoke
def test_what_is_on_trial_is_packed_only_when_somebody_else_released_it() -> None:
    method = added()
    bag, bench = cleared(method), factories.make_bench()
    recipe = factories.make_recipe([(bag.lot.revision, 1, Per.SET)])
    size = factories.make_size(recipe)
    at_bench = {"bench_id": bench.pk, "bag_id": bag.pk}
    error = refused(boxes.bring_bag, **at_bench, sign=sign())
    assert_refused(error, "lot_on_trial", bag=bag.number, method=method.code)
    boxes.start_box(bench_id=bench.pk, size_id=size.pk, sign=sign())
    seen = screen(bench, today=TODAY, now=NOW)
    assert seen.offers == []
    assert seen.lacking is not None
    assert seen.lacking.on_trial == 60
    error = refused(release_method, code=method.code, seen=mark_of(method), sign=sign())
    assert_refused(error, "method_own", method=method.code)
    released(method)
    assert [each.bag for each in screen(bench, today=TODAY, now=NOW).offers] == [
        bag.number
    ]
    boxes.bring_bag(**at_bench, sign=sign())
    assert refused(released, Method.objects.get()).code == "method_is_released"
    factories.seal_set_up()
    assert factories.prove() == []


def test_a_release_asks_for_the_password_and_says_who_may(
    officer: Client, make_user: Any, client_for: Any
) -> None:
    method = added()
    page = at(method.code, "release")
    assert_page(officer.get(page))
    said = {"seen": mark_of(method), "password": "wrong"}
    assert officer.post(page, sent(**said)).status_code == 422
    once = sent(**{**said, "password": "a pass phrase"})
    for _ in range(2):
        assert officer.post(page, once)["Location"] == at(method.code)
    assert MethodRelease.objects.count() == 1
    shown = text_of(officer.get(at(method.code)))
    assert f"{method.code} is released: what is made with it may be packed." in shown
    # Whoever added it reads beforehand that somebody else releases it.
    manager = client_for(make_user("boss", group="manager"))
    own = sent(settings_version="2", machine_group=GROUP, parts=[])
    own["parts"] = [factories.make_part().pk]
    to = manager.post(NEW, own)["Location"]
    assert "so somebody else releases it" in text_of(manager.get(f"{to}release/"))


def test_proof_names_what_was_packed_on_trial(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The rule is taken out, as somebody would who changes the program."""
    method = added()
    bag, bench = cleared(method), factories.make_bench()
    recipe = factories.make_recipe([(bag.lot.revision, 1, Per.SET)])
    size = factories.make_size(recipe)
    for module in (boxes, packing, packable):
        monkeypatch.setattr(
            module, "packing_problem", lambda *_, **__: None, raising=False
        )
    boxes.bring_bag(bench_id=bench.pk, bag_id=bag.pk, sign=sign())
    boxes.start_box(bench_id=bench.pk, size_id=size.pk, sign=sign())
    for _ in range(2):  # a release that comes later changes nothing
        factories.seal_set_up()
        [fault] = factories.prove()
        assert (fault.check, fault.table) == ("methods", "kitting_box")
        if method.on_trial:
            method = released(method)


# -- The file -------------------------------------------------------------------------


def test_the_file_makes_what_the_page_makes() -> None:
    part = factories.make_part()
    method = added("7", part, code="PRINT-S7")
    row = {"code": "PRINT-S7", "machine_group": GROUP, "settings_version": "7"}
    same = {"methods": [{**row, "parts": [part.code]}]}
    assert load_catalogue(data=same, sign=sign()).methods == 0
    new = {"methods": [{**row, "code": "PRINT-S8", "settings_version": "8"}]}
    assert load_catalogue(data=new, sign=sign()).methods == 1
    assert Method.objects.get(code="PRINT-S8").on_trial
    for wrong, path, code in (
        ({"parts": []}, "methods[1].parts", "catalogue_differs"),
        ({"parts": ["NONE"]}, "methods[1].parts[1]", "catalogue_no_such"),
        ({"code": "PRINT-7"}, "methods[1]", "method_there"),
    ):
        with pytest.raises(CatalogueRefused) as caught:
            load_catalogue(data={"methods": [{**row, **wrong}]}, sign=sign())
        assert [(p.path, p.code) for p in caught.value.problems] == [(path, code)]
    assert [each.pk for each in Method.objects.filter(made_with_it__part=part)] == [
        method.pk
    ]
