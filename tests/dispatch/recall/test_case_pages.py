"""The pages of cases: opened from a number, told, widened, looked again."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from io import BytesIO
from typing import Any
from zipfile import ZipFile

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from dispatch.models import Case, CaseBox, CaseLook
from dispatch.recall import services
from kitting.ledger import holds
from kitting.lots.services.lots import NewBag
from kitting.models import Box, Hold, User
from tests import factories
from tests.assertions import text_of
from tests.factories import sign, sign_by_another

pytestmark = pytest.mark.django_db

PAGE = reverse("dispatch:recall")
NEW = reverse("dispatch:case-new")


@pytest.fixture
def quality(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("quality officer"))


def said(*scope: str, **changes: str) -> dict[str, object]:
    return {
        "op_key": str(uuid.uuid4()),
        "scope": list(scope),
        "hazard": "A visor cracks in a face",
        "reason": "A ward called",
        **changes,
    }


def a_case(*boxes: Box) -> str:
    scope = [("box", box.pk) for box in boxes]
    values = {"hazard": "A visor cracks", "reason": "A ward called"}
    return services.open_case(scope=scope, **values, sign=sign()).case


def words_of(answer: Any) -> str:
    """What a page says, with every blank alike."""
    return " ".join(text_of(answer).split())


def page_of(case: str, name: str = "case-detail") -> str:
    return reverse(f"dispatch:{name}", args=[case])


@pytest.mark.smoke
def test_a_case_is_opened_from_the_page_of_a_number(quality: Client, box: Box) -> None:
    lot = box.lines.get().lot
    shown = quality.get(PAGE, {"q": lot.number}).content.decode()
    assert f'href="{NEW}?q={lot.number}"' in shown
    asked = f"{NEW}?q={lot.number}"
    assert "local law" not in words_of(quality.get(asked))
    assert "the law and its authority decide" in words_of(quality.get(asked))
    answer = quality.post(asked, said(f"lot:{lot.pk}", rated="II"), follow=True)
    case = Case.objects.get()
    assert answer.redirect_chain[-1][0] == page_of(case.number)
    text = words_of(answer)
    assert "1 box reached: 0 at 0 consignees, 1 here" in text
    assert "(0 of them in quarantine), none to take off a shipment." in text
    assert "A visor cracks in a face" in text
    assert f'href="{PAGE}?q={lot.number}"' in answer.content.decode()
    assert "local law and its authority decide" in text


def test_the_page_of_a_number_says_in_which_case_it_is(
    quality: Client, box: Box
) -> None:
    case = a_case(box)
    found = quality.get(PAGE, {"q": str(box.serial)})
    assert f'href="{page_of(case)}"' in found.content.decode()
    assert found.context["in_cases"] == [case]
    over = quality.get(PAGE)
    assert [each.number for each in over.context["cases"]] == [case]
    assert over.context["standing"][0].case == case
    assert quality.get(PAGE, {"q": case}).headers["Location"] == page_of(case)


def test_what_has_left_and_what_is_loaded_is_told(
    quality: Client, box: Box, other: Box
) -> None:
    gone = box
    loaded = other
    factories.send(factories.make_shipment(gone))
    shipment = factories.make_shipment(loaded)
    answer = quality.get(page_of(a_case(gone, loaded)))
    text = words_of(answer)
    assert "2 boxes reached: 1 at 1 consignee, 1 here" in text
    assert "1 to take off shipments</a>." in text
    part = answer.content.decode()
    part = part[part.index('id="pull"') : part.index('id="scope"')]
    assert reverse("dispatch:shipment-detail", args=[shipment.number]) in part


def test_lots_that_are_alike_come_in_each_by_itself(quality: Client) -> None:
    bags = (NewBag(pieces=5),)
    revision = factories.make_revision()
    lots = [factories.make_lot(revision, bags=bags) for _ in range(3)]
    address = f"{NEW}?q={lots[0].number}&alike=day"
    assert "alike:day" in quality.get(address).content.decode()
    scope = (f"lot:{lots[0].pk}", "alike:day")
    assert quality.post(address, said(*scope)).status_code == 302
    held = Hold.objects.values_list("lot", flat=True)
    assert sorted(held) == [lot.pk for lot in lots]


def test_the_list_is_a_file(quality: Client, box: Box) -> None:
    case = a_case(box)
    lines = quality.get(page_of(case), {"as": "csv"})
    body = b"".join(lines.streaming_content).decode()  # type: ignore[arg-type]
    assert body.splitlines()[1].startswith(f"{box.serial},")
    assert ",labelled,6," in body
    book = quality.get(page_of(case), {"as": "xlsx"})
    data = b"".join(book.streaming_content)  # type: ignore[arg-type]
    assert (
        str(box.serial)
        in ZipFile(BytesIO(data)).read("xl/worksheets/sheet1.xml").decode()
    )


def test_a_case_is_widened_by_another_number(
    quality: Client, box: Box, other: Box
) -> None:
    first = box
    address = page_of(a_case(first), "case-widen")
    assert quality.get(address).status_code == 200
    assert quality.get(address, {"q": "X"}).status_code == 422
    asked = f"{address}?q={other.serial}"
    assert quality.get(asked).status_code == 200
    answer = quality.post(asked, said(f"box:{other.pk}"), follow=True)
    assert "It reaches 1 box more: 1 box here, 0 boxes at consignees." in words_of(
        answer
    )
    assert "added" in words_of(answer)
    assert CaseBox.objects.count() == 2
    twice = quality.post(asked, said(f"box:{other.pk}"))
    assert twice.status_code == 409
    assert "is in the scope of case" in words_of(twice)


def test_to_look_again_is_on_record_where_nothing_is_new(quality: Client) -> None:
    address = page_of(a_case(factories.make_labelled_box()), "case-look")
    assert quality.get(address).status_code == 200
    data = {"op_key": str(uuid.uuid4())}
    for _ in range(2):  # the second is the first, sent again
        answer = quality.post(address, data, follow=True)
        assert "Nothing is new" in words_of(answer)
    assert CaseLook.objects.count() == 2


def test_to_lift_a_hold_of_a_case_takes_it_out_of_the_scope(
    client_for: Callable[[User], Client], box: Box
) -> None:
    case = a_case(box)
    officer = factories.make_person("quality officer")
    officer.set_password("harrow lane 2026")
    officer.save()
    client = client_for(officer)
    address = reverse("dispatch:lift", args=[Hold.objects.get().pk])
    assert "belongs to case" in words_of(client.get(address))
    data = {"op_key": str(uuid.uuid4()), "reason": "Sound"}
    data["password"] = "harrow lane 2026"
    answer = client.post(address, data, follow=True)
    assert answer.redirect_chain[-1][0] == page_of(case)
    text = words_of(answer)
    assert "Nothing is in its scope any more." in text
    assert "1 box reached: 0 at 0 consignees, 0 here" in text
    assert "1 no longer recalled," in text
    assert "Sound" in text
    assert "To bring to quarantine" not in text
    assert "Nothing is in its scope any more." in words_of(client.get(PAGE))
    other = f"{NEW}?q={factories.make_lot().number}"
    assert "It is the same fault" not in words_of(client.get(other))
    a_case(factories.make_labelled_box())
    assert "It is the same fault" in words_of(client.get(other))


def test_the_journal_finds_what_was_done_with_a_case(quality: Client, box: Box) -> None:
    case = a_case(box)
    services.look_again(number=case, sign=sign())
    hold = Hold.objects.get()
    holds.lift_hold(hold_id=hold.pk, reason="Sound", sign=sign_by_another())
    text = words_of(quality.get(reverse("dispatch:journal"), {"about": case}))
    assert "Case opened" in text
    assert "Case looked for boxes again" in text
    assert "Hold lifted" in text


@pytest.mark.smoke
def test_bad_entries_open_nothing(quality: Client) -> None:
    lot = factories.make_lot()
    address = f"{NEW}?q={lot.number}"
    for wrong in ({"hazard": ""}, {"reason": ""}, {"scope": []}, {"scope": ["lot:1"]}):
        answer = quality.post(address, {**said(f"lot:{lot.pk}"), **wrong})
        assert answer.status_code == 422
    assert quality.post(f"{NEW}?q=L9", said("lot:1")).status_code == 404
    assert quality.get(NEW).status_code == 404
    assert quality.get(page_of("V1000009X")).status_code == 404
    assert not Case.objects.exists()
    assert not Hold.objects.exists()


def test_a_clerk_reads_a_case_and_changes_none(
    client_for: Callable[[User], Client], outsider: User, client: Client, box: Box
) -> None:
    case = a_case(box)
    clerk = client_for(factories.make_person("clerk"))
    assert clerk.get(page_of(case)).status_code == 200
    for name in ("case-widen", "case-look"):
        assert clerk.post(page_of(case, name), said("lot:1")).status_code == 403
    assert clerk.post(NEW, said("lot:1")).status_code == 403
    assert client_for(outsider).get(page_of(case)).status_code == 403
    assert client.get(page_of(case)).status_code == 302
    assert CaseLook.objects.count() == 1


def test_a_page_asks_the_same_for_any_number_of_boxes(quality: Client) -> None:
    one = a_case(factories.make_labelled_box())
    more = a_case(*(factories.make_labelled_box() for _ in range(4)))
    asked = []
    for case in (one, one, more):
        with CaptureQueriesContext(connection) as queries:
            quality.get(page_of(case))
        asked.append(len(queries))
    assert asked[1] == asked[2]


def test_holds_without_a_case_name_none(quality: Client) -> None:
    lot = factories.make_lot()
    holds.place_hold(target="lot", value=lot.pk, reason="Haze", sign=sign())
    assert quality.get(PAGE).context["standing"][0].case == ""
