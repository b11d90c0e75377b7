"""Data Matrix (ECC 200) and QR symbols as rows of dark and light cells."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

import zxingcpp

from kitting.domain.errors import CodeError

_DATA_MATRIX: Final = zxingcpp.BarcodeFormat.DataMatrix
_PRINTABLE: Final = frozenset(map(chr, range(32, 127)))


@dataclass(frozen=True)
class Matrix:
    """A square symbol without its quiet zone, before it has a size."""

    rows: tuple[tuple[bool, ...], ...]
    """From the top; in a row from the left; True is dark."""

    @property
    def cells(self) -> int:
        """Cells on a side."""
        return len(self.rows)


def gs1_matrix(pairs: Iterable[tuple[str, str]]) -> Matrix:
    """Encode elements as GS1 DataMatrix (``]d2``).

    Args:
        pairs: Application identifiers with their values, already checked against the
            field and pairing rules; this function checks neither check digits nor
            dates.

    Returns:
        The smallest square symbol.

    Raises:
        CodeError: ``nothing_to_encode`` or ``not_encodable``.

    References:
        ISO/IEC 16022; GS1 DataMatrix Guideline.
    """
    # Square brackets keep a round one inside a batch number apart from an identifier.
    text = "".join(f"[{ai}]{value}" for ai, value in pairs)
    return _matrix(text, _DATA_MATRIX, gs1=True, force_square=True)


def plain_matrix(text: str) -> Matrix:
    """Encode a workshop number as plain Data Matrix (``]d1``).

    Args:
        text: Printable ASCII, at least one character.

    Returns:
        The smallest square symbol.

    Raises:
        CodeError: ``nothing_to_encode`` or ``not_encodable``.

    References:
        ISO/IEC 16022.
    """
    return _matrix(text, _DATA_MATRIX, force_square=True)


def qr_matrix(text: str) -> Matrix:
    """Encode an address as a QR code (``]Q1``), for whoever has a telephone.

    Args:
        text: Printable ASCII, at least one character.

    Returns:
        The smallest symbol that is still read with a seventh of it spoilt (level M).

    Raises:
        CodeError: ``nothing_to_encode`` or ``not_encodable``.

    References:
        ISO/IEC 18004.
    """
    return _matrix(text, zxingcpp.BarcodeFormat.QRCode, ec_level="M")


def _matrix(text: str, kind: zxingcpp.BarcodeFormat, **options: Any) -> Matrix:
    if not text:
        raise CodeError("nothing_to_encode")
    bad = next((char for char in text if char not in _PRINTABLE), None)
    if bad is not None:
        raise CodeError("not_encodable", text=text, character=bad)
    try:
        symbol = zxingcpp.create_barcode(text, kind, **options)
    except ValueError as error:
        raise CodeError("not_encodable", text=text, character=text[:1]) from error
    picture: Any = symbol.to_image(scale=1, add_quiet_zones=False)
    image = memoryview(picture)
    high, wide = image.shape or (0, 0)
    return Matrix(
        tuple(tuple(image[y, x] == 0 for x in range(wide)) for y in range(high))
    )
