"""Pictures of a document for the screen, in the printer's own dots."""

from __future__ import annotations

from io import BytesIO

from PIL import Image

from kitting.labels.pressed import Pressed
from kitting.labels.readback import rasterise
from kitting.labels.stock import Sheet, Stock


def png(pressed: Pressed, on: Stock | Sheet, *, page: int = 0) -> bytes:
    """Give a page as a black and white picture, one pixel to a printer dot.

    Args:
        pressed: The document.
        on: The paper and the printer's head that it was drawn for.
        page: Which page, from 0.

    Returns:
        A PNG. Shown as wide as the page is in mm, it is true to scale.
    """
    raster = rasterise(pressed.pdf, on if isinstance(on, Stock) else on.page, page=page)
    picture = Image.frombytes("L", (raster.wide, raster.high), raster.dots)
    file = BytesIO()
    dpi = float(on.dots_per_mm) * 25.4
    picture.convert("1", dither=Image.Dither.NONE).save(file, "PNG", dpi=(dpi, dpi))
    return file.getvalue()
