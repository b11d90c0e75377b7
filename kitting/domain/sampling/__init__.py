"""Inspection of a lot by sample: plan, chance of acceptance, verdict, switching.

Percent defective by single sampling, after MIL-STD-105E (``sampling/tables.py``).
"""

from __future__ import annotations

from kitting.domain.sampling.curves import (
    CONSUMERS_RISK,
    Characteristic,
    Point,
    acceptance,
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
from kitting.domain.sampling.plans import SEVERITIES, Plan, all_pieces, plan_for
from kitting.domain.sampling.reducing import (
    Sampled,
    Standing,
    need_reducible,
    standing_of,
)
from kitting.domain.sampling.switching import (
    ACCEPTED_TO_REDUCE,
    START,
    Event,
    State,
    Why,
    after,
)
from kitting.domain.sampling.tables import (
    AQLS,
    LETTERS,
    LEVELS,
    REDUCED_SIZES,
    SAMPLE_SIZES,
    Arrow,
    Severity,
)

__all__ = [
    "ACCEPTED_TO_REDUCE",
    "AQLS",
    "CLASSES",
    "CONSUMERS_RISK",
    "LETTERS",
    "LEVELS",
    "REDUCED_SIZES",
    "SAMPLE_SIZES",
    "SEVERITIES",
    "START",
    "Arrow",
    "Characteristic",
    "ClassVerdict",
    "DefectClass",
    "Event",
    "Plan",
    "Point",
    "Sampled",
    "Severity",
    "Standing",
    "State",
    "Verdict",
    "Why",
    "acceptance",
    "after",
    "all_pieces",
    "draw",
    "judge",
    "need_reducible",
    "operating_characteristic",
    "plan_for",
    "plans_for",
    "quality_at",
    "standing_of",
]
