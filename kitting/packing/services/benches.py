"""Benches as managers set them up: one is added, called something else, closed."""

from __future__ import annotations

from dataclasses import asdict, dataclass

from kitting.domain.errors import Conflict, Refused
from kitting.domain.masses import MOST_G
from kitting.ledger import locking
from kitting.ledger.coded import fill, need_name, row_to_change, row_to_keep
from kitting.ledger.needs import need_row
from kitting.ledger.operations import Act, Sign, perform
from kitting.models import Bench, Box, OpenBag, Place
from kitting.models.boxes import IN_WORK
from kitting.models.catalogue import PlaceKind


@dataclass(frozen=True)
class ScaleFacts:
    """The scale of a bench as it is to be, all of it or nothing."""

    scale_step_mg: int | None = None
    """The least step that it shows, 1 mg or more."""
    scale_u_mg: int | None = None
    """Its standard uncertainty, by its calibration."""
    scale_most_mg: int | None = None
    """The most that it weighs."""


@dataclass(frozen=True)
class KeptBench:
    """A bench that stands in the set-up."""

    code: str
    name: str
    place: str
    """Name of the place it stands at."""


def add_bench(
    *,
    code: str,
    name: str,
    place_id: int,
    sign: Sign,
    scale: ScaleFacts | None = None,
) -> KeptBench:
    """Add a bench at a place of its own.

    Args:
        code: What tells it apart; it stays.
        name: What people call it.
        place_id: Where it stands: a place of the kind bench without another one.
        sign: Who, when and the operation key.
        scale: Its scale, where it has one.

    Returns:
        The bench.

    Raises:
        Conflict: ``code_taken``, in capitals or not; ``bench_place_taken``.
        Missing: If there is no such place.
        Refused: ``code_malformed``, ``set_up_name_missing``, ``entry_too_long``,
            ``bench_place_kind``, ``place_closed``, ``scale_incomplete``,
            ``scale_wrong``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> KeptBench:
        row = row_to_keep(act, Bench, code)
        place = need_row(Place.objects.filter(pk=place_id))
        need_bench_place(place)
        other = Bench.objects.filter(place=place).first()
        if other is not None:
            raise Conflict("bench_place_taken", place=place.name, bench=other.name)
        row.name, row.place = need_name(name), place
        _fill_scale(row, scale)
        row.save(force_insert=True)
        return KeptBench(row.code, row.name, place.name)

    sent = {"code": code, "name": name, "place": place_id, **_said(scale)}
    return perform("add_bench", work, KeptBench, sign, **sent)


def change_bench(
    *,
    code: str,
    name: str,
    active: bool,
    sign: Sign,
    sounds: bool = True,
    seen: str = "",
    scale: ScaleFacts | None = None,
) -> KeptBench:
    """Call a bench something else, close it or open it again, make it silent or not.

    Args:
        code: The bench.
        name: What people call it from now on.
        active: Whether boxes are packed there; it is closed only while no box is in
            work there and no bag is open.
        sign: Who, when and the operation key.
        sounds: Whether its tablets make sounds.
        seen: ``mark_of`` the bench that was looked at before; empty to change it
            whatever it is by now.
        scale: Its scale from now on; None to leave it as it is.

    Returns:
        The bench.

    Raises:
        Conflict: ``page_is_old`` if somebody changed it meanwhile;
            ``bench_has_a_box``.
        Missing: If there is no such bench.
        Refused: ``set_up_name_missing``, ``entry_too_long``, ``bench_has_bags``,
            ``place_closed``, ``scale_incomplete``, ``scale_wrong``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> KeptBench:
        locking.shut_gate()  # nothing is brought or started there meanwhile
        row = row_to_change(act, Bench.objects.filter(code=code), seen)
        row.name = need_name(name)
        if row.active and not active:
            _need_idle(row)
        if active and not row.active:
            need_bench_place(row.place)
        row.active, row.sounds = active, sounds
        _fill_scale(row, scale)
        row.save(update_fields=["name", "active", "sounds", *vars(ScaleFacts())])
        return KeptBench(row.code, row.name, row.place.name)

    return perform(
        "change_bench",
        work,
        KeptBench,
        sign,
        code=code,
        name=name,
        active=active,
        sounds=sounds,
        seen=seen,
        **_said(scale),
    )


def _said(scale: ScaleFacts | None) -> dict[str, int | None]:
    return {} if scale is None else asdict(scale)


def _fill_scale(row: Bench, scale: ScaleFacts | None) -> None:
    if scale is None:
        return
    fill(row, scale)
    figures = row.scale_step_mg, row.scale_u_mg, row.scale_most_mg
    if figures == (None, None, None):
        return
    step, own, most = figures
    if step is None or own is None or most is None:
        raise Refused("scale_incomplete", bench=row.name)
    if not 1 <= step <= most <= MOST_G * 1000 or own >= most:
        raise Refused("scale_wrong", bench=row.name)


def need_bench_place(place: Place) -> None:
    """Refuse a place where no bench can work.

    Args:
        place: The place.

    Raises:
        Refused: ``bench_place_kind``, ``place_closed``.
    """
    if place.kind != PlaceKind.BENCH:
        raise Refused("bench_place_kind", place=place.name, kind=place.kind)
    if not place.active:
        raise Refused("place_closed", place=place.name)


def _need_idle(bench: Bench) -> None:
    if Box.objects.filter(IN_WORK, bench=bench).exists():
        raise Conflict("bench_has_a_box", bench=bench.name)
    bags = OpenBag.objects.filter(bench=bench).count()
    if bags:
        raise Refused("bench_has_bags", bench=bench.name, bags=bags)
