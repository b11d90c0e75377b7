"""The catalogue's meters and protocols."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db.models import Prefetch

from kitting.domain import exposure
from kitting.ledger import listing
from kitting.ledger.sections import Found, register, same_lines
from kitting.ledger.shelf import names_of
from kitting.models import Calibration, Meter, Protocol, ProtocolLoad

_LOAD = ("revision_id", "container", "max_pieces", "orientation")


def _meter(found: Found, path: str, row: Mapping[str, Any]) -> None:
    shelf = found.shelf
    about = names_of(Calibration) - {"on"}
    given = shelf.read(Meter, path, row, *about, "calibrated")
    meter = shelf.place(path, Meter(**given), ("serial",), given)
    if meter is None or "calibrated" not in row:
        return
    before = len(shelf.problems)
    renamed = {"on": row["calibrated"], **{n: row[n] for n in about if n in row}}
    values = shelf.values(Calibration, path, renamed)
    if len(shelf.problems) > before:
        return
    on, due = values["on"], values["due"]
    there = Calibration.objects.filter(meter=meter, on=on).first()
    if there is not None:
        shelf.same(path, there, values)
        return
    if due < on:
        shelf.fault(f"{path}.due", due, "calibration_dates", on=on, due=due)
    if on > found.today:
        here, today = f"{path}.calibrated", found.today
        shelf.fault(here, on, "calibration_in_future", on=on, today=today)
    for code in exposure.sanity(rel_u_ppm=values["rel_u_ppm"]):
        shelf.fault(f"{path}.rel_u_ppm", values["rel_u_ppm"], code)
    found.events.append(Calibration(meter=meter, **values))


def _protocol(found: Found, path: str, row: Mapping[str, Any]) -> None:
    shelf = found.shelf
    before = len(shelf.problems)
    # A file signs nothing: what it brings is a draft until somebody signs it.
    shelf.known(path, row, {*names_of(Protocol), "loads"} - {"signed_by"})
    given = shelf.values(Protocol, path, row)
    loads = [
        _protocol_load(found, here, each)
        for here, each in shelf.rows(row, "loads", path)
    ]
    if len(shelf.problems) > before:
        return
    wanted = [load for load in loads if load is not None]
    new, key = Protocol(**given), ("code", "version")
    known = shelf.there(new, key)
    protocol = shelf.place(path, new, key, given)
    if protocol is None:
        return
    if known is not None:
        same_lines(shelf, f"{path}.loads", known.loads.all(), wanted, _LOAD)
        return
    for nth, load in enumerate(wanted, start=1):
        load.protocol = protocol
        key_of = ("protocol", "revision", "container")
        shelf.place(f"{path}.loads[{nth}]", load, key_of, {})


def _protocol_load(
    found: Found, path: str, row: Mapping[str, Any]
) -> ProtocolLoad | None:
    shelf = found.shelf
    given = shelf.read(ProtocolLoad, path, row, "part", "revision")
    part = shelf.one_of(path, row, "part", found.parts)
    if part is None:
        return None
    revisions = found.revisions.get(part.code, {})
    revision = shelf.one_of(path, row, "revision", revisions)
    if revision is None:
        return None
    return ProtocolLoad(part=part, revision=revision, **given)


def _meters() -> list[listing.Row]:
    """Every meter with its newest calibration."""
    found = []
    for meter in Meter.objects.prefetch_related("calibrations").order_by("pk"):
        last = max(meter.calibrations.all(), key=lambda c: (c.on, c.pk), default=None)
        said = listing.as_row(last) if last else {}
        on = {"calibrated": said.pop("on")} if said else {}
        found.append(listing.as_row(meter, **on, **said))
    return found


def _protocols() -> list[listing.Row]:
    """Every version, with what it covers and without its signature."""
    loads = ProtocolLoad.objects.select_related("part", "revision").order_by("pk")
    every = Protocol.objects.prefetch_related(Prefetch("loads", loads)).order_by("pk")
    found = []
    for protocol in every:
        covers = [
            listing.as_row(load, part=load.part.code, revision=load.revision.code)
            for load in protocol.loads.all()
        ]
        row = listing.as_row(protocol, loads=covers)
        row.pop("signed_by", None)
        found.append(row)
    return found


register(meters=_meter, protocols=_protocol)
listing.register(meters=_meters, protocols=_protocols)
