"""Reading a label back from its own dots, before it is printed.

The page is rasterised at the printer's resolution, made black and white as the print
head will, and decoded. The rasteriser is not safe in threads, so one lock guards it
for the whole process.
"""

from __future__ import annotations

from collections.abc import Generator, Sequence
from threading import Lock
from typing import Final

import pypdfium2
import zxingcpp

from kitting.domain.errors import LotwardError
from kitting.labels.carried import Carried, same
from kitting.labels.dots import Raster, Symbol, refuse_uneven_bars, refuse_uneven_cells
from kitting.labels.stock import Stock

_BLACK_AND_WHITE: Final = bytes(0 if shade < 128 else 255 for shade in range(256))
_POINTS_PER_INCH: Final = 72
_rasteriser: Final = Lock()


def rasterise(pdf: bytes, stock: Stock, *, page: int = 0) -> Raster:
    """Turn a page into black and white dots.

    Args:
        pdf: The document.
        stock: The paper and the printer's head.
        page: Which page, from 0.

    Returns:
        The dots; the page rounded up to whole ones.
    """
    with _rasteriser:
        document = pypdfium2.PdfDocument(pdf)
        try:
            return _dots(document[page], stock)
        finally:
            document.close()


def rasters(pdf: bytes, stock: Stock) -> Generator[Raster]:
    """Turn every page into black and white dots, one after the other.

    Args:
        pdf: The document.
        stock: The paper and the printer's head.

    Yields:
        The dots of each page.
    """
    with _rasteriser:
        document = pypdfium2.PdfDocument(pdf)
        pages = len(document)
    try:
        for page in range(pages):
            with _rasteriser:
                raster = _dots(document[page], stock)
            yield raster
    finally:
        with _rasteriser:
            document.close()


def _dots(page: pypdfium2.PdfPage, stock: Stock) -> Raster:
    scale = float(stock.dots_per_inch / _POINTS_PER_INCH)
    bitmap = page.render(scale=scale, grayscale=True, may_draw_forms=False)
    wide, high, stride = bitmap.width, bitmap.height, bitmap.stride
    shades = bytes(bitmap.buffer)
    rows = (shades[y * stride : y * stride + wide] for y in range(high))
    return Raster(wide, high, b"".join(rows).translate(_BLACK_AND_WHITE))


def check_raster(
    raster: Raster, wanted: Sequence[Carried], *, number: str, secret: bool = False
) -> None:
    """Refuse dots whose symbols do not read as they must.

    Args:
        raster: The dots of one label.
        wanted: What its symbols must carry.
        number: What the label is called in the error.
        secret: Whether the error must not tell what was read.

    Raises:
        LotwardError: ``label_unreadable`` when a symbol is missing, differs or is one
            too many; ``bars_uneven`` when a bar or space is not its whole dots wide;
            ``cells_uneven`` when a dot of a matrix is not as it must be;
            ``quiet_zone_not_white`` when something stands too near the bars.
    """
    symbols = decode(raster)
    read = [(symbol.symbology_identifier, symbol.data) for symbol in symbols]
    if not same(wanted, read):
        told = {"wanted": [one.read_as for one in wanted], "read": read}
        raise LotwardError(
            "label_unreadable", number=number, **({} if secret else told)
        )
    carried = {one.read_as: one for one in wanted}
    for symbol in symbols:
        one = carried[symbol.symbology_identifier, symbol.data]
        if one.linear:
            refuse_uneven_bars(raster, symbol, one.bars(), number)
        else:
            refuse_uneven_cells(raster, symbol, one.matrix(), number)


def decode(raster: Raster) -> list[Symbol]:
    """Read every symbol on a page.

    Args:
        raster: The dots of the page at the printer's resolution.

    Returns:
        The symbols from the top of the page to its foot; empty when none is readable.
    """
    image = memoryview(raster.dots).cast("B", shape=(raster.high, raster.wide))
    # The dots are black and white and stand upright: nothing needs to be tried out.
    found = [
        _symbol(one)
        for one in zxingcpp.read_barcodes(
            image,
            try_rotate=False,
            try_downscale=False,
            try_invert=False,
            binarizer=zxingcpp.Binarizer.FixedThreshold,
        )
    ]
    return sorted(found, key=lambda symbol: (symbol.middle, symbol.left))


def _symbol(read: zxingcpp.Barcode) -> Symbol:
    at = read.position
    corners = (at.top_left, at.top_right, at.bottom_left, at.bottom_right)
    return Symbol(
        symbology_identifier=read.symbology_identifier,
        data=read.bytes.decode("latin-1"),
        left=min(corner.x for corner in corners),
        right=max(corner.x for corner in corners),
        top=min(corner.y for corner in corners),
        foot=max(corner.y for corner in corners),
    )
