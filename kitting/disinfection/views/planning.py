"""Planning a lamp: what the formula of a bare tube gives. Nothing is written."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render

from kitting.disinfection.forms.planning import PlanningForm
from kitting.disinfection.queries.runs import protocols_in_force
from kitting.domain import exposure
from kitting.domain.errors import LotwardError, Refused
from kitting.ledger import clock
from kitting.web.http import LotwardRequest, add_refusal, allowed

FACTORS = ((1, 2), (1, 1), (3, 2), (2, 1), (4, 1))
"""Distances beside the one asked for, as fractions of it."""


@dataclass(frozen=True)
class Planned:
    """What a lamp would give at one distance."""

    distance_um: int
    uw_cm2: int
    asked: bool


def _planned(data: dict[str, Any]) -> list[Planned]:
    found = []
    for over, under in FACTORS:
        distance = data["distance"] * over // under
        mw_cm2 = exposure.keitz_mw_cm2(
            data["power"] / 1000, data["length"] / 1_000_000, distance / 1_000_000
        )
        if mw_cm2 * 1000 > exposure.MAX_UW_CM2:
            raise Refused("irradiance_too_high", value=f"{mw_cm2:.0f} mW/cm²")
        # Rounded down: a plan should not promise more than the formula does.
        found.append(Planned(distance, int(mw_cm2 * 1000), asked=over == under))
    return found


@allowed("kitting.see_work")
def planning(request: LotwardRequest) -> HttpResponse:
    """The irradiance opposite the middle of a lamp, and how long that would take."""
    form = PlanningForm(request.GET or None)
    context: dict[str, Any] = {"form": form}
    status = 200
    if form.is_bound:
        status = 422
        if form.is_valid():
            try:
                rows = _planned(form.cleaned_data)
            except LotwardError as error:
                status = add_refusal(form, error)
            else:
                status = 200
                chosen = next(row for row in rows if row.asked)
                context |= {"rows": rows, "chosen": chosen, "times": _times(chosen)}
    return render(request, "kitting/disinfection/planning.html", context, status=status)


def _times(chosen: Planned) -> list[tuple[str, str, int]]:
    """Protocol, side and time for each dose that a protocol in force requires."""
    if chosen.uw_cm2 == 0:
        return []
    today = clock.today()
    return [
        (
            str(protocol),
            side,
            exposure.shortest_ms(required_uj_cm2=dose, uw_cm2=chosen.uw_cm2),
        )
        for protocol in protocols_in_force(today)
        for side, dose in protocol.required().items()
    ]
