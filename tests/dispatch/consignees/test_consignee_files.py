"""Consignees out of a file: all of it or nothing, and what goes out comes in again."""

from __future__ import annotations

import io
import re
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from dispatch.consignees.services.consignees import WhereTo, add_consignee
from dispatch.consignees.services.files import (
    plan_consignees,
    take_in_consignees,
)
from dispatch.domain.consigneefile import TRANSLATED
from dispatch.models import Consignee
from kitting.domain.errors import Doubted, NotFit, Refused
from kitting.models import Operation, User
from kitting.web.files import packed
from tests import factories
from tests.assertions import assert_sent_to_sign_in, text_of
from tests.factories import sign

pytestmark = pytest.mark.django_db

LIST, PAGE = reverse("dispatch:consignees"), reverse("dispatch:consignee-file")
HEAD = "code;name;street;city;country"
EAST = WhereTo(
    name="Klinik Ost",
    street="Tor 2\nSchreinerweg 6",
    postcode="38126",
    city="Braunschweig",
    country="DE",
    contact="+49 531 000",
    points="Ward 3\nDispensary",
    gln="4012345000009",
)


@pytest.fixture
def clerk(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("clerk"))


def east(**changes: Any) -> Consignee:
    to = WhereTo(**{**vars(EAST), **changes})
    add_consignee(code="KO", to=to, sign=sign())
    return Consignee.objects.get(code="KO")


def values() -> list[dict[str, Any]]:
    return list(Consignee.objects.order_by("code").values())


def take_in(text: str, **more: Any) -> Any:
    return take_in_consignees(data=text.encode(), sign=sign(), **more)


def faults(text: str) -> list[tuple[int, str, str]]:
    plan = plan_consignees(data=text.encode())
    return [(each.line, each.column, each.code) for each in plan.problems]


def test_rows_add_and_change_and_say_which_before() -> None:
    east()
    text = (
        "Code,City,Night contact,name,street,country\n"
        "ko,Wolfsburg,,,,\n"
        "ne,Eskmoor,Gate,North End,1 Road; Gate 2,gb\n"
    )
    plan = plan_consignees(data=text.encode())
    said = [(e.row.code, e.is_new, e.changed) for e in plan.rows]
    assert said == [("KO", False, ("city",)), ("NE", True, ())]
    assert [row["city"] for row in values()] == ["Braunschweig"]
    done = take_in(text)
    assert (done.new, done.changed) == (["NE"], ["KO"])
    old, new = Consignee.objects.order_by("code")
    assert (old.city, old.postcode, old.points) == (
        "Wolfsburg",
        "38126",
        "Ward 3\nDispensary",
    )
    assert (new.street, new.night_contact) == ("1 Road\nGate 2", "Gate")
    assert (new.active, new.language, new.country) == (True, "en", "GB")
    assert factories.prove() == []


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_what_goes_out_comes_in_again(clerk: Client, kind: str) -> None:
    east(active=False)
    factories.make_consignee("Address as a text alone")
    before = values()
    answer = clerk.get(LIST, {"as": kind})
    data = b"".join(answer.streaming_content)  # type: ignore[attr-defined]
    plan = plan_consignees(data=data)
    assert plan.problems == ()
    assert [each.changed for each in plan.rows] == [(), ()]
    Consignee.objects.filter(code="KO").update(
        name="x", contact="", points="", active=True, gln=None, postcode="1"
    )
    done = take_in_consignees(data=data, sign=sign())
    assert (done.new, done.changed) == ([], ["KO"])
    assert values() == before


@pytest.mark.parametrize("language", ["en", "de", "fr"])
def test_headings_are_known_in_three_languages(language: str) -> None:
    words = ";".join(TRANSLATED[language])
    row = "NE;North;1 Road;1;Eskmoor;;GB;;;;;;Ward 3;en;yes"
    assert faults(f"{words}\n{row}\n") == []


def test_a_semicolon_on_record_stays_where_its_cell_comes_back(clerk: Client) -> None:
    row = east(points="Ward 3; left\nDispensary", street="Tor 2;\nHof 1")
    answer = clerk.get(LIST, {"as": "csv"})
    data = b"".join(answer.streaming_content)  # type: ignore[attr-defined]
    assert plan_consignees(data=data).rows[0].changed == ()
    Consignee.objects.filter(code="KO").update(contact="")
    assert take_in_consignees(data=data, sign=sign()).changed == ["KO"]
    assert values() == [{**values()[0], "points": row.points, "street": row.street}]


