"""How parts are checked, and the list of defects."""

from __future__ import annotations

from typing import Any

import pytest

from kitting.checking.services import checks, settings
from kitting.checking.services.settings import Kind, PartPlan
from kitting.domain.errors import LotwardError
from kitting.models import DefectKind, Operation, Part
from tests import factories
from tests.assertions import assert_refused

pytestmark = pytest.mark.django_db


def refused(call: Any, **values: Any) -> LotwardError:
    before = Operation.objects.count()
    with pytest.raises(LotwardError) as caught:
        call(**{"sign": factories.sign(), **values})
    assert Operation.objects.count() == before
    return caught.value


def set_plan(part: Part, way: str, **changes: Any) -> settings.PlanSet:
    to = PartPlan(way=way, **changes)
    done = settings.set_check_plan(part_id=part.pk, to=to, sign=factories.sign())
    part.refresh_from_db()
    return done


# -- How a part is checked --------------------------------------------------------------


def test_a_part_is_checked_by_sample_in_whole_or_not() -> None:
    part = factories.make_part()
    done = set_plan(part, "sample", level="S-2", aql_major=650, aql_minor=4_000)
    assert (done.way, done.level, done.aql_major) == ("sample", "S-2", 650)
    assert (part.needs_check, part.sampled, part.check_level) == (True, True, "S-2")
    set_plan(part, "all")
    assert (part.needs_check, part.sampled) == (True, False)
    assert part.check_level == "S-2"  # for when it is sampled again
    set_plan(part, "none")
    assert (part.needs_check, part.sampled) == (False, False)


def test_a_change_is_kept_in_the_journal() -> None:
    part, sign = factories.make_part(), factories.sign()
    values = {"part_id": part.pk, "to": PartPlan("sample"), "sign": sign}
    done = settings.set_check_plan(**values)
    assert settings.set_check_plan(**values) == done
    link = Operation.objects.get(name="set_check_plan").link
    assert '"level": "II"' in link.outcome


BAD_PLANS: list[tuple[dict[str, Any], str]] = [
    ({"way": "sometimes"}, "check_way_unknown"),
    ({"way": "sample", "level": "IV"}, "level_unknown"),
    ({"way": "sample", "aql_major": 1_001}, "aql_unknown"),
    ({"way": "sample", "aql_minor": -1}, "aql_unknown"),
    ({"way": "sample", "aql_minor": 0}, "aql_unknown"),
]


@pytest.mark.parametrize(("plan", "code"), BAD_PLANS)
def test_what_the_tables_do_not_know_is_refused(
    plan: dict[str, Any], code: str
) -> None:
    part = factories.make_part()
    to = PartPlan(**plan)
    error = refused(settings.set_check_plan, part_id=part.pk, to=to)
    assert error.code == code


def test_a_check_neither_begins_nor_ends_while_lots_are_on_record() -> None:
    checked = factories.make_lot().part
    free = factories.make_bag().lot.part
    for part, way in ((checked, "none"), (free, "all"), (free, "sample")):
        to = PartPlan(way)
        error = refused(settings.set_check_plan, part_id=part.pk, to=to)
        assert_refused(error, "part_has_lots", part=part.name)
    set_plan(checked, "sample")  # between all and a sample it may change
    assert checked.sampled


def test_grams_are_not_sampled() -> None:
    part = factories.make_part(unit="gram")
    to = PartPlan("sample")
    error = refused(settings.set_check_plan, part_id=part.pk, to=to)
    assert_refused(error, "sampling_counts_pieces", part=part.name)


# -- Kinds of defect ----------------------------------------------------------------------


def add(code: str = " scr ", **changes: Any) -> DefectKind:
    to = Kind(**{"name": " Scratched ", **changes})
    done = settings.add_kind(code=code, to=to, sign=factories.sign())
    return DefectKind.objects.get(code=done.code)


def test_a_kind_of_defect_goes_on_the_list_and_off_it() -> None:
    part = factories.make_part()
    kind = add(grade="minor", part_id=part.pk)
    assert (kind.code, kind.name, kind.grade) == ("SCR", "Scratched", "minor")
    to = Kind(name="Scratch", grade="critical", in_use=False)
    settings.change_kind(kind_id=kind.pk, to=to, sign=factories.sign())
    kind.refresh_from_db()
    assert (kind.name, kind.grade, kind.part, kind.in_use) == (
        "Scratch",
        "critical",
        None,
        False,
    )


BAD_KINDS: list[tuple[str, dict[str, Any], str]] = [
    (" ", {}, "code_missing"),
    ("X" * 13, {}, "entry_too_long"),
    ("A", {"name": " "}, "defect_name_missing"),
    ("A", {"name": "x" * 41}, "entry_too_long"),
    ("A", {"grade": "awful"}, "class_unknown"),
    ("A", {"part_id": 0}, "row_missing"),
]


@pytest.mark.parametrize(("code", "changes", "wrong"), BAD_KINDS)
def test_a_kind_that_does_not_fit_the_list_is_refused(
    code: str, changes: dict[str, Any], wrong: str
) -> None:
    to = Kind(**{"name": "Cracked", **changes})
    assert refused(settings.add_kind, code=code, to=to).code == wrong
    assert not DefectKind.objects.exists()


def test_a_code_stands_once_on_the_list() -> None:
    add()
    error = refused(settings.add_kind, code="SCR", to=Kind("Scraped"))
    assert_refused(error, "defect_kind_exists", kind="SCR")


def test_a_kind_that_was_found_keeps_its_class_and_part() -> None:
    kind = add()
    checks.give_verdict(
        lot_id=factories.make_lot().pk,
        accept=False,
        defects=[(kind.pk, 1)],
        reason="Scratched",
        sign=factories.sign(),
    )
    to = Kind(name="Scratched", grade="minor")
    error = refused(settings.change_kind, kind_id=kind.pk, to=to)
    assert_refused(error, "defect_kind_found", kind="Scratched")
    off = Kind(name="Scratches", in_use=False)
    settings.change_kind(kind_id=kind.pk, to=off, sign=factories.sign())
    kind.refresh_from_db()
    assert (kind.name, kind.in_use) == ("Scratches", False)
