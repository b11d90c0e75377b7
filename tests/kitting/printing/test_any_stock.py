"""Any figures at all: refused with a code, or a stock that prints where its picture says.

The picture computes its places in µm for the screen, the labels' own sheet in dots for
the printer; neither knows the other.
"""

from __future__ import annotations

from fractions import Fraction

from hypothesis import event, example, given, settings
from hypothesis import strategies as st

from kitting.domain.errors import LotwardError
from kitting.domain.stocks import StockFacts
from kitting.labels.stock import Sheet
from kitting.models import Print, Stock
from kitting.printing.pictures import grid_of
from kitting.printing.queries.stocks import laid_as
from kitting.printing.services.stocks import trial

LARGEST_INTEGER = 2**31 - 1
"""Of a column of PostgreSQL's integer (PostgreSQL 15, table 8.2)."""

PAGES = [(None, None), (210_000, 297_000), (215_900, 279_400), (297_000, 420_000)]
GAPS = ("margin_um", "gap_um", "left_um", "top_um", "gap_across_um", "gap_down_um")
SIDES = ("width_um", "height_um", "page_width_um", "page_height_um")
WILD = st.one_of(
    st.integers(-1, 510_000),
    st.sampled_from([-1, 0, 999, 500_000, 500_001, 10**15]),
)
heads = st.one_of(
    st.sampled_from([(8, 1000), (12, 1000), (300, 25_400), (600, 25_400)]),
    st.integers(1, 254_000).map(lambda um: (11 * um // 1000 + 1, um)),
    st.tuples(st.integers(-1, 10**6), st.integers(-1, 10**6)),
)


@st.composite
def anything(draw: st.DrawFn) -> StockFacts:
    """What somebody might mean, with a figure or two that nobody would."""
    page, head = draw(st.sampled_from(PAGES)), draw(heads)
    values = {
        "width_um": draw(st.integers(9_000, 90_000)),
        "height_um": draw(st.integers(9_000, 90_000)),
        "page_width_um": page[0],
        "page_height_um": page[1],
        "head_dots": head[0],
        "head_um": head[1],
        "columns": draw(st.integers(1, 3)),
        "rows": draw(st.integers(1, 4)),
        **{name: draw(st.integers(0, 4_000)) for name in GAPS},
    }
    for name in draw(st.lists(st.sampled_from([*GAPS, *SIDES]), max_size=2)):
        values[name] = draw(WILD)
    if draw(st.integers(0, 9)) == 0:
        values["columns"] = draw(st.integers(-2, 10**6))
    return StockFacts(code="ANY", name="Any", **values)


LONGEST = StockFacts(
    "ANY",
    "Any",
    width_um=249_999,
    height_um=124_999,
    margin_um=100_001,
    head_dots=4_319,
    head_um=253_999,
    page_width_um=499_999,
    page_height_um=499_999,
    left_um=100_001,
    top_um=100_001,
    columns=1,
    rows=2,
    gap_across_um=499_999,
    gap_down_um=100_001,
)


@settings(max_examples=400)
@given(anything())
@example(LONGEST)
def test_any_figures_are_refused_or_kept_whole(facts: StockFacts) -> None:
    try:
        laid = trial(facts)
    except LotwardError as error:
        event(error.code)
        return
    event("a sheet" if facts.sheet else "a roll")
    longest = Print._meta.get_field("paper").max_length
    assert longest is not None
    assert len(laid.text) <= longest
    assert laid_as(laid.text) == laid
    for column in Stock._meta.concrete_fields:
        value = getattr(facts, column.name, None)
        if isinstance(value, int):
            assert 0 <= value <= LARGEST_INTEGER
    grid = grid_of(facts)
    assert (grid.width, grid.height) == laid.page_um
    if not isinstance(laid.on, Sheet):
        assert len(grid.labels) == 1
        return
    dots = Fraction(facts.head_dots, facts.head_um)
    assert laid.on.spots() == tuple(
        (round(label.x * dots), round(label.y * dots)) for label in grid.labels
    )
    last = grid.labels[-1]
    assert last.nth == facts.columns * facts.rows
    assert last.x + grid.label_width <= grid.width
    assert last.y + grid.label_height <= grid.height


def test_the_longest_layout_is_among_those_that_are_kept() -> None:
    assert trial(LONGEST)
