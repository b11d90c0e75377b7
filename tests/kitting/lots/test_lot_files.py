"""Lots from a file against the record: every fault named, then all or nothing.

Reading the file itself is tested in tests/kitting/domain/test_intakefile.py.
"""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from kitting.domain import numbers
from kitting.domain.errors import LotwardError
from kitting.ledger import holds
from kitting.lots.services import files
from kitting.lots.services.lots import NewBag
from kitting.lots.steps.intake import MOST_PIECES
from kitting.models import Bag, Lot, Operation
from kitting.web.messages import sentence
from tests import factories
from tests.assertions import assert_refused

pytestmark = pytest.mark.django_db

COLUMNS = (
    "lot",
    "part",
    "revision",
    "method",
    "made on",
    "source",
    "source number",
    "use by",
    "counts",
    "container",
    "place",
    "made from",
    "close",
)


@pytest.fixture(autouse=True)
def catalogue() -> None:
    part = factories.make_part(code="HB", name="Headband")
    factories.make_revision(part, "C")
    factories.make_revision(part, "B")
    part.revisions.create(code="A", active=False)
    factories.make_method(code="PRINT-7")
    factories.make_method(code="PRINT-8")
    visor = factories.make_part(code="VI", name="Visor")
    factories.make_revision(visor, "C")
    factories.make_method(code="DRAG-1").made_with_it.create(part=visor)


def file_of(*rows: dict[str, str], **changes: str) -> bytes:
    """A file of which every row is fit for taking in, but for the changes."""
    plain = {
        "part": "hb",
        "revision": "c",
        "made on": "2026-01-14",
        "source": "Print bench",
        "counts": "100 50",
    }
    lines = [";".join(COLUMNS)]
    for row in rows or ({},):
        cells = {**plain, **changes, **row}
        lines.append(";".join(cells.get(column, "") for column in COLUMNS))
    return "\n".join(lines).encode()


def plan(*rows: dict[str, str], **changes: str) -> files.Plan:
    return files.plan_file(
        data=file_of(*rows, **changes), date_order=None, now=factories.NOW
    )


def take(data: bytes, **changes: Any) -> Any:
    return files.take_in_file(
        data=data, date_order=None, sign=factories.sign(**changes)
    )


def faults(found: files.Plan) -> list[tuple[int, str, str]]:
    assert not found.lots
    for problem in found.problems:  # each has a sentence of its own
        assert problem.code not in sentence(problem.as_error())
    return [(p.line, p.column, p.code) for p in found.problems]


def open_lot(**changes: Any) -> Lot:
    from kitting.models import Method, Revision

    revision = Revision.objects.get(part__code="HB", code="C")
    method = Method.objects.get(code="PRINT-7")
    values = {"number": "HB-1", "method_id": method.pk, "close": False, **changes}
    return factories.make_lot(revision, **values)


def test_a_file_says_what_it_would_bring_and_brings_it() -> None:
    place = factories.make_place()
    data = file_of(
        {"lot": "hb-1", "method": "PRINT-7", "place": place.code.lower()},
        {"lot": "HB-1", "method": "PRINT-7", "counts": "7", "container": "Open Tray"},
        {"source number": "77", "use by": "2027-01-14", "close": "yes"},
    )
    found = files.plan_file(data=data, date_order=None, now=factories.NOW)
    assert found.problems == ()
    assert Lot.objects.count() == 0
    assert [(e.line, e.number, e.bags, e.pieces, e.is_new) for e in found.entries] == [
        (2, "HB-1", 3, 157, True),
        (4, "", 2, 150, True),
    ]
    assert (found.bags, found.new) == (5, 2)

    done = take(data)
    first, second = (Lot.objects.get(number=number) for number in done.lots)
    assert (first.number, first.stage, str(first.method)) == ("HB-1", "open", "PRINT-7")
    bags = first.bags.values_list("pieces", "container", "place")
    assert list(bags) == [
        (100, "tote", place.pk),
        (50, "tote", place.pk),
        (7, "open tray", None),
    ]
    assert (second.stage, second.source_number) == ("closed", "77")
    assert str(second.use_by) == "2027-01-14"
    assert done.bags == list(
        Bag.objects.order_by("pk").values_list("number", flat=True)
    )


