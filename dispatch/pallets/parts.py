"""What the room adds to the page of a box: the pallet on which it stands."""

from __future__ import annotations

from typing import Any

from dispatch.pallets.queries.pallets import pallets_of
from kitting.models import Box
from kitting.web.parts import register


def _of_box(box: Box) -> dict[str, Any] | None:
    pallet = pallets_of([box.pk]).get(box.pk)
    return {"pallet": pallet} if pallet else None


register("box", "dispatch/pallets/_of_box.html", _of_box)
