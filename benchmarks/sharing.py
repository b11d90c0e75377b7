"""How soon boxes are dealt out: the best mix of a large request, and fair shares of many."""

from __future__ import annotations

from functools import partial
from random import Random

from benchmarks.measure import Row, medians, ms
from dispatch.domain.allotment import share
from dispatch.domain.boxmix import best_mix, nearest

TIMES = 9
SETS = 10_000
SIZES = (6, 24, 60, 144)


def rows(requests: int = 500) -> list[Row]:
    """A request of 10,000 sets in four sizes, and so many requests for half of all sets."""
    luck = Random(1)  # noqa: S311 -- the same figures each time
    few = {size: luck.randint(0, SETS // 2 // size // len(SIZES)) for size in SIZES}
    asked = {f"H{nth:04}": luck.randint(1, 400) for nth in range(requests)}
    stock = {size: sum(asked.values()) // 2 // len(SIZES) // size for size in SIZES}
    said = {
        "tier": {who: luck.randint(1, 3) for who in asked},
        "weight": {who: luck.choice((1, 1, 2)) for who in asked},
        "received": {who: luck.randint(0, 500) for who in asked},
    }
    free, short, shares = medians(
        [
            partial(best_mix, SETS, SIZES),
            partial(nearest, SETS, SIZES, few),
            partial(share, asked, stock, **said),
        ],
        TIMES,
    )
    of = f"best mix of {SETS:,} sets in {len(SIZES)} sizes"
    return [
        Row(of, ms(free), "", "", "≤ 50 ms"),
        Row(
            "what comes nearest where too little is there", ms(short), "", "", "≤ 50 ms"
        ),
        Row(f"allotment of {requests:,} requests", ms(shares), "", "", "≤ 1 s"),
    ]
