"""The pages of boxes: the table, one box, its label, printing again, voiding."""

from __future__ import annotations

import csv
import hashlib
import io
import uuid
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse

from kitting.ledger import holds
from kitting.models import Box, Print, Workshop
from kitting.packing.services import voiding
from kitting.packing.services.hand_over import hand_over
from kitting.packing.services.labels import label_pdf
from tests import factories
from tests.assertions import (
    assert_page,
    assert_part,
    assert_problem,
    assert_sent_to_sign_in,
    text_of,
)
from tests.benches import make_packing
from tests.databases import once_a_module
from tests.factories import TODAY, sign

pytestmark = pytest.mark.django_db

LIST = reverse("kitting:boxes")


@pytest.fixture
def officer(make_user):
    return make_user("officer", group="quality officer")


@pytest.fixture
def client(officer, client_for) -> Client:
    return client_for(officer)


@once_a_module
def at():
    return make_packing()


@once_a_module
def box(at) -> Box:
    return factories.make_labelled_box(at.size, at.bench)


def page(box: Box, act: str = "detail") -> str:
    return reverse(f"kitting:box-{act}", args=[str(box)])


def keyed(**fields: str) -> dict[str, str]:
    return {"op_key": str(uuid.uuid4()), **fields}


def listed(client: Client, **filters: object) -> list[str]:
    return [str(box) for box in client.get(LIST, filters).context["page"]]


# -- The table ----------------------------------------------------------------------


def test_the_table_says_what_there_is(client, box: Box, hx) -> None:
    sent = factories.make_labelled_box(box.size)
    factories.send(factories.make_shipment(sent))
    factories.make_open_box(box.size)
    response = client.get(LIST)
    assert_page(response)
    totals = response.context["totals"]
    assert (totals.boxes, totals.sets) == (3, 12)
    assert totals.by_stage == {"labelled": 1, "sent": 1, "open": 1}
    assert totals.first == totals.last == TODAY
    assert "3 boxes" in text_of(response)
    assert_part(client.get(LIST, headers=hx), "box-list")


@pytest.mark.smoke
def test_the_filters_stand_in_the_address(client, box: Box) -> None:
    other = factories.make_closed_box()
    older = factories.make_labelled_box(box.size)
    day = TODAY - timedelta(days=3)
    assert listed(client) == [str(older), str(other), str(box)]
    assert listed(client, stage="closed") == [str(other)]
    assert listed(client, size=box.size.pk) == [str(older), str(box)]
    assert listed(client, batch=f" {other.batch.lower()} ") == [str(other)]
    assert listed(client, since=TODAY, until=TODAY) != []
    assert listed(client, until=day) == []
    assert listed(client, since=TODAY + timedelta(days=1)) == []
    assert len(listed(client, stage="nonsense", size="x", since="yesterday")) == 3


def test_an_empty_table_says_so(client) -> None:
    assert "No box has been packed yet." in text_of(client.get(LIST))
    assert "No box matches." in text_of(client.get(LIST, {"stage": "sent"}))


def test_held_boxes_are_counted_and_marked(client, box: Box) -> None:
    factories.make_closed_box()
    lot = box.lines.all()[0].lot
    holds.place_hold(target="lot", value=lot.pk, reason="Haze", sign=sign())
    response = client.get(LIST)
    assert set(response.context["held"]) == {box.pk}
    assert response.context["totals"].held == 1
    assert "1 held" in text_of(response)
    other = Box.objects.exclude(pk=box.pk).get()
    holds.place_hold(target="box", value=other.pk, reason="Wet", sign=sign())
    assert set(client.get(LIST).context["held"]) == {box.pk, other.pk}


def test_the_rows_of_the_filters_come_as_files(client, box: Box) -> None:
    factories.make_closed_box()
    shipment = factories.make_shipment(box)
    text = b"".join(
        client.get(LIST, {"as": "csv", "stage": "loaded"}).streaming_content
    )
    (row,) = csv.DictReader(io.StringIO(text.decode("utf-8-sig")))
    assert (row["box"], row["sscc"]) == (box.serial, box.sscc)
    assert (row["sets"], row["packed on"]) == ("6", TODAY.isoformat())
    assert row["shipment"] == shipment.number


def test_the_table_asks_as_much_for_many_boxes_as_for_one(
    client, box: Box, django_assert_max_num_queries
) -> None:
    for _ in range(3):
        factories.make_closed_box(box.size)
    with django_assert_max_num_queries(14):
        client.get(LIST)


# -- One box ------------------------------------------------------------------------


