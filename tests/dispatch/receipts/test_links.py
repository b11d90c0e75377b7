"""The page behind a signed link: for whom it opens, what it tells, what it takes."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from datetime import timedelta

import pytest
from django.core.signing import Signer
from django.test import Client, override_settings
from django.urls import reverse
from django.utils import timezone

from dispatch.models import Consignee, ReceiptLink, Shipment
from dispatch.receipts.queries.deliveries import after
from dispatch.receipts.services import links
from dispatch.receipts.services.deliveries import record_delivery
from dispatch.receipts.spoken import ENGLISH, GERMAN
from kitting.domain.errors import Conflict
from kitting.ledger import holds
from kitting.models import Box, BoxLine, Operation, User
from lotward.logs import LineFormatter
from tests import factories
from tests.assertions import text_of
from tests.databases import once_a_module
from tests.factories import sign
from tests.kitting.ledger.ledger_receipts import later, said

pytestmark = pytest.mark.django_db


@once_a_module
def boxes() -> list[Box]:
    return [factories.make_labelled_box() for _ in range(2)]


@once_a_module
def shipment(boxes: list[Box]) -> Shipment:
    return factories.send(factories.make_shipment(*boxes))


def give(shipment: Shipment, days: int = 30) -> str:
    """The address of a new link, which is given now."""
    of = {"shipment_id": shipment.pk, "days": days}
    links.give_link(**of, sign=factories.sign(now=timezone.now()))
    return links.path_of(ReceiptLink.objects.get(shipment=shipment))


def counted(shipment: Shipment, **changes: object) -> dict[str, object]:
    """What the form of a consignee sends."""
    assert shipment.sent_at is not None
    at = timezone.localtime(shipment.sent_at)
    return {
        "op_key": str(uuid.uuid4()),
        "by": "M. Ward",
        "on": at.date().isoformat(),
        "at": f"{at:%H:%M}",
        "boxes": 2,
        "remark": "",
        **changes,
    }


def opens(client: Client, address: str) -> bool:
    answer = client.get(address)
    assert answer.status_code in {200, 404}
    if answer.status_code == 404:
        assert ENGLISH["no_link"] in text_of(answer)
    return answer.status_code == 200


# -- For whom it opens -----------------------------------------------------------------


@pytest.mark.smoke
def test_a_link_opens_for_whoever_has_it(client: Client, shipment: Shipment) -> None:
    assert opens(client, give(shipment))


@pytest.mark.smoke
def test_a_forged_token_opens_nothing(client: Client, shipment: Shipment) -> None:
    address = give(shipment)
    token = address.split("/")[2]
    other = Signer(salt="another").sign(f"{shipment.number}.1")
    with_another_key = Signer(key="no secret", salt=links.SALT)
    for forged in (
        f"{shipment.number}.1",
        token[:-1] + ("A" if token[-1] != "A" else "B"),
        token.replace(".1:", ".2:"),
        token.partition(":")[0] + ":",
        other,
        with_another_key.sign(f"{shipment.number}.1"),
        f"{token}{'0' * 200}",  # letters could read as a badge's
    ):
        address = reverse("dispatch:received", args=[forged])
        assert not opens(client, address)
        assert client.post(address, counted(shipment)).status_code == 404
    assert not shipment.receipts.exists()


def test_the_token_of_another_shipment_opens_that_one_alone(
    client: Client, shipment: Shipment, boxes: list[Box]
) -> None:
    other = factories.send(factories.make_shipment(factories.make_labelled_box()))
    address, others = give(shipment), give(other)
    signature = others.split("/")[2].partition(":")[2]
    mixed = f"{shipment.number}.1:{signature}"
    assert not opens(client, reverse("dispatch:received", args=[mixed]))
    page = text_of(client.get(others))
    for box in boxes:
        assert str(box) not in page.replace(" ", "")
    assert shipment.consignee.name not in page
    assert other.consignee.name not in text_of(client.get(address))


def test_a_link_that_was_ended_or_followed_by_another_opens_nothing(
    client: Client, shipment: Shipment
) -> None:
    first = give(shipment)
    second = give(shipment)
    assert not opens(client, first)
    assert opens(client, second)
    links.end_link(shipment_id=shipment.pk, sign=sign())
    assert not opens(client, second)
    assert client.post(second, counted(shipment)).status_code == 404
    assert opens(client, give(shipment))


def test_who_ends_a_link_and_which_is_there_to_end(
    client_for: Callable[[User], Client], shipment: Shipment
) -> None:
    give(shipment)
    at = reverse("dispatch:delivery-unlink", args=[shipment.number])
    form = {"op_key": str(uuid.uuid4())}
    packer = client_for(factories.make_person("packer"))
    assert packer.post(at, form).status_code == 403
    assert Client().post(at, form)["Location"].startswith("/sign-in/")
    link = ReceiptLink.objects.get(shipment=shipment)
    assert link.until is not None
    with pytest.raises(Conflict) as caught:
        links.end_link(shipment_id=shipment.pk, sign=sign(now=link.until))
    assert caught.value.code == "no_link"


def test_a_link_past_its_time_opens_nothing(client: Client, shipment: Shipment) -> None:
    address = give(shipment, days=1)
    link = ReceiptLink.objects.get(shipment=shipment)
    token = links.token_of(link)
    assert link.until is not None
    assert links.link_behind(token, link.until - timedelta(seconds=1)) == link
    assert links.link_behind(token, link.until) is None
    old = sign(now=timezone.now() - timedelta(days=2))
    links.give_link(shipment_id=shipment.pk, days=1, sign=old)
    link.refresh_from_db()
    assert not opens(client, links.path_of(link))
    assert not opens(client, address)


def test_nothing_is_told_of_a_shipment_before_it_leaves(client: Client) -> None:
    waiting = factories.make_shipment(factories.make_labelled_box())
    address = give(waiting)
    assert not opens(client, address)
    factories.send(waiting)
    assert opens(client, address)


def test_another_secret_of_the_server_ends_every_link(
    client: Client, shipment: Shipment
) -> None:
    address = give(shipment)
    with override_settings(SECRET_KEY="another secret of this server, made up here"):
        assert not opens(client, address)


# -- What it tells ---------------------------------------------------------------------


def test_the_page_keeps_to_itself(client: Client, shipment: Shipment) -> None:
    """No cache keeps it, no search finds it, nothing runs on it, nothing leads on."""
    address = give(shipment)
    for path in (address, f"{address[:-2]}x/"):
        answer = client.get(path)
        assert answer["Cache-Control"] == "private, no-store"
        assert answer["X-Robots-Tag"].startswith("noindex")
        policy = answer["Content-Security-Policy"]
        assert policy.startswith("default-src 'none'; style-src 'self';")
        html = answer.content.decode()
        assert "<script" not in html
        assert "href=" not in html.replace("<link rel=", "").replace(
            'href="/static/', ""
        ).replace('type="image/svg+xml" href=', "")
        assert "<a " not in html


def test_each_box_is_told_with_its_lots_and_what_was_found(
    client: Client, shipment: Shipment, boxes: list[Box]
) -> None:
    page = (
        client.get(give(shipment))
        .content.decode()
        .replace('</span><span class="four">', "")
    )
    for line in BoxLine.objects.filter(box__in=boxes).select_related("lot__part"):
        assert line.lot.number in page
        assert line.lot.part.name in page
    for box in boxes:
        assert str(box) in page
    assert ENGLISH["weakest_only"] in text_of(client.get(give(shipment)))


def test_a_german_consignee_reads_german(client: Client, shipment: Shipment) -> None:
    Consignee.objects.filter(pk=shipment.consignee_id).update(language="de")
    page = text_of(client.get(give(shipment)))
    assert GERMAN["title"] in page
    assert ENGLISH["title"] not in page
    wrong = client.post(give(shipment), counted(shipment, by=""))
    assert f"{GERMAN['wrong']}" in text_of(wrong)


def test_both_languages_have_the_same_words() -> None:
    assert ENGLISH.keys() == GERMAN.keys()
    assert all(ENGLISH.values())
    assert all(GERMAN.values())


def test_a_held_box_is_said_not_to_be_used(
    client: Client, shipment: Shipment, boxes: list[Box]
) -> None:
    address = give(shipment)
    assert ENGLISH["stopped"] not in text_of(client.get(address))
    holds.place_hold(
        target="box", value=boxes[0].pk, reason="A secret reason", sign=sign()
    )
    page = text_of(client.get(address))
    assert ENGLISH["stopped"] in page
    assert "A secret reason" not in page


# -- What it takes ---------------------------------------------------------------------


def test_their_count_stands_beside_ours_and_moves_nothing(
    client: Client, shipment: Shipment, boxes: list[Box]
) -> None:
    address = give(shipment)
    record_delivery(
        shipment_id=shipment.pk, said=said(shipment, 2), sign=later(shipment)
    )
    before = shipment.receipts.values().get()
    odd = {f"how-{boxes[1].pk}": "", f"sets-{boxes[1].pk}": "4"}
    sent = counted(shipment, remark="Two sets are missing", **odd)
    assert client.post(address, sent)["Location"] == address
    assert client.post(address, sent)["Location"] == address  # sent again: once
    assert shipment.receipts.filter(pk=before["id"]).values().get() == before
    theirs, ours = after(shipment).heard
    assert (theirs.way, ours.way) == ("link", "note")
    [box] = theirs.of_boxes
    assert (box.box, box.found, box.counted) == (str(boxes[1]), "short", 4)
    assert (theirs.by, theirs.received_by) == ("consignee", "M. Ward")
    assert after(shipment).open
    assert [b.stage for b in Box.objects.filter(pk__in=[x.pk for x in boxes])] == [
        "delivered",
        "delivered",
    ]
    assert "Two sets are missing" in text_of(client.get(address))
    assert factories.prove() == []


def test_their_count_alone_delivers_nothing(client: Client, shipment: Shipment) -> None:
    client.post(give(shipment), counted(shipment))
    shipment.refresh_from_db()
    assert shipment.stage == "sent"
    assert not after(shipment).ours
    assert factories.prove() == []


@pytest.mark.parametrize(
    ("wrong", "named"),
    [
        ({"by": ""}, "by"),
        ({"by": "x" * 81}, "by"),
        ({"on": "31.31."}, "received_on"),
        ({"on": "2999-01-01"}, "still_to_come"),
        ({"on": "2001-01-01"}, "before_sent"),
        ({"at": "noon"}, "received_at"),
        ({"boxes": "-1"}, "boxes_counted"),
        ({"remark": "x" * 201}, "remark"),
        ({"by": "M. Ward\u202e.oN"}, "by"),
        ({"remark": "all\u2066 \u2067well"}, "remark"),
        ({"remark": "a\x07b"}, "remark"),
        ({"op_key": "odd"}, "page_old"),
    ],
)
def test_what_cannot_be_is_named_and_nothing_is_written(
    client: Client, shipment: Shipment, wrong: dict[str, object], named: str
) -> None:
    address = give(shipment)
    before = Operation.objects.count()
    answer = client.post(address, counted(shipment, **wrong))
    assert answer.status_code == 422
    assert ENGLISH["wrong"] in text_of(answer)
    assert f"<li>{ENGLISH[named]}</li>" in answer.content.decode()
    assert Operation.objects.count() == before


def test_what_a_stranger_writes_is_one_line_without_hidden_signs(
    client: Client, shipment: Shipment
) -> None:
    odd = {"by": "M.\u200b\n Ward", "remark": "\ufeff fine "}
    assert client.post(give(shipment), counted(shipment, **odd)).status_code == 302
    row = shipment.receipts.get()
    assert (row.received_by, row.note) == ("M. Ward", "fine")


def test_a_link_does_not_stand_in_the_log(
    client: Client, shipment: Shipment, caplog: pytest.LogCaptureFixture
) -> None:
    address = give(shipment)
    token = address.split("/")[2]
    caplog.handler.setFormatter(LineFormatter())
    assert client.post(address, counted(shipment, boxes=-1)).status_code == 422
    assert client.post(f"{address}?again", {"by": "x" * 300_000}).status_code == 413
    assert "/received/(link)/" in caplog.text
    assert token not in caplog.text


def test_a_page_takes_so_many_answers_and_no_more(
    client: Client, shipment: Shipment, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(links, "MOST_ANSWERS", 2)
    before = give(shipment)  # what is not said by one link is not left for the next
    assert client.post(before, counted(shipment)).status_code == 302
    address = give(shipment)
    for _ in range(2):
        assert client.post(address, counted(shipment)).status_code == 302
    answer = client.post(address, counted(shipment))
    assert answer.status_code == 422
    assert ENGLISH["too_often"] in text_of(answer)
    assert shipment.receipts.count() == 3


def test_an_answer_that_is_sent_again_is_kept_once(
    client: Client, shipment: Shipment
) -> None:
    address, form = give(shipment), counted(shipment)
    for _ in range(2):
        assert client.post(address, form)["Location"] == address
    assert shipment.receipts.count() == 1
    assert client.post(address, {**form, "boxes": 1}).status_code == 409
    assert shipment.receipts.count() == 1


def test_an_answer_is_no_longer_than_a_page(client: Client, shipment: Shipment) -> None:
    address = give(shipment)
    answer = client.post(address, counted(shipment, remark="x" * 300_000))
    assert answer.status_code == 413


def test_a_page_of_another_site_cannot_answer(shipment: Shipment) -> None:
    client = Client(enforce_csrf_checks=True)
    answer = client.post(give(shipment), counted(shipment))
    assert answer.status_code == 403
    assert not shipment.receipts.exists()


def test_nobody_signs_in_as_the_consignee(client: Client) -> None:
    person = links.consignee()
    assert not person.has_usable_password()
    assert not person.groups.exists()


# -- Giving and ending ------------------------------------------------------------------


def test_a_clerk_gives_and_ends_a_link(
    client_for: Callable[[User], Client], client: Client, shipment: Shipment
) -> None:
    clerk = client_for(factories.make_person("clerk"))
    page = reverse("dispatch:delivery-link", args=[shipment.number])
    assert clerk.get(page).status_code == 200
    keyed = {"op_key": str(uuid.uuid4()), "days": 7}
    assert clerk.post(page, keyed)["Location"] == page
    link = ReceiptLink.objects.get(shipment=shipment)
    assert links.path_of(link) in clerk.get(page).content.decode()
    assert opens(client, links.path_of(link))
    end = reverse("dispatch:delivery-unlink", args=[shipment.number])
    clerk.post(end, {"op_key": str(uuid.uuid4())})
    assert not opens(client, links.path_of(link))
    again = clerk.post(end, {"op_key": str(uuid.uuid4())})
    assert again.status_code == 409
    for days in (0, 366, "many"):
        keyed = {"op_key": str(uuid.uuid4()), "days": days}
        assert clerk.post(page, keyed).status_code == 422


def test_a_link_is_given_and_ended_once_though_the_answer_was_lost(
    client_for: Callable[[User], Client], shipment: Shipment
) -> None:
    clerk = client_for(factories.make_person("clerk"))
    page = reverse("dispatch:delivery-link", args=[shipment.number])
    for way, form, nth in (
        ("link", {"op_key": str(uuid.uuid4()), "days": 7}, 1),
        ("unlink", {"op_key": str(uuid.uuid4())}, 1),
        ("link", {"op_key": str(uuid.uuid4()), "days": 7}, 2),
    ):
        address = reverse(f"dispatch:delivery-{way}", args=[shipment.number])
        for _ in range(2):
            assert clerk.post(address, form)["Location"] == page
        assert ReceiptLink.objects.get(shipment=shipment).nth == nth
    names = ("give_link", "end_link")
    assert Operation.objects.filter(name__in=names).count() == 3


def test_who_may_not_send_boxes_gives_no_link(
    client_for: Callable[[User], Client], shipment: Shipment
) -> None:
    packer = client_for(factories.make_person("packer"))
    page = reverse("dispatch:delivery-link", args=[shipment.number])
    assert packer.get(page).status_code == 403
    assert packer.post(page, {"days": 7}).status_code == 403
