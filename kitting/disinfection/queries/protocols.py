"""What the pages of protocols read."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from functools import cached_property
from typing import Final

from django.db.models import Prefetch

from kitting.domain.entries import Load, Terms
from kitting.ledger.covering import told_covers
from kitting.ledger.reach import standing_holds
from kitting.models import (
    Cover,
    Evidence,
    Hold,
    Part,
    Protocol,
    ProtocolLoad,
    Retirement,
    Signature,
)

TERM_FIELDS: Final = (
    "name",
    "process",
    "required_top_uj_cm2",
    "required_bottom_uj_cm2",
    "turned",
    "hold_s",
    "min_value",
    "low_nm",
    "high_nm",
    "max_passes",
    "in_force_from",
    "in_force_until",
    "label_words",
)
"""Columns of a version that its terms fill one to one."""


class ProtocolStage(StrEnum):
    """What a version of a protocol is on a day."""

    DRAFT = "draft"
    NOT_YET = "not yet in force"
    IN_FORCE = "in force"
    RETIRED = "retired"


def stage_of(protocol: Protocol, today: date) -> ProtocolStage:
    """In which stage a version is.

    Args:
        protocol: The version.
        today: The workshop's day.

    Returns:
        Draft until it is signed; in force from its first to its last day.
    """
    if not protocol.signed_by.strip():
        return ProtocolStage.DRAFT
    until = protocol.in_force_until
    if until is not None and until < today:
        return ProtocolStage.RETIRED
    return (
        ProtocolStage.IN_FORCE
        if protocol.in_force_from <= today
        else ProtocolStage.NOT_YET
    )


@dataclass(frozen=True)
class ProtocolLine:
    """One version in the table of protocols."""

    protocol: Protocol
    stage: ProtocolStage
    held: bool
    parts: tuple[str, ...]
    """Names of the parts that it covers."""


def protocol_lines(today: date, code: str = "") -> list[ProtocolLine]:
    """All versions of all protocols, by code, newest version first.

    Args:
        today: The workshop's day.
        code: The one protocol that is asked for; empty for all.

    Returns:
        A line for each.
    """
    held = {hold.protocol_id for hold in standing_holds() if hold.protocol_id}
    loads = Prefetch("loads", queryset=ProtocolLoad.objects.select_related("part"))
    found = Protocol.objects.filter(code=code) if code else Protocol.objects.all()
    return [
        ProtocolLine(
            protocol=each,
            stage=stage_of(each, today),
            held=each.pk in held,
            parts=tuple(dict.fromkeys(load.part.name for load in each.loads.all())),
        )
        for each in found.prefetch_related(loads).order_by("code", "-version")
    ]


def count_stages(lines: Iterable[ProtocolLine]) -> dict[str, int]:
    """How many versions are in which stage, by the names of ``ProtocolStage`` in small letters."""
    counts = {stage.name.lower(): 0 for stage in ProtocolStage}
    for line in lines:
        counts[line.stage.name.lower()] += 1
    return counts


@dataclass(frozen=True)
class ProtocolPage:
    """What the pages of one version show, each read when a page first asks for it."""

    protocol: Protocol
    today: date
    """The workshop's day."""
    codes: tuple[str, ...]
    """Codes of its evidence."""

    @property
    def stage(self) -> ProtocolStage:
        """In which stage it is today."""
        return stage_of(self.protocol, self.today)

    @cached_property
    def loads(self) -> list[ProtocolLoad]:
        """What it covers."""
        return list(
            self.protocol.loads.select_related("part", "revision").order_by(
                "part__name", "revision__code", "container"
            )
        )

    @cached_property
    def covers(self) -> list[Cover]:
        """What it covers like that, by a signature each; nothing while it is a draft."""
        if self.is_draft:
            return []
        return list(told_covers().filter(protocol=self.protocol))

    @property
    def parts(self) -> list[Part]:
        """The parts that it covers, each with the largest dose that it may take."""
        return list({load.part_id: load.part for load in self.loads}.values())

    @cached_property
    def evidence(self) -> list[Evidence]:
        """What it stands on."""
        return list(Evidence.objects.filter(code__in=self.codes).order_by("code"))

    @cached_property
    def signature(self) -> Signature | None:
        """Who signed it; nobody yet where it is a draft."""
        if self.is_draft:
            return None
        beside = ("operation", "protocol__retirement__operation")
        found = Signature.objects.filter(protocol=self.protocol)
        return found.select_related(*beside).first()

    @cached_property
    def retirement(self) -> Retirement | None:
        """Who retired it."""
        if self.is_draft:
            return None
        return (
            getattr(self.signature.protocol, "retirement", None)
            if self.signature
            else None
        )

    @cached_property
    def holds(self) -> list[Hold]:
        """The holds that stand on it, oldest first."""
        standing = self.protocol.holds.filter(lift__isnull=True)
        return list(standing.select_related("operation").order_by("pk"))

    @cached_property
    def others(self) -> list[ProtocolLine]:
        """The other versions of the same protocol, newest first."""
        return [
            line
            for line in protocol_lines(self.today, self.protocol.code)
            if line.protocol.pk != self.protocol.pk
        ]

    @cached_property
    def runs(self) -> int:
        """How many runs there were under it."""
        return self.protocol.runs.count()

    @property
    def is_draft(self) -> bool:
        """Whether it is not signed yet."""
        return self.stage == ProtocolStage.DRAFT

    @property
    def retirable(self) -> bool:
        """Whether it can still be ended: signed, and not ended by a retirement."""
        ended = self.retirement is not None or self.stage == ProtocolStage.RETIRED
        return not self.is_draft and not ended

    @property
    def beside(self) -> list[ProtocolLine]:
        """Other versions that are in force."""
        return [line for line in self.others if line.stage == ProtocolStage.IN_FORCE]

    @cached_property
    def left_out(self) -> list[Cover]:
        """Covers of other versions in force, of what this one does not name."""
        standing = told_covers().filter(
            withdrawal=None, protocol__in=[line.protocol.pk for line in self.beside]
        )
        named = {load.revision_id for load in self.loads}
        return [cover for cover in standing if cover.revision_id not in named]

    @property
    def has_draft(self) -> bool:
        """Whether a draft of a later version is there already."""
        return any(line.stage == ProtocolStage.DRAFT for line in self.others)