@pytest.mark.smoke
def test_a_box_shows_what_is_in_it_and_what_happened(client, box: Box, at, hx) -> None:
    response = client.get(page(box))
    assert_page(response)
    shown = response.context["shown"]
    assert (shown.pieces, shown.lots) == (19, 3)
    assert [event.after for event in shown.events] == ["labelled", "closed", "open"]
    assert [print_.copy for print_ in shown.prints] == [1]
    text = text_of(response)
    for line in box.lines.all():
        assert line.lot.number in text.replace('</span><span class="four">', "")
    assert "19\N{NO-BREAK SPACE}pieces of 3\N{NO-BREAK SPACE}lots" in text
    assert_part(client.get(page(box), headers=hx), "box")


def test_a_box_shows_where_it_was_handed_over(client, at) -> None:
    box, other = factories.make_open_box(at.size, at.bench), factories.make_bench()
    of = {"bench_id": at.bench.pk, "box_id": box.pk, "to_id": other.pk}
    hand_over(**of, sign=sign())
    shown = text_of(client.get(page(box)))
    assert f"handed over from {at.bench.name} to {other.name}" in shown


@pytest.mark.parametrize("name", ["serial", "number", "sscc"])
def test_a_box_has_one_page_for_all_its_numbers(client, box: Box, name: str) -> None:
    address = reverse("kitting:box-detail", args=[getattr(box, name).lower()])
    assert client.get(address).context["box"] == box


def test_a_box_that_is_not_there_is_404(client, box: Box) -> None:
    address = reverse("kitting:box-detail", args=["K10009999"])
    assert client.get(address).status_code == 404


@pytest.mark.parametrize("stage", ["open", "closed", "loaded", "voided"])
def test_a_box_says_how_far_it_is(client, at, stage: str) -> None:
    if stage == "open":
        box = factories.make_open_box(at.size, at.bench)
    elif stage == "closed":
        box = factories.make_closed_box(at.size, at.bench)
    else:
        box = factories.make_labelled_box(at.size, at.bench)
    if stage == "loaded":
        number = factories.make_shipment(box).number
        text = text_of(client.get(page(box))).replace('</span><span class="four">', "")
        assert number in text
    elif stage == "voided":
        told = {"reason": "Crushed", "password": "a pass phrase", "destroyed": "on"}
        client.post(page(box, "void"), keyed(**told))
    said = {
        "open": "it is being packed",
        "closed": "it is closed and waits for its label",
        "loaded": "it is loaded on shipment",
        "voided": "it was voided",
    }
    assert said[stage] in text_of(client.get(page(box)))


def test_a_held_line_is_marked(client, box: Box) -> None:
    line = box.lines.all()[0]
    holds.place_hold(target="bag", value=line.bag_id, reason="Torn", sign=sign())
    shown = client.get(page(box)).context["shown"]
    assert (shown.held, shown.held_lines) == (True, {line.pk})


def test_a_labelled_box_is_ready_to_go_unless_it_is_held(client, box: Box) -> None:
    assert "it is labelled and ready to go" in text_of(client.get(page(box)))
    holds.place_hold(target="box", value=box.pk, reason="Torn", sign=sign())
    text = text_of(client.get(page(box)))
    assert "ready to go" not in text
    assert "it is labelled." in text


# -- Its label ----------------------------------------------------------------------


def test_the_label_is_the_pdf_that_was_logged(client, box: Box) -> None:
    response = client.get(page(box, "label"))
    assert response.headers["Content-Type"] == "application/pdf"
    assert (
        response.headers["Content-Disposition"]
        == f'inline; filename="label-{box.serial}-1.pdf"'
    )
    logged = Print.objects.get(box=box)
    assert hashlib.sha256(response.content).digest() == bytes(logged.pdf_sha)


@pytest.mark.parametrize("copy", ["0", "2", "99999", "9" * 5000, "-1", "x", "²", ""])
def test_a_copy_that_was_never_logged_is_404(client, box: Box, copy: str) -> None:
    assert client.get(page(box, "label"), {"copy": copy}).status_code == 404
    assert client.get(page(box, "label"), {"copy": "1"}).status_code == 200


def test_another_label_than_was_printed_is_not_shown(client, box: Box) -> None:
    Workshop.objects.update(address="Another street 1")
    assert_page(client.get(page(box, "label")), status=409)


def test_the_label_of_a_voided_box_is_not_shown_to_be_printed(client, box: Box) -> None:
    sha = bytes(Print.objects.get(box=box).pdf_sha).hex()
    by_hash = reverse("kitting:label-pdf", args=[sha])
    voiding.void_box(
        box_id=box.pk, reason="Crushed", label=str(box.serial), sign=sign()
    )
    for address in (page(box, "label"), by_hash):
        response = client.get(address)
        assert_page(response, status=409)
        assert "voided" in response.content.decode()
    assert page(box, "label") not in text_of(client.get(page(box)))


