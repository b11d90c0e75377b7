"""Kept queries: the rows that Django's own query gives, whatever was asked before."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pytest
from django.apps import apps
from django.db import connection, models
from django.test.utils import CaptureQueriesContext

from kitting.ledger import bulk
from kitting.ledger.kept import (
    MOST_VALUES,
    Kept,
    KeptLines,
    foresee,
    foreseeing,
    one_request,
    rows_by_id,
)
from kitting.ledger.operations import Act, perform
from kitting.ledger.seals import sealed_models
from kitting.models import Bag, Lot, Operation, Place, RowSeal
from tests import factories
from tests.ledgers import History


@dataclass(frozen=True)
class Looked:
    """What an act saw."""

    places: str


OURS = [
    model
    for label in ("kitting", "dispatch")
    for model in apps.get_app_config(label).get_models()
]


def columns(row: models.Model) -> dict[str, Any]:
    return {
        field.attname: (type(value), value)
        for field in row._meta.concrete_fields
        for value in [getattr(row, field.attname)]
    }


def test_rows_of_every_table_are_read_as_django_reads_them(history: History) -> None:
    for model in OURS:
        of, name = model._default_manager, model.__name__
        plain = list(of.order_by("pk"))
        ask = Kept(lambda *ids, of=of: of.filter(pk__in=ids).order_by("pk"))
        kept = ask(*(row.pk for row in plain)) if plain else []
        assert [columns(row) for row in kept] == [columns(row) for row in plain], name
        state = {(row._state.db, row._state.adding) for row in kept}
        assert state <= {("default", False)}, name


SEALED = [*sealed_models().values()]
BAGS = Kept(lambda: Bag.objects.select_related("lot__part", "place").order_by("-pk"))


def test_rows_that_were_foreseen_are_those_that_would_be_asked_for(
    history: History, subtests: pytest.Subtests
) -> None:
    """In front of other rows of the statement, and behind them."""
    for model in OURS:
        with subtests.test(model.__name__):
            assert_foreseen_beside_bags(model)


def assert_foreseen_beside_bags(model: type[models.Model]) -> None:
    few = [row.pk for row in model._default_manager.order_by("pk")[:9]] or [0]
    ask = Kept(lambda *ids: model._default_manager.filter(pk__in=ids).order_by("-pk"))
    plain, bags = ask(*few), BAGS()
    with foreseeing():
        foresee((ask, *few), (BAGS,), (ask, *few, 0))
        with CaptureQueriesContext(connection) as queries:
            found = [ask(*few), ask(*few, 0)]
            between = [(columns(bag), bag.lot.part.name, bag.place) for bag in BAGS()]
        assert len(queries) == 0
    expected = [columns(row) for row in plain]
    assert [[columns(row) for row in rows] for rows in found] == [expected, expected]
    assert between == [(columns(bag), bag.lot.part.name, bag.place) for bag in bags]


@pytest.mark.parametrize("model", SEALED, ids=lambda model: model.__name__)
def test_a_row_is_as_the_statement_says_that_wrote_it(
    history: History, model: type[models.Model]
) -> None:
    rows = list(model._default_manager.order_by("pk")[:3])
    names = [field.name for field in model._meta.concrete_fields[1:]]
    with foreseeing():
        bulk.update(rows, names, last=True)
        left = [rows_by_id(model).foreseen(row.pk) for row in rows]
    assert [columns(row) for (row,) in left] == [columns(row) for row in rows]
    plain = model._default_manager.filter(pk__in=[row.pk for row in rows])
    assert [columns(row) for row in plain.order_by("pk")] == [
        columns(row) for row in rows
    ]


@pytest.mark.django_db
@pytest.mark.parametrize("again", [False, True])
def test_a_seal_says_what_a_row_is_after_all_that_its_act_wrote(again: bool) -> None:
    place = factories.make_place()
    factories.seal_set_up()

    def work(_act: Act) -> Looked:
        place.name = "Shelf by the door"
        bulk.update([place], ["name"], last=True)
        if again:
            Place.objects.filter(pk=place.pk).update(name="Shelf by the window")
        return Looked("")

    with CaptureQueriesContext(connection) as queries:
        perform("look", work, Looked, factories.sign())
    asked = [each["sql"] for each in queries if '_place"."id" IN' in each["sql"]]
    assert len(asked) == 1 + again  # one is of a rule
    told = RowSeal.objects.filter(of="kitting_place", row=place.pk).latest("pk").text
    assert f'"name":"Shelf by the {"window" if again else "door"}"' in told


@pytest.mark.django_db
def test_what_is_foreseen_is_given_once_and_never_to_an_act() -> None:
    bag = factories.make_bag()
    ask = Kept(lambda pk: Bag.objects.filter(pk=pk))
    place = factories.make_place()

    def seen() -> list[int | None]:
        return [row.place_id for row in ask(bag.pk)]

    foresee((ask, bag.pk))  # nothing is open: it is asked in its turn
    with foreseeing():
        foresee((ask, bag.pk))
        foresee((ask, bag.pk), (BAGS,))
        Bag.objects.filter(pk=bag.pk).update(place=place)
        assert (seen(), seen()) == ([None], [place.pk])
        foresee((ask, bag.pk))
        Bag.objects.filter(pk=bag.pk).update(place=None)
        perform("look", lambda _act: Looked(str(seen())), Looked, factories.sign())
        assert Operation.objects.filter(name="look").get().link.outcome.count("None")
        assert seen() == [None]


def test_most_tables_hold_a_row_to_read(history: History) -> None:
    held = [model for model in OURS if model._default_manager.exists()]
    assert len(held) > 0.7 * len(OURS)


def test_lines_out_of_many_tables_are_those_that_django_reads(history: History) -> None:
    def lines(*ids: int) -> models.QuerySet[Any, Any]:
        first, *others = (
            model._default_manager.filter(pk__in=ids).order_by().values_list("pk")
            for model in OURS
        )
        found: models.QuerySet[Any, Any] = first.union(*others, all=True)
        return found

    lots = list(Lot.objects.values_list("pk", flat=True))
    ask = KeptLines(lines)
    for ids in (lots[:2], lots[2:4], lots[:5], [*range(1, MOST_VALUES + 2)]):
        assert sorted(ask(*ids)) == sorted(lines(*ids))
    assert len(ask(*lots[2:4])) >= 2


@pytest.mark.django_db
def test_relations_come_in_the_same_query_and_empty_ones_as_none() -> None:
    bag = factories.make_bag()
    name = bag.lot.part.name
    ask = Kept(
        lambda pk: Bag.objects.filter(pk=pk).select_related(
            "lot__part", "place", "cleared_run__protocol"
        )
    )
    for _ in range(2):
        with CaptureQueriesContext(connection) as queries:
            (found,) = ask(bag.pk)
            assert found.lot.part.name == name
            assert found.place is None
            assert found.cleared_run is None
        assert len(queries) == 1


@pytest.mark.django_db
def test_each_asking_has_its_own_values_and_rows() -> None:
    one, two = factories.make_bag(), factories.make_bag()
    ask = Kept(lambda *ids: Bag.objects.filter(pk__in=ids, pieces__gt=0))
    assert [row.pk for row in ask(one.pk)] == [one.pk]
    assert [row.pk for row in ask(two.pk)] == [two.pk]
    assert {row.pk for row in ask(one.pk, two.pk)} == {one.pk, two.pk}
    assert ask(1) == []
    assert [row.pk for row in ask(*range(1, MOST_VALUES + 1), one.pk)] == [one.pk]
    assert len(ask._plans) == 2
    first, again = ask(one.pk), ask(one.pk)
    assert first[0] is not again[0]


@pytest.mark.django_db
def test_a_text_is_a_value_as_well_and_none_is_taken_for_a_number() -> None:
    one, two = factories.make_bag(), factories.make_bag()
    ask = Kept(lambda pk, number: Bag.objects.filter(pk=pk, number=number)[:1])
    assert [row.pk for row in ask(one.pk, one.number)] == [one.pk]
    assert [row.pk for row in ask(two.pk, two.number)] == [two.pk]
    assert ask(one.pk, two.number) == []
    by_number = Kept(lambda number: Bag.objects.filter(number=number))
    assert [row.pk for row in by_number(one.number)] == [one.pk]


@pytest.mark.django_db
def test_a_value_that_would_not_be_asked_for_is_refused() -> None:
    by_number = Kept(lambda number: Bag.objects.filter(number=number))
    by_id = Kept(lambda pk: Bag.objects.filter(pk=pk))
    for ask, value in ((by_number, 29_521), (by_id, "29521"), (by_id, None)):
        with pytest.raises(TypeError):
            ask(value)  # type: ignore[arg-type]


@pytest.mark.django_db
def test_what_lasts_is_asked_once_in_a_request() -> None:
    bag = factories.make_bag()
    lasting = Kept(lambda pk: Bag.objects.filter(pk=pk), lasts=True)
    other = Kept(lambda pk: Bag.objects.filter(pk=pk))

    def asked(times: int) -> int:
        with CaptureQueriesContext(connection) as queries:
            for _ in range(times):
                assert lasting(bag.pk) == other(bag.pk) == [bag]
        return len(queries)

    assert asked(2) == 4
    with one_request():
        assert asked(3) == 4
        assert lasting(bag.pk + 1) == []
    assert asked(2) == 4
