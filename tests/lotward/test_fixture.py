"""The master data of the demo: invented, complete, and right by the published rules."""

from __future__ import annotations

import re
from collections import Counter
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from stdnum import ean

from kitting.labels.kinds import KINDS, SET_SLIP
from kitting.labels.press import press
from kitting.labels.slip import SetSlip
from kitting.ledger.setup import ROLES
from kitting.models.catalogue import Per, PlaceKind, Profile, Unit
from kitting.models.lots import Container
from kitting.printing.queries.labels import DEMO_MARK
from kitting.printing.queries.stocks import of_kind
from lotward.demo import masterdata, plan
from lotward.demo.clock import Days
from lotward.demo.people import PEOPLE

DATA = masterdata.read()
REVISIONS = {
    (part["code"], each["code"] if isinstance(each, dict) else each)
    for part in DATA["parts"]
    for each in part["revisions"]
}
SIZES = [size for product in DATA["products"] for size in product["sizes"]]
RECIPES = [recipe for product in DATA["products"] for recipe in product["recipes"]]


def _codes(what: str) -> list[str]:
    return [each["code"] for each in DATA[what]]


@pytest.mark.parametrize("gtin", [size["gtin"] for size in SIZES])
def test_each_gtin_has_its_check_digit_under_the_demonstration_prefix(
    gtin: str,
) -> None:
    # python-stdnum computes the digit; GS1 keeps prefix 952 for demonstrations.
    assert ean.is_valid(gtin)
    assert len(gtin) == 14
    assert gtin[1:].startswith(DATA["workshop"]["gs1_prefix"])
    assert gtin[1:4] == "952"


def test_no_two_boxes_share_a_gtin() -> None:
    gtins = [size["gtin"] for size in SIZES]
    assert len(set(gtins)) == len(gtins) == 6


@pytest.mark.parametrize(
    "what",
    ["places", "benches", "stocks", "parts", "methods", "products", "consignees"],
)
def test_no_code_stands_twice(what: str) -> None:
    assert max(Counter(_codes(what)).values()) == 1


def test_the_words_are_those_that_the_database_takes() -> None:
    assert {part["unit"] for part in DATA["parts"]} == set(map(str, Unit))
    assert {place["kind"] for place in DATA["places"]} == set(map(str, PlaceKind))
    assert {each["profile"] for each in DATA["products"]} <= set(map(str, Profile))
    assert {kind.container for kind in plan.KINDS.values()} <= set(map(str, Container))
    assert set(PEOPLE.values()) == set(ROLES)
    assert ZoneInfo(DATA["workshop"]["time_zone"]).utcoffset(None) is None


@pytest.mark.parametrize(
    "recipe", RECIPES, ids=lambda each: f"version {each['version']}"
)
def test_a_recipe_pins_revisions_that_there_are(recipe: dict[str, object]) -> None:
    lines = recipe["lines"]
    assert isinstance(lines, list)
    for line in lines:
        assert (line["part"], line["revision"]) in REVISIONS
        for other in line.get("substitutes", []):
            assert (other["part"], other["revision"]) in REVISIONS
        assert line["per"] in set(map(str, Per))
    parts = [line["part"] for line in lines]
    assert len(parts) == len(set(parts))


def test_one_product_changed_a_revision_in_the_middle_of_the_weeks() -> None:
    first, second = DATA["products"][0]["recipes"]
    assert first["version"] + 1 == second["version"]
    changed = [
        (old["part"], old["revision"], new["revision"])
        for old, new in zip(first["lines"], second["lines"], strict=False)
        if (old["part"], old["revision"]) != (new["part"], new["revision"])
    ]
    assert changed == [("HB", "C", "D")]
    # From then on cartons are counted, each in its own size.
    more = [
        (line["part"], line["sets"]) for line in second["lines"][len(first["lines"]) :]
    ]
    assert more == [("C6", 6), ("C24", 24), ("C60", 60)]
    begun = date.fromisoformat(second["from"])
    last = plan.FIRST_DAY + timedelta(days=11)  # a Friday, ten working days in all
    assert plan.FIRST_DAY + timedelta(days=1) < begun < last


def test_the_protocol_in_force_covers_all_that_needs_clearing() -> None:
    newest = DATA["protocols"][-1]
    assert newest["in_force_until"] is None
    needs = {each["code"] for each in DATA["parts"] if each.get("needs_clearing", True)}
    covered = {
        (load["part"], load["revision"], load["container"]): load["max_pieces"]
        for load in newest["loads"]
    }
    made = [each for each in plan.ARRIVALS if each.part in needs]
    assert made
    for arrival in made:
        kind = plan.KINDS[arrival.part]
        key = (arrival.part, arrival.revision, kind.container)
        assert covered[key] >= kind.pieces


def test_the_heat_protocol_covers_the_elastics_as_they_lie() -> None:
    [warm] = [each for each in DATA["protocols"] if each["process"] == "heat"]
    kind = plan.KINDS["EL"]
    [load] = warm["loads"]
    assert (load["part"], load["container"]) == ("EL", kind.container)
    assert load["max_pieces"] >= kind.pieces
    assert (load["part"], load["revision"]) in REVISIONS
    assert plan.THERMOMETER in {each["serial"] for each in DATA["meters"]}
    # What was logged reaches the end of the hold before the tray came out.
    enough = [at for at, value in plan.WARMTH if value >= warm["min_value"]]
    assert enough[-1] - enough[0] >= warm["hold_s"] / 60
    assert enough[-1] <= plan.MINUTES_WARM


