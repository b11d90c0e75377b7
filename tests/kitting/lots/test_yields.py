"""Material to parts: what a lot uses up, what it yields, what is questioned.

One sheet of 0.5 mm PETG gives 40 visors, and two packs of 20 are one sheet: common
practice.
"""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitting.domain.errors import LotwardError
from kitting.domain.yields import Rate, Used, judge, ratio
from kitting.ledger.reach import standing_reach
from kitting.lots.queries.lots import LotPage
from kitting.lots.queries.yields import all_yields
from kitting.lots.services import files, lots, yields
from kitting.lots.services.lots import NewBag
from kitting.models import Link, Lot, Operation, Part, Revision, Yield
from tests import factories
from tests.assertions import assert_refused

db = pytest.mark.django_db
SHEET = Rate(pieces=40, amount=1)


# -- The arithmetic -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("sheets", "visors"),
    [(0, 0), (1, 40), (20, 800)],  # common practice: 40 visors from a sheet
)
def test_a_sheet_gives_forty_visors(sheets: int, visors: int) -> None:
    assert SHEET.most(sheets) == visors


@given(
    pieces=st.integers(1, 10**7),
    per=st.integers(1, 10**7),
    amount=st.integers(0, 10**7),
)
def test_the_most_is_the_largest_whole_number_that_the_rate_allows(
    pieces: int, per: int, amount: int
) -> None:
    most = Rate(pieces, per).most(amount)
    # By definition: most pieces need no more than there is, one more would.
    assert most * per <= amount * pieces < (most + 1) * per


def test_the_scarcest_material_is_the_limit() -> None:
    used = [
        Used("Headband", "piece", 100, Rate(1, 1)),
        Used("Elastic", "piece", 90, Rate(1, 1)),
        Used("Strap", "piece", 95, Rate(1, 1)),
        Used("Glue", "gram", 1),
    ]
    found = judge(91, used)
    assert found.limit == used[1]
    assert (found.possible, found.is_impossible) == (90, True)
    assert not judge(90, used).is_impossible


def test_without_a_rate_nothing_is_impossible() -> None:
    found = judge(10**9, [Used("Glue", "gram", 1)])
    assert (found.possible, found.is_impossible, found.per_mille) == (None, False, None)


def test_material_too_little_for_one_piece_makes_any_piece_impossible() -> None:
    found = judge(1, [Used("Sheet", "gram", 10, Rate(40, 1000))])
    assert (found.possible, found.is_impossible, found.per_mille) == (0, True, None)


@pytest.mark.parametrize(
    ("pieces", "per_mille"), [(800, 1000), (760, 950), (1, 1), (799, 999)]
)
def test_the_share_of_what_was_possible(pieces: int, per_mille: int) -> None:
    found = judge(pieces, [Used("Sheet", "piece", 20, SHEET)])
    assert found.per_mille == per_mille


@pytest.mark.parametrize(
    ("pieces", "amount", "figure", "from_one"),
    [
        (800, 20, "40.0", True),
        (600, 27_000, "45.0", False),
        (1, 1, "1.00", True),
        (3, 1_000_000, "333000", False),
        (7, 6, "1.17", True),
    ],
)
def test_the_yield_is_said_in_three_digits(
    pieces: int, amount: int, figure: str, from_one: bool
) -> None:
    found, way = ratio(pieces, amount)
    assert (f"{found:f}", way) == (figure, from_one)
    assert abs(found - Decimal(max(pieces, amount)) / min(pieces, amount)) < found / 100


# -- Setting a yield ----------------------------------------------------------------


@pytest.fixture
def sheet(db: None) -> Part:
    return factories.make_part(
        name="PETG sheet", needs_check=False, needs_clearing=False
    )


@pytest.fixture
def visor(db: None) -> Revision:
    return factories.make_revision(factories.make_part(name="Visor"))


@pytest.fixture
def forty(sheet: Part, visor: Revision) -> Yield:
    set_yield(visor.part, sheet)
    return Yield.objects.get()


def set_yield(part: Part, material: Part, **changes) -> yields.YieldSet:
    values = {"pieces": 40, "amount": 1, **changes}
    return yields.set_yield(
        part_id=part.pk, material_id=material.pk, sign=factories.sign(), **values
    )


def make_sheets(sheet: Part, count: int = 50) -> Lot:
    revision = factories.make_revision(sheet, factories.unique("R"))
    return factories.make_lot(revision, bags=(NewBag(count),))


def assert_refusal(code: str, call, **values) -> LotwardError:
    before = Operation.objects.count()
    with pytest.raises(LotwardError) as error:
        call(**values, sign=factories.sign())
    assert_refused(error.value, code)
    assert Operation.objects.count() == before
    return error.value


