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

from django.db import IntegrityError, models, transaction
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
    """Id of the link that covers the row, if it is written once."""

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
            return found.update(**self.values)
        rows = list(found)
        for row in rows:
            for name, value in {**self.values, "id": self.named}.items():
                setattr(row, name, value)
        return len(self.model._base_manager.bulk_create(rows))

    def fits(self) -> bool:
        """Whether the database takes it."""
        try:
            with transaction.atomic():
                made = self.make()
                transaction.set_rollback(True)
        except (IntegrityError, DataError):
            return False
        return made == 1


def bends(model: type[models.Model]) -> tuple[list[Bend], list[str]]:
    """Bend every column of a table, remove a row of it, and add one.

    Returns:
        The bends, and what the database lets nobody bend.
    """
    made, refused = [], []
    for column in model._meta.concrete_fields:
        ways = list(_of_column(model, column))
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
    for bend in made:
        bend.link = _link_of(bend)
    return made, refused


def _of_column(model: type[models.Model], column: Field) -> Iterator[Bend]:
    """One bend of each kind that the column takes."""
    name = column.attname
    found = model._base_manager.order_by("pk").values_list("pk", name)
    full = found.exclude(**{f"{column.name}__isnull": True})[:ROWS]
    empty = found.filter(**{f"{column.name}__isnull": True})[:ROWS]
    for ways in (
        ((pk, value) for pk, was in full for value in others(column, was)),
        ((pk, None) for pk, _was in full if column.null),
        ((pk, value) for pk, _ in empty for value in others(column, None)),
    ):
        tried = (Bend(model, pk, "changed", {name: value}) for pk, value in ways)
        yield from islice((bend for bend in tried if bend.fits()), 1)


def nowhere(model: type[models.Model]) -> int:
    """An id that no row of a table has."""
    short = model._meta.pk.get_internal_type() == "AutoField"
    return 2 * 10**9 if short else 7 * 10**14


def others(column: Field, was: Any) -> Iterator[Any]:
    """Other values of a column's kind, the likeliest first."""
    if column.remote_field:
        rows = column.remote_field.model._base_manager.exclude(pk=was).order_by("pk")
        yield from rows.values_list("pk", flat=True)[:5]
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
        column.attname: list(others(column, was))
        for column, was in values.items()
        if was is not None
    }
    yield {}
    for nth in range(6):
        yield {name: ways[min(nth, len(ways) - 1)] for name, ways in keys.items()}


def _link_of(bend: Bend) -> int | None:
    if bend.model is Link:
        return bend.pk
    operation = bend.pk
    if issubclass(bend.model, Guarded):
        operation = bend.model._base_manager.get(pk=bend.pk).operation_id
    elif bend.model is not Operation:
        return None
    return Link.objects.get(operation=operation).pk
