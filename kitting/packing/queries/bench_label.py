"""What a bench's screen shows while its closed box waits for its label."""

from __future__ import annotations

from kitting.domain.stages import BoxStage
from kitting.models import Bench
from kitting.packing.queries.bench import Screen, with_prints
from kitting.packing.queries.bench_rows import newest_box


def label_screen(bench: Bench) -> Screen | None:
    """Read what a bench's screen shows of a label that is awaited, and no more.

    Args:
        bench: The bench.

    Returns:
        The screen of its closed box, without lines and bags; None where the newest box
        waits for no label that was printed.
    """
    box = newest_box(bench.pk)
    if box is None or not box.in_work or box.stage != BoxStage.CLOSED:
        return None
    shown = with_prints(Screen(bench, box, newest=box.number), box)
    return shown if shown.label else None
