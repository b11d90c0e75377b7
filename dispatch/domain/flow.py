"""A picture of flows: things in layers from left to right, ribbons between them.

How thick a ribbon is at an end says what share of the thing there it is.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TypeAlias

Key: TypeAlias = str


@dataclass(frozen=True, slots=True)
class Flow:
    """So many pieces went from a thing to one of a later layer."""

    source: Key
    target: Key
    pieces: int
    """Above 0."""


@dataclass(frozen=True, slots=True)
class Bar:
    """Where a thing is drawn; lengths in the unit of the picture, from its top."""

    key: Key
    layer: int
    top: float
    high: float

    @property
    def middle(self) -> float:
        """Half way down."""
        return self.top + self.high / 2


@dataclass(frozen=True, slots=True)
class Ribbon:
    """A flow as it is drawn: its two ends, each with its top and how high it is."""

    flow: Flow
    leaves: tuple[float, float]
    enters: tuple[float, float]


def lay_out(
    layers: Sequence[Sequence[Key]],
    flows: Iterable[Flow],
    *,
    high: float,
    gap: float,
    least: float,
) -> tuple[dict[Key, Bar], list[Ribbon]]:
    """Place things and the ribbons between them.

    Args:
        layers: The things of each layer, from the top; each stands in one.
        flows: What flows between them.
        high: How high the picture is; at least ``least`` and ``gap`` for each thing.
        gap: Between two things of a layer.
        least: How high a thing is at least.

    Returns:
        Each thing's bar, as high as what flows through it beyond ``least``, by one
        scale for all; and the ribbons, side by side at each end without crossing there.
    """
    flows = list(flows)
    size = _sizes(flows)
    scale = min(
        (
            (high - gap * (len(keys) - 1) - least * len(keys)) / total
            for keys in layers
            if (total := sum(size[key] for key in keys))
        ),
        default=0.0,
    )
    bars: dict[Key, Bar] = {}
    for layer, keys in enumerate(layers):
        heights = [least + size[key] * scale for key in keys]
        top = (high - sum(heights) - gap * (len(keys) - 1)) / 2
        for key, tall in zip(keys, heights, strict=True):
            bars[key] = Bar(key, layer, top, tall)
            top += tall + gap
    ordered = sorted(flows, key=lambda flow: _order(flow, bars))
    leaves = _ends(ordered, [flow.source for flow in ordered], bars, size)
    entering = sorted(ordered, key=lambda flow: bars[flow.source].top)
    enters = _ends(entering, [flow.target for flow in entering], bars, size)
    return bars, [Ribbon(flow, leaves[flow], enters[flow]) for flow in ordered]


def _sizes(flows: Iterable[Flow]) -> dict[Key, int]:
    out: dict[Key, int] = defaultdict(int)
    into: dict[Key, int] = defaultdict(int)
    for flow in flows:
        out[flow.source] += flow.pieces
        into[flow.target] += flow.pieces
    sizes: dict[Key, int] = defaultdict(int)
    sizes.update({key: max(out[key], into[key]) for key in {*out, *into}})
    return sizes


def _order(flow: Flow, bars: dict[Key, Bar]) -> tuple[float, float]:
    return bars[flow.target].top, bars[flow.source].top


def _ends(
    flows: Sequence[Flow],
    at: Sequence[Key],
    bars: dict[Key, Bar],
    size: dict[Key, int],
) -> dict[Flow, tuple[float, float]]:
    """Side by side, in the order of the flows, each thing's ends from its top down."""
    used: dict[Key, int] = defaultdict(int)
    ends = {}
    for flow, key in zip(flows, at, strict=True):
        bar = bars[key]
        a_piece = bar.high / size[key]
        ends[flow] = (bar.top + used[key] * a_piece, flow.pieces * a_piece)
        used[key] += flow.pieces
    return ends