def test_lamps_burn_on_lines_that_there_are() -> None:
    lines = {each["code"] for each in DATA["places"] if each["kind"] == "line"}
    assert {line for line, *_ in plan.LAMPS} <= lines
    assert all(on < plan.FIRST_DAY for _line, _name, on, _hours in plan.LAMPS)
    names = {name for line, name, *_ in plan.LAMPS if line == "LINE-1"}
    assert set(plan.GONE_LAMPS) < names


def test_every_arrival_is_of_a_revision_and_method_that_there_is() -> None:
    for arrival in plan.ARRIVALS:
        assert (arrival.part, arrival.revision) in REVISIONS
    methods = {kind.method for kind in plan.KINDS.values()} - {""}
    assert methods <= set(_codes("methods"))


def test_what_is_sent_goes_to_eight_places_that_are_on_the_books() -> None:
    assert len(set(plan.ROUND)) == 8
    assert set(plan.ROUND) < set(_codes("consignees"))


def test_every_consignee_has_an_address_in_the_invented_county() -> None:
    for consignee in DATA["consignees"]:
        assert consignee["street"]
        assert consignee["city"]
        assert re.fullmatch(r"EK[1-8] [0-9][A-Z]{2}", consignee["postcode"])
        assert consignee["country"] == "GB"
        assert consignee["contact"]


@pytest.mark.parametrize("product", DATA["products"], ids=lambda each: each["code"])
def test_a_product_says_that_it_replaces_no_respirator(
    product: dict[str, list[str]],
) -> None:
    cautions = " ".join(product["cautions"])
    assert "splash barrier" in cautions
    assert "does not replace a respirator" in cautions
    assert "not sterile" in cautions
    assert product["language"] == "en"


def test_the_evidence_of_a_protocol_claims_nothing() -> None:
    for protocol in DATA["protocols"]:
        assert "Invented for the demonstration" in protocol["evidence"]


# Any calendar: 23 January 2026 is a Friday, 26 January a Monday.
@pytest.mark.parametrize("newest", [date(2026, 1, 23), date(2026, 1, 26)])
def test_working_days_are_ten_from_monday_to_friday(newest: date) -> None:
    days = Days(newest, datetime(2026, 1, 31, tzinfo=UTC), ZoneInfo("UTC"))
    dates = [days.day(number) for number in range(plan.LAST + 1)]
    assert len(set(dates)) == 10
    assert dates == sorted(dates)
    assert {each.isoweekday() for each in dates} == {1, 2, 3, 4, 5}
    assert dates[-1] == newest


# Width and height in µm. A4: ISO 216. US Letter: 8.5 × 11 inches of 25.4 mm.
PAGES = {(210_000, 297_000), (215_900, 279_400)}
USUAL_UM = 4_233
"""A sixth of an inch: what office printers leave white along each edge of a sheet.
Common practice."""


def test_there_is_stock_for_every_kind_of_label_and_sheets_of_both_pages() -> None:
    """The sizes are those of the labels' own list."""
    sizes = {(each["width_um"], each["height_um"]) for each in DATA["stocks"]}
    assert sizes == {
        (round(kind.width_mm * 1000), round(kind.height_mm * 1000))
        for kind in KINDS.values()
    }
    sheets = [each for each in DATA["stocks"] if "page_width_um" in each]
    assert {(s["page_width_um"], s["page_height_um"]) for s in sheets} == PAGES
    assert len(sheets) == 4


@pytest.mark.parametrize(
    "sheet",
    [each for each in DATA["stocks"] if "page_width_um" in each],
    ids=lambda each: each["code"],
)
def test_a_sheet_lies_in_the_middle_of_what_a_printer_reaches(
    sheet: dict[str, int],
) -> None:
    wide = sheet["columns"] * (sheet["width_um"] + sheet["gap_across_um"])
    high = sheet["rows"] * (sheet["height_um"] + sheet["gap_down_um"])
    right = sheet["page_width_um"] - sheet["left_um"] - wide + sheet["gap_across_um"]
    below = sheet["page_height_um"] - sheet["top_um"] - high + sheet["gap_down_um"]
    assert sheet["left_um"] == right >= sheet["margin_um"] >= USUAL_UM
    assert sheet["top_um"] == below >= sheet["margin_um"]


@pytest.mark.parametrize("copy", [1, 2])
def test_the_slips_of_every_product_fit_with_the_mark_of_a_demo(copy: int) -> None:
    """At the design's 50 × 25 mm, read back; the kit batch as long as it may be."""
    for product in DATA["products"]:
        slip = SetSlip(
            product_name=product["name"],
            kit_batch=f"1-{product['code']}-26023-22",
            serial="K1000197M",
            cautions=tuple(product["cautions"]),
            nth=60,
            of=60,
            mark=DEMO_MARK,
            copy=copy,
        )
        assert press(SET_SLIP, [slip], of_kind(SET_SLIP).on).pages == 1