def terms_of(protocol: Protocol) -> Terms:
    """What a version says now.

    Args:
        protocol: Any version.

    Returns:
        Its terms; the evidence is what a draft names or a signed one was signed with.
    """
    return Terms(
        **{name: getattr(protocol, name) for name in TERM_FIELDS},
        loads=tuple(
            Load(load.revision_id, load.container, load.max_pieces, load.orientation)
            for load in protocol.loads.order_by("revision_id", "container")
        ),
        evidence=evidence_of(protocol),
    )


def evidence_of(protocol: Protocol) -> tuple[str, ...]:
    """Codes of the evidence of a version.

    Args:
        protocol: Any version.

    Returns:
        What it was signed with, in order; what a draft names where it is none yet.
    """
    codes = protocol.evidence_rows.values_list("evidence__code", flat=True)
    found = sorted(codes)
    if not found and not protocol.signed_by:
        named = protocol.evidence.split("\n")
        found = sorted(
            Evidence.objects.filter(code__in=named).values_list("code", flat=True)
        )
    return tuple(found)


def mark_of(
    protocol: Protocol, *, until: date | None, terms: Terms | None = None
) -> bytes:
    """Hash all that a version says, so that a change after its signing is found.

    Args:
        protocol: Any version.
        until: Until when it was to be in force as it was signed.
        terms: What it says now, where that is read already.

    Returns:
        32 bytes.
    """
    terms = terms or terms_of(protocol)
    said = {name: getattr(terms, name) for name in TERM_FIELDS}
    said |= {
        "code": protocol.code,
        "version": protocol.version,
        "in_force_until": until,
        "evidence": terms.evidence,
        "loads": [
            (load.revision_id, load.container, load.max_pieces, load.orientation)
            for load in terms.loads
        ],
    }
    text = json.dumps(said, sort_keys=True, default=str)
    return hashlib.sha256(text.encode()).digest()
