"""Inspection of a lot by sample: plan, chance of acceptance, verdict, switching.

Percent defective by single sampling, after MIL-STD-105E (``sampling/tables.py``).
"""

from __future__ import annotations

from kitting.domain.sampling.curves import (
    Characteristic,
    Point,
    acceptance,
    operating_characteristic,
)
from kitting.domain.sampling.drawing import draw
from kitting.domain.sampling.judging import (
    CLASSES,
    DefectClass,
    Verdict,
    judge,
    plans_for,
)
from kitting.domain.sampling.plans import Plan, all_pieces, plan_for
from kitting.domain.sampling.reducing import (
    Sampled,
    Standing,
    need_reducible,
    standing_of,
)
from kitting.domain.sampling.switching import (
    START,
    Event,
    State,
    after,
)
from kitting.domain.sampling.tables import (
    AQLS,
    LEVELS,
    Severity,
)

__all__ = [
    "AQLS",
    "CLASSES",
    "LEVELS",
    "START",
    "Characteristic",
    "DefectClass",
    "Event",
    "Plan",
    "Point",
    "Sampled",
    "Severity",
    "Standing",
    "State",
    "Verdict",
    "acceptance",
    "after",
    "all_pieces",
    "draw",
    "judge",
    "need_reducible",
    "operating_characteristic",
    "plan_for",
    "plans_for",
    "standing_of",
]
