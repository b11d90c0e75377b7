"""What is read at the bench besides numbers: a matrix without separators, a GTIN."""

from __future__ import annotations

import re
from typing import Final

from kitting.domain import gs1
from kitting.domain.errors import CodeError
from kitting.domain.shown import shown
from kitting.labels.box_label import box_symbols
from kitting.models import Box, BoxSize
from kitting.packing.labels import box_label
from kitting.web.scans import Found, ours, register

_WITHOUT_GS: Final = re.compile(
    "(?:][A-Za-z][0-9])?(?P<data>01(?P<gtin>[0-9]{14})[!-~]*"
    "21(?P<serial>K[1-9][0-9]{6,12}[0-9A-Z]))"
)
"""A box's matrix as it comes from a scanner that drops the separators: an identifier,
article and date at the front, the serial behind the batch at the end."""

GTIN_DIGITS: Final = 14


def of_matrix_without_gs(text: str) -> Found | None:
    """Find the box whose own matrix, its separators left out, reads like the text.

    Args:
        text: As it was scanned.

    Returns:
        The box; None if the text does not look like such a matrix.

    Raises:
        CodeError: ``scan_separator_lost`` if it does, and is the matrix of no box here.
    """
    without = _WITHOUT_GS.fullmatch(text)
    if without is None or not gs1.gtin14_ok(without["gtin"]):
        return None
    found = ours(without["serial"])
    box = None if found is None else found.row
    if isinstance(box, Box) and box.serial is not None:
        _linear, matrix = box_symbols(box_label(box.pk))
        if matrix.data.replace(gs1.GS, "") == without["data"]:
            return Found("box", box, box.serial)
    raise CodeError("scan_separator_lost", read=shown(text))


def size_of_gtin(text: str) -> BoxSize | None:
    """Find the size whose GTIN a scan names: each of its boxes has it, so it names none.

    Args:
        text: As it was scanned, where nothing has it as a number.

    Returns:
        The size with its product; None for any other text.
    """
    scan = gs1.read_scan(text)
    gtin = (scan.value("01") or scan.number or "").zfill(GTIN_DIGITS)
    sizes = BoxSize.objects.select_related("product")
    return sizes.filter(gtin=gtin).first() if gs1.gtin14_ok(gtin) else None


register(of_matrix_without_gs)