def test_every_bad_row_is_said_with_its_line_and_nothing_is_written() -> None:
    east()
    text = (
        f"{HEAD};gln;active;colour\n"
        "A_B;North;1 Road;Eskmoor;GB;;;\n"
        "C;;1 Road;Eskmoor;GB;;;\n"
        "D;North;1 Road;Eskmoor;Atlantis;;;\n"
        "E;North;1 Road;;GB;;;\n"
        "F;North;1 Road;Eskmoor;GB;4012345000001;;\n"
        "G;North;1 Road;Eskmoor;GB;4012345000009;;\n"
        "H;North;1 Road;Eskmoor;GB;;closed;\n"
        "H2;North;1 Road;Eskmoor;GB;;;\n"
        "h2;North;1 Road;Eskmoor;GB;;;\n"
        ";North;1 Road;Eskmoor;GB;;;\n"
        f"I;{'x' * 81};1 Road;Eskmoor;GB;;;\n"
    )
    assert faults(text) == [
        (1, "colour", "heading_unknown"),
        (2, "", "code_malformed"),
        (3, "name", "set_up_name_missing"),
        (4, "", "country_unknown"),
        (5, "city", "entry_missing"),
        (6, "", "gln_wrong"),
        (7, "", "gln_taken"),
        (8, "active", "yes_no_unclear"),
        (10, "code", "consignee_twice"),
        (11, "code", "value_missing"),
        (12, "name", "entry_too_long"),
    ]
    before = values()
    with pytest.raises(Refused) as caught:
        take_in(text)
    assert caught.value.code == "file_has_problems"
    assert values() == before


def test_two_new_ones_do_not_share_a_gln() -> None:
    row = "North;1 Road;Eskmoor;GB;4012345000009"
    assert faults(f"{HEAD};gln\nA;{row}\nB;{row}\n") == [(3, "", "gln_taken")]


def test_a_language_without_words_is_refused_whole() -> None:
    too_long = f"{HEAD};language\nA;North;1 Road;Eskmoor;GB;el-Latn-GR\n"
    assert faults(too_long) == [(2, "language", "entry_too_long")]
    with pytest.raises(NotFit):
        take_in(f"{HEAD};language\nA;North;1 Road;Eskmoor;GB;el\n")
    assert not Consignee.objects.exists()


def test_one_with_something_open_is_closed_only_with_a_reason() -> None:
    row = east()
    begun = factories.make_shipment(consignee=row)
    text = "code;active\nKO;no\n"
    (question,) = plan_consignees(data=text.encode()).questions
    assert question.params["which"] == begun.number
    with pytest.raises(Doubted):
        take_in(text)
    assert take_in(text, sure="Moved").sure == "Moved"
    assert not Consignee.objects.get().active


# -- The page --------------------------------------------------------------------------


def upload(text: str) -> dict[str, Any]:
    return {"file": SimpleUploadedFile("consignees.csv", text.encode())}


def test_only_who_sends_takes_them_in(
    client_for: Callable[[User], Client], outsider: User
) -> None:
    assert_sent_to_sign_in(Client().get(PAGE))
    assert client_for(outsider).get(PAGE).status_code == 403
    packer = client_for(factories.make_person("packer"))
    assert packer.get(PAGE).status_code == 403
    assert packer.post(PAGE, upload(HEAD)).status_code == 403


def test_the_page_looks_first_and_then_takes_in_once(clerk: Client) -> None:
    text = f"{HEAD}\nNE;North End;1 Road;Eskmoor;GB\n"
    answer = clerk.post(PAGE, upload(text))
    assert answer.status_code == 200
    assert "Nothing is written yet." in text_of(answer)
    assert not Consignee.objects.exists()
    form = {"op_key": str(uuid.uuid4()), "table": packed(text.encode())}
    for _ in range(2):
        assert clerk.post(PAGE, form)["Location"] == LIST
    assert Consignee.objects.get().name == "North End"
    assert Operation.objects.filter(name="take_in_consignees").count() == 1
    again = text_of(clerk.post(PAGE, upload(text)))
    assert "This very file was taken in by" in again
    assert "nothing changes" in again


def test_what_changed_since_the_look_is_looked_at_again(clerk: Client) -> None:
    take_in(f"{HEAD}\nNE;North End;1 Road;Eskmoor;GB\n")
    text = f"{HEAD}\nNE;North End;2 Road;Eskmoor;GB\n"
    looked = clerk.post(PAGE, upload(text)).content.decode()
    form = dict(re.findall(r'name="(op_key|table|seen)" value="([^"]*)"', looked))
    assert set(form) == {"op_key", "table", "seen"}
    take_in(f"{HEAD}\nNE;Northern End;1 Road;Eskmoor;GB\n")
    answer = clerk.post(PAGE, form)
    assert answer.status_code == 409
    assert Consignee.objects.get().street == "1 Road"
    again = re.findall(
        r'name="(op_key|table|seen)" value="([^"]*)"', answer.content.decode()
    )
    assert clerk.post(PAGE, dict(again))["Location"] == LIST
    assert Consignee.objects.get().street == "2 Road"


def test_the_page_names_each_fault(clerk: Client) -> None:
    answer = clerk.post(PAGE, upload(f"{HEAD}\nNE;North End;1 Road;Eskmoor;XX\n"))
    assert answer.status_code == 422
    assert "1 fault" in text_of(answer)
    assert clerk.post(PAGE, {}).status_code == 422


def test_an_empty_template_has_the_headings(clerk: Client) -> None:
    answer = clerk.get(PAGE, {"as": "csv", "in": "fr"})
    data = b"".join(answer.streaming_content)  # type: ignore[attr-defined]
    assert io.BytesIO(data).read().decode("utf-8-sig").startswith("sigle,nom,rue,")
