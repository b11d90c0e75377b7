"""The catalogue's benches, and the printers that may stand at them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from kitting.domain.errors import Refused
from kitting.ledger import listing
from kitting.ledger.sections import Found, register
from kitting.models import Bench
from kitting.packing.services.benches import need_bench_place
from kitting.printing.catalogue import printers, read_printer


def _bench(found: Found, path: str, row: Mapping[str, Any]) -> None:
    shelf = found.shelf
    given = shelf.read(Bench, path, row, "place")
    place = shelf.one_of(path, row, "place", found.places)
    if place is not None:
        try:
            need_bench_place(place)
        except Refused as error:
            if not Bench.objects.filter(code=row.get("code")).exists():
                shelf.fault(f"{path}.place", place.code, error.code, **error.params)
                return
        given["place"] = place
        shelf.place(path, Bench(**given), ("code",), given)


def _benches() -> list[listing.Row]:
    rows = Bench.objects.select_related("place").order_by("pk")
    return [listing.as_row(row, place=row.place.code) for row in rows]


register(benches=_bench, printers=read_printer)
listing.register(benches=_benches, printers=printers)
