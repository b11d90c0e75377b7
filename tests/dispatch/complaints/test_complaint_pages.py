"""The pages of complaints: taken down, decided, followed in a case, and their trend."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from dispatch.models import Case, Complaint, ComplaintNote
from kitting.ledger import clock
from kitting.models import Hold, User
from tests import factories
from tests.assertions import text_of
from tests.dispatch.complaints.test_complaints import decide, take
from tests.dispatch.notices.test_calls import passed

pytestmark = pytest.mark.django_db

LIST = reverse("dispatch:complaints")
NEW = reverse("dispatch:complaint-new")
TREND = reverse("dispatch:complaint-trend")


@pytest.fixture
def clerk(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("clerk"))


@pytest.fixture
def quality(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("quality officer"))


def words_of(answer: Any) -> str:
    return " ".join(text_of(answer).split())


def page_of(row: Complaint, name: str = "detail") -> str:
    return reverse(f"dispatch:complaint-{name}", args=[row.number])


def sent(**said: str) -> dict[str, str]:
    return {"op_key": str(uuid.uuid4()), **said}


def three(**more: str) -> dict[str, str]:
    today = clock.today().isoformat()
    said = {"what": "The visor fogs", "severity": "fault", "said_by": "Sister, Ward 3"}
    return sent(**said, received_on=today, **more)


@pytest.mark.smoke
def test_a_clerk_takes_it_down_and_finds_it_again(clerk: Client) -> None:
    box = factories.make_labelled_box()
    whom = factories.make_consignee("Eskmoor General")
    shown = clerk.get(NEW, {"q": str(box.serial)}).content.decode()
    assert f'value="{box.serial}"' in shown
    said = three(about=str(box.serial), consignee=whom.code, point="Ward 3")
    answer = clerk.post(NEW, said, follow=True)
    row = Complaint.objects.get()
    assert answer.redirect_chain[-1][0] == page_of(row)
    text = words_of(answer)
    assert f"Complaint {row.number} is on record. Tell them its number." in text
    assert "It waits for a decision." in text
    assert box.size.product.name in text
    recall = reverse("dispatch:recall")
    assert f'href="{recall}?q={box.serial}"' in answer.content.decode()
    assert page_of(row) in clerk.get(LIST).content.decode()
    assert clerk.get(recall, {"q": row.number}).headers["Location"] == page_of(row)
    day = words_of(clerk.get(reverse("kitting:day")))
    assert "1 complaint waits for a decision." in day


def test_a_wrong_number_leaves_what_was_typed(clerk: Client) -> None:
    answer = clerk.post(NEW, three(about="K1000001A"))
    assert answer.status_code == 422
    assert answer.context["form"].has_error("about", "number_check_wrong")
    assert "The visor fogs" in answer.content.decode()
    assert clerk.post(NEW, sent()).status_code == 422
    part = clerk.post(NEW, sent(), HTTP_HX_REQUEST="true")
    assert (part.status_code, "<html" in part.content.decode()) == (422, False)
    assert not Complaint.objects.exists()
    said = three()
    assert clerk.post(NEW, said).status_code == 302
    assert clerk.post(NEW, said).status_code == 302
    assert Complaint.objects.count() == 1


def test_a_note_and_a_decision_are_shown(quality: Client) -> None:
    row = take()
    quality.post(page_of(row, "note"), sent(text="It was Ward 4"))
    said = sent(decision="none", text="Rubbed dry", reply="Told how to clean it")
    text = words_of(quality.post(page_of(row, "decide"), said, follow=True))
    assert "It was Ward 4" in text
    assert "Decided: no action." in text
    assert "Answered: Told how to clean it" in text
    assert page_of(row) not in quality.get(LIST).content.decode()
    assert page_of(row) in quality.get(LIST, {"which": "all"}).content.decode()
    assert quality.post(page_of(row, "note"), sent()).status_code == 422
    wrong = quality.post(page_of(row, "decide"), sent(decision="case", text="Same"))
    assert wrong.status_code == 422
    assert wrong.context["form"].has_error("case", "complaint_case")
    assert ComplaintNote.objects.count() == 2


@pytest.mark.smoke
def test_a_case_is_opened_from_a_complaint(quality: Client) -> None:
    box = factories.make_labelled_box()
    row = take(about=str(box.serial), what="A visor cracked")
    asked = page_of(row, "case")
    shown = quality.get(asked)
    text = shown.content.decode()
    assert "A visor cracked" in text
    assert f"Complaint {row.number}: A visor cracked" in text
    said = sent(scope=f"box:{box.pk}", hazard="A visor cracked", reason="As they said")
    answer = quality.post(asked, said, follow=True)
    case = Case.objects.get()
    at = reverse("dispatch:case-detail", args=[case.number])
    assert answer.redirect_chain[-1][0] == at
    assert page_of(row) in answer.content.decode()
    after = quality.get(page_of(row))
    assert "Decided: followed in a case." in words_of(after)
    assert at in after.content.decode()
    again = take()
    said = sent(decision="case", case=case.number, text="The same")
    quality.post(page_of(again, "decide"), said)
    assert page_of(again) in quality.get(at).content.decode()


def test_a_case_of_a_part_at_fault_is_about_its_lot_where_it_is_one(
    quality: Client,
) -> None:
    size = factories.make_size(factories.make_recipe())
    revision = size.product.recipes.get().lines.get().revision
    whole, *bags = [factories.make_bag(revision, pieces) for pieces in (6, 4, 2)]
    of_one = factories.close_box(factories.make_open_box(size, None, whole))
    of_two = factories.close_box(factories.make_open_box(size, None, *bags))

    def offered(row: Complaint, **said: str) -> list[str]:
        form = quality.get(page_of(row, "case"), said).context["form"]
        values = [value for value, _words in form.fields["scope"].choices]
        assert form["scope"].initial == values[:1]
        return values

    row = take(about=str(of_one), part_id=revision.part_id)
    assert offered(row) == [f"lot:{whole.lot_id}", f"box:{of_one.pk}"]
    assert offered(row, q=str(of_two)) == [f"box:{of_two.pk}"]
    lots = [f"lot:{bag.lot_id}" for bag in bags]
    mixed = take(about=str(of_two), part_id=revision.part_id)
    assert offered(mixed) == [f"box:{of_two.pk}", *lots]
    assert offered(take(about=str(of_one))) == [f"box:{of_one.pk}"]
    said = sent(scope=f"lot:{whole.lot_id}", hazard="It cracks", reason="As they said")
    quality.post(page_of(row, "case"), said)
    assert Hold.objects.get().lot == whole.lot


def test_a_case_of_a_complaint_without_a_number_asks_for_one(quality: Client) -> None:
    asked = page_of(take(), "case")
    assert quality.get(asked).status_code == 200
    assert quality.get(asked, {"q": "X"}).status_code == 422
    assert quality.post(asked, sent()).status_code == 404
    box = factories.make_labelled_box()
    shown = quality.get(asked, {"q": str(box.serial)})
    assert f"box:{box.pk}" in shown.content.decode()


def test_only_who_may_reads_takes_and_decides(
    client: Client,
    outsider: User,
    client_for: Callable[[User], Client],
    clerk: Client,
) -> None:
    row = take()
    reads = [LIST, NEW, TREND, page_of(row), page_of(row, "note")]
    decides = [page_of(row, "decide"), page_of(row, "case")]
    stranger = client_for(outsider)
    for page in (*reads, *decides):
        assert client.get(page).status_code == 302
        assert stranger.get(page).status_code == 403
    assert [clerk.get(page).status_code for page in reads] == [200] * 5
    assert [clerk.get(page).status_code for page in decides] == [403] * 2
    unknown = reverse("dispatch:complaint-detail", args=["F1000999X"])
    assert clerk.get(unknown).status_code == 404


def test_the_list_is_a_file_and_is_narrowed(clerk: Client) -> None:
    take(what="One of them")
    whom, part = factories.make_consignee("Eskmoor General"), factories.make_part()
    said = {"severity": "injury", "what": "Somebody was cut"}
    take(**said, consignee_id=whom.pk, part_id=part.pk)
    text = words_of(clerk.get(LIST, {"severity": "injury"}))
    assert ("Somebody was cut" in text, "One of them" in text) == (True, False)
    lines = clerk.get(LIST, {"as": "csv"})
    body = b"".join(lines.streaming_content).decode()  # type: ignore[arg-type]
    assert len(body.splitlines()) == 3
    assert ",injury,Somebody was cut," in body
    assert f",Eskmoor General,,,{part.name},," in body
    book = clerk.get(LIST, {"as": "xlsx"})
    assert b"".join(book.streaming_content)[:2] == b"PK"  # type: ignore[arg-type]


def test_a_list_and_a_trend_ask_the_same_for_any_number(clerk: Client) -> None:
    box = factories.make_labelled_box()
    factories.send(factories.make_shipment(box))
    counts: dict[str, list[int]] = {LIST: [], TREND: []}
    for more in (1, 6):
        for _ in range(more):
            take(about=str(box.serial), consignee_id=factories.make_consignee().pk)
        for page, asked in counts.items():
            clerk.get(page)
            with CaptureQueriesContext(
                connection,
            ) as caught:
                clerk.get(page)
            asked.append(len(caught))
    for page, asked in counts.items():
        assert asked[0] == asked[1] <= 15, page


def test_the_trend_and_a_revision_say_how_many(quality: Client) -> None:
    box = factories.make_labelled_box()
    factories.send(factories.make_shipment(box))
    lot = box.lines.select_related("lot__revision__part").get().lot
    for _ in range(2):
        take(about=lot.number)
    text = words_of(quality.get(TREND))
    assert "2 complaints, 333.33 for 1000 sets sent." in text
    assert f"{lot.part.name}, revision {lot.revision.code}" in text
    at = reverse("kitting:revision-detail", args=[lot.part.code, lot.revision.code])
    assert at in quality.get(TREND).content.decode()
    shown = words_of(quality.get(at))
    assert "2 complaints, 333.33 for 1000 sets sent with it." in shown
    lines = quality.get(TREND, {"as": "csv"})
    body = b"".join(lines.streaming_content).decode()  # type: ignore[arg-type]
    assert f'By lot,"{lot.number}, {lot.part.name}",2,6,333.33' in body
    none = words_of(quality.get(TREND, {"severity": "wish"}))
    assert "0 complaints, 0.00 for 1000 sets sent." in none


def test_the_journal_finds_what_was_done(quality: Client) -> None:
    row = take()
    decide(row, "none")
    found = words_of(quality.get(reverse("dispatch:journal"), {"about": row.number}))
    assert "Complaint taken down" in found
    assert "Complaint decided" in found


def test_a_complaint_of_who_never_had_the_box_is_doubted(clerk: Client) -> None:
    box = factories.make_labelled_box()
    whom, other = factories.make_consignee(), factories.make_consignee()
    factories.send(factories.make_shipment(box, consignee=whom))
    about = str(box.serial)
    right, wrong = (take(about=about, consignee_id=of.pk) for of in (whom, other))
    for row in (right, take(about=about), take(consignee_id=other.pk)):
        assert "By the record" not in words_of(clerk.get(page_of(row)))
    assert f"was never at {other.name}." in words_of(clerk.get(page_of(wrong)))
    passed(box, other)
    assert "By the record" not in words_of(clerk.get(page_of(wrong)))
