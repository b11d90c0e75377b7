"""Queries that every act asks, with the statement kept that Django composed for them.

Composing the statement takes Django several times as long as the database takes to
answer it. A kept query is composed once for each number of values and each kind of
database; from then on only the values change, and rows are read as Django reads them.
It takes a fifth to a third off what starting a box, a scan or closing one costs.

Several of them can be asked by one statement (``foresee``), which an act does as soon as it
has its locks: whoever asks one of them next is given what it answered.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import date
from functools import cache
from typing import Any, Generic, TypeAlias, TypeVar

from django.db import connection
from django.db.models import Model, QuerySet
from django.db.models.query import get_related_populators
from django.db.models.sql.compiler import SQLCompiler

M = TypeVar("M", bound=Model)
Value: TypeAlias = int | str | date

_MARK = 29_521
"""Stands for the first value while a statement is composed, as a text for a text, as a
day for a day: it fits the smallest kind of column, and no constant of a query is like it."""


MOST_VALUES = 64
"""A query for more of them is composed each time: each number of values is a plan."""


_Answers: TypeAlias = dict[Any, list[Any]]
_LASTING: ContextVar[_Answers | None] = ContextVar("lasting", default=None)
_FORESEEN: ContextVar[_Answers | None] = ContextVar("foreseen", default=None)


@contextmanager
def one_request() -> Iterator[None]:
    """Ask what lasts once only, as long as this is open."""
    token = _LASTING.set({})
    try:
        with foreseeing():
            yield
    finally:
        _LASTING.reset(token)


@contextmanager
def foreseeing() -> Iterator[None]:
    """Let queries be foreseen as long as this is open, and none that was so before."""
    (_FORESEEN.get() or {}).clear()
    token = _FORESEEN.set({})
    try:
        yield
    finally:
        _FORESEEN.reset(token)


@dataclass(frozen=True)
class Plan:
    """A statement, and how its rows are read."""

    sql: str
    params: tuple[Any, ...]
    model: type[Model]
    names: list[str]
    columns: slice
    kinds: tuple[str, ...]
    """What each column of the answer holds, as the database calls it."""
    converters: list[tuple[int, list[Any], Any]]
    beside: list[Any]
    """What fills in the relations that are read in the same query."""
    added: dict[str, int]
    """What is said besides a row's own columns, by where it is in the answer."""


class Kept(Generic[M]):
    """A query for whole rows whose only values are whole numbers, texts and days.

    Args:
        compose: Gives the query for some values.
        lasts: Whether its rows never change once somebody can ask for them, so that
            before a lock and behind it the answer is the same; no caller changes them.
    """

    def __init__(
        self, compose: Callable[..., QuerySet[M]], *, lasts: bool = False
    ) -> None:
        self._compose = compose
        self._lasts = lasts
        self._plans: dict[tuple[Value, ...], Plan] = {}

    def __call__(self, *values: Value) -> list[M]:
        """Ask the query.

        Args:
            *values: What ``compose`` takes.

        Returns:
            The rows.

        Raises:
            TypeError: If a value is not of its column's kind: it would not be asked for.
        """
        if None in values:
            raise TypeError("Nothing is equal to NULL.")
        if self._lasts and (lasting := _LASTING.get()) is not None:
            if (self, values) not in lasting:
                lasting[self, values] = self._asked(*values)
            return lasting[self, values]
        foreseen = self.foreseen(*values)
        return self._asked(*values) if foreseen is None else foreseen

    def foreseen(self, *values: Value) -> list[M] | None:
        """Give the answer that was foreseen, for once; None if there is none."""
        return (_FORESEEN.get() or {}).pop((self, values), None)

    def _asked(self, *values: Value) -> list[M]:
        if len(values) > MOST_VALUES:
            return list(self._compose(*values))
        plan, params = self.planned(*values)
        with connection.cursor() as cursor:
            cursor.execute(plan.sql, params)
            rows = cursor.fetchall()
        return [_read(plan, [*row]) for row in rows]

    def planned(self, *values: Value) -> tuple[Plan, list[Any]]:
        """Give the statement for some values, and these as it takes them."""
        marks = _marks(values)
        key = (connection.vendor, *marks)
        plan = self._plans.get(key)
        if plan is None:
            plan = self._plans[key] = self._plan(marks)
        given = dict(zip(_said(marks), _said(values), strict=True))
        return plan, [given.get(one, one) for one in plan.params]

    def answers(self) -> _Answers | None:
        """Where its answers are kept until they are asked for; None if nowhere."""
        lasting = _LASTING.get() if self._lasts else None
        return _FORESEEN.get() if lasting is None else lasting

    def _plan(self, marks: list[Value]) -> Plan:
        compiler, sql, params = _statement(self._compose(*marks), marks)
        select, info = compiler.select, compiler.klass_info
        at = info["select_fields"]
        columns = slice(at[0], at[-1] + 1)
        found = compiler.get_converters([each[0] for each in select])
        return Plan(
            sql=sql,
            params=params,
            model=info["model"],
            names=[each[0].target.attname for each in select[columns]],
            columns=columns,
            kinds=tuple(_kind(each[0]) for each in select),
            converters=[(nth, *found[nth]) for nth in found],
            beside=get_related_populators(  # type: ignore[call-arg]  # stubs of Django 6
                info, select, connection.alias
            ),
            added=compiler.annotation_col_map or {},
        )


