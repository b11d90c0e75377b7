"""Every way to bend one column of one row, made from the models themselves.

Nothing here knows what a table means: a value becomes another of its kind, an empty one
is filled, a full one emptied, as far as the constraints of the database let it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from itertools import islice
from typing import Any, TypeAlias

from django.db import IntegrityError, connection, models, transaction
from django.db.utils import DataError

from kitting.models import Guarded, Link, Operation
from tests.factories import NOW

ROWS = 40
"""So many rows of a table are tried until one takes a bend."""

Field: TypeAlias = "models.Field[Any, Any]"


@dataclass
class Bend:
    """One row, about to be bent."""

    model: type[models.Model]
    pk: int
    how: str
    """Changed, removed, or added as a copy."""
    values: dict[str, Any] = field(default_factory=dict)
    link: int | None = None
    """Id of the link that covers the row, if it is written once; see ``link_of``."""

    @property
    def table(self) -> str:
        return self.model._meta.db_table

    @property
    def named(self) -> int:
        """Id of the row that is at fault."""
        return nowhere(self.model) if self.how == "added" else self.pk

    @property
    def whole(self) -> bool:
        """Whether it is the whole row that comes, goes, or becomes another."""
        return self.how in ("added", "removed") or "id" in self.values

    @property
    def of(self) -> str:
        """What the bend is of, to be listed."""
        if self.how in ("added", "removed"):
            return f"{self.table} {self.how}"
        return ".".join([self.table, *self.values])

    def make(self) -> int:
        """Bend it as somebody with the database in hand would: past ``save()``.

        Returns:
            How many rows that took: none if another bend took the row before.
        """
        found = self.model._base_manager.filter(pk=self.pk)
        if self.how == "removed":
            return found._raw_delete(found.db)
        if self.how == "changed":
            return self._change()
        rows = list(found)
        for row in rows:
            for name, value in {**self.values, "id": self.named}.items():
                setattr(row, name, value)
        return len(self.model._base_manager.bulk_create(rows))

    def _change(self) -> int:
        columns = {
            self.model._meta.get_field(name): to for name, to in self.values.items()
        }
        named = ", ".join(f'"{one.column}" = %s' for one in columns)
        table, key = self.table, self.model._meta.pk.column
        values = [one.get_db_prep_save(to, connection) for one, to in columns.items()]
        with connection.cursor() as cursor:
            cursor.execute(
                f'UPDATE "{table}" SET {named} WHERE "{key}" = %s', [*values, self.pk]
            )
            return cursor.rowcount

    def fits(self, was: Any = None) -> bool:
        """Whether the database takes it; a column that is changed is put back.

        Once triggers were dropped, SQLite reads its whole schema again after each
        rollback. It takes a statement back by itself that it refuses.

        Args:
            was: The value of the column that is changed.
        """
        if self.how == "changed" and connection.vendor == "sqlite":
            return self._fits_alone(was)
        try:
            with transaction.atomic():
                made = self.make()
                transaction.set_rollback(True)
        except (IntegrityError, DataError):
            return False
        return made == 1

    def _fits_alone(self, was: Any) -> bool:
        try:
            made = self.make()
        except IntegrityError:
            return False
        if made:
            pk = self.values.get(self.model._meta.pk.attname, self.pk)
            back = Bend(self.model, pk, "changed", dict.fromkeys(self.values, was))
            assert back.make() == made
        return made == 1


def bends(model: type[models.Model]) -> tuple[list[Bend], list[str]]:
    """Bend every column of a table, remove a row of it, and add one.

    Returns:
        The bends, and what the database lets nobody bend.
    """
    made, refused = [], []
    columns = model._meta.concrete_fields
    names = ["pk", *(column.attname for column in columns)]
    first = list(model._base_manager.order_by("pk").values(*names)[: ROWS + 1])
    for column in columns:
        ways = list(_of_column(model, column, first))
        made += ways
        if not ways:
            refused.append(f"{model._meta.db_table}.{column.attname}")
    pks = list(model._base_manager.order_by("pk").values_list("pk", flat=True)[:ROWS])
    removed = (Bend(model, pk, "removed") for pk in pks)
    keys = ((pk, values) for pk in pks for values in _keys(model, pk))
    added = (Bend(model, pk, "added", values) for pk, values in keys)
    for how, rows in {"removed": removed, "added": added}.items():
        ways = list(islice((bend for bend in rows if bend.fits()), 1))
        made += ways
        if not ways:
            refused.append(f"{model._meta.db_table} {how}")
    return made, refused


def _of_column(
    model: type[models.Model], column: Field, first: list[dict[str, Any]]
) -> Iterator[Bend]:
    """One bend of each kind that the column takes; the first rows were read already."""
    name = column.attname
    known = [(row["pk"], row[name]) for row in first[:ROWS]]
    full = [one for one in known if one[1] is not None]
    empty = [one for one in known if one[1] is None]
    if column.null and len(first) > ROWS:  # Rows further down may be full, or empty.
        found = model._base_manager.order_by("pk").values_list("pk", name)
        full = list(found.exclude(**{f"{column.name}__isnull": True})[:ROWS])
        empty = list(found.filter(**{f"{column.name}__isnull": True})[:ROWS])
    there = _referred_to(column)
    for ways in (
        ((pk, was, to) for pk, was in full for to in others(column, was, there)),
        ((pk, was, None) for pk, was in full if column.null),
        ((pk, None, to) for pk, _ in empty for to in others(column, None, there)),
    ):
        tried = ((Bend(model, pk, "changed", {name: to}), was) for pk, was, to in ways)
        yield from islice((bend for bend, was in tried if bend.fits(was)), 1)


def nowhere(model: type[models.Model]) -> int:
    """An id that no row of a table has."""
    short = model._meta.pk.get_internal_type() == "AutoField"
    return 2 * 10**9 if short else 7 * 10**14


def _referred_to(column: Field) -> list[Any]:
    """The first rows that the column could refer to."""
    if not column.remote_field:
        return []
    rows = column.remote_field.model._base_manager.order_by("pk")
    return list(rows.values_list("pk", flat=True)[:6])


def others(column: Field, was: Any, there: list[Any]) -> Iterator[Any]:
    """Other values of a column's kind, the likeliest first."""
    if column.remote_field:
        yield from [pk for pk in there if pk != was][:5]
        yield nowhere(column.remote_field.model)
    elif column.choices:
        yield from (
            word for word, _shown in column.flatchoices if word not in (was, "")
        )
    elif isinstance(column, models.BooleanField):
        yield not was
    elif column.primary_key:
        yield nowhere(column.model)
    elif isinstance(column, models.IntegerField):
        yield from ((was or 0) + step for step in (1, -1, 1_000))
    elif isinstance(column, models.DateTimeField):
        yield (was or NOW) + timedelta(seconds=1)
        yield (was or NOW) - timedelta(seconds=1)
    elif isinstance(column, models.DateField):
        yield (was or NOW.date()) + timedelta(days=1)
        yield (was or NOW.date()) - timedelta(days=1)
    elif isinstance(column, models.BinaryField):
        yield bytes([*bytes(was or b"x")[:-1], (bytes(was or b"x")[-1] + 1) % 256])
    elif isinstance(column, models.JSONField):
        yield {"bent": was}
    else:
        assert isinstance(column, models.CharField | models.TextField), column
        text = was or ""
        yield from (text[:-1] + end for end in "17XY" if end != text[-1:])


