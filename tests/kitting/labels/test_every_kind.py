"""Whatever a label says, its dots give it back: every kind, two printer heads."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from biip.gs1_messages import GS1Message
from hypothesis import given, settings
from hypothesis import strategies as st

from kitting.labels.dots import Raster, element_dots
from kitting.labels.geometry import FEWEST_DOTS
from kitting.labels.kinds import Kind
from kitting.labels.press import draw, press
from kitting.labels.readback import rasterise
from kitting.labels.stock import Stock
from tests.kitting.labels.drawn import (
    KINDS,
    STRATEGIES,
    linear_box,
    matrix_box,
    picture_of,
    seen,
    upright,
    white_around,
)
from tests.kitting.labels.samples import HEAD_203, HEAD_300, SAMPLES, decoded, poppler

HEADS = {"203.2": HEAD_203, "300": HEAD_300}
kinds = pytest.mark.parametrize("kind", KINDS, ids=[kind.name for kind in KINDS])
heads = pytest.mark.parametrize("head", HEADS)


def just_its_size(kind: Kind[Any], head: str) -> Stock:
    return Stock(kind.width_mm, kind.height_mm, HEADS[head])


def record(name: str, label: Any) -> dict[str, Any]:
    """What a scanner must find, from the record alone: identifier to content."""
    if name == "box":
        found: dict[str, Any] = {"]C0": label.serial, "]d1": label.serial}
        if label.sscc:
            del found["]C0"]
            found["]C1"] = {"00": label.sscc}
        if label.gtin:
            del found["]d1"]
            device = label.profile == "device"
            found["]d2"] = {"01": label.gtin, "11" if device else "13": label.packed_on}
            if label.use_by:
                found["]d2"]["17"] = label.use_by
            found["]d2"] |= {"10": label.kit_batch, "21": label.serial}
        return found
    if name == "shipment":
        return {"]C1": {"00": label.sscc}} if label.sscc else {"]C0": label.serial}
    if name == "pallet":
        return {"]C1": {"00": label.sscc}} if label.sscc else {"]C0": label.number}
    if name == "set_slip":
        return {"]d1": label.serial}
    if name == "badge":
        return {"]d1": label.token}
    field = {"place": "code", "command": "command"}.get(name, "number")
    return {"]C0": getattr(label, field), "]d1": getattr(label, field)}


def parsed(identifier: str, data: str) -> Any:
    """What was read, by biip where it claims to be GS1."""
    if identifier not in ("]C1", "]d2"):
        return data
    message = GS1Message.parse(data)
    for one in message.element_strings:
        assert one.gtin_error is None
        assert one.sscc_error is None
    return {
        one.ai.ai: one.date if one.date else one.value
        for one in message.element_strings
    }


@kinds
@heads
@settings(max_examples=12)
@given(data=st.data())
def test_what_is_drawn_is_read_and_parsed_to_the_record(
    kind: Kind[Any], head: str, data: st.DataObject
) -> None:
    label = data.draw(STRATEGIES[kind.name])
    stock = just_its_size(kind, head)
    pressed = press(kind, [label], stock)
    assert pressed.pages == 1
    symbols = seen(rasterise(pressed.pdf, stock))
    read = {
        one.symbology_identifier: parsed(
            one.symbology_identifier, one.bytes.decode("latin-1")
        )
        for one in symbols
    }
    assert read == record(kind.name, label)
    assert len(symbols) == len(read)


# Quiet zones: 10 modules beside Code 128 (ISO/IEC 15417), one cell around a Data
# Matrix (ISO/IEC 16022). The demo mark, where a label has one, keeps out as well.
@kinds
@heads
@settings(max_examples=6)
@given(data=st.data())
def test_no_dot_stands_in_a_quiet_zone(
    kind: Kind[Any], head: str, data: st.DataObject
) -> None:
    label = replace(data.draw(STRATEGIES[kind.name]), mark="PRACTICE – NOT FOR USE")
    stock = just_its_size(kind, head)
    raster = rasterise(draw(kind, [label], stock).pdf, stock)
    assert_quiet(kind, label, raster)


def assert_quiet(kind: Kind[Any], label: Any, raster: Raster) -> None:
    dots = picture_of(raster)
    carried = {one.identifier: one for one in kind.symbols(label)}
    symbols = upright(raster)
    assert len(symbols) == len(carried)
    for symbol in symbols:
        one = carried[symbol.symbology_identifier]
        if one.linear:
            box = linear_box(raster, one.bars().widths, symbol)
            by = (10 * box[0], 0)
        else:
            box = matrix_box(raster, one.matrix().cells, symbol)
            by = (box[0], box[0])
        x, left, top, right, foot = box
        assert x >= FEWEST_DOTS
        ring = {"left": left, "top": top, "right": right, "foot": foot}
        assert white_around(dots, **ring, by=by), symbol.symbology_identifier
        if one.linear:
            assert (dots[top : top + 2, left:right] == dots[foot - 1, left:right]).all()


# GS1 General Specifications 5.12.3: an SSCC has X ≥ 0.495 mm; bars of 31.75 mm.
@heads
@pytest.mark.parametrize("name", ["box", "shipment", "pallet"])
def test_an_sscc_is_as_wide_and_high_as_gs1_wants(name: str, head: str) -> None:
    kind = next(one for one in KINDS if one.name == name)
    stock = just_its_size(kind, head)
    raster = rasterise(draw(kind, [SAMPLES[name]], stock).pdf, stock)
    (symbol,) = [one for one in upright(raster) if one.symbology_identifier == "]C1"]
    bars = next(one for one in kind.symbols(SAMPLES[name]) if one.linear).bars()
    x, left, top, right, foot = linear_box(raster, bars.widths, symbol)
    assert x == {"203.2": 4, "300": 6}[head]
    assert stock.mm(x) >= 0.495
    assert stock.mm(foot - top) >= 31.75
    # 156 modules: start, FNC1, nine or ten pairs, check, stop of 13.
    assert right - left == 156 * x


@kinds
@heads
def test_two_rasterisers_give_every_bar_its_whole_dots(
    kind: Kind[Any], head: str
) -> None:
    label = SAMPLES[kind.name]
    stock = just_its_size(kind, head)
    pdf = draw(kind, [label], stock).pdf
    ours = rasterise(pdf, stock)
    image = poppler(pdf, str(float(stock.dots_per_inch)))
    theirs = Raster(image.width, image.height, image.tobytes())
    carried = {one.identifier: one for one in kind.symbols(label)}
    for raster in (ours, theirs):
        symbols = upright(raster)
        assert {one.symbology_identifier for one in symbols} == set(carried)
        for symbol in symbols:
            one = carried[symbol.symbology_identifier]
            if not one.linear:
                assert_cells(raster, one.matrix().rows, symbol)
                continue
            widths = one.bars().widths
            x, left, top, _, foot = linear_box(raster, widths, symbol)
            for line in (top, (top + foot) // 2, foot - 1):
                found = element_dots(raster.row(line), left, len(widths))
                assert found == tuple(x * width for width in widths)
            modules = tuple(width // x for width in found)
            assert decoded(modules).lstrip("\x1d") == symbol.bytes.decode()


def assert_cells(raster: Raster, rows: Any, symbol: Any) -> None:
    """Every dot of every cell has the colour of its cell."""
    x, left, top, right, foot = matrix_box(raster, len(rows), symbol)
    dots = picture_of(raster)
    wanted = np.kron(np.array(rows), np.ones((x, x), bool))
    assert ((dots[top:foot, left:right] == 0) == wanted).all()