class KeptLines:
    """A query for lines of whole numbers and texts out of any tables, kept as well.

    Args:
        compose: Gives the query for some values, as ``values_list`` does.
    """

    def __init__(self, compose: Callable[..., QuerySet[Any, Any]]) -> None:
        self._compose = compose
        self._statements: dict[tuple[Value, ...], tuple[str, tuple[Any, ...]]] = {}

    def __call__(self, *values: Value) -> list[tuple[Any, ...]]:
        """Ask the query.

        Args:
            *values: What ``compose`` takes.

        Returns:
            The lines.

        Raises:
            TypeError: If a value is not of its column's kind: it would not be asked for.
        """
        if len(values) > MOST_VALUES:
            return list(self._compose(*values))
        marks = _marks(values)
        key = (connection.vendor, *marks)
        if key not in self._statements:
            _by, sql, params = _statement(self._compose(*marks), marks)
            self._statements[key] = sql, params
        sql, params = self._statements[key]
        given = dict(zip(_said(marks), _said(values), strict=True))
        with connection.cursor() as cursor:
            cursor.execute(sql, [given.get(one, one) for one in params])
            found: list[tuple[Any, ...]] = cursor.fetchall()
        return found


def _marks(values: Sequence[Value]) -> list[Value]:
    """What stands for each value while a statement is composed."""
    return [_mark(_MARK + at, value) for at, value in enumerate(values)]


def _statement(
    asked: QuerySet[Any, Any], marks: Sequence[Value]
) -> tuple[SQLCompiler, str, tuple[Any, ...]]:
    compiler = asked.query.get_compiler(connection=connection)
    sql, params = compiler.as_sql()
    if not set(_said(marks)) <= set(params):
        raise TypeError("A value is of another kind than its column.")
    return compiler, sql, params


def _mark(number: int, value: Value) -> Value:
    if isinstance(value, date):
        return date.fromordinal(number)
    return str(number) if isinstance(value, str) else number


def _said(values: Iterable[Value]) -> list[Any]:
    """Values as statements have them: SQLite keeps a day as a text."""
    adapt = connection.ops.adapt_datefield_value
    return [adapt(one) if isinstance(one, date) else one for one in values]


def _kind(column: Any) -> str:
    """What a column holds; on SQLite any holds anything."""
    sqlite = connection.vendor == "sqlite"
    return "" if sqlite else str(column.output_field.cast_db_type(connection))


