"""The benches, each with its box in work, its open bags and its printers."""

from __future__ import annotations

from dataclasses import dataclass

from kitting.models import Bench, Box, OpenBag
from kitting.models.boxes import IN_WORK
from kitting.printing.queries.printers import printers_by_bench


@dataclass(frozen=True)
class BenchRow:
    """A bench in the list of benches."""

    code: str
    name: str
    box: Box | None
    open_bags: int
    printers: tuple[str, ...]
    active: bool


def benches() -> list[BenchRow]:
    """All benches, each with the box in work there.

    Returns:
        In the order of their codes, closed ones last.
    """
    boxes = {
        box.bench_id: box
        for box in Box.objects.filter(IN_WORK, bench__isnull=False).select_related(
            "size__product"
        )
    }
    near = printers_by_bench()
    bags: dict[int, int] = {}
    for bench_id in OpenBag.objects.values_list("bench", flat=True):
        bags[bench_id] = bags.get(bench_id, 0) + 1
    return [
        BenchRow(
            code=b.code,
            name=b.name,
            box=boxes.get(b.pk),
            open_bags=bags.get(b.pk, 0),
            printers=near.get(b.pk, ()),
            active=b.active,
        )
        for b in Bench.objects.order_by("-active", "code")
    ]
