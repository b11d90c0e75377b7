"""Pages of protocols and evidence: who may do what, what they say, what they refuse."""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from kitting.disinfection.services import evidence, protocols
from kitting.domain.entries import Load, Report, Terms
from kitting.ledger import holds
from kitting.models import Link, Part, Protocol, Retirement, Revision, Signature, User
from tests import factories
from tests.assertions import (
    assert_page,
    assert_part,
    assert_problem,
    assert_sent_to_sign_in,
    text_of,
)
from tests.databases import once_a_module

pytestmark = pytest.mark.django_db

ClientFor = Callable[[User], Client]
# The pages read the real clock.
TODAY = timezone.now().date()
PASSWORD = {"password": "pass"}


def sign() -> Any:
    return factories.sign(now=timezone.now())


@pytest.fixture
def officer(client_for: ClientFor) -> Client:
    return client_for(factories.make_person("quality officer"))


@once_a_module
def draft() -> Protocol:
    """A draft that is ready to be signed."""
    report = Report(
        code="EV-1",
        laboratory="Eskmoor laboratory",
        surface="PETG film",
        measured="Log reduction",
        result="See report",
        document="Report 17",
        on=TODAY,
    )
    evidence.record_evidence(report=report, sign=sign())
    revision = factories.make_revision(factories.make_part(name="Visor"))
    terms = Terms(
        name="Belt, one layer",
        process="uvc_belt",
        in_force_from=TODAY,
        required_top_uj_cm2=77_500,
        loads=(Load(revision.pk, "tote", 120, "On edge"),),
        evidence=("EV-1",),
    )
    done = protocols.draft_protocol(code="BELT", terms=terms, sign=sign())
    return Protocol.objects.get(pk=done.protocol_id)


def at(act: str, protocol: Protocol) -> str:
    args = [protocol.code, protocol.version]
    return reverse(f"kitting:protocol-{act}", args=args)


def keyed(**values: Any) -> dict[str, Any]:
    return {"op_key": str(uuid.uuid4()), **values}


def put_name_under(officer: Client, protocol: Protocol) -> Any:
    form = officer.get(at("sign", protocol)).context["form"]
    values = keyed(meaning="Approved for use", mark=form.initial["mark"], **PASSWORD)
    return officer.post(at("sign", protocol), values)


def draft_values(**changes: Any) -> dict[str, Any]:
    revision = Revision.objects.first() or factories.make_revision()
    values = {
        "code": "HOT-1",
        "name": "Warm cabinet",
        "process": "uvc_cabinet",
        "required_top": "77,5",
        "in_force_from": TODAY.isoformat(),
        "line-TOTAL_FORMS": "2",
        "line-INITIAL_FORMS": "0",
        "line-0-revision": revision.pk,
        "line-0-container": "tote",
        "line-0-max_pieces": "80",
        "line-0-orientation": "flat",
    }
    return keyed(**{**values, **changes})


# -- Who ----------------------------------------------------------------------------

WRITING = ("edit", "sign", "retire", "discard", "version")
PLAIN = ("protocols", "protocol-new", "evidence", "evidence-new")


def every_address(draft: Protocol) -> list[str]:
    part = draft.loads.get().part.code
    return [
        *(reverse(f"kitting:{name}") for name in PLAIN),
        *(at(act, draft) for act in ("detail", *WRITING)),
        reverse("kitting:part-dose", args=[part]),
    ]


def test_the_unknown_are_sent_to_sign_in(draft: Protocol) -> None:
    for address in every_address(draft):
        assert_sent_to_sign_in(Client().get(address))


def test_who_has_no_right_gets_403(
    draft: Protocol, outsider: User, client_for: ClientFor
) -> None:
    client = client_for(outsider)
    for address in every_address(draft):
        assert client.get(address).status_code == 403, address


def test_a_manager_reads_protocols_and_signs_none(
    draft: Protocol, client_for: ClientFor
) -> None:
    manager = client_for(factories.make_person("manager"))
    page = manager.get(at("detail", draft))
    assert_page(page)
    assert at("sign", draft) not in text_of(page)
    for act in WRITING:
        assert manager.post(at(act, draft), keyed()).status_code == 403
    assert Signature.objects.count() == 0


