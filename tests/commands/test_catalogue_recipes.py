"""Recipes from a file: substitutes in their order, and what goes only with what."""

from __future__ import annotations

import copy
from collections.abc import Callable
from dataclasses import asdict
from typing import Any

import pytest

from kitting.ledger.listing import written_catalogue
from kitting.models import Recipe
from lotward.demo import masterdata
from tests.commands.test_catalogue import load, refused

pytestmark = pytest.mark.django_db

Data = dict[str, Any]
RECIPE = "products[1].recipes[2]"
HEADBAND_C, VISOR_A = ({"part": "HB", "revision": "C"}, {"part": "VI", "revision": "A"})
C_ONLY_WITH_A = {**HEADBAND_C, "only_with": [VISOR_A]}


def second(d: Data) -> Any:
    """The version that names a substitute: headband C in place of D."""
    return d["products"][0]["recipes"][1]


@pytest.fixture
def data() -> Data:
    return masterdata.read()


def test_substitutes_and_what_goes_together_come_back_as_they_were(data: Data) -> None:
    recipe = second(data)
    band, visor = recipe["lines"][0], recipe["lines"][2]
    older = [{"part": "HB", "revision": "C"}, {"part": "VS", "revision": "A"}]
    assert (band["revision"], visor["part"]) == ("D", "VI")
    band["substitutes"] = list(reversed(older))
    carton = {"part": "C6", "revision": "1", "pieces": 1, "per": "box", "sets": 6}
    assert carton in recipe["lines"]
    recipe["together"] = [
        {
            "part": "VI",
            "revision": "A",
            "only_with": [*older, {"part": "HB", "revision": "D"}],
        }
    ]
    load(data)
    made = Recipe.objects.get(product__code="FS1EN", version=2)
    instead = made.lines.get(part__code="HB").substitutes.order_by("nth")
    assert [str(each.revision.part.code) for each in instead] == ["VS", "HB"]
    written = written_catalogue()
    (again,) = (each for each in written["products"] if each["code"] == "FS1EN")
    said = next(each for each in again["recipes"] if each["version"] == 2)
    assert said["lines"] == recipe["lines"]
    assert said["together"] == recipe["together"]
    # What it wrote is on record, to the last word.
    done = load(written)
    assert not any(asdict(done).values())


@pytest.mark.parametrize(
    ("where", "change"),
    [
        ("lines", lambda d: second(d)["lines"][0].pop("substitutes")),
        (
            "lines",
            lambda d: second(d)["lines"][0]["substitutes"].insert(
                0, {"part": "VS", "revision": "A"}
            ),
        ),
        ("together", lambda d: second(d).update(together=[C_ONLY_WITH_A])),
    ],
)
def test_a_version_on_record_is_not_changed(
    where: str, change: Callable[[Data], object], data: Data
) -> None:
    load(data)
    changed = copy.deepcopy(data)
    change(changed)
    assert refused(changed) == {f"{RECIPE}.{where}": "catalogue_new_version"}


def test_the_order_of_preference_is_part_of_a_version(data: Data) -> None:
    instead = second(data)["lines"][0]["substitutes"]
    instead.append({"part": "VS", "revision": "A"})
    load(data)
    instead.reverse()
    assert refused(data) == {f"{RECIPE}.lines": "catalogue_new_version"}


FAULTS: dict[str, tuple[Callable[[Data], object], dict[str, str]]] = {
    "a substitute as files had it before": (
        lambda d: second(d)["lines"][0].update(substitute="C"),
        {f"{RECIPE}.lines[1].substitute": "catalogue_name"},
    ),
    "one substitute that is no list": (
        lambda d: second(d)["lines"][0].update(substitutes="C"),
        {f"{RECIPE}.lines[1].substitutes": "catalogue_kind"},
    ),
    "a substitute without its part": (
        lambda d: second(d)["lines"][0].update(substitutes=["C"]),
        {f"{RECIPE}.lines[1].substitutes[1]": "catalogue_kind"},
    ),
    "a substitute that there is not": (
        lambda d: second(d)["lines"][0]["substitutes"][0].update(revision="Z"),
        {f"{RECIPE}.lines[1].substitutes[1].revision": "catalogue_no_such"},
    ),
    "a substitute twice": (
        lambda d: second(d)["lines"][0]["substitutes"].append(HEADBAND_C),
        {f"{RECIPE}.lines[1].substitutes[2]": "catalogue_twice"},
    ),
    "a substitute of another line": (
        lambda d: second(d)["lines"][0]["substitutes"].append(VISOR_A),
        {f"{RECIPE}.lines": "recipe_part_twice"},
    ),
    "a pair of something else": (
        lambda d: second(d).update(
            together=[{**HEADBAND_C, "only_with": [{"part": "VS", "revision": "A"}]}]
        ),
        {f"{RECIPE}.lines": "pair_not_in_recipe"},
    ),
    "a pair twice": (
        lambda d: second(d).update(together=[C_ONLY_WITH_A, C_ONLY_WITH_A]),
        {f"{RECIPE}.together": "catalogue_twice"},
    ),
    "half a pair": (
        lambda d: second(d).update(together=[{**HEADBAND_C, "only_with": []}]),
        {f"{RECIPE}.together[1].only_with": "catalogue_missing"},
    ),
}


@pytest.mark.alike
@pytest.mark.parametrize("what", FAULTS)
def test_a_fault_is_named_by_its_path(what: str, data: Data) -> None:
    change, expected = FAULTS[what]
    change(data)
    assert refused(data) == expected
    assert not Recipe.objects.exists()
