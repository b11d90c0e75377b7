"""Methods: new settings of machines, on trial until somebody else releases them."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from kitting.domain.errors import Conflict, Refused, WrongStage
from kitting.domain.settings import VERSION_LONGEST, code_for
from kitting.ledger import locking
from kitting.ledger.coded import CODE_LONGEST, NAME_LONGEST, row_to_change, row_to_keep
from kitting.ledger.needs import need_another, need_text
from kitting.ledger.operations import Act, Sign, perform
from kitting.ledger.seals import touched_by
from kitting.models import Method, MethodPart, MethodRelease, Part
from kitting.products.queries.methods import mark_of, newest_of, rests_on
from kitting.products.steps.methods import need_new_settings


@dataclass(frozen=True)
class KeptMethod:
    """A method that stands in the set-up."""

    code: str
    machine_group: str
    settings_version: str


def add_method(
    *,
    machine_group: str,
    settings_version: str,
    part_ids: Collection[int],
    sign: Sign,
    code: str = "",
) -> KeptMethod:
    """Add the settings with which machines make parts from now on; they are on trial.

    Args:
        machine_group: The machines, written as before.
        settings_version: The version of their settings.
        part_ids: The parts that are made so; none for every part.
        sign: Who, when and the operation key.
        code: Its code; empty to have it made from that of the settings before.

    Returns:
        The method.

    Raises:
        Conflict: ``code_taken``, in capitals or not; ``method_there``.
        Missing: If there is no such part.
        Refused: ``code_malformed``, ``entry_missing``, ``entry_too_long``.
        OperationKeyReused: If the key was used for another act.
    """
    ids = sorted(set(part_ids))

    def work(act: Act) -> KeptMethod:
        group = need_text("machine group", machine_group, NAME_LONGEST)
        version = need_text("settings version", settings_version, VERSION_LONGEST)
        last = newest_of(group)
        before = (last.code, last.settings_version) if last else None
        named = code or code_for(version, group=group, last=before, most=CODE_LONGEST)
        row = row_to_keep(act, Method, named)
        row.machine_group, row.settings_version = group, version
        need_new_settings(row, ids)
        row.save(force_insert=True)
        _make(row, ids)
        return _kept(row)

    return perform(
        "add_method",
        work,
        KeptMethod,
        sign,
        machine_group=machine_group,
        settings_version=settings_version,
        parts=ids,
        code=code,
    )


def change_method(
    *,
    code: str,
    active: bool,
    sign: Sign,
    machine_group: str = "",
    settings_version: str = "",
    part_ids: Collection[int] = (),
    seen: str = "",
) -> KeptMethod:
    """Correct a method, stop using it, or use it again.

    Machines, version and parts change only while no lot was made with it and nobody has
    released it; afterwards other settings are another method.

    Args:
        code: The method.
        active: Whether new lots are made with it.
        sign: Who, when and the operation key.
        machine_group: The machines; empty to leave machines, version and parts.
        settings_version: The version of their settings.
        part_ids: The parts that are made so; none for every part.
        seen: ``mark_of`` the method that was looked at before; empty to change it
            whatever it is by now.

    Returns:
        The method.

    Raises:
        Conflict: ``page_is_old`` if somebody changed it meanwhile; ``method_there``.
        Missing: If there is no such method or part.
        Refused: ``entry_missing``, ``entry_too_long``, ``method_stays``.
        OperationKeyReused: If the key was used for another act.
    """
    ids = sorted(set(part_ids))

    def work(act: Act) -> KeptMethod:
        row = row_to_change(act, Method.objects.filter(code=code), "")
        if seen and seen != mark_of(row):
            raise Conflict("page_is_old")
        if machine_group:
            if rests_on(row):
                raise Refused("method_stays", method=row.code)
            row.machine_group = need_text("machine group", machine_group, NAME_LONGEST)
            row.settings_version = need_text(
                "settings version", settings_version, VERSION_LONGEST
            )
            row.made_with_it.all().delete()
            _make(row, ids)
        row.active = active
        if active:
            need_new_settings(row, {each.part_id for each in row.made_with_it.all()})
        row.save()
        return _kept(row)

    return perform(
        "change_method",
        work,
        KeptMethod,
        sign,
        code=code,
        active=active,
        machine_group=machine_group,
        settings_version=settings_version,
        parts=ids,
        seen=seen,
    )


def release_method(*, code: str, seen: str, sign: Sign) -> KeptMethod:
    """Release a method from its trial: what is made with it may be packed.

    Where the workshop asks for two people, whoever added or changed it does not release
    it. A release is not taken back: a hold on the method stops it at once.

    Args:
        code: The method.
        seen: ``mark_of`` the method as whoever releases it has read it.
        sign: Who, when and the operation key.

    Returns:
        The method.

    Raises:
        Conflict: ``page_is_old`` if somebody changed it meanwhile.
        Missing: If there is no such method.
        Refused: ``method_closed``, ``method_own``.
        WrongStage: ``method_is_released``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> KeptMethod:
        row = row_to_change(act, Method.objects.filter(code=code), "")
        if not row.on_trial:
            raise WrongStage("method_is_released", method=row.code)
        if seen != mark_of(row):
            raise Conflict("page_is_old")
        if not row.active:
            raise Refused("method_closed", method=row.code)
        need_another(act, touched_by(row), "method_own", method=row.code)
        act.write(MethodRelease(method=row))
        return _kept(row)

    return perform("release_method", work, KeptMethod, sign, code=code, seen=seen)


def _make(method: Method, part_ids: Collection[int]) -> None:
    parts = locking.lock_rows(Part, part_ids) if part_ids else {}
    for part in parts.values():
        MethodPart.objects.create(method=method, part=part)


def _kept(method: Method) -> KeptMethod:
    return KeptMethod(method.code, method.machine_group, method.settings_version)