@pytest.mark.parametrize("act", ["detail", *WRITING])
def test_a_version_that_is_not_there_is_404(act: str, officer: Client) -> None:
    for version in (1, 10**20):
        address = reverse(f"kitting:protocol-{act}", args=["NONE", version])
        assert officer.get(address).status_code == 404


def test_a_part_that_is_not_there_is_404(officer: Client) -> None:
    assert officer.get("/protocols/parts/NONE/").status_code == 404


def test_htmx_gets_parts_and_others_pages(
    draft: Protocol, officer: Client, hx: dict[str, str]
) -> None:
    parts = {
        reverse("kitting:protocols"): "protocol-table",
        reverse("kitting:protocol-new"): "protocol-form",
        reverse("kitting:evidence"): "protocol-evidence",
        at("detail", draft): "protocol",
        at("edit", draft): "protocol-form",
        at("sign", draft): "protocol-sign",
    }
    for address, part in parts.items():
        assert_page(officer.get(address))
        assert_part(officer.get(address, headers=hx), part)


# -- Reading ------------------------------------------------------------------------


def test_the_page_of_a_version_says_what_it_requires(
    draft: Protocol, officer: Client
) -> None:
    Part.objects.update(max_dose_uj_cm2=9_000_000)
    text = text_of(officer.get(at("detail", draft)))
    for words in (
        "77.5 mJ/cm²",
        "none required",
        "Visor",
        "On edge",
        "9 000 mJ/cm²",
        "EV-1",
        "Report 17",
        "nobody yet",
    ):
        assert words in text.replace("\N{NARROW NO-BREAK SPACE}", " "), words


@pytest.mark.parametrize(
    ("process", "value", "shown"),
    [("heat", 70_500, "70.5 °C"), ("liquid", 1_000, "1 000 ppm")],
)
def test_heat_and_liquids_show_their_minimum(
    process: str, value: int, shown: str, officer: Client
) -> None:
    terms = Terms(
        name="Bath", process=process, in_force_from=TODAY, hold_s=90, min_value=value
    )
    protocols.draft_protocol(code="BATH", terms=terms, sign=sign())
    protocol = Protocol.objects.get()
    text = text_of(officer.get(at("detail", protocol)))
    assert shown in text.replace("\N{NARROW NO-BREAK SPACE}", " ")
    assert "1 min 30 s" in text
    form = officer.get(at("edit", protocol)).context["form"]
    name = "min_temperature" if process == "heat" else "min_ppm"
    assert form.initial[name] in ("70.5", 1_000)


def test_the_table_says_where_each_version_stands(
    draft: Protocol, officer: Client
) -> None:
    factories.make_protocol(code="OLD", in_force_until=TODAY - timedelta(days=1))
    factories.make_protocol(code="SOON", in_force_from=TODAY + timedelta(days=9))
    held = factories.make_protocol(code="NOW")
    holds.place_hold(target="protocol", value=held.pk, reason="Drill", sign=sign())
    page = officer.get(reverse("kitting:protocols"))
    counts = {"draft": 1, "not_yet": 1, "in_force": 1, "retired": 1}
    assert page.context["counts"] == counts
    assert [line.protocol.code for line in page.context["lines"] if line.held] == [
        "NOW"
    ]
    only = officer.get(reverse("kitting:protocols") + "?stage=draft")
    assert [line.protocol.code for line in only.context["lines"]] == ["BELT"]
    assert_page(officer.get(at("detail", held)))


def test_the_tables_come_as_files(draft: Protocol, officer: Client) -> None:
    for name in ("protocols", "evidence"):
        answer = officer.get(reverse(f"kitting:{name}") + "?as=csv")
        assert answer.headers["Content-Type"].startswith("text/csv")
        content = b"".join(answer.streaming_content).decode()  # type: ignore[attr-defined]
        assert ("BELT" if name == "protocols" else "EV-1") in content


