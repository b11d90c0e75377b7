"""Inspection of a lot by sample: plan, chance of acceptance, verdict, switching.

Percent defective by single sampling, after MIL-STD-105E (``sampling/tables.py``).
"""

from __future__ import annotations

from kitting.domain.sampling.curves import (
    CONSUMERS_RISK,
    Characteristic,
    Point,
    acceptance,
    acceptance_finite,
    operating_characteristic,
    quality_at,
)
from kitting.domain.sampling.drawing import draw
from kitting.domain.sampling.judging import (
    CLASSES,
    ClassVerdict,
    DefectClass,
    Verdict,
    judge,
    plans_for,
)
from kitting.domain.sampling.plans import (
    SEVERITIES,
    Plan,
    Severity,
    all_pieces,
    plan_for,
)
from kitting.domain.sampling.switching import Event, State, Why, switch
from kitting.domain.sampling.tables import AQLS, LETTERS, LEVELS, SAMPLE_SIZES, Arrow

__all__ = [
    "AQLS",
    "CLASSES",
    "CONSUMERS_RISK",
    "LETTERS",
    "LEVELS",
    "SAMPLE_SIZES",
    "SEVERITIES",
    "Arrow",
    "Characteristic",
    "ClassVerdict",
    "DefectClass",
    "Event",
    "Plan",
    "Point",
    "Severity",
    "State",
    "Verdict",
    "Why",
    "acceptance",
    "acceptance_finite",
    "all_pieces",
    "draw",
    "judge",
    "operating_characteristic",
    "plan_for",
    "plans_for",
    "quality_at",
    "switch",
]
