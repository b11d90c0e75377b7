"""Operations and the chain of links that seals them."""

from __future__ import annotations

from typing import ClassVar

from django.db import models

from kitting.models.base import Guarded, once


class Operation(models.Model):
    """One thing a person did: who, when, where, what."""

    site = models.PositiveSmallIntegerField()
    key = models.BinaryField(max_length=16, unique=True)
    name = models.CharField(max_length=40)
    mark = models.BinaryField(max_length=32)
    by = models.ForeignKey("kitting.User", on_delete=models.PROTECT, related_name="+")
    by_name = models.CharField(max_length=150)
    bench = models.ForeignKey(
        "kitting.Bench", on_delete=models.PROTECT, null=True, related_name="+"
    )
    at = models.DateTimeField()

    class Meta:
        default_permissions = ()
        indexes = [
            models.Index(fields=["at"], name="kitting_operation_at"),
            models.Index(fields=["name"], name="kitting_operation_name"),
        ]

    def __str__(self) -> str:
        return f"{self.name} by {self.by_name} at {self.at:%Y-%m-%d %H:%M}"


class Link(Guarded):
    """The seal of one operation: its outcome and a hash over all it wrote."""

    operation = models.OneToOneField(
        Operation, on_delete=models.PROTECT, related_name="link"
    )
    site = models.PositiveSmallIntegerField()
    seq = models.PositiveBigIntegerField()
    form = models.PositiveSmallIntegerField()
    outcome = models.TextField()
    hash = models.BinaryField(max_length=32)
    keyed = models.BinaryField(max_length=32, null=True)
    """By the server's own key; empty while there was none. See ``ledger.keys``."""

    class Meta:
        default_permissions = ()
        constraints = [once("kitting_link_once", "site", "seq")]

    def __str__(self) -> str:
        return f"link {self.site}/{self.seq}"


class JournalHead(models.Model):
    """The newest link of a site; its row is locked last in every act."""

    site = models.PositiveSmallIntegerField(unique=True)
    seq = models.PositiveBigIntegerField(default=0)
    hash = models.BinaryField(max_length=32)
    at = models.DateTimeField(null=True)
    """The time of the newest act: none is dated before it."""
    seq_before: int
    """What ``seq`` was as the statement began that locked it, where that was read."""
    tied_token: str | None
    badge_valid: bool = True
    """What an act at a bench asks besides, where it was read along: ``tied``."""

    unsealed: ClassVar = dict.fromkeys(
        ("id", "site", "seq", "hash", "at"), "its last link"
    )

    class Meta:
        default_permissions = ()

    def __str__(self) -> str:
        return f"head {self.site}/{self.seq}"


class RowSeal(Guarded):
    """A row that may change, as an act left it; see ``ledger.seals``."""

    of = models.CharField(max_length=60)
    """The table."""
    row = models.BigIntegerField()
    text = models.TextField(blank=True)
    """Its columns; empty where the act removed it."""

    class Meta:
        default_permissions = ()
        indexes = [models.Index(fields=["of", "row"], name="kitting_rowseal_row")]

    def __str__(self) -> str:
        return f"{self.of} {self.row}"


class Touched(models.Model):
    """A row that was touched and is not sealed yet; triggers write it, acts clear it."""

    act = models.BigIntegerField()
    """The newest operation by then on SQLite, the transaction on PostgreSQL."""
    of = models.CharField(max_length=60)
    row = models.BigIntegerField()

    unsealed: ClassVar = dict.fromkeys(("id", "act", "of", "row"), "what is not sealed")

    class Meta:
        default_permissions = ()

    def __str__(self) -> str:
        return f"{self.of} {self.row}"
