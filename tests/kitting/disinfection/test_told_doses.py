"""What a run page tells of a dose: never more than it was, never the other side of enough."""

from __future__ import annotations

from decimal import Decimal

from django.template import Context, Template
from hypothesis import given
from hypothesis import strategies as st

from kitting.disinfection.queries.doses import Expected
from kitting.domain import margins
from kitting.models import Run

PAGE = Template(
    "{% load amounts doses %}{% measured_dose run side %}|{% lower_bound run side %}"
    "|{{ side.required_uj_cm2|thousandth }}"
)


@given(
    required=st.integers(1, 10**8),
    over=st.one_of(st.integers(-3, 3), st.integers(-(10**7), 10**7)),
    rel_u_ppm=st.integers(0, 999_999),
    belt_u_ppm=st.sampled_from([0, 0, 30_000]),
)
def test_what_is_told_of_a_dose_is_below_it_and_on_its_side_of_what_is_required(
    required: int, over: int, rel_u_ppm: int, belt_u_ppm: int
) -> None:
    dose = max(required + over, 0)
    margin = margins.margin_ppm(rel_u_ppm, belt_u_ppm)
    low = margins.low(dose, margin)
    side = Expected("top", required, dose, low, rel_u_ppm, passed=low >= required)
    run = Run(belt_u_ppm=belt_u_ppm)
    page = PAGE.render(Context({"run": run, "side": side})).replace("\u202f", "")
    shown_dose, shown_low, shown_required = map(Decimal, page.split("|"))
    assert shown_required * 1000 == required
    for shown, true in ((shown_dose, dose), (shown_low, low)):
        assert shown * 1000 <= true
        assert (shown >= shown_required) is (true >= required)