def _read(plan: Plan, row: list[Any]) -> Any:
    for at, converters, column in plan.converters:
        for convert in converters:
            row[at] = convert(row[at], column, connection)
    made = plan.model.from_db(connection.alias, plan.names, row[plan.columns])
    for each in plan.beside:
        each.populate(row, made)
    for name, at in plan.added.items():
        setattr(made, name, row[at])
    return made


def foresee(*asked: tuple[Any, ...]) -> None:
    """Ask several kept queries by one statement: whoever asks one next has its answer.

    What stands still only behind a lock is foreseen behind it, by another statement.

    Args:
        *asked: Kept queries, each with its values. They are asked in this order.
    """
    wanted = [
        (kept, tuple(values), there)
        for kept, *values in asked
        if (there := kept.answers()) is not None and (kept, tuple(values)) not in there
    ]
    if not wanted:
        return
    planned = [kept.planned(*values) for kept, values, _there in wanted]
    plans = tuple(plan for plan, _params in planned)
    sql, places = _together(tuple((plan.sql, plan.kinds) for plan in plans))
    rows: list[list[Any]] = [[] for _ in plans]
    with connection.cursor() as cursor:
        cursor.execute(sql, [value for _plan, params in planned for value in params])
        for nth, *row in cursor.fetchall():
            rows[nth].append(_read(plans[nth], [row[at] for at in places[nth]]))
    for (kept, values, there), found in zip(wanted, rows, strict=True):
        there[kept, values] = found


@cache
def rows_by_id(model: type[M]) -> Kept[M]:
    """Rows of a table, by their ids."""
    return Kept(lambda *ids: model._base_manager.filter(pk__in=ids))


def left(model: type[Model], row: Sequence[Any]) -> None:
    """Have a row be foreseen as a statement left it that wrote it.

    Args:
        model: Its table.
        row: All its columns in their order, as the database gives them.
    """
    ask = rows_by_id(model)
    plan, _params = ask.planned(_MARK)
    made = _read(plan, [*row])
    foreseen([made], ask, made.pk)


def foreseen(rows: list[Any], kept: Kept[Any], *values: Value) -> None:
    """Have rows that were read already be the answer of a query that is asked next."""
    if (there := kept.answers()) is not None:
        there[kept, values] = rows


@cache
def _together(parts: tuple[tuple[str, tuple[str, ...]], ...]) -> tuple[str, list[Any]]:
    """Statements as one, whose rows say of which they are, and where its columns stand."""
    columns, places = _places([kinds for _sql, kinds in parts])
    if (
        connection.vendor == "sqlite"
    ):  # it would read all by the first, as that is declared
        blank = ["NULL"] * len(columns)
        first = [f"SELECT 0, {', '.join(blank)} WHERE 0"]
        each = [["q.*", *blank[len(at) :]] for at in places]
        names = [""] * len(parts)
    else:  # each column is of one kind, which is told by the first
        first = []
        each = [[f"CAST(NULL AS {kind})" for kind in columns]]
        each += [["NULL"] * len(columns) for _ in places[1:]]
        for cells, at in zip(each, places, strict=True):
            for own, place in enumerate(at):
                cells[place] = f"c{own}"
        names = [f"({', '.join(f'c{own}' for own in range(len(at)))})" for at in places]
    branches = [
        f"SELECT {nth}, {', '.join(cells)} FROM ({sql}) q{named}"  # noqa: S608 -- ours
        for nth, (cells, (sql, _kinds), named) in enumerate(
            zip(each, parts, names, strict=True)
        )
    ]
    return " UNION ALL ".join([*first, *branches]), places


def _places(parts: list[tuple[str, ...]]) -> tuple[list[str], list[list[int]]]:
    """The kinds of as few columns as hold each of some rows, and where those of each are."""
    columns: list[str] = []
    places = []
    for kinds in parts:
        free = list(range(len(columns)))
        at = []
        for kind in kinds:
            place = next((one for one in free if columns[one] == kind), len(columns))
            if place == len(columns):
                columns.append(kind)
            else:
                free.remove(place)
            at.append(place)
        places.append(at)
    return columns, places
