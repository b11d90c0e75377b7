"""A workshop's catalogue from a file: added whole, never changed, every fault named."""

from __future__ import annotations

import copy
import json
import re
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from dispatch.models import Consignee
from kitting.models import (
    Bench,
    BoxSize,
    Calibration,
    DefectKind,
    Meter,
    Operation,
    Part,
    Place,
    Product,
    Protocol,
    Recipe,
    Revision,
    Stock,
    Workshop,
)
from kitting.web.messages import sentence
from lotward.catalogue.loading import CatalogueRefused, load_catalogue, try_catalogue
from lotward.demo import masterdata
from tests import factories
from tests.factories import sign

pytestmark = pytest.mark.django_db

FILE = masterdata.FILE
WHOLE = json.loads(FILE.read_text("utf-8"))
NOW = datetime(2026, 1, 5, 9, tzinfo=UTC)
"""The day on which the first recipes of the file begin."""


@pytest.fixture
def data() -> dict[str, Any]:
    found: dict[str, Any] = copy.deepcopy(WHOLE)
    return found


@pytest.fixture(autouse=True)
def _unnamed(db) -> None:
    Workshop.objects.update(name="Unnamed workshop", time_zone="UTC", gs1_prefix="")


def load(data: object, **changes: Any):
    return load_catalogue(data=data, sign=sign(now=NOW, **changes))


def refused(data: object) -> dict[str, str]:
    """Path to code of every problem; nothing may have been written."""
    before = (Operation.objects.count(), Place.objects.count(), Part.objects.count())
    with pytest.raises(CatalogueRefused) as error:
        load(data)
    for problem in error.value.problems:
        assert sentence(problem.as_error())[-1] == "."
        assert "pass the code on" not in sentence(problem.as_error()), problem
    after = (Operation.objects.count(), Place.objects.count(), Part.objects.count())
    assert before == after
    return {problem.path: problem.code for problem in error.value.problems}


def test_a_catalogue_is_loaded_whole(data) -> None:
    loaded = load(data)
    assert loaded.places == len(data["places"]) == Place.objects.count()
    assert loaded.parts == len(data["parts"]) == Part.objects.count()
    assert loaded.consignees == len(data["consignees"]) == Consignee.objects.count()
    assert loaded.protocols == len(data["protocols"]) == Protocol.objects.count()
    assert (loaded.sizes, loaded.benches) == (6, 3)
    assert loaded.stocks == len(data["stocks"]) == Stock.objects.count()
    assert BoxSize.objects.get(gtin="09521234000020").sets == 24
    assert Part.objects.get(code="MA").needs_clearing is False
    assert Consignee.objects.get(code="EG").street.splitlines() == [
        "Goods entrance 2",
        "1 Infirmary Road",
    ]
    assert Bench.objects.get(code="B1").place == Place.objects.get(code="BENCH-1")
    workshop = Workshop.objects.get()
    assert (workshop.name, workshop.gs1_prefix) == ("Harrow Lane Workshop", "9521234")
    assert Operation.objects.get().name == "load_catalogue"
    calibrated = Calibration.objects.filter(operation=Operation.objects.get())
    assert calibrated.count() == len(data["meters"])
    assert factories.prove() == []


def test_only_the_recipe_whose_day_has_come_is_in_force(data) -> None:
    assert load(data).in_force == 2
    product = Product.objects.get(code="FS1EN")
    assert product.recipes.get(in_force=True).version == 1
    later = sign(now=datetime(2026, 1, 14, 9, tzinfo=UTC))
    assert load_catalogue(data=data, sign=later).in_force == 2
    assert product.recipes.get(in_force=True).version == 2
    assert load(data).in_force == 0  # the clock of a command going back undoes nothing
    assert product.recipes.get(in_force=True).version == 2


def test_loading_it_again_adds_nothing(data) -> None:
    load(data)
    again = asdict(load(data))
    assert set(again.values()) == {0}


def test_the_same_act_sent_again_is_done_once(data) -> None:
    one = sign(now=NOW)
    first, again = (load_catalogue(data=data, sign=one) for _ in range(2))
    assert first == again
    assert first.places
    assert Operation.objects.count() == 1


def test_what_is_new_is_added_to_what_is_there(data) -> None:
    load(data)
    data["parts"][0]["revisions"].append("E")
    data["consignees"].append({"code": "NEW", "name": "New Ward"})
    data["meters"][0].update(calibrated="2026-01-02", due="2027-01-02")
    loaded = load(data)
    assert (loaded.revisions, loaded.consignees, loaded.calibrations) == (1, 1, 1)
    assert Revision.objects.filter(part__code="HB", code="E").exists()
    assert Meter.objects.get(serial="RM-0417").calibrations.count() == 2
    assert factories.prove() == []