@pytest.mark.parametrize("ticked", [{}, {"destroyed": "on"}])
def test_the_word_of_the_declaration_is_no_scan(client, box: Box, ticked) -> None:
    told = keyed(reason="Torn", scanned="destroyed", **ticked)
    response = client.post(page(box, "print"), told)
    assert_problem(response, "first_label_is_another")


def test_a_label_that_was_never_printed_is_404(client, at) -> None:
    box = factories.make_closed_box(at.size, at.bench)
    assert client.get(page(box, "label")).status_code == 404


# -- Printing again -----------------------------------------------------------------


@pytest.mark.smoke
def test_a_label_is_printed_again_with_a_reason(client, box: Box, hx) -> None:
    address = page(box, "print")
    assert_page(client.get(address))
    assert_problem(client.post(address, keyed(reason="")), "required")
    response = client.post(address, keyed(reason="Label lost", destroyed="on"))
    logged = Print.objects.latest("copy")
    printed = reverse("kitting:label-printed", args=[bytes(logged.pdf_sha).hex()])
    assert (response.status_code, response.headers["Location"]) == (302, printed)
    assert logged.reason == "Label lost"
    assert_part(client.post(address, keyed(), headers=hx), "box-print", status=422)


def test_a_first_print_needs_no_reason(client, at) -> None:
    box = factories.make_closed_box(at.size, at.bench)
    data = keyed()
    for _ in range(2):
        assert client.post(page(box, "print"), data).status_code == 302
    assert Print.objects.filter(box=box).count() == 1


def test_a_first_print_is_answered_again_after_a_reprint(client, at) -> None:
    box = factories.make_closed_box(at.size, at.bench)
    data = keyed()
    assert client.post(page(box, "print"), data).status_code == 302
    client.post(page(box, "print"), keyed(reason="Label lost", destroyed="on"))
    assert client.post(page(box, "print"), data).status_code == 302
    assert Print.objects.filter(box=box).count() == 2


def test_the_first_print_of_somebody_else_is_not_answered(
    client, at, make_user, client_for
) -> None:
    box = factories.make_closed_box(at.size, at.bench)
    data = keyed()
    client.post(page(box, "print"), data)
    other = client_for(make_user("another", group="packer"))
    response = other.post(page(box, "print"), data)
    assert_problem(response, "operation_key_reused", status=409)


@pytest.mark.smoke
def test_a_box_that_has_gone_is_not_printed(client, box: Box) -> None:
    factories.send(factories.make_shipment(box))
    response = client.post(
        page(box, "print"), keyed(reason="Label lost", destroyed="on")
    )
    assert_problem(response, "box_wrong_stage", status=409)


# -- Voiding ------------------------------------------------------------------------


@pytest.mark.smoke
def test_a_box_is_voided_with_a_reason(client, box: Box) -> None:
    address = page(box, "void")
    assert "19 pieces in it are scrapped" in text_of(client.get(address))
    assert_problem(
        client.post(address, keyed(reason=" ", password="a pass phrase")), "required"
    )
    told = {"reason": "Crushed", "password": "a pass phrase"}
    data = keyed(**told, label=str(box.serial))
    for _ in range(2):  # sent twice, done once
        assert client.post(address, data).status_code == 302
    box.refresh_from_db()
    assert box.stage == "voided"
    assert box.events.latest("nth").reason == "Crushed"
    assert_problem(client.post(address, keyed(**told)), "box_wrong_stage", status=409)


def test_the_label_of_a_voided_box_is_scanned_or_gone_not_both(client, box) -> None:
    address = page(box, "void")
    text = text_of(client.get(address))
    assert "may stay empty" not in text
    assert "Needed unless the tick below is set." in text
    told = {"reason": "Crushed", "password": "a pass phrase", "destroyed": "on"}
    both = client.post(address, keyed(**told, label=str(box.serial)))
    assert_problem(both, "old_label_twice")
    box.refresh_from_db()
    assert box.stage == "labelled"
    assert client.post(address, keyed(**told)).status_code == 302


# -- Who may ------------------------------------------------------------------------


@pytest.mark.parametrize("act", ["detail", "label", "print", "void"])
def test_pages_of_a_box_ask_for_their_right(
    act: str, box: Box, outsider, client_for
) -> None:
    assert_sent_to_sign_in(Client().get(page(box, act)))
    assert client_for(outsider).get(page(box, act)).status_code == 403


def test_a_packer_may_print_but_not_void(box: Box, make_user, client_for) -> None:
    client = client_for(make_user("packer", group="packer"))
    assert client.get(LIST).status_code == 200
    assert client.get(page(box, "print")).status_code == 200
    assert client.post(page(box, "void"), keyed(reason="x")).status_code == 403
    assert page(box, "void") not in text_of(client.get(page(box)))


def test_the_label_of_a_service_is_that_of_the_page(client, box: Box) -> None:
    again = label_pdf(box_id=box.pk, copy=1)
    assert client.get(page(box, "label")).content == again