@pytest.mark.parametrize(
    ("changes", "column", "code"),
    [
        ({"part": "XX"}, "part", "part_unknown"),
        ({"revision": "Z"}, "revision", "revision_unknown"),
        ({"revision": "a"}, "revision", "revision_closed"),
        ({"method": "OVEN"}, "method", "method_unknown"),
        ({"method": "DRAG-1"}, "method", "method_of_other_part"),
        ({"place": "MOON"}, "place", "place_unknown"),
        ({"container": "bucket"}, "container", "container_unknown"),
        ({"made on": "2026-01-15"}, "made on", "made_on_future"),
        ({"source": ""}, "source", "source_missing"),
        ({"source": "x" * 61}, "source", "entry_too_long"),
        ({"source number": "x" * 41}, "source number", "entry_too_long"),
        ({"made from": "PETG-9: 5"}, "made from", "material_unknown"),
        ({"counts": f"5 {MOST_PIECES + 1}"}, "counts", "pieces_out_of_range"),
    ],
)
def test_a_bad_cell_is_named_by_line_and_column(
    changes: dict[str, str], column: str, code: str
) -> None:
    found = plan({}, changes)
    assert faults(found) == [(3, column, code)]
    with pytest.raises(LotwardError) as caught:
        take(file_of({}, changes))
    assert_refused(caught.value, "file_has_problems", count=1)
    assert (Lot.objects.count(), Operation.objects.count()) == (0, 0)


def test_all_faults_are_named_at_once_also_in_a_row_with_another_fault() -> None:
    found = plan({"made on": "nonsense", "part": "XX"}, {"method": "OVEN"})
    assert faults(found) == [
        (2, "made on", "date_unreadable"),
        (2, "part", "part_unknown"),
        (3, "method", "method_unknown"),
    ]


def test_an_open_lot_on_record_gets_more_bags() -> None:
    lot = open_lot()
    data = file_of({"lot": "HB-1", "method": "print-7", "source": ""})
    found = files.plan_file(data=data, date_order=None, now=factories.NOW)
    assert [entry.is_new for entry in found.entries] == [False]
    take(data)
    assert list(lot.bags.values_list("pieces", flat=True)) == [100, 100, 50]
    assert Lot.objects.count() == 1


def test_a_closed_lot_is_refused() -> None:
    open_lot(close=True)
    assert faults(plan(lot="HB-1", method="PRINT-7")) == [(2, "lot", "lot_closed")]


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("part", "VI"),
        ("revision", "B"),
        ("method", "PRINT-8"),
        ("method", ""),
        ("made on", "2026-01-13"),
        ("source", "Other bench"),
        ("source number", "9"),
        ("use by", "2027-02-02"),
    ],
)
def test_an_open_lot_of_other_conditions_is_refused(column: str, value: str) -> None:
    open_lot(source_number="7")
    row = {"lot": "HB-1", "method": "PRINT-7", column: value}
    assert faults(plan(row)) == [(2, column, "lot_differs")]


def test_a_use_by_date_on_record_is_shown_where_a_row_differs() -> None:
    from datetime import date

    open_lot(use_by=date(2027, 3, 3))
    found = plan(lot="HB-1", method="PRINT-7", **{"use by": "2027-02-02"})
    assert found.problems[0].params["known"] == "2027-03-03"


def material(*pieces: int, **lot: Any) -> Lot:
    part = factories.make_part(unit="gram", needs_check=False, needs_clearing=False)
    return factories.make_lot(
        factories.make_revision(part),
        number="PETG-1",
        bags=tuple(NewBag(n, "roll") for n in pieces),
        **lot,
    )


def test_material_is_used_up_also_on_its_last_day() -> None:
    lot = material(300, 300, use_by=date(2026, 1, 14))
    take(file_of({"lot": "HB-1", "made from": "PETG-1: 200"}))
    assert list(lot.bags.values_list("pieces", flat=True)) == [100, 300]


def test_material_is_counted_over_the_whole_file() -> None:
    material(300)
    found = plan({"made from": "PETG-1: 200"}, {"made from": "PETG-1: 101"})
    assert faults(found) == [(3, "made from", "not_enough_material")]
    assert found.problems[0].params["short"] == 1


def test_held_material_is_named() -> None:
    lot = material(100, 300)
    bag = lot.bags.last()
    assert bag is not None
    holds.place_hold(target="bag", value=bag.pk, reason="wet", sign=factories.sign())
    assert plan({"made from": "PETG-1: 100"}).problems == ()
    found = plan({"made from": "PETG-1: 101"})
    assert faults(found) == [(2, "made from", "bag_on_hold")]


def test_a_row_may_repeat_what_an_open_lot_was_made_from() -> None:
    lot = material(300)
    open_lot(made_from=((lot.pk, 40),))
    same = {"lot": "HB-1", "method": "PRINT-7", "made from": "PETG-1:40"}
    take(file_of(same))
    assert lot.bags.get().pieces == 260
    other = {**same, "made from": "PETG-1:41"}
    assert faults(plan(other)) == [(2, "made from", "conditions_changed")]


def test_the_same_key_twice_takes_the_file_in_once() -> None:
    data, sign = file_of({"lot": "HB-1", "close": "yes"}), factories.sign()
    first = files.take_in_file(data=data, date_order=None, sign=sign)
    # By now the lot is closed, and a second look at the file would refuse it.
    assert files.take_in_file(data=data, date_order=None, sign=sign) == first
    assert Bag.objects.count() == 2


