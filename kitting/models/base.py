"""What the tables share: the guarded base and fields for closed vocabularies."""

from __future__ import annotations

from collections.abc import Iterable
from enum import StrEnum
from functools import reduce
from operator import or_
from typing import Any

from django.db import models
from django.utils.deconstruct import deconstructible


class Guarded(models.Model):
    """A row that is written once: the database refuses to change or remove it."""

    operation = models.ForeignKey(
        "kitting.Operation", on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        abstract = True
        default_permissions = ()


@deconstructible
class Words:
    """The choices of a closed vocabulary: a migration names it, not each of its words."""

    def __init__(self, words: type[StrEnum]) -> None:
        self.words = words

    def __call__(self) -> list[tuple[str, str]]:
        return pairs(self.words)


def word_field(words: type[StrEnum], **options: Any) -> models.CharField[str, str]:
    """A short field that holds one word of a closed vocabulary."""
    return models.CharField(max_length=12, choices=Words(words), **options)


def one_of(name: str, field: str, words: Iterable[StrEnum | str]) -> Any:
    """The constraint that keeps ``field`` inside its vocabulary."""
    # One after the other: for a list SQLite makes a table, anew for every row.
    each = (models.Q(**{field: str(word)}) for word in words)
    return check(name, reduce(or_, each))


def check(
    name: str, condition: models.Q | None = None, **fields: Any
) -> models.CheckConstraint:
    """The constraint that keeps every row to a condition, or fields as in a ``Q``."""
    return models.CheckConstraint(condition=condition or models.Q(**fields), name=name)


def once(name: str, *fields: str, **options: Any) -> models.UniqueConstraint:
    """The constraint that keeps the values of fields together from coming twice."""
    return models.UniqueConstraint(fields=fields, name=name, **options)


def pairs(words: Iterable[StrEnum]) -> list[tuple[str, str]]:
    """Choices for a form, shown as the words are stored."""
    return [(str(word), str(word).replace("_", " ")) for word in words]