def test_the_cautions_stand_where_a_protocol_is_written(
    draft: Protocol, officer: Client
) -> None:
    addresses = [reverse("kitting:protocol-new"), at("edit", draft), at("sign", draft)]
    for address in [*addresses, at("detail", draft)]:
        text = text_of(officer.get(address))
        assert "Lotward never suggests a dose" in text
        assert "Disinfection is not sterilisation" in text


def test_an_empty_form_holds_no_figure_and_no_hint_of_one(officer: Client) -> None:
    """Lotward never suggests a dose: not as a value, placeholder, example or limit."""
    html = officer.get(reverse("kitting:protocol-new")).content.decode()
    for name in ("required_top", "required_bottom", "hold_s", "min_temperature"):
        found = re.search(rf'<input[^>]*name="{name}"[^>]*>', html)
        assert found is not None
        assert "placeholder" not in found[0]
        assert not re.search(r'\bvalue="', found[0])
        helped = re.search(rf'id="id_{name}_helptext">([^<]*)', html)
        assert helped is None or not re.search(r"\d", helped[1])


# -- Drafting -----------------------------------------------------------------------


@pytest.mark.smoke
def test_a_protocol_is_drafted_by_the_form(officer: Client) -> None:
    response = officer.post(reverse("kitting:protocol-new"), draft_values(code="hot-1"))
    protocol = Protocol.objects.get()
    assert response.headers["Location"] == at("detail", protocol)
    assert (protocol.code, protocol.required_top_uj_cm2) == ("HOT-1", 77_500)
    load = protocol.loads.get()
    assert (load.container, load.max_pieces, load.orientation) == ("tote", 80, "flat")


def test_a_dose_finer_than_it_is_stored_is_rounded_up(officer: Client) -> None:
    values = draft_values(required_top="1.0001")
    officer.post(reverse("kitting:protocol-new"), values)
    assert Protocol.objects.get().required_top_uj_cm2 == 1_001


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"code": "A B"}, "protocol_code_malformed"),
        ({"process": ""}, "required"),
        ({"required_top": "-4"}, "figure_negative"),
        ({"required_top": "much"}, "figure_unreadable"),
        ({"required_top": ""}, "protocol_requires_nothing"),
        ({"hold_s": "60"}, "protocol_other_terms"),
        ({"min_ppm": "60"}, "protocol_other_terms"),
        ({"min_ppm": "60", "min_temperature": "70"}, "protocol_other_terms"),
        ({"low_nm": "0"}, "min_value"),
        ({"in_force_from": "soon"}, "invalid"),
        ({"evidence": ["EV-9"]}, "invalid_choice"),
        ({"op_key": ""}, "required"),
    ],
)
def test_a_bad_draft_gets_its_reason_and_nothing_is_written(
    changes: dict[str, Any], code: str, officer: Client
) -> None:
    response = officer.post(reverse("kitting:protocol-new"), draft_values(**changes))
    assert_problem(response, code)
    assert (Protocol.objects.count(), Link.objects.count()) == (0, 0)


@pytest.mark.parametrize(
    "line",
    [
        {"line-0-max_pieces": ""},
        {"line-0-max_pieces": "0"},
        {"line-0-container": "bucket"},
        {"line-0-revision": ""},
        {"line-1-orientation": "flat"},
        {"line-TOTAL_FORMS": "many"},
    ],
)
def test_a_line_that_is_half_written_is_refused(
    line: dict[str, str], officer: Client
) -> None:
    response = officer.post(reverse("kitting:protocol-new"), draft_values(**line))
    assert response.status_code == 422
    assert Protocol.objects.count() == 0


def test_a_draft_is_edited_by_the_form(draft: Protocol, officer: Client) -> None:
    page = officer.get(at("edit", draft))
    assert page.context["form"].initial["required_top"] == "77.5"
    assert page.context["form"].lines.initial[0]["max_pieces"] == 120
    values = draft_values(name="Belt, two layers", required_top="90")
    officer.post(at("edit", draft), values)
    draft.refresh_from_db()
    assert (draft.code, draft.name, draft.required_top_uj_cm2) == (
        "BELT",
        "Belt, two layers",
        90_000,
    )
    assert draft.loads.get().max_pieces == 80