def test_a_meter_may_wait_for_its_calibration_and_a_defect_be_of_any_part(
    data,
) -> None:
    data["meters"].append({"serial": "RM-9999", "name": "Radiometer"})
    data["defects"].append({"code": "SMELL", "name": "Smell", "grade": "minor"})
    load(data)
    assert not Meter.objects.get(serial="RM-9999").calibrations.exists()
    assert DefectKind.objects.get(code="SMELL").part is None


def test_what_the_file_leaves_out_is_left_as_it_is(data) -> None:
    load(data)
    Part.objects.filter(code="HB").update(open_hours=8)
    assert set(asdict(load(data)).values()) == {0}
    assert Part.objects.get(code="HB").open_hours == 8


CHANGES: dict[str, Any] = {
    "parts[6].needs_clearing": lambda d: d["parts"][5].update(needs_clearing=True),
    "parts[1].mass_mg": lambda d: d["parts"][0].update(mass_mg=1),
    "places[1].kind": lambda d: d["places"][0].update(kind="shelf"),
    "benches[1].place": lambda d: d["benches"][0].update(place="DOCK"),
    "methods[1].machine_group": lambda d: d["methods"][0].update(machine_group="x"),
    "products[1].profile": lambda d: d["products"][0].update(profile="device"),
    "products[1].sizes[1].gtin": lambda d: d["products"][0]["sizes"][0].update(
        gtin="09521234000068"
    ),
    "stocks[1].gap_um": lambda d: d["stocks"][0].update(gap_um=2_000),
    "meters[1].rel_u_ppm": lambda d: d["meters"][0].update(rel_u_ppm=1000),
    "protocols[2].required_top_uj_cm2": lambda d: d["protocols"][1].update(
        required_top_uj_cm2=1
    ),
    "consignees[1].address": lambda d: d["consignees"][0].update(address=["Elsewhere"]),
    "workshop.gs1_prefix": lambda d: d["workshop"].update(gs1_prefix="9521235"),
}


RECIPE = "products[1].recipes[1].lines"
LINES: list[tuple[str, Any]] = [
    (RECIPE, lambda d: d["products"][0]["recipes"][0]["lines"][0].update(pieces=2)),
    (RECIPE, lambda d: d["products"][0]["recipes"][0]["lines"].pop()),
    (
        "protocols[2].loads",
        lambda d: d["protocols"][1]["loads"][0].update(max_pieces=900),
    ),
]


def test_nothing_on_record_is_changed(data, subtests: pytest.Subtests) -> None:
    load(data)
    cases = [(path, change, "catalogue_differs") for path, change in CHANGES.items()]
    cases += [(path, change, "catalogue_new_version") for path, change in LINES]
    for path, change, code in cases:
        changed = copy.deepcopy(data)
        change(changed)
        with subtests.test(path):
            assert refused(changed) == {path: code}


def _gtin(d: dict[str, Any], gtin: object) -> None:
    d["products"][0]["sizes"][0]["gtin"] = gtin


