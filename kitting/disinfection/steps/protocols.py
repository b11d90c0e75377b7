"""Inner steps of protocols: what a version says, and the mark of what was signed."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from kitting.disinfection.queries.protocols import TERM_FIELDS
from kitting.domain.entries import Load, Terms
from kitting.domain.errors import Missing, Refused
from kitting.ledger.needs import need_length, need_text
from kitting.lots.steps.intake import MOST_PIECES
from kitting.models import Evidence, Protocol, ProtocolLoad, Revision
from kitting.models.lots import Container
from kitting.models.runs import UVC, Process

MOST_UJ_CM2: Final = 2_000_000_000
"""2 kJ/cm² in µJ/cm²: a slip of the unit, not a dose."""
MOST_HOLD_S: Final = 7 * 86_400
MOST_VALUE: Final = {
    Process.HEAT: 300_000,
    Process.LIQUID: 1_000_000,
}
"""300 °C in thousandths, and the whole of a liquid in ppm."""
MOST_PASSES: Final = 100
NM: Final = (100, 400)
"""Ultraviolet, in nm: CIE's UV-C, UV-B and UV-A together are 100 to 400 nm."""
LONGEST: Final = {"name": 80, "words on labels": 60, "way of laying": 80}


def checked(terms: Terms) -> Terms:
    """Check what a version is to say.

    Args:
        terms: As entered.

    Returns:
        The same with texts tidied.

    Raises:
        Missing: ``evidence_unknown``, ``row_missing`` for a revision.
        Refused: ``container_unknown``, ``dose_out_of_range``, ``entry_missing``,
            ``entry_too_long``, ``hold_out_of_range``, ``in_force_dates``,
            ``load_twice``, ``minimum_out_of_range``, ``passes_too_many``,
            ``pieces_out_of_range``, ``protocol_process_unknown``,
            ``protocol_other_terms``, ``protocol_requires_nothing``,
            ``spectrum_out_of_range``.
    """
    name = need_text("name", terms.name, LONGEST["name"])
    words = terms.label_words.strip()
    need_length("words on labels", words, LONGEST["words on labels"])
    if terms.process not in set(Process):
        raise Refused("protocol_process_unknown", read=terms.process)
    if terms.process in UVC:
        _check_doses(terms)
    else:
        _check_hold(terms)
    if terms.max_passes is not None and not 1 <= terms.max_passes <= MOST_PASSES:
        raise Refused("passes_too_many", passes=terms.max_passes, most=MOST_PASSES)
    until = terms.in_force_until
    if until is not None and until < terms.in_force_from:
        raise Refused("in_force_dates", since=terms.in_force_from, until=until)
    _check_loads(terms.loads)
    _check_evidence(terms.evidence)
    values = {**vars(terms), "name": name, "label_words": words}
    return Terms(**values)


def _check_doses(terms: Terms) -> None:
    if terms.hold_s is not None or terms.min_value is not None:
        raise Refused("protocol_other_terms", process=terms.process.replace("_", " "))
    doses = (terms.required_top_uj_cm2, terms.required_bottom_uj_cm2)
    for dose in doses:
        if not 0 <= dose <= MOST_UJ_CM2:
            raise Refused(
                "dose_out_of_range", read=f"{dose} µJ/cm²", most=MOST_UJ_CM2 // 1000
            )
    if not any(doses):
        raise Refused("protocol_requires_nothing")
    low, high = terms.low_nm, terms.high_nm
    if (low is None) != (high is None):
        raise Refused("spectrum_out_of_range", least=NM[0], most=NM[1])
    if low is not None and high is not None and not NM[0] <= low < high <= NM[1]:
        raise Refused("spectrum_out_of_range", least=NM[0], most=NM[1])


def _check_hold(terms: Terms) -> None:
    other = (
        terms.required_top_uj_cm2,
        terms.required_bottom_uj_cm2,
        terms.low_nm,
        terms.high_nm,
        terms.turned,
    )
    if any(other):
        raise Refused("protocol_other_terms", process=terms.process)
    if terms.hold_s is None or terms.min_value is None:
        raise Refused("protocol_requires_nothing")
    if not 1 <= terms.hold_s <= MOST_HOLD_S:
        raise Refused("hold_out_of_range", read=terms.hold_s, most=MOST_HOLD_S)
    if not 1 <= terms.min_value <= MOST_VALUE[Process(terms.process)]:
        raise Refused("minimum_out_of_range", process=terms.process)


def _check_loads(loads: tuple[Load, ...]) -> None:
    ids = {load.revision_id for load in loads}
    if Revision.objects.filter(pk__in=ids).count() != len(ids):
        raise Missing("row_missing", what="revision")
    if len({(load.revision_id, load.container) for load in loads}) < len(loads):
        raise Refused("load_twice")
    for load in loads:
        if load.container not in set(Container):
            raise Refused("container_unknown", read=load.container)
        if not 1 <= load.max_pieces <= MOST_PIECES:
            raise Refused("pieces_out_of_range", read=load.max_pieces, most=MOST_PIECES)
        need_length("way of laying", load.orientation.strip(), LONGEST["way of laying"])


def _check_evidence(codes: tuple[str, ...]) -> None:
    known = set(Evidence.objects.filter(code__in=codes).values_list("code", flat=True))
    for code in codes:
        if code not in known:
            raise Missing("evidence_unknown", read=code)


def fill(protocol: Protocol, terms: Terms) -> None:
    """Let a draft in memory say what the terms say; evidence by code.

    Args:
        protocol: The draft, locked or new.
        terms: As ``checked`` gives them.
    """
    for name in TERM_FIELDS:
        setattr(protocol, name, getattr(terms, name))
    protocol.evidence = "\n".join(sorted(set(terms.evidence)))


def insert_loads(protocol: Protocol, loads: Iterable[Load]) -> None:
    """Write what a saved draft covers, in place of what it covered.

    Args:
        protocol: The draft.
        loads: What it covers.
    """
    protocol.loads.all().delete()
    parts = dict(
        Revision.objects.filter(
            pk__in=[load.revision_id for load in loads]
        ).values_list("pk", "part_id")
    )
    ProtocolLoad.objects.bulk_create(
        ProtocolLoad(
            protocol=protocol,
            part_id=parts[load.revision_id],
            revision_id=load.revision_id,
            container=load.container,
            max_pieces=load.max_pieces,
            orientation=load.orientation.strip(),
        )
        for load in loads
    )
