"""What acts are about: things with numbers, found by the rows that name them.

Every row that an act writes once names its act, and most name a lot, bag, run, box or the
like as well, directly or by another such row; every row that may change is named by the
seals of the acts that changed it. Which do is read from the models, so that a new table
needs nothing here.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any, Final

from django.db.models import (
    CharField,
    Count,
    F,
    ForeignKey,
    Min,
    Model,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Value,
)
from django.db.models.functions import Cast, Coalesce, Concat
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from dispatch.models import Allotment, Case, Complaint, Consignee, Request, Shipment
from dispatch.trace.queries import find
from kitting.domain.errors import Missing
from kitting.ledger.kept import KeptLines
from kitting.ledger.proof.chain import sealed_models
from kitting.ledger.seals import sealed_models as changing
from kitting.models import (
    Bag,
    Bench,
    Box,
    Carrier,
    DefectKind,
    Evidence,
    Guarded,
    LabelWord,
    Lamp,
    Lot,
    Meter,
    Method,
    Part,
    Place,
    Printer,
    Product,
    Protocol,
    RowSeal,
    Run,
    Stock,
    User,
    Workshop,
)


@dataclass(frozen=True)
class Kind:
    """A kind of thing that acts are told by."""

    word: str | Promise
    model: type[Model]
    name: Any
    """The expression of its number."""
    page: str = ""
    """The name of its page, where it has one; its address takes the number."""


KINDS: Final = (
    Kind(_("case"), Case, F("number"), "dispatch:case-detail"),
    Kind(_("complaint"), Complaint, F("number"), "dispatch:complaint-detail"),
    Kind(_("shipment"), Shipment, F("number"), "dispatch:shipment-detail"),
    Kind(_("allotment"), Allotment, F("number"), "dispatch:allotment-detail"),
    Kind(_("request"), Request, F("number"), "dispatch:request-detail"),
    Kind(_("box"), Box, Coalesce("serial", "number"), "kitting:box-detail"),
    Kind(_("run"), Run, F("number"), "kitting:run-detail"),
    Kind(
        _("protocol"),
        Protocol,
        Concat("code", Value("/"), Cast("version", CharField())),
        "kitting:protocol-detail",
    ),
    Kind(_("carrier"), Carrier, F("number"), "kitting:carrier-detail"),
    Kind(_("bag"), Bag, F("number"), "kitting:bag-detail"),
    Kind(_("lot"), Lot, F("number"), "kitting:lot-detail"),
    Kind(_("meter"), Meter, F("serial"), "kitting:meter-detail"),
    Kind(_("place"), Place, F("code"), "kitting:place-detail"),
    Kind(_("person"), User, F("username")),
)
"""The most telling first."""

SET_UP: Final[Mapping[str, tuple[type[Model], Any]]] = {
    **{
        str(model._meta.model_name): (model, F("code"))
        for model in (
            *(Bench, Consignee, Evidence, Method),
            *(Part, Place, Printer, Product, Stock),
        )
    },
    "defect": (DefectKind, F("code")),
    "lamp": (Lamp, Concat("line__code", Value(" "), "name")),
    "meter": (Meter, F("serial")),
    "person": (User, F("username")),
    "workshop": (Workshop, F("name")),
}
"""What is set up: asked for by a word and a name, such as ``part HB``. All lamps that one
place of a line had, one after the other, have one name."""
TOLD_WHOLE: Final = frozenset({kind.model for kind in KINDS} | {Evidence, Lamp})
"""Whose acts are also those that only name it. Half of all acts name a part."""


@dataclass(frozen=True)
class Named:
    """Things of one kind that an act is about."""

    kind: Kind
    name: str
    """The number of one of them."""
    many: bool
    """Whether there are others of the kind."""

    @property
    def at(self) -> list[str]:
        """What the address of its page takes."""
        return self.name.split("/") if self.kind.model is Protocol else [self.name]


@dataclass(frozen=True)
class Way:
    """A way from acts to things of a kind: rows of acts, and the thing that each names."""

    rows: QuerySet[Any, Any]
    named: F | Subquery
    naming: Callable[[Collection[int]], Q]
    """Which of the rows name one of some things, by their ids."""


def changes(model: type[Model]) -> Iterator[Way]:
    """Find the ways from acts to the things of a kind that they changed.

    Args:
        model: The things' table.

    Yields:
        The seal of the thing itself, and those of what only joins it to others.
    """
    seals = RowSeal.objects.all()
    yield _sealed(seals, model, "pk")
    for table in joining():
        for field in _keys(table):
            if field.related_model is model:
                yield _sealed(seals, table, field.name)


@cache
def ways(model: type[Model]) -> tuple[Way, ...]:
    """Find all ways from acts to things of a kind.

    Args:
        model: The things' table.

    Returns:
        As ``changes``, and by every row written once that names it or is it, where it is
        one of ``TOLD_WHOLE``.
    """
    if model not in TOLD_WHOLE:
        return tuple(changes(model))
    return (
        *changes(model),
        *(
            Way(table._default_manager.all(), F("pk"), _among("pk"))
            for table in sealed_models()
            if table is model
        ),
        *(
            Way(table._default_manager.all(), F(way), _among(way))
            for table in sealed_models()
            for way in _by_columns(table, model, frozenset({table}))
        ),
    )


def _sealed(seals: QuerySet[Any, Any], table: type[Model], column: str) -> Way:
    those, rows = seals.filter(of=table._meta.db_table), table._default_manager
    if column == "pk":
        return Way(those, F("row"), _among("row"))
    named = rows.filter(pk=OuterRef("row")).values(column)
    return Way(
        those,
        Subquery(named[:1]),
        lambda ids: Q(row__in=rows.filter(**{f"{column}__in": ids}).values("pk")),
    )


def _among(column: str) -> Callable[[Collection[int]], Q]:
    return lambda ids: Q(**{f"{column}__in": ids})


@cache
def joining() -> tuple[type[Model], ...]:
    """The tables whose rows may change and are no things of their own."""
    things = {kind.model for kind in KINDS}
    return tuple(each for each in changing().values() if each not in things)


def _keys(table: type[Model]) -> list[ForeignKey[Any, Any]]:
    fields = table._meta.concrete_fields
    return [field for field in fields if isinstance(field, ForeignKey)]


def _by_columns(
    table: type[Model], model: type[Model], met: frozenset[type[Model]]
) -> Iterator[str]:
    """Columns that lead to a thing, such as ``hold__lot`` from lifts.

    What names a row as its only one, as a case does its holds, is a column of that row.
    """
    for field in _keys(table):
        other = field.related_model
        if other is model:
            yield field.name
        elif issubclass(other, Guarded) and other not in met:
            for way in _by_columns(other, model, met | {other}):
                yield f"{field.name}__{way}"
    for back in table._meta.related_objects:
        other = back.related_model
        if back.one_to_one and issubclass(other, Guarded) and other not in met:
            for way in _by_columns(other, model, met | {other}):
                yield f"{back.get_accessor_name()}__{way}"


def things_named(text: str) -> Sequence[Model]:
    """Find what acts are asked for.

    Args:
        text: A number, typed or scanned; a protocol's is its code, a slash, its version;
            of what is set up a word and its name; ``words`` and a language.

    Returns:
        The rows of that name, of one table: one, but for lamps and words on paper.

    Raises:
        CodeError: If it can be no number at all.
        Missing: ``nothing_has_number``.
    """
    word, _blank, name = text.strip().partition(" ")
    if word == "words" and (named := _words_in(name)):
        return named
    if word in SET_UP and name.isprintable():
        model, called = SET_UP[word]
        rows = model._default_manager.alias(called=called)
        if named := list(rows.filter(called=name)):
            return named  # else a lot may be called so
    code, slash, version = text.strip().partition("/")
    if slash and version.isascii() and version.isdecimal() and len(version) < 5:
        found = Protocol.objects.filter(code__iexact=code, version=int(version))
        if protocol := found.first():
            return [protocol]
    row = find(text).row
    if row is None:
        raise Missing("nothing_has_number", read=text)
    return [row]


def _words_in(language: str) -> list[Model]:
    """The words on paper that a language ever had, those that were emptied as well."""
    said = f'"language":{json.dumps(language)}'
    seals = RowSeal.objects.filter(of=LabelWord._meta.db_table, text__contains=said)
    return [LabelWord(pk=pk) for pk in seals.values_list("row", flat=True).distinct()]


def acts_with(things: Sequence[Model]) -> QuerySet[Any, Any]:
    """Find the operations that wrote a row which names one of some things.

    Args:
        things: Rows of one table, as ``things_named`` gives them.

    Returns:
        Their ids, each once.
    """
    ids = [thing.pk for thing in things]
    first, *others = (
        way.rows.filter(way.naming(ids)).values("operation_id")
        for way in ways(type(things[0]))
    )
    return first.union(*others)


def about(operations: Collection[int]) -> Mapping[int, list[Named]]:
    """Say what acts are about, in two queries for any number of acts.

    Args:
        operations: Their ids.

    Returns:
        For each that is about anything the things by kind, the most telling first.
    """
    if not operations:
        return {}
    ones: dict[tuple[int, int], set[int]] = defaultdict(set)
    many: set[tuple[int, int]] = set()
    for operation, at, one, count in _COUNTS(*operations):
        ones[operation, at].add(one)
        if count > 1:
            many.add((operation, at))
    names = _names(ones)
    told: dict[int, list[Named]] = defaultdict(list)
    for operation, at in sorted(ones):
        those = ones[operation, at]
        name = names[at, min(those)]
        several = len(those) > 1 or (operation, at) in many
        told[operation].append(Named(KINDS[at], name, several))
    return told


def _counts(*operations: int) -> QuerySet[Any, Any]:
    """Of each act by what its rows name: which kind, one of them, and how many."""
    counts = [
        way.rows.filter(operation__in=operations)
        .annotate(thing_id=way.named)
        .exclude(thing_id=None)
        .order_by()
        .values("operation_id")
        .annotate(
            told_as=Value(at),
            one=Min("thing_id"),
            count=Count("thing_id", distinct=True),
        )
        .values_list("operation_id", "told_as", "one", "count")
        for at, kind in enumerate(KINDS)
        for way in ways(kind.model)
    ]
    lines: QuerySet[Any, Any] = counts[0].union(*counts[1:], all=True)
    return lines


_COUNTS = KeptLines(_counts)


def _names(ones: Mapping[tuple[int, int], set[int]]) -> dict[tuple[int, int], str]:
    wanted: dict[int, set[int]] = defaultdict(set)
    for (_operation, at), those in ones.items():
        wanted[at].add(min(those))
    if not wanted:
        return {}
    found = [
        KINDS[at]
        .model._default_manager.filter(pk__in=those)
        .order_by()
        .annotate(told_as=Value(at), called=Cast(KINDS[at].name, CharField()))
        .values_list("told_as", "pk", "called")
        for at, those in wanted.items()
    ]
    return {(at, pk): name for at, pk, name in found[0].union(*found[1:], all=True)}
