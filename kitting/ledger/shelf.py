"""Inner steps of loading a catalogue: rows read, compared, added, and what is wrong."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import cache
from operator import attrgetter
from typing import Any, TypeVar

from django.core.exceptions import ValidationError
from django.db import IntegrityError, models, transaction

from kitting.domain.errors import CodeError, LotwardError
from kitting.domain.shown import is_legible, shown
from kitting.ledger.coded import need_free_code

M = TypeVar("M", bound=models.Model)
V = TypeVar("V")


@dataclass(frozen=True)
class Problem:
    """One thing in a catalogue that cannot be taken in."""

    path: str
    """Where it stands, such as ``parts[2].unit``; counted from 1."""
    value: str
    """What stands there."""
    code: str
    more: Mapping[str, object] = field(default_factory=dict)

    def as_error(self) -> CodeError:
        """The problem as an error, for its sentence.

        Returns:
            The error with its code and values.
        """
        return CodeError(self.code, **{"value": self.value, **self.more})


@dataclass
class Shelf:
    """Writes what is missing, and notes what is wrong; inside one transaction."""

    problems: list[Problem] = field(default_factory=list)
    added: Counter[str] = field(default_factory=Counter)
    seen: set[tuple[object, ...]] = field(default_factory=set)
    unread: set[tuple[str, object]] = field(default_factory=set)
    """What the file holds but with a problem: whoever names it has none of his own."""
    touched: dict[type[models.Model], set[int]] = field(default_factory=dict)
    """Ids of the rows that were written, by table."""
    on_record: dict[tuple[object, ...], dict[Any, Any]] = field(default_factory=dict)
    """What was there before, by table and key: each table is read once for a file."""

    def fault(self, path: str, value: object, code: str, /, **more: object) -> None:
        """Note a problem.

        Args:
            path: Where it stands.
            value: What stands there.
            code: What is wrong.
            **more: What else its sentence names.
        """
        self.problems.append(Problem(path, shown(_written(value)), code, more))

    def rows(
        self, data: Mapping[str, Any], name: str, path: str = ""
    ) -> Iterator[tuple[str, dict[str, Any]]]:
        """The rows of a list, each with its path; anything else is a problem.

        Args:
            data: What holds the list; nothing there is an empty list.
            name: Name of the list.
            path: Path of what holds it.

        Yields:
            Path and row.
        """
        here = f"{path}.{name}" if path else name
        listed = data.get(name, [])
        if not isinstance(listed, list):
            self.fault(here, listed, "catalogue_kind", wanted="a list")
            return
        for nth, row in enumerate(listed, start=1):
            if isinstance(row, dict):
                yield f"{here}[{nth}]", row
            else:
                self.fault(f"{here}[{nth}]", row, "catalogue_kind", wanted="a row")

    def alone(
        self, data: Mapping[str, Any], name: str
    ) -> Iterator[tuple[str, dict[str, Any]]]:
        """The one row of a section; anything else is a problem.

        Args:
            data: What holds it; it may be absent.
            name: Its name.

        Yields:
            Path and row.
        """
        if name not in data:
            return
        if isinstance(data[name], dict):
            yield name, data[name]
        else:
            self.fault(name, data[name], "catalogue_kind", wanted="a row")

    def texts(self, data: Mapping[str, Any], name: str, path: str) -> list[str]:
        """The texts of a list.

        Args:
            data: What holds the list; nothing there is an empty list.
            name: Name of the list.
            path: Path of what holds it.

        Returns:
            The texts; what is none is a problem and left out.
        """
        listed = data.get(name, [])
        if isinstance(listed, list) and all(_is_text(one) for one in listed):
            return listed
        self.fault(f"{path}.{name}", listed, "catalogue_kind", wanted="a list of texts")
        return []

    def known(self, path: str, data: Mapping[str, Any], names: Collection[str]) -> None:
        """Note every name in a row that means nothing.

        Args:
            path: Path of the row.
            data: The row.
            names: The names that mean something.
        """
        for name in sorted(set(data) - set(names)):
            self.fault(f"{path}.{name}".lstrip("."), data[name], "catalogue_name")

    def one_of(
        self, path: str, data: Mapping[str, Any], name: str, known: Mapping[Any, V]
    ) -> V | None:
        """What a row names by its code.

        Args:
            path: Path of the row.
            data: The row.
            name: The field that holds the code.
            known: What there is, by code.

        Returns:
            It, or None with a problem noted.
        """
        code = data.get(name)
        found = known.get(code) if isinstance(code, str) else None
        if found is None and (name, str(code)) not in self.unread:
            self.fault(f"{path}.{name}", code, "catalogue_no_such", what=name)
        return found

    def values(
        self, model: type[models.Model], path: str, data: Mapping[str, Any]
    ) -> dict[str, Any]:
        """The columns of a table that a row gives, read by the kind of each.

        Args:
            model: The table.
            path: Path of the row.
            data: The row; names that are no columns are passed over.

        Returns:
            Values by column; what cannot be read is a problem and left out.
        """
        found = {}
        for column in columns(model):
            here = f"{path}.{column.name}".lstrip(".")
            if column.name not in data:
                if not (column.has_default() or column.blank or column.null):
                    self.fault(here, "", "catalogue_missing")
                continue
            raw = data[column.name]
            value, wanted = _read(column, raw)
            if wanted:
                self.fault(here, raw, "catalogue_kind", wanted=wanted)
            else:
                found[column.name] = value
        return found

    def read(
        self, model: type[models.Model], path: str, data: Mapping[str, Any], *more: str
    ) -> dict[str, Any]:
        """Read the columns of a row; other names than ``more`` mean nothing."""
        self.known(path, data, {*names_of(model), *more})
        return self.values(model, path, data)

    def place(
        self,
        path: str,
        row: M,
        key: tuple[str, ...],
        given: Mapping[str, Any],
        rule: Callable[[M], object] | None = None,
    ) -> M | None:
        """Add a row unless it is there; one that is there must say the same.

        Args:
            path: Path of the row.
            row: The row as the catalogue has it, not yet inserted.
            key: The columns by which it is known.
            given: What the catalogue says of it, by column: what it leaves out is
                left as it is.
            rule: Refuses a new row that no page would make.

        Returns:
            The row in the database, also where it says something else; None where a
            new one cannot be written. Problems are noted.
        """
        if any(each.path.startswith(f"{path}.") for each in self.problems):
            return None  # what cannot be read cannot be compared either
        model, name = type(row), type(row).__name__
        mark = (name, *(getattr(row, column) for column in key))
        if mark in self.seen:
            self.fault(path, " ".join(map(str, mark[1:])), "catalogue_twice")
            return None
        self.seen.add(mark)
        there = self.there(row, key)
        if there is not None:
            self.same(path, there, given)
            return there
        left_out = {
            column.name
            for column in model._meta.concrete_fields
            if column.null and not column.blank and getattr(row, column.attname) is None
        }
        if key == ("code",):
            code: str = mark[1]
            obey(self, f"{path}.code", lambda: need_free_code(model, code))
        try:
            row.clean_fields(exclude=left_out | _named(row))
            with transaction.atomic():
                row.save(force_insert=True)
        except (ValidationError, IntegrityError):
            if self._unfit(path, row, left_out):
                return None
            raise
        self.touched.setdefault(model, set()).add(row.pk)
        self.added[name] += 1
        if rule is not None:
            obey(self, path, lambda: rule(row))
        return row

    def there(self, row: M, key: tuple[str, ...]) -> M | None:
        """The row that was on record before, by the columns by which one is known.

        Args:
            row: A row that says the same in these columns.
            key: The columns.

        Returns:
            It, or None.
        """
        model = type(row)
        fields: list[Any] = [model._meta.get_field(name) for name in key]
        of = attrgetter(*(each.attname for each in fields))
        if (model, key) not in self.on_record:
            found = model._default_manager.order_by()
            self.on_record[model, key] = {of(each): each for each in found}
        there: M | None = self.on_record[model, key].get(of(row))
        return there

    def fill(self, path: str, row: models.Model, given: Mapping[str, Any]) -> bool:
        """Write columns of a row that had nothing in them.

        Args:
            path: Path of the row in the catalogue.
            row: The row in the database.
            given: What the catalogue says of these columns.

        Returns:
            Whether it was written; a value that cannot be kept is a problem.
        """
        for column, value in given.items():
            setattr(row, column, value)
        if self._unfit(path, row):
            return False
        row.save(update_fields=list(given))
        self.touched.setdefault(type(row), set()).add(row.pk)
        return True

    def same(self, path: str, there: models.Model, given: Mapping[str, Any]) -> None:
        """Note where a row in the database says something else than the catalogue.

        Args:
            path: Path of the row.
            there: The row in the database.
            given: What the catalogue says.
        """
        for column, value in given.items():
            on_record = getattr(there, column)
            if on_record != value:
                here = f"{path}.{column}".lstrip(".")
                known = shown(_written(on_record))
                self.fault(here, value, "catalogue_differs", known=known)

    def _unfit(self, path: str, row: M, exclude: Collection[str] = ()) -> bool:
        """Note all that keeps a row out; most rules of its table are a question each."""
        try:
            row.full_clean(exclude=exclude)
        except ValidationError as error:
            for name, reasons in error.message_dict.items():
                value = getattr(row, name, "")
                here = path if name == "__all__" else f"{path}.{name}"
                self.fault(here, value, "catalogue_value", why=" ".join(reasons))
            return True
        return False


@cache
def columns(model: type[models.Model]) -> tuple[Any, ...]:
    """The columns of a table that a catalogue writes: no ids, no rows of others.

    Args:
        model: The table.

    Returns:
        Its fields.
    """
    return tuple(
        column
        for column in model._meta.concrete_fields
        if not column.primary_key
        and not column.is_relation
        and not isinstance(column, models.BinaryField)
        and column.name not in {"search", "in_force", *getattr(model, "unsealed", ())}
    )


def names_of(model: type[models.Model]) -> set[str]:
    """Names of the columns that a catalogue writes; see ``columns``.

    Args:
        model: The table.

    Returns:
        The names.
    """
    return {column.name for column in columns(model)}


def _named(row: models.Model) -> set[str]:
    """Columns that name a row which was read or written: nobody need look for it."""
    relations: list[Any] = [c for c in row._meta.concrete_fields if c.is_relation]
    return {column.name for column in relations if column.is_cached(row)}


def read_day(raw: object) -> date | None:
    """Read a day as a catalogue writes it.

    Args:
        raw: What stands there.

    Returns:
        The day, or None for anything but text such as 2026-03-01.
    """
    if not isinstance(raw, str) or len(raw) != len("2026-03-01"):
        return None
    try:
        return date.fromisoformat(raw)
    except ValueError:
        return None


def _read(column: Any, raw: Any) -> tuple[Any, str]:
    """A value by the kind of its column, or what was wanted instead."""
    if raw is None and column.null:
        return None, ""
    if isinstance(column, models.TextField) and isinstance(raw, list):
        lines = all(_is_text(line) for line in raw)
        return ("\n".join(raw), "") if lines else (None, "a list of texts")
    if isinstance(column, models.CharField | models.TextField):
        return raw, "" if _is_text(raw) else "a text"
    if isinstance(column, models.BooleanField):
        return raw, "" if isinstance(raw, bool) else "true or false"
    if isinstance(column, models.DateField):
        day = read_day(raw)
        return day, "" if day else "a day as 2026-03-01"
    whole = isinstance(raw, int) and not isinstance(raw, bool)
    return raw, "" if whole else "a whole number"


def _is_text(raw: object) -> bool:
    return isinstance(raw, str) and is_legible(raw)


def _written(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    return "nothing" if value is None else str(value)


def obey(shelf: Shelf, path: str, rule: Any) -> None:
    """Note what a rule refuses, under its own code."""
    try:
        rule()
    except LotwardError as error:
        value = next(iter(error.params.values()), "")
        shelf.fault(path, value, error.code, **error.params)
