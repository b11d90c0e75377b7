"""Names that programs of others may rely on: they stay, though no page calls some."""

from __future__ import annotations

from dataclasses import fields
from inspect import signature

from kitting.domain import exposure, gs1, sampling, weighing


def test_public_calls_take_what_they_took() -> None:
    calls = {
        gs1.check_digit: ["body"],
        gs1.element_string: ["elements"],
        gs1.read_scan: ["text"],
        sampling.plan_for: ["lot_pieces", "level", "aql"],
        sampling.acceptance: ["plan", "p"],
        exposure.dose_mj_cm2: ["irradiance_mw_cm2", "seconds", "passes"],
        exposure.belt_seconds: ["zone_mm", "belt_mm_s"],
        weighing.window: ["pieces", "masses", "tare", "scale"],
    }
    for call, names in calls.items():
        assert [*signature(call).parameters][: len(names)] == names, call


def test_public_results_have_what_they_had() -> None:
    results = {
        gs1.Scan: {"kind", "elements", "problem"},
        sampling.Plan: {"letter", "sample_size", "accept", "reject"},
        weighing.Window: {"expected_g", "low_g", "high_g", "noticed"},
    }
    for result, names in results.items():
        assert names <= {field.name for field in fields(result)}, result