def _keys(model: type[models.Model], pk: int) -> Iterator[dict[str, Any]]:
    """Other values for what may stand only once, for a copy of a row."""
    fields: dict[str, Field] = {f.name: f for f in model._meta.concrete_fields}
    groups = [[name] for name, one in fields.items() if one.unique]
    groups += [
        list(one.fields)
        for one in model._meta.constraints
        if isinstance(one, models.UniqueConstraint)
    ]
    groups += [list(names) for names in model._meta.unique_together]
    row = model._base_manager.get(pk=pk)
    names = {name for group in groups for name in group} - {"id"}
    if model is not Link:
        names.discard("operation")
    values = {fields[name]: getattr(row, fields[name].attname) for name in names}
    keys = {
        column.attname: list(others(column, was, _referred_to(column)))
        for column, was in values.items()
        if was is not None
    }
    yield {}
    for nth in range(6):
        yield {name: ways[min(nth, len(ways) - 1)] for name, ways in keys.items()}


def link_of(bend: Bend) -> int | None:
    """Id of the link that covers the row of a bend, before it is made."""
    if bend.model is Link:
        return bend.pk
    operation = bend.pk
    if issubclass(bend.model, Guarded):
        operation = bend.model._base_manager.get(pk=bend.pk).operation_id
    elif bend.model is not Operation:
        return None
    return Link.objects.get(operation=operation).pk