def test_a_yield_is_set_and_changed_by_an_act(sheet: Part, visor: Revision) -> None:
    first = set_yield(visor.part, sheet)
    assert (first.pieces, first.before_pieces) == (40, 0)
    second = set_yield(visor.part, sheet, pieces=38)
    assert (second.pieces, second.before_pieces, second.before_amount) == (38, 40, 1)
    assert [(row.pieces, row.amount) for row in all_yields()] == [(38, 1)]
    assert '"before_pieces": 40' in Link.objects.latest("seq").outcome


def test_a_yield_is_taken_out_by_an_act(forty: Yield) -> None:
    sign = factories.sign()
    gone = yields.drop_yield(yield_id=forty.pk, sign=sign)
    assert (gone.pieces, gone.before_pieces) == (0, 40)
    assert yields.drop_yield(yield_id=forty.pk, sign=sign) == gone
    assert_refusal("row_missing", yields.drop_yield, yield_id=forty.pk)


@pytest.mark.parametrize(
    ("pieces", "amount"), [(0, 1), (-1, 1), (1, 0), (10_000_001, 1), (1, 10_000_001)]
)
def test_an_absurd_yield_is_refused(
    pieces: int, amount: int, sheet: Part, visor: Revision
) -> None:
    assert_refusal(
        "yield_out_of_range",
        yields.set_yield,
        part_id=visor.part_id,
        material_id=sheet.pk,
        pieces=pieces,
        amount=amount,
    )


def test_nothing_is_made_from_itself(visor: Revision) -> None:
    pk = visor.part_id
    values = {"pieces": 1, "amount": 1}
    assert_refusal(
        "yield_of_itself", yields.set_yield, part_id=pk, material_id=pk, **values
    )
    assert_refusal("row_missing", yields.set_yield, part_id=pk, material_id=0, **values)


# -- Taking in ----------------------------------------------------------------------


def visors(visor: Revision, sheets: Lot, pieces: int, **changes) -> lots.NewLot:
    values = {
        "bags": (NewBag(pieces),),
        "made_from": ((sheets.pk, 2),),
        **changes,
    }
    return factories.new_lot(visor, **values)


def test_a_lot_uses_its_material_up_and_shows_its_yield(
    forty: Yield, sheet: Part, visor: Revision
) -> None:
    sheets = make_sheets(sheet)
    lot = factories.make_lot(visor, bags=(NewBag(20),) * 4, made_from=((sheets.pk, 2),))
    assert sheets.bags.get().pieces == 48
    shown = LotPage(lot, standing_reach()).yielded
    assert shown is not None
    assert (shown.yielded.pieces, shown.yielded.possible) == (80, 80)
    assert (shown.percent, shown.sure) == ("100", ())
    (line,) = shown.lines
    assert (line.figure_text, line.from_one) == ("40.0", True)
    assert factories.prove() == []


def test_one_visor_too_many_is_questioned_with_its_figures(
    forty: Yield, sheet: Part, visor: Revision
) -> None:
    sheets = make_sheets(sheet)
    new = visors(visor, sheets, 81)
    error = assert_refusal("yield_impossible", lots.take_in, lots=[new])
    assert error.params == {
        "pieces": "81",
        "possible": "80",
        "amount": "2 pieces",
        "material": "PETG sheet",
    }
    assert sheets.bags.get().pieces == 50


def test_who_is_sure_says_why_and_the_journal_keeps_it(
    forty: Yield, sheet: Part, visor: Revision
) -> None:
    sheets = make_sheets(sheet)
    new = visors(visor, sheets, 81, sure=" Cut across two sheets ", number="V-81")
    taken = lots.take_in(lots=[new], sign=factories.sign())
    assert taken.sure == {"V-81": "Cut across two sheets"}
    shown = LotPage(Lot.objects.get(number="V-81"), standing_reach()).yielded
    assert shown is not None
    assert shown.yielded.is_impossible
    assert shown.sure == ("Cut across two sheets",)
    too_long = visors(visor, sheets, 81, sure="x" * 201)
    assert_refusal("entry_too_long", lots.take_in, lots=[too_long])


def test_a_reason_without_a_doubt_is_not_kept(
    forty: Yield, sheet: Part, visor: Revision
) -> None:
    new = visors(visor, make_sheets(sheet), 80, sure="Because")
    assert lots.take_in(lots=[new], sign=factories.sign()).sure == {}


def test_two_lots_of_one_material_are_counted_together(
    forty: Yield, sheet: Part, visor: Revision
) -> None:
    first, second = make_sheets(sheet), make_sheets(sheet)
    made_from = ((first.pk, 1), (second.pk, 2))
    new = visors(visor, first, 120, made_from=made_from)
    lots.take_in(lots=[new], sign=factories.sign())
    more = visors(visor, first, 121, made_from=made_from)
    assert_refusal("yield_impossible", lots.take_in, lots=[more])


