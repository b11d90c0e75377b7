"""The kit batch: boxes of one product and recipe version packed on one day at a site."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from typing import Final

from kitting.domain.errors import CodeError
from kitting.domain.shown import shown

_LONGEST: Final = 20
_CENTURY: Final = 2000
_PRODUCT: Final = re.compile("[A-Z0-9]{1,8}")
_BATCH: Final = re.compile(
    "(?P<site>[1-9])-(?P<product>[A-Z0-9]{1,8})"
    "-(?P<year>[0-9]{2})(?P<day>[0-9]{3})-(?P<version>[1-9][0-9]*)"
)


@dataclass(frozen=True)
class Batch:
    """A kit batch that was read."""

    site: int
    """Site, 1 to 9."""

    product_code: str
    """Product code, at most 8 of A to Z and 0 to 9."""

    packed_on: dt.date
    """Day of packing, in the years 2000 to 2099."""

    recipe_version: int
    """Version of the recipe, from 1."""


def kit_batch(
    site: int, product_code: str, packed_on: dt.date, recipe_version: int
) -> str:
    """Compose the kit batch of a box.

    Args:
        site: Site that packs, 1 to 9.
        product_code: Product code, at most 8 of A to Z and 0 to 9.
        packed_on: Day of packing, in the years 2000 to 2099.
        recipe_version: Version of the recipe, from 1.

    Returns:
        Site, product code, pack date as YYDDD (ISO 8601 ordinal date, century left
        out) and recipe version; at most 20 characters, fit for AI 10.

    Raises:
        CodeError: ``batch_site``, ``batch_product_code``, ``batch_date``,
            ``batch_recipe_version``, or ``batch_too_long`` above 20 characters.

    >>> kit_batch(1, "FS1EN", dt.date(2026, 11, 25), 3)
    '1-FS1EN-26329-3'
    """
    if not 1 <= site <= 9:
        raise CodeError("batch_site", site=site)
    if not _PRODUCT.fullmatch(product_code):
        raise CodeError("batch_product_code", product=product_code)
    if not _CENTURY <= packed_on.year < _CENTURY + 100:
        raise CodeError("batch_date", date=packed_on.isoformat())
    if recipe_version < 1:
        raise CodeError("batch_recipe_version", version=recipe_version)
    text = f"{site}-{product_code}-{packed_on:%y%j}-{recipe_version}"
    if len(text) > _LONGEST:
        raise CodeError("batch_too_long", text=text, limit=_LONGEST)
    return text


def read_batch(text: str) -> Batch:
    """Read a kit batch: the inverse of ``kit_batch``.

    Args:
        text: Any text, as printed; blanks around it and case do not matter.

    Returns:
        The batch.

    Raises:
        CodeError: ``batch_malformed`` for any other text.

    >>> read_batch("1-FS1EN-26329-3").packed_on
    datetime.date(2026, 11, 25)
    """
    tidy = text.strip()
    found = _BATCH.fullmatch(tidy.upper()) if tidy.isascii() else None
    if found is None or len(tidy) > _LONGEST:
        raise CodeError("batch_malformed", text=shown(text))
    year, day = _CENTURY + int(found["year"]), int(found["day"])
    packed_on = dt.date(year, 1, 1) + dt.timedelta(days=day - 1)
    if packed_on.year != year:
        raise CodeError("batch_malformed", text=shown(text))
    return Batch(int(found["site"]), found["product"], packed_on, int(found["version"]))
