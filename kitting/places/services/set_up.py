"""Places as managers set them up: one is added, changed, closed and opened again."""

from __future__ import annotations

from dataclasses import dataclass

from kitting.domain.errors import Refused
from kitting.domain.stages import RunStage
from kitting.ledger import locking
from kitting.ledger.coded import need_name, row_to_change, row_to_keep
from kitting.ledger.operations import Act, Sign, perform
from kitting.models import Bench, Place, Run
from kitting.places.queries import all_carriers, bags_at, boxes_at, rests_on


@dataclass(frozen=True)
class KeptPlace:
    """A place that stands in the set-up."""

    code: str
    name: str


def add_place(*, code: str, name: str, kind: str, sign: Sign) -> KeptPlace:
    """Add a place.

    Args:
        code: What is scanned; it stays.
        name: What people call it.
        kind: What stands there: a ``PlaceKind``.
        sign: Who, when and the operation key.

    Returns:
        Its code and name.

    Raises:
        Conflict: ``code_taken``, in capitals or not.
        Refused: ``code_malformed``, ``set_up_name_missing``, ``entry_too_long``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> KeptPlace:
        row = row_to_keep(act, Place, code)
        row.name, row.kind = need_name(name), kind
        row.save(force_insert=True)
        return KeptPlace(row.code, row.name)

    return perform("add_place", work, KeptPlace, sign, code=code, name=name, kind=kind)


def change_place(
    *,
    code: str,
    name: str,
    active: bool,
    sign: Sign,
    kind: str = "",
    seen: str = "",
) -> KeptPlace:
    """Call a place something else, make it another kind, close it or open it again.

    A closed place keeps its history, and nothing is put there.

    Args:
        code: The place.
        name: What people call it from now on; labels printed before keep theirs.
        active: Whether things are put there; a place is closed only while it is empty.
        sign: Who, when and the operation key.
        kind: What stands there from now on, while nothing rests on what it was; empty
            to leave it.
        seen: ``mark_of`` the place that was looked at before; empty to change it
            whatever it is by now.

    Returns:
        Its code and name.

    Raises:
        Conflict: ``page_is_old`` if somebody changed it meanwhile.
        Missing: If there is no such place.
        Refused: ``set_up_name_missing``, ``entry_too_long``, ``place_kind_stays``,
            ``place_not_empty``, ``place_has_bench``, ``place_has_run``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> KeptPlace:
        locking.shut_gate()  # nothing comes to it meanwhile
        row = row_to_change(act, Place.objects.filter(code=code), seen)
        row.name = need_name(name)
        if kind and kind != row.kind:
            if rests_on(row):
                raise Refused("place_kind_stays", place=row.name, kind=row.kind)
            row.kind = kind
        if row.active and not active:
            _need_empty(row)
        row.active = active
        row.save()
        return KeptPlace(row.code, row.name)

    return perform(
        "change_place",
        work,
        KeptPlace,
        sign,
        code=code,
        name=name,
        active=active,
        kind=kind,
        seen=seen,
    )


def _need_empty(place: Place) -> None:
    bench = Bench.objects.filter(place=place, active=True).first()
    if bench is not None:
        raise Refused("place_has_bench", place=place.name, bench=bench.name)
    run = Run.objects.filter(line=place, stage=RunStage.OPEN).first()
    if run is not None:
        raise Refused("place_has_run", place=place.name, run=run.number)
    found = {
        "bags": bags_at(place).count(),
        "boxes": boxes_at(place).count(),
        "carriers": all_carriers().filter(place=place).count(),
    }
    if any(found.values()):
        raise Refused("place_not_empty", place=place.name, **found)