def test_more_bags_of_an_open_lot_are_counted_with_those_before(
    forty: Yield, sheet: Part, visor: Revision
) -> None:
    sheets = make_sheets(sheet)
    lot = factories.make_lot(
        visor, bags=(NewBag(60),), made_from=((sheets.pk, 2),), close=False
    )
    more = factories.new_lot(visor, lot_id=lot.pk, bags=(NewBag(20),))
    lots.take_in(lots=[more], sign=factories.sign())
    error = assert_refusal("yield_impossible", lots.take_in, lots=[more])
    assert error.params["pieces"] == "100"
    sure = factories.new_lot(
        visor, lot_id=lot.pk, bags=(NewBag(20),), sure="Counted twice"
    )
    taken = lots.take_in(lots=[sure], sign=factories.sign())
    assert taken.sure == {lot.number: "Counted twice"}


def test_a_lot_from_material_without_a_yield_is_not_questioned(
    sheet: Part, visor: Revision
) -> None:
    sheets = make_sheets(sheet)
    new = visors(visor, sheets, 5_000)
    taken = lots.take_in(lots=[new], sign=factories.sign())
    lot = Lot.objects.get(number=taken.lots[0])
    shown = LotPage(lot, standing_reach()).yielded
    assert shown is not None
    assert (shown.yielded.possible, shown.percent) == (None, "")


@pytest.mark.parametrize("bags", [(), (NewBag(5),)])
def test_a_lot_from_nothing_or_without_bags_has_no_yield(
    bags: tuple[NewBag, ...], forty: Yield, sheet: Part, visor: Revision
) -> None:
    made_from = () if bags else ((make_sheets(sheet).pk, 2),)
    lot = factories.make_lot(visor, bags=bags, made_from=made_from, close=False)
    assert LotPage(lot, standing_reach()).yielded is None


def test_material_that_is_not_there_is_still_refused_as_such(
    forty: Yield, visor: Revision
) -> None:
    new = factories.new_lot(visor, made_from=((0, 2),))
    assert_refusal("row_missing", lots.take_in, lots=[new])


# -- From a file --------------------------------------------------------------------

HEAD = "lot;part;revision;made on;source;counts;made from;sure"


def table(visor: Revision, sheets: Lot, *rows: str) -> bytes:
    start = f"{visor.part.code};{visor.code};2026-01-14;Cutting table"
    lines = [
        f"{lot};{start};{counts};{made_from};{sure}"
        for lot, counts, made_from, sure in (row.split(",") for row in rows)
    ]
    return "\n".join([HEAD, *lines]).encode()


def test_a_file_with_an_impossible_yield_is_asked_about_with_line_and_figures(
    forty: Yield, sheet: Part, visor: Revision
) -> None:
    sheets = make_sheets(sheet)
    used = f"{sheets.number}:2"
    data = table(visor, sheets, f"V-1,80,{used},", f"V-2,40+41,{used},")
    plan = files.plan_file(data=data, date_order=None, now=factories.NOW)
    (problem,) = plan.questions
    assert (problem.line, problem.column) == (3, "made from")
    assert problem.code == "yield_impossible"
    assert problem.value == f"{sheets.number}: 2"
    assert problem.params["possible"] == "80"
    assert plan.problems == ()
    assert_refusal("file_has_questions", files.take_in_file, data=data, date_order=None)


def test_a_file_may_say_why_it_is_right(
    forty: Yield, sheet: Part, visor: Revision
) -> None:
    sheets = make_sheets(sheet)
    used = f"{sheets.number}:2"
    rows = (f"V-2,40,{used},", f"V-2,41,{used},Offcuts")
    taken = files.take_in_file(
        data=table(visor, sheets, *rows), date_order=None, sign=factories.sign()
    )
    assert taken.sure == {"V-2": "Offcuts"}


# -- Sub-assemblies -----------------------------------------------------------------


@db
def test_a_sub_assembly_is_made_from_accepted_parts_only() -> None:
    band = factories.make_revision()
    strap = factories.make_revision(factories.make_part(name="Band with strap"))
    arrived = factories.make_lot(band)
    new = factories.new_lot(strap, made_from=((arrived.pk, 50),))
    assert_refusal("not_enough_material", lots.take_in, lots=[new])
    factories.accept(arrived)
    lots.take_in(lots=[new], sign=factories.sign())
    assert arrived.bags.get().pieces == 50
    assert factories.prove() == []


@db
def test_the_clearing_of_its_parts_does_not_carry_over_to_a_sub_assembly() -> None:
    band = factories.make_revision()
    strap = factories.make_revision(factories.make_part(name="Band with strap"))
    lot = factories.accept(factories.make_lot(band))
    bag = lot.bags.get()
    run = factories.open_run(factories.make_protocol(band))
    factories.expose(run, bag)
    factories.close_run(run)
    bag.refresh_from_db()
    assert (bag.stage, bag.cleared_run) == ("cleared", run)
    made = factories.make_lot(strap, made_from=((lot.pk, 100),))
    new = made.bags.get()
    assert (new.stage, new.cleared_run, new.passes) == ("arrived", None, 0)
    factories.accept(made)
    new.refresh_from_db()
    assert new.stage == "accepted"
    assert factories.prove() == []