FAULTS: dict[str, tuple[Any, dict[str, str]]] = {
    "a section": (lambda d: d.update(wards=[]), {"wards": "catalogue_name"}),
    "a list": (lambda d: d.update(consignees={}), {"consignees": "catalogue_kind"}),
    "a place that a bench names": (
        lambda d: d["places"][6].update(kind="table"),
        {"places[7].kind": "catalogue_value"},
    ),
    "a row": (lambda d: d["places"].append("X"), {"places[13]": "catalogue_kind"}),
    "a field": (
        lambda d: d["places"][9].update(colour="red"),
        {"places[10].colour": "catalogue_name"},
    ),
    "nothing": (
        lambda d: d["consignees"][0].pop("name"),
        {"consignees[1].name": "catalogue_missing"},
    ),
    "text for a number": (
        lambda d: d["parts"][0].update(mass_mg="36 g"),
        {"parts[1].mass_mg": "catalogue_kind"},
    ),
    "a number for a flag": (
        lambda d: d["parts"][0].update(latex=1),
        {"parts[1].latex": "catalogue_kind"},
    ),
    "a flag for a number": (
        lambda d: d["parts"][0].update(mass_mg=True),
        {"parts[1].mass_mg": "catalogue_kind"},
    ),
    "a number below 0": (
        lambda d: d["parts"][0].update(mass_mg=-1),
        {"parts[1].mass_mg": "catalogue_value"},
    ),
    "a number beyond all": (
        lambda d: d["products"][0]["recipes"][1].update(version=10**30),
        {"products[1].recipes[2].version": "catalogue_value"},
    ),
    "a word": (
        lambda d: d["parts"][0].update(unit="pieces"),
        {"parts[1].unit": "catalogue_value"},
    ),
    "a long name": (
        lambda d: d["consignees"][9].update(name="x" * 81),
        {"consignees[10].name": "catalogue_value"},
    ),
    "a control character": (
        lambda d: d["consignees"][9].update(name="a\x00b"),
        {"consignees[10].name": "catalogue_kind"},
    ),
    "a code twice": (
        lambda d: d["methods"].append(dict(d["methods"][2])),
        {"methods[6]": "catalogue_twice"},
    ),
    "a place": (
        lambda d: d["benches"][0].update(place="NOWHERE"),
        {"benches[1].place": "catalogue_no_such"},
    ),
    "one place for two benches": (
        lambda d: d["benches"][1].update(place="BENCH-1"),
        {"benches[2].place": "catalogue_value"},
    ),
    "a check digit": (
        # 09521234000014 is the same body as 09521234000013: python-stdnum, ean.
        lambda d: _gtin(d, "09521234000014"),
        {"products[1].sizes[1].gtin": "gtin_wrong"},
    ),
    "a GTIN of two sizes": (
        lambda d: _gtin(d, "09521234000020"),
        {"products[1].sizes[2].gtin": "catalogue_value"},
    ),
    "no product code": (
        lambda d: d["products"][1].pop("code"),
        {"products[2].code": "catalogue_missing"},
    ),
    "a product code": (
        lambda d: d["products"][0].update(code="FS 1"),
        {"products[1].code": "batch_product_code"},
    ),
    "a revision": (
        lambda d: d["products"][0]["recipes"][0]["lines"][0].update(revision="Z"),
        {"products[1].recipes[1].lines[1].revision": "catalogue_no_such"},
    ),
    "a part twice in a recipe": (
        lambda d: d["products"][0]["recipes"][0]["lines"].append(
            dict(d["products"][0]["recipes"][0]["lines"][0])
        ),
        {"products[1].recipes[1].lines[6]": "catalogue_twice"},
    ),
    "no lines": (
        lambda d: d["products"][1]["recipes"][0].update(lines=[]),
        {"products[2].recipes[1].lines": "catalogue_missing"},
    ),
    "no such day": (
        lambda d: d["products"][1]["recipes"][0].update({"from": "2026-02-30"}),
        {"products[2].recipes[1].from": "catalogue_kind"},
    ),
    "a protocol that asks for nothing": (
        lambda d: d["protocols"][1].update(required_top_uj_cm2=0),
        {"protocols[2]": "catalogue_value"},
    ),
    "a calibration to come": (
        lambda d: d["meters"][0].update(calibrated="2026-01-06"),
        {"meters[1].calibrated": "calibration_in_future"},
    ),
    "a calibration that ends before it begins": (
        lambda d: d["meters"][0].update(due="2025-01-01"),
        {"meters[1].due": "calibration_dates"},
    ),
    "texts that are none": (
        lambda d: d["parts"][8].update(revisions="1"),
        {"parts[9].revisions": "catalogue_kind"},
    ),
    "a revision twice": (
        lambda d: d["parts"][8]["revisions"].append("1"),
        {"parts[9].revisions[2]": "catalogue_twice"},
    ),
    "a day cut short": (
        lambda d: d["products"][1]["recipes"][0].update({"from": "2026-2-3"}),
        {"products[2].recipes[1].from": "catalogue_kind"},
    ),
    "a calibration on no day": (
        lambda d: d["meters"][0].update(calibrated=7),
        {"meters[1].on": "catalogue_kind"},
    ),
    "an uncertainty beyond all": (
        lambda d: d["meters"][0].update(rel_u_ppm=1_000_000),
        {"meters[1].rel_u_ppm": "uncertainty_out_of_range"},
    ),
    "a revision that a protocol covers": (
        lambda d: d["protocols"][0]["loads"][0].update(revision="Z"),
        {"protocols[1].loads[1].revision": "catalogue_no_such"},
    ),
    "a version in words": (
        lambda d: d["protocols"][0].update(version="first"),
        {"protocols[1].version": "catalogue_kind"},
    ),
    "a time zone": (
        lambda d: d["workshop"].update(time_zone="Eskmoor"),
        {"workshop.time_zone": "catalogue_time_zone"},
    ),
    "a stock that nobody could enter": (
        lambda d: d["stocks"][0].update(code="box roll"),
        {"stocks[1]": "code_malformed"},
    ),
    "a sheet that is too small for its labels": (
        # ISO 216: A4 is 210 mm wide; three of 70 mm and two gaps of 5 are 220.
        lambda d: d["stocks"][3].update(columns=3),
        {"stocks[4]": "sheet_too_small"},
    ),
    "a length in words": (
        lambda d: d["stocks"][0].update(width_um="10 cm"),
        {"stocks[1].width_um": "catalogue_kind"},
    ),
    "a stock twice": (
        lambda d: d["stocks"].append(dict(d["stocks"][0])),
        {"stocks[8]": "catalogue_twice"},
    ),
    "a prefix": (
        lambda d: d["workshop"].update(gs1_prefix="12"),
        {"workshop.gs1_prefix": "gs1_prefix"},
    ),
}


