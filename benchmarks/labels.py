"""Box labels in one process: drawn, against bare ReportLab drawing the same marks; read
back; and read by a scanner that sees them sharp and blurred.

Both compute nothing twice: Lotward makes the data, the symbols and the layout of each
label; the bare canvas only repeats the calls that one label led to.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date
from io import BytesIO
from random import Random
from typing import Any

from reportlab.pdfgen.canvas import Canvas
from reportlab.pdfgen.pathobject import PDFPathObject

from benchmarks.measure import Row, medians
from kitting.domain.gs1 import check_digit
from kitting.labels import paper
from kitting.labels.box_label import BoxLabel
from kitting.labels.kinds import BOX
from kitting.labels.press import draw, press
from kitting.labels.readback import rasters
from tests.kitting.labels.drawn import blurred, picture_of, random_box, rightly_read
from tests.kitting.labels.samples import BOX_100X150, HEAD_203, HEAD_300

COUNT = 100
TIMES = 5
FILE_OF = 1_000
READ = 500
BLUR_DOTS = 0.9
NOISE = 5
"""Of 255 grey levels."""

LABEL = BoxLabel(
    product_name="Face shield with chin piece",
    sets=24,
    packed_on=date(2026, 3, 14),
    disinfected=(("Disinfected (UV-C)", date(2026, 3, 13)),),
    use_by=date(2029, 3, 13),
    kit_batch="1-FS1EN-26073-2",
    serial="K1000001X",
    lots=(
        ("Headband", "HB-0312"),
        ("Chin piece", "CP-0307"),
        ("Visor", "VS-0288"),
        ("Elastic", "EL-0019"),
        ("Manual", "MN-0004"),
    ),
    sscc="395212340000012345",
    gtin="09521234000013",
    profile="none",
    cautions=("A splash barrier. Does not replace a respirator.",),
    maker_name="Harrow Lane Workshop",
    maker_address=("12 Harrow Lane", "Thornwick", "Eskmoor"),
)

PATHS = {"drawPath", "clipPath"}
Call = tuple[str, tuple[Any, ...], dict[str, Any]]


def rows() -> list[Row]:
    """Labels a second, the size of a long document, and how surely they are read."""
    many = [_label(nth) for nth in range(COUNT)]
    calls = _calls_of_one()
    ours, bare, proven = medians(
        [
            lambda: draw(BOX, many, BOX_100X150),
            lambda: _again(calls, COUNT),
            lambda: press(BOX, many, BOX_100X150),
        ],
        TIMES,
    )
    size = len(draw(BOX, [_label(nth) for nth in range(FILE_OF)], BOX_100X150).pdf)
    return [
        Row(
            "box label as PDF",
            f"{COUNT / ours:,.0f} a second",
            f"bare canvas {COUNT / bare:,.0f} a second",
            f"{ours / bare:.2f} × the time",
            "≥ 100 a second",
        ),
        Row(
            "box label as PDF, read back from its dots",
            f"{COUNT / proven:,.0f} a second",
            limit="≥ 25 a second",
        ),
        Row(
            f"{FILE_OF:,} box labels in one PDF",
            f"{size / 1e6:.2f} MB",
            limit="≤ 5 MB for 1,000",
        ),
        *_reading(),
    ]


def _label(nth: int) -> BoxLabel:
    body = f"3952123400{nth:07}"
    return replace(LABEL, serial=f"K1{nth:06}", sscc=body + check_digit(body))


def _reading() -> Iterator[Row]:
    """Random labels, each seen sharp and blurred, at two heads."""
    rng = Random(17)  # noqa: S311
    labels = [random_box(rng) for _ in range(READ)]
    for head in (HEAD_203, HEAD_300):
        on = BOX_100X150.at(head)
        pdf = draw(BOX, labels, on).pdf
        sharp = soft = 0
        for nth, (label, dots) in enumerate(zip(labels, rasters(pdf, on), strict=True)):
            sharp += rightly_read(BOX, label, picture_of(dots))
            grey = blurred(dots, BLUR_DOTS, noise=NOISE, seed=nth)
            soft += rightly_read(BOX, label, grey)
        yield Row(
            f"symbols read of {READ} random labels, {float(on.dots_per_inch):.4g} dpi",
            f"{sharp / READ / 2:.2%}",
            f"blurred by {BLUR_DOTS} dots {soft / READ / 2:.2%}",
            limit="100 %, blurred ≥ 99 %",
        )


def _recorded(kind: type, calls: list[Call], names: list[str]) -> type:
    """A class that notes the calls of these methods, not those between them."""
    inside: list[bool] = []

    def noted(name: str) -> Callable[..., Any]:
        plain = getattr(kind, name)

        def method(self: Any, *args: Any, **more: Any) -> Any:
            if not inside:
                calls.append((name, args, more))
            inside.append(True)
            try:
                return plain(self, *args, **more)
            finally:
                inside.pop()

        return method

    return type(kind.__name__, (kind,), {name: noted(name) for name in names})


def _public(kind: type) -> list[str]:
    return [
        name
        for name in dir(kind)
        if not name.startswith("_") and callable(getattr(kind, name))
    ]


def _calls_of_one() -> list[Call]:
    """What one label asks of its canvas, paths as lists of their own calls."""
    calls: list[Call] = []
    paths: dict[int, list[Call]] = {}
    path_names = [n for n in _public(PDFPathObject) if n not in {"getCode"}]
    skip = {"save", "getPageNumber", "beginPath", "showPage", "setTitle"}
    skip |= {"setCreator", "setProducer", "getpdfdata"}
    base = _recorded(Canvas, calls, [n for n in _public(Canvas) if n not in skip])

    class Recorder(base):  # type: ignore[misc, valid-type]
        def beginPath(self) -> PDFPathObject:
            inner: list[Call] = []
            path = _recorded(PDFPathObject, inner, path_names)()
            paths[id(path)] = inner
            self.kept = [*getattr(self, "kept", []), path]  # its id stays its own
            return path

    plain = paper.Canvas
    paper.Canvas = Recorder  # type: ignore[misc]
    try:
        draw(BOX, [LABEL], BOX_100X150)
    finally:
        paper.Canvas = plain  # type: ignore[misc]
    return [
        (name, (_steps(args[0], paths), *args[1:]), more) if name in PATHS else call
        for call in calls
        for name, args, more in [call]
    ]


def _steps(path: PDFPathObject, paths: dict[int, list[Call]]) -> list[Call]:
    """The calls that make a path, where Lotward wrote its rectangles by itself."""
    if id(path) in paths:
        return paths[id(path)]
    found = path.getCode().split()
    steps = [found[at : at + 5] for at in range(0, len(found), 5)]
    assert all(step[4:] == ["re"] for step in steps)
    return [("rect", tuple(map(float, step[:4])), {}) for step in steps]


def _again(calls: list[Call], count: int) -> bytes:
    """Draw a label that often on a bare canvas."""
    file = BytesIO()
    canvas = Canvas(file, pagesize=(283, 425), invariant=1, pageCompression=1)
    for _ in range(count):
        for name, args, more in calls:
            if name in PATHS:
                path = canvas.beginPath()
                for step, values, named in args[0]:
                    getattr(path, step)(*values, **named)
                getattr(canvas, name)(path, *args[1:], **more)
            else:
                getattr(canvas, name)(*args, **more)
        canvas.showPage()
    canvas.save()
    return file.getvalue()
