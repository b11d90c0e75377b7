"""Whether somebody looked at every label, and what came of it."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from kitting.models import Operation

LOOKED_AT: Final = "look_at_labels"
"""The act, as the journal has it."""


@dataclass(frozen=True)
class Look:
    """The newest look at every label."""

    at: datetime
    by: str
    labels: tuple[str, ...]
    """Those that there were, as the print log names them."""
    unfit: tuple[str, ...]
    """Those of them that could not be printed."""


def newest_look() -> Look | None:
    """Give the newest look at every label; None before the first."""
    acts = Operation.objects.filter(name=LOOKED_AT, link__isnull=False)
    act = acts.select_related("link").order_by("-pk").first()
    if act is None:
        return None
    outcome = json.loads(act.link.outcome)
    labels, unfit = (tuple(outcome[name]) for name in ("labels", "unfit"))
    return Look(act.at, act.by_name, labels, unfit)
