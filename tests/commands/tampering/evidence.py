"""Ways of tampering with counts, samples and protocols, for the proof to find."""

from __future__ import annotations

from django.db.models import F

from kitting.models import (
    Count,
    Cover,
    Link,
    Movement,
    Protocol,
    ProtocolEvidence,
    Retirement,
    RunBag,
    Sample,
    Signature,
)
from tests.commands.tampering.ways import Named, change, link_of, remove, tamperer
from tests.ledgers import History


@tamperer
def count_of_another_difference(history: History) -> list[Named]:
    row = Count.objects.get(counted=F("before") - 1)
    change(row, counted=F("counted") - 1)
    return [("counts", Count, row.pk), ("chain", Link, link_of(row))]


@tamperer
def count_without_its_movement(history: History) -> list[Named]:
    row = Count.objects.get(counted=F("before") - 1)
    moved = Movement.objects.get(operation=row.operation, kind="missing")
    remove(moved)
    return [("counts", Count, row.pk), ("bags", Movement, _next(moved).pk)]


def _next(moved: Movement) -> Movement:
    return Movement.objects.get(bag=moved.bag_id, nth=moved.nth + 1)


@tamperer
def sample_of_more_pieces(history: History) -> list[Named]:
    row = Sample.objects.get()
    change(row, pieces=F("pieces") + 1)
    return [("samples", Sample, row.pk), ("chain", Link, link_of(row))]


@tamperer
def sample_that_was_never_sent(history: History) -> list[Named]:
    """Its movement says now that the pieces were scrapped."""
    row = Sample.objects.get()
    change(Movement.objects.get(kind="sampled"), kind="scrapped")
    return [("samples", Sample, row.pk), ("chain", Link, link_of(row))]


@tamperer
def signed_dose_lowered(history: History) -> list[Named]:
    change(history.retired, required_top_uj_cm2=F("required_top_uj_cm2") - 1)
    return [("signatures", Protocol, history.retired.pk)]


@tamperer
def signed_load_raised(history: History) -> list[Named]:
    change(history.retired.loads.get(), max_pieces=F("max_pieces") + 1)
    return [("signatures", Protocol, history.retired.pk)]


@tamperer
def signed_evidence_removed(history: History) -> list[Named]:
    row = ProtocolEvidence.objects.get(protocol=history.retired)
    link = link_of(row)
    remove(row)
    return [("signatures", Protocol, history.retired.pk), ("chain", Link, link)]


@tamperer
def signer_changed(history: History) -> list[Named]:
    change(history.retired, signed_by="Somebody else")
    return [("signatures", Protocol, history.retired.pk)]


@tamperer
def retirement_put_off(history: History) -> list[Named]:
    change(history.retired, in_force_until=None)
    return [("signatures", Protocol, history.retired.pk)]


@tamperer
def retirement_taken_away(history: History) -> list[Named]:
    row = Retirement.objects.get()
    link = link_of(row)
    remove(row)
    return [("signatures", Protocol, history.retired.pk), ("chain", Link, link)]


@tamperer
def cover_moved_to_another_revision(history: History) -> list[Named]:
    row = Cover.objects.get()
    stay = row.stays.get()
    change(row, revision=history.visor)
    return [
        ("covers", Cover, row.pk),
        ("covers", RunBag, stay.pk),
        ("chain", Link, link_of(row)),
    ]


@tamperer
def stay_without_the_cover_by_which_it_was(history: History) -> list[Named]:
    stay = Cover.objects.get().stays.get()
    change(stay, cover=None)
    return [("covers", RunBag, stay.pk)]


def _draft_after(signed: Protocol) -> Protocol:
    draft = Protocol.objects.get(pk=signed.pk)
    draft.pk, draft.version, draft.signed_by = None, signed.version + 1, ""
    draft.save(force_insert=True)
    return draft


@tamperer
def signature_moved_to_another_protocol(history: History) -> list[Named]:
    row = Signature.objects.get(protocol=history.retired)
    draft = _draft_after(history.retired)
    change(row, protocol=draft)
    return [
        ("signatures", Protocol, draft.pk),
        ("signatures", Protocol, history.retired.pk),
        ("chain", Link, link_of(row)),
    ]


@tamperer
def protocol_signed_by_sql(history: History) -> list[Named]:
    draft = _draft_after(history.protocol)
    change(draft, signed_by="Quality officer")
    return [("signatures", Protocol, draft.pk)]


@tamperer
def signature_taken_away(history: History) -> list[Named]:
    row = Signature.objects.get(protocol=history.protocol)
    link = link_of(row)
    remove(row)
    return [("signatures", Protocol, history.protocol.pk), ("chain", Link, link)]


@tamperer
def signer_of_a_signed_protocol_wiped(history: History) -> list[Named]:
    change(history.protocol, signed_by="")
    return [("signatures", Protocol, history.protocol.pk)]