def _files() -> list[list[str]]:
    """Faults in few files: each of another section, none of a product and its part."""
    files: list[dict[str, str]] = []
    for what, (_, expected) in FAULTS.items():
        section, nth = re.findall(r"^(\w+)(\[\d+\])?", next(iter(expected)))[0]
        keys = {section, nth} if section in {"parts", "products"} else {section}
        free = (file for file in files if not keys & {*file})
        if not (file := next(free, {})):
            files.append(file)
        file |= dict.fromkeys(keys, what)
    return [list(dict.fromkeys(file.values())) for file in files]


@pytest.mark.alike
@pytest.mark.parametrize("faults", _files())
def test_each_fault_is_named_by_its_path_and_nothing_is_written(faults, data) -> None:
    for what in faults:
        FAULTS[what][0](data)
    expected = {k: code for what in faults for k, code in FAULTS[what][1].items()}
    assert refused(data) == expected


@pytest.mark.alike
@pytest.mark.parametrize("data", [None, [], "text", 7, {"workshop": []}, {"parts": 1}])
def test_what_is_no_catalogue_at_all_is_refused(data: object) -> None:
    assert set(refused(data).values()) == {"catalogue_kind"}


def test_every_fault_is_named_at_once(data) -> None:
    data["parts"][0]["unit"] = "pieces"
    data["consignees"][3]["name"] = ""
    assert len(refused(data)) >= 2


def test_a_trial_says_the_same_and_writes_nothing(data) -> None:
    tried = try_catalogue(data=data, now=NOW)
    assert not Place.objects.exists()
    assert Workshop.objects.get().name == "Unnamed workshop"
    assert tried == load(data)
    data["parts"][0]["unit"] = "pieces"
    with pytest.raises(CatalogueRefused):
        try_catalogue(data=data, now=NOW)


# -- The command --------------------------------------------------------------------


def test_the_command_loads_and_says_how_much(capsys) -> None:
    call_command("catalogue", str(FILE), dry_run=True)
    assert "would be added; nothing was written." in capsys.readouterr().out
    assert not Place.objects.exists()
    call_command("catalogue", str(FILE))
    assert "12 places, 3 benches, 12 parts" in capsys.readouterr().out
    assert Operation.objects.get().by_name == "command line"
    assert Recipe.objects.filter(in_force=True).count() == 2
    call_command("catalogue", str(FILE))
    assert "nothing that is not there already added." in capsys.readouterr().out


def test_the_command_names_path_value_and_reason(tmp_path: Path, data, capsys) -> None:
    data["parts"][0]["unit"] = "pieces"
    file = tmp_path / "own.json"
    file.write_text(json.dumps(data), "utf-8")
    with pytest.raises(CommandError, match="1 faults"):
        call_command("catalogue", str(file))
    said = capsys.readouterr().err
    assert said.startswith("parts[1].unit: “pieces” This cannot be kept: ")
    assert not Place.objects.exists()


@pytest.mark.alike
@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"{", "not JSON: line 1, column 2"),
        (b"\xff\xfe", "not text in UTF-8"),
        (b"[" * 100_000, "nested too deep"),
        (b'{"parts": [{"mass_mg": ' + b"9" * 5_000 + b"}]}", "too many digits"),
        (b'{"parts": [], "parts": []}', "“parts” is there twice"),
        (b'{"parts": [{"code": "A", "code": "B"}]}', "“code” is there twice"),
        (b'{"parts": [{"mass_mg": NaN}]}', "NaN is no number"),
    ],
)
def test_a_file_that_is_no_json_is_refused(tmp_path, content: bytes, said: str) -> None:
    file = tmp_path / "own.json"
    file.write_bytes(content)
    with pytest.raises(CommandError, match=said):
        call_command("catalogue", str(file))
    with pytest.raises(CommandError, match="cannot be read"):
        call_command("catalogue", str(tmp_path / "none.json"))