def test_a_draft_that_is_sent_again_keeps_its_lines(
    draft: Protocol, officer: Client
) -> None:
    values = draft_values()
    for _ in range(2):  # The answer was lost: by now the record says the same.
        officer.post(at("edit", draft), values)
        assert draft.loads.get().max_pieces == 80
    assert officer.post(at("edit", draft), values).status_code == 302
    # A new form that happens to say what is on record loses nothing either.
    officer.post(at("edit", draft), draft_values(name="Belt, two layers"))
    assert draft.loads.get().max_pieces == 80
    many = draft_values(**{"line-TOTAL_FORMS": "41"})
    assert "at most 40 lines" in text_of(officer.post(at("edit", draft), many))


@pytest.mark.smoke
def test_a_draft_is_discarded(draft: Protocol, officer: Client) -> None:
    address = at("discard", draft)
    values = keyed()
    response = officer.post(address, values)
    assert response.headers["Location"] == reverse("kitting:protocols")
    assert Protocol.objects.count() == 0


# -- Signing and after --------------------------------------------------------------


@pytest.mark.smoke
def test_a_draft_is_signed_as_it_was_read(draft: Protocol, officer: Client) -> None:
    response = put_name_under(officer, draft)
    assert response.headers["Location"] == at("detail", draft)
    text = text_of(officer.get(at("detail", draft)))
    assert "in force since" in text
    signed = Signature.objects.get().operation
    assert f"{signed.by_name}, <time" in text
    assert f"{signed.at:%Y-%m-%d %H:%M}</time>" in text
    assert "Approved for use" in text
    assert at("edit", draft) not in text


@pytest.mark.smoke
def test_a_draft_changed_since_is_a_conflict(draft: Protocol, officer: Client) -> None:
    form = officer.get(at("sign", draft)).context["form"]
    officer.post(at("edit", draft), draft_values(evidence=["EV-1"]))
    values = keyed(meaning="Approved", mark=form.initial["mark"], **PASSWORD)
    response = officer.post(at("sign", draft), values)
    assert_problem(response, "page_is_old", status=409)
    assert Signature.objects.count() == 0


@pytest.mark.smoke
def test_a_signed_version_gets_a_new_one_or_is_retired(
    draft: Protocol, officer: Client
) -> None:
    put_name_under(officer, draft)
    response = officer.post(at("version", draft), keyed())
    copy = Protocol.objects.get(version=2)
    assert response.headers["Location"] == at("edit", copy)
    assert "Also in force" in text_of(officer.get(at("sign", copy)))
    again = officer.post(at("version", draft), keyed())
    assert_problem(again, "protocol_has_a_draft", status=409)
    values = keyed(reason="Superseded", **PASSWORD)
    for _ in range(2):
        response = officer.post(at("retire", draft), values)
        assert response.headers["Location"] == at("detail", draft)
    assert Retirement.objects.get().reason == "Superseded"
    assert "Superseded" in text_of(officer.get(at("detail", draft)))
    late = officer.post(at("retire", draft), keyed(reason="Again", **PASSWORD))
    assert_problem(late, "protocol_retired", status=409)


@pytest.mark.parametrize("act", ["edit", "discard"])
def test_a_signed_version_never_changes(
    act: str, draft: Protocol, officer: Client
) -> None:
    put_name_under(officer, draft)
    response = officer.post(at(act, draft), draft_values())
    assert_problem(response, "protocol_is_signed", status=409)
    assert draft.loads.get().max_pieces == 120


@pytest.mark.smoke
def test_a_retirement_needs_its_reason(draft: Protocol, officer: Client) -> None:
    put_name_under(officer, draft)
    response = officer.post(at("retire", draft), keyed(reason="", **PASSWORD))
    assert_problem(response, "required")
    assert Retirement.objects.count() == 0