def test_a_file_that_was_taken_in_before_is_recognised() -> None:
    assert plan().before is None
    take(file_of())
    before = plan().before
    assert before is not None
    assert before.name == "take_in_file"
    assert plan(counts="100").before is None


def test_ten_thousand_rows_are_taken_in_with_few_statements(
    django_assert_max_num_queries: Any,
) -> None:
    # The time is measured in benchmarks/; here it must not grow with the rows.
    rows = [{"lot": f"A-{at // 4}", "counts": f"{25 + at % 4}"} for at in range(400)]
    data = file_of(*rows)
    factories.seal_set_up()  # Whatever was set up before is that act's, not this one's.
    with django_assert_max_num_queries(60):
        done = take(data)
    assert (len(done.lots), len(done.bags)) == (100, 400)


# -- One answer, and what is asked --------------------------------------------------


def test_a_row_that_cannot_be_read_is_checked_against_the_record_all_the_same() -> None:
    quarantine = factories.make_place("quarantine")
    worst = {
        "counts": "1.250",
        "made on": "2999-01-01",
        "source": "",
        "place": quarantine.code,
        "use by": "2099-01-01",
    }
    assert sorted(faults(plan({"made on": "2026-01-15", **worst}))) == [
        (2, "counts", "number_ambiguous"),
        (2, "made on", "date_year_out_of_range"),
        (2, "place", "intake_in_quarantine"),
        (2, "source", "source_missing"),
        (2, "use by", "use_by_too_far"),
    ]


def test_what_the_act_would_refuse_is_said_with_its_line() -> None:
    ahead = numbers.assign(numbers.Kind.LOT, 1, 10**6)
    sheet = factories.make_part(needs_check=False, needs_clearing=False)
    factories.make_lot(
        factories.make_revision(sheet),
        number="OLD-1",
        made_on=date(2025, 1, 1),
        use_by=date(2025, 12, 31),
    )
    rows = ({"lot": ahead}, {"lot": "HB-9", "made from": "OLD-1: 5"})
    found = plan(*rows)
    assert faults(found) == [
        (2, "lot", "lot_number_ahead"),
        (3, "made from", "material_past_use_by"),
    ]


def test_faults_and_questions_come_in_one_answer() -> None:
    same = {"lot": "HB-1"}
    found = plan(same, same, {"lot": "HB-2", "part": "XX"})
    assert [problem.line for problem in found.problems] == [4]
    assert [problem.line for problem in found.questions] == [3]


def test_a_row_that_repeats_another_is_asked_about_and_kept_with_its_reason() -> None:
    data = file_of({"lot": "HB-1"}, {"lot": "HB-1"})
    (question,) = plan({"lot": "HB-1"}, {"lot": "HB-1"}).questions
    assert (question.line, question.code) == (3, "row_repeated")
    assert question.params == {"first_line": 2}
    with pytest.raises(LotwardError) as caught:
        take(data)
    assert_refused(caught.value, "file_has_questions", count=1)
    assert Bag.objects.count() == 0
    done = files.take_in_file(
        data=data, date_order=None, sign=factories.sign(), sure=" A row for each bag "
    )
    assert (len(done.bags), done.sure) == (4, {"": "A row for each bag"})


def test_rows_that_differ_only_in_their_words_are_no_repeats() -> None:
    assert plan({"source": "Bench 1"}, {"source": "Bench 2"}).questions == ()


def test_a_fault_is_told_by_the_words_of_the_file() -> None:
    head = "Teil;Revision;hergestellt am;Herkunft;Zählungen"
    data = f"{head}\nHB;C;2999-13-01;Druckraum;100\n".encode()
    (problem,) = files.plan_file(data=data, date_order=None, now=factories.NOW).problems
    assert problem.column == "hergestellt am"


def test_waste_of_a_file_is_scrapped() -> None:
    sheet = factories.make_part(needs_check=False, needs_clearing=False)
    lot = factories.make_lot(
        factories.make_revision(sheet), number="PETG-1", bags=(NewBag(300),)
    )
    head = "part;revision;made on;source;counts;made from;waste"
    row = "HB;C;2026-01-14;Table;100;PETG-1:40;{}"
    data = "\n".join([head, row.format("40"), row.format("7")]).encode()
    found = files.plan_file(data=data, date_order=None, now=factories.NOW)
    assert faults(found) == [(2, "waste", "waste_is_all")]
    take("\n".join([head, row.format("7")]).encode())
    gone = lot.movements.filter(kind="scrapped").get()
    assert (gone.pieces, lot.bags.get().pieces) == (7, 260)
