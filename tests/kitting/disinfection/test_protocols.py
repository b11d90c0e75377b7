"""Protocols: drafts, signatures and what they stand on; a change is a new version."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest

from kitting.disinfection.queries.protocols import ProtocolStage, mark_of, stage_of
from kitting.disinfection.services import evidence, protocols
from kitting.domain.entries import Load, Report, Terms
from kitting.domain.errors import CodeError, Conflict, LotwardError, Missing, Refused
from kitting.ledger import holds
from kitting.models import (
    Link,
    Protocol,
    ProtocolEvidence,
    ProtocolLoad,
    Retirement,
    Revision,
    Signature,
)
from tests import factories
from tests.assertions import assert_refused
from tests.databases import once_a_module
from tests.factories import TODAY, sign, sign_by_another

pytestmark = pytest.mark.django_db

REPORT = Report(
    code="EV-1",
    laboratory="Eskmoor laboratory",
    surface="PETG film",
    measured="Log reduction of a test organism",
    result="See report",
    document="Report 17, page 3",
    on=TODAY,
)


@once_a_module
def revision() -> Revision:
    return factories.make_revision()


def record(code: str = "EV-1", **changes: Any) -> evidence.Recorded:
    report = replace(REPORT, code=code, **changes)
    return evidence.record_evidence(report=report, sign=sign())


def terms(revision: Revision | None = None, **changes: Any) -> Terms:
    loads = (Load(revision.pk, "tote", 120, "flat"),) if revision else ()
    values: dict[str, Any] = {
        "name": "Belt, one layer",
        "process": "uvc_belt",
        "in_force_from": TODAY,
        "required_top_uj_cm2": 77_000,
        "loads": loads,
        **changes,
    }
    return Terms(**values)


def draft(of: Terms, code: str = "BELT") -> Protocol:
    done = protocols.draft_protocol(code=code, terms=of, sign=sign())
    return Protocol.objects.get(pk=done.protocol_id)


def mark(protocol: Protocol) -> str:
    return mark_of(protocol, until=protocol.in_force_until).hex()


def put_name_under(protocol: Protocol, **changes: Any) -> Protocol:
    values = {
        "meaning": "Approved for use",
        "mark": mark(protocol),
        "sign": sign_by_another(),
    }
    protocols.sign_protocol(protocol_id=protocol.pk, **{**values, **changes})
    protocol.refresh_from_db()
    return protocol


@once_a_module
def signed(revision: Revision) -> Protocol:
    record()
    return put_name_under(draft(terms(revision, evidence=("EV-1",))))


def refusal(call: Any, **values: Any) -> LotwardError:
    """Do an act, expect its refusal, and assert that nothing of it stayed."""
    before = (Link.objects.count(), Protocol.objects.count(), Signature.objects.count())
    with pytest.raises(LotwardError) as caught:
        call(**values, sign=sign())
    after = (Link.objects.count(), Protocol.objects.count(), Signature.objects.count())
    assert after == before
    return caught.value


# -- Drafts -------------------------------------------------------------------------


def test_a_draft_says_what_was_entered_and_nothing_else(revision: Revision) -> None:
    protocol = draft(
        terms(
            revision,
            turned=True,
            low_nm=250,
            high_nm=260,
            max_passes=4,
            label_words=" Disinfected ",
        ),
        code="belt-2",
    )
    assert (protocol.code, protocol.version, protocol.signed_by) == ("BELT-2", 1, "")
    assert (protocol.required_top_uj_cm2, protocol.required_bottom_uj_cm2) == (
        77_000,
        0,
    )
    assert (protocol.low_nm, protocol.high_nm, protocol.max_passes) == (250, 260, 4)
    assert protocol.label_words == "Disinfected"
    load = protocol.loads.get()
    assert (load.part, load.max_pieces, load.orientation) == (
        revision.part,
        120,
        "flat",
    )
    assert stage_of(protocol, TODAY) == ProtocolStage.DRAFT


@pytest.mark.parametrize(("process", "minimum"), [("heat", 70_000), ("liquid", 1_000)])
def test_heat_and_liquids_hold_a_value_for_a_time(process: str, minimum: int) -> None:
    protocol = draft(
        terms(process=process, required_top_uj_cm2=0, hold_s=60, min_value=minimum)
    )
    assert (protocol.hold_s, protocol.min_value) == (60, minimum)
    assert protocol.required() == {}


HOLD = {"process": "heat", "required_top_uj_cm2": 0, "hold_s": 60, "min_value": 70_000}


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"name": " "}, "entry_missing"),
        ({"name": "x" * 81}, "entry_too_long"),
        ({"label_words": "x" * 61}, "entry_too_long"),
        ({"process": "prayer"}, "protocol_process_unknown"),
        ({"required_top_uj_cm2": 0}, "protocol_requires_nothing"),
        ({"required_top_uj_cm2": -1}, "dose_out_of_range"),
        ({"required_bottom_uj_cm2": 10**12}, "dose_out_of_range"),
        ({"hold_s": 60}, "protocol_other_terms"),
        ({"min_value": 60}, "protocol_other_terms"),
        ({"low_nm": 250}, "spectrum_out_of_range"),
        ({"low_nm": 260, "high_nm": 250}, "spectrum_out_of_range"),
        ({"low_nm": 250, "high_nm": 900}, "spectrum_out_of_range"),
        ({"max_passes": 0}, "passes_too_many"),
        ({"max_passes": 101}, "passes_too_many"),
        ({"in_force_until": date(2026, 1, 13)}, "in_force_dates"),
        ({"evidence": ("EV-9",)}, "evidence_unknown"),
        ({**HOLD, "required_top_uj_cm2": 1}, "protocol_other_terms"),
        ({**HOLD, "turned": True}, "protocol_other_terms"),
        ({**HOLD, "hold_s": None}, "protocol_requires_nothing"),
        ({**HOLD, "min_value": None}, "protocol_requires_nothing"),
        ({**HOLD, "hold_s": 0}, "hold_out_of_range"),
        ({**HOLD, "hold_s": 10**9}, "hold_out_of_range"),
        ({**HOLD, "min_value": -5}, "minimum_out_of_range"),
        ({**HOLD, "min_value": 300_001}, "minimum_out_of_range"),
        ({**HOLD, "process": "liquid", "min_value": 1_000_001}, "minimum_out_of_range"),
        ({"loads": (Load(1, "tote", 5),)}, "row_missing"),
    ],
)
def test_terms_that_make_no_sense_are_refused(
    changes: dict[str, Any], code: str
) -> None:
    error = refusal(protocols.draft_protocol, code="BELT", terms=terms(**changes))
    assert_refused(error, code)


@pytest.mark.parametrize(
    ("load", "code"),
    [
        ({"container": "bucket"}, "container_unknown"),
        ({"max_pieces": 0}, "pieces_out_of_range"),
        ({"max_pieces": 10**9}, "pieces_out_of_range"),
        ({"orientation": "x" * 81}, "entry_too_long"),
    ],
)
def test_what_it_covers_must_make_sense(
    load: dict[str, Any], code: str, revision: Revision
) -> None:
    good = Load(revision.pk, "tote", 5)
    bad = terms(loads=(replace(good, **load),))
    assert_refused(refusal(protocols.draft_protocol, code="B", terms=bad), code)
    assert ProtocolLoad.objects.count() == 0
    twice = terms(loads=(good, good))
    error = refusal(protocols.draft_protocol, code="B", terms=twice)
    assert_refused(error, "load_twice")


@pytest.mark.parametrize("code", ["", "x" * 13, "BÉLT", "A/B"])
def test_a_code_keeps_to_its_letters(code: str) -> None:
    error = refusal(protocols.draft_protocol, code=code, terms=terms())
    assert isinstance(error, CodeError)


def test_a_code_is_taken_once() -> None:
    draft(terms())
    error = refusal(protocols.draft_protocol, code="belt", terms=terms())
    assert_refused(error, "protocol_exists", protocol="BELT")


def test_a_draft_may_be_edited_and_discarded(revision: Revision) -> None:
    protocol = draft(terms(revision))
    other = factories.make_revision()
    said = terms(other, required_top_uj_cm2=0, required_bottom_uj_cm2=88_000)
    protocols.edit_draft(protocol_id=protocol.pk, terms=said, sign=sign())
    protocol.refresh_from_db()
    assert protocol.required() == {"bottom": 88_000}
    assert protocol.loads.get().revision == other
    protocols.discard_draft(protocol_id=protocol.pk, sign=sign())
    assert (Protocol.objects.count(), ProtocolLoad.objects.count()) == (0, 0)
    assert factories.prove() == []


def test_a_draft_that_a_hold_names_is_kept() -> None:
    protocol = draft(terms())
    held = holds.place_hold(
        target="protocol", value=protocol.pk, reason="Wait", sign=sign()
    )
    holds.lift_hold(hold_id=held.hold_id, reason="Done", sign=sign_by_another())
    error = refusal(protocols.discard_draft, protocol_id=protocol.pk)
    assert_refused(error, "draft_has_holds")


# -- Signing ------------------------------------------------------------------------


def test_only_what_is_signed_is_in_force(revision: Revision) -> None:
    record()
    protocol = draft(terms(revision, evidence=("EV-1",)))
    with pytest.raises(Refused) as caught:
        factories.open_run(protocol)
    assert_refused(caught.value, "protocol_not_signed")
    put_name_under(protocol)
    assert factories.open_run(protocol).stage == "open"


def test_a_signature_names_signer_meaning_and_evidence(signed: Protocol) -> None:
    signature = Signature.objects.get()
    assert signature.meaning == "Approved for use"
    assert signed.signed_by == signature.operation.by_name == "another"
    assert bytes(signature.mark or b"").hex() == mark(signed)
    assert [row.evidence.code for row in signed.evidence_rows.all()] == ["EV-1"]
    assert stage_of(signed, TODAY) == ProtocolStage.IN_FORCE
    assert factories.prove() == []


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"evidence": ()}, "protocol_without_evidence"),
        ({"loads": ()}, "protocol_covers_nothing"),
        ({"in_force_from": TODAY - timedelta(days=1)}, "in_force_before_today"),
    ],
)
def test_a_draft_that_is_not_ready_is_not_signed(
    changes: dict[str, Any], code: str, revision: Revision
) -> None:
    record()
    protocol = draft(terms(revision, **{"evidence": ("EV-1",), **changes}))
    error = refusal(
        protocols.sign_protocol,
        protocol_id=protocol.pk,
        meaning="Approved",
        mark=mark(protocol),
    )
    assert_refused(error, code)
    protocol.refresh_from_db()
    assert protocol.signed_by == ""
    assert ProtocolEvidence.objects.count() == 0


def test_what_changed_since_it_was_read_is_not_signed(revision: Revision) -> None:
    record()
    protocol = draft(terms(revision, evidence=("EV-1",)))
    read = mark(protocol)
    said = terms(revision, evidence=("EV-1",), required_top_uj_cm2=1)
    protocols.edit_draft(protocol_id=protocol.pk, terms=said, sign=sign())
    error = refusal(
        protocols.sign_protocol, protocol_id=protocol.pk, meaning="Yes", mark=read
    )
    assert_refused(error, "page_is_old")
    assert isinstance(error, Conflict)


@pytest.mark.parametrize("meaning", [" ", "x" * 81])
def test_a_signature_means_something(meaning: str, revision: Revision) -> None:
    protocol = draft(terms(revision))
    error = refusal(
        protocols.sign_protocol,
        protocol_id=protocol.pk,
        meaning=meaning,
        mark=mark(protocol),
    )
    assert error.code in {"entry_missing", "entry_too_long"}


def test_a_held_draft_is_not_signed(revision: Revision) -> None:
    record()
    protocol = draft(terms(revision, evidence=("EV-1",)))
    lot = factories.make_lot()
    holds.place_hold(target="lot", value=lot.pk, reason="Not this", sign=sign())
    holds.place_hold(target="protocol", value=protocol.pk, reason="No", sign=sign())
    error = refusal(
        protocols.sign_protocol,
        protocol_id=protocol.pk,
        meaning="Yes",
        mark=mark(protocol),
    )
    assert_refused(error, "protocol_on_hold")


def test_a_signed_version_never_changes(signed: Protocol, revision: Revision) -> None:
    pk = signed.pk
    acts: list[tuple[Any, dict[str, Any]]] = [
        (protocols.edit_draft, {"terms": terms(revision)}),
        (protocols.discard_draft, {}),
        (protocols.sign_protocol, {"meaning": "Again", "mark": mark(signed)}),
    ]
    for call, values in acts:
        error = refusal(call, protocol_id=pk, **values)
        assert_refused(error, "protocol_is_signed")
    signed.refresh_from_db()
    assert signed.required_top_uj_cm2 == 77_000


def test_a_change_is_a_new_version_copied_from_the_last(signed: Protocol) -> None:
    def later(by: Any = sign) -> Any:
        return by(now=factories.NOW + timedelta(days=3))

    done = protocols.draft_version(code=signed.code, sign=later())
    copy = Protocol.objects.get(pk=done.protocol_id)
    assert (copy.version, copy.signed_by) == (2, "")
    assert copy.required_top_uj_cm2 == signed.required_top_uj_cm2
    assert copy.in_force_from == TODAY + timedelta(days=3)
    assert copy.evidence == "EV-1"
    assert copy.loads.get().max_pieces == signed.loads.get().max_pieces
    error = refusal(protocols.draft_version, code=signed.code)
    assert_refused(error, "protocol_has_a_draft")
    put_name_under(copy, sign=later(sign_by_another))
    assert protocols.draft_version(code=signed.code, sign=later()).version == 3
    assert factories.prove() == []


def test_no_protocol_no_version() -> None:
    assert isinstance(refusal(protocols.draft_version, code="NONE"), Missing)
    assert isinstance(refusal(protocols.discard_draft, protocol_id=1), Missing)


def test_the_same_signature_sent_twice_is_one(revision: Revision) -> None:
    record()
    protocol = draft(terms(revision, evidence=("EV-1",)))
    once, read = sign_by_another(), mark(protocol)
    for _ in range(2):
        put_name_under(protocol, sign=once, mark=read)
    assert Signature.objects.count() == 1


def test_one_somebody_signed_before_signatures_may_get_a_new_version(
    revision: Revision,
) -> None:
    old = factories.make_protocol(revision, signed_by="Quality officer")
    done = protocols.draft_version(code=old.code, sign=sign())
    assert Protocol.objects.get(pk=done.protocol_id).evidence == ""


# -- Retiring -----------------------------------------------------------------------


def test_a_retired_version_has_its_last_day_today(signed: Protocol) -> None:
    done = protocols.retire_protocol(
        protocol_id=signed.pk, reason="A better one is in force", sign=sign()
    )
    signed.refresh_from_db()
    assert (done.last_day, signed.in_force_until) == ("2026-01-14", TODAY)
    row = Retirement.objects.get()
    assert (row.reason, row.was_until) == ("A better one is in force", None)
    tomorrow = TODAY + timedelta(days=1)
    assert stage_of(signed, TODAY) == ProtocolStage.IN_FORCE
    assert stage_of(signed, tomorrow) == ProtocolStage.RETIRED
    assert factories.open_run(signed).stage == "open"
    with pytest.raises(Refused) as caught:
        factories.open_run(signed, sign=sign(now=factories.NOW + timedelta(days=1)))
    assert_refused(caught.value, "protocol_not_in_force")
    error = refusal(protocols.retire_protocol, protocol_id=signed.pk, reason="Again")
    assert_refused(error, "protocol_retired")
    assert factories.prove() == []


@pytest.mark.parametrize("reason", [" ", "x" * 201])
def test_a_retirement_has_its_reason(reason: str, signed: Protocol) -> None:
    error = refusal(protocols.retire_protocol, protocol_id=signed.pk, reason=reason)
    assert error.code in {"entry_missing", "entry_too_long"}
    assert Retirement.objects.count() == 0


def test_a_draft_is_not_retired() -> None:
    protocol = draft(terms())
    error = refusal(protocols.retire_protocol, protocol_id=protocol.pk, reason="Old")
    assert_refused(error, "protocol_is_draft")


def test_one_that_is_to_come_is_not_yet_in_force(revision: Revision) -> None:
    record()
    soon = terms(revision, evidence=("EV-1",), in_force_from=TODAY + timedelta(days=9))
    protocol = put_name_under(draft(soon))
    assert stage_of(protocol, TODAY) == ProtocolStage.NOT_YET
    with pytest.raises(Refused):
        factories.open_run(protocol)


def test_nothing_of_the_protocols_has_a_dose_of_its_own() -> None:
    """Lotward never suggests a dose: whoever gives none gets none."""
    plain = Terms(name="Belt", process="uvc_belt", in_force_from=TODAY)
    figures = {
        name: value
        for name, value in vars(plain).items()
        if isinstance(value, int) and not isinstance(value, bool)
    }
    assert set(figures.values()) == {0}
    assert (plain.hold_s, plain.min_value) == (None, None)
