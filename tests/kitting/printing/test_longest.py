"""Every label tried with the longest on record: marked, not live, fit, looked at."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from dataclasses import astuple, replace
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from kitting.domain.errors import Conflict, LotwardError, NotFit, Refused
from kitting.domain.prints import TEST
from kitting.labels.press import press
from kitting.models import (
    Operation,
    Place,
    Print,
    Printer,
    PrintJob,
    Product,
    Workshop,
)
from kitting.packing.services.bench import take_scan
from kitting.people.queries import NOBODY, name_behind
from kitting.people.services.accounts import add_person
from kitting.places.services.carriers import make_carrier
from kitting.printing import fitting
from kitting.printing.fitting import ALL, as_test, longest_face, longest_of
from kitting.printing.queries.labels import LABELLED
from kitting.printing.queries.longest import newest_look
from kitting.printing.queries.stocks import of_kind
from kitting.printing.services import prints
from kitting.printing.services.printers import look_at_labels, try_label
from kitting.web import scans
from lotward.catalogue.loading import load_catalogue
from lotward.demo import masterdata
from tests import factories
from tests.assertions import assert_refused, assert_sent_to_sign_in, text_of
from tests.databases import guards_away, once_a_module
from tests.factories import sign
from tests.printers import BAG_ROLL, BOX_ROLL, make_printer

pytestmark = pytest.mark.django_db

ADDRESS = "ipp://192.0.2.7/ipp/print"
"""Of a network for documentation (RFC 5737): nothing is sent to it here."""

EVERY = reverse("kitting:labels-try")


@once_a_module
def workshop() -> Workshop:
    """One with everything that has a label, and no demo: its labels have no mark."""
    load_catalogue(data=masterdata.read(), sign=sign())
    add_person(name="mira", role="checker", password="four lamps at dusk", sign=sign())
    make_carrier(name="Rack by the door", sign=sign())
    factories.make_protocol()
    return Workshop.objects.get(pk=1)


@pytest.fixture
def client(client_for: Callable[..., Client]) -> Client:
    return client_for(factories.make_person("manager"))


def tried(name: str) -> Any:
    """The longest label of a kind, as a test."""
    one = longest_of(name)
    return as_test(one, longest_face(one)[1])


def test_every_label_that_is_printed_is_tried() -> None:
    assert [one.name for one in ALL] == list(dict.fromkeys(one.name for one in ALL))
    assert {one.name for one in ALL} == {*LABELLED, "badge"}


def test_each_is_drawn_with_the_longest_on_record_and_reads_back(
    workshop: Workshop,
) -> None:
    name = "Face shield with chin piece, forehead foam, visor of 0.5 mm"
    Product.objects.filter(pk=Product.objects.latest("pk").pk).update(name=name)
    for one in ALL:
        face = tried(one.name)
        assert "TEST" in face.mark, one.name
        press(one.kind, [face], of_kind(one.kind).on)
    assert longest_face(longest_of("box"))[1].product_name == name
    place = max(Place.objects.all(), key=lambda each: len(each.code + each.name))
    assert longest_face(longest_of("place"))[1].words == place.name


def test_nothing_on_a_test_is_anything(workshop: Workshop) -> None:
    """What is scanned from a test names nothing, and no box will ever get its number."""
    bench = factories.make_bench()
    for one in ALL:
        face = tried(one.name)
        for symbol in one.kind.symbols(face):
            with pytest.raises(LotwardError):
                scans.read(symbol.data)
            with pytest.raises(LotwardError):
                take_scan(
                    bench_id=bench.pk,
                    text=symbol.data,
                    box="",
                    purpose="",
                    sign=replace(sign(), bench_id=bench.pk),
                )
    assert name_behind(tried("badge").token) == NOBODY
    live = {*Place.objects.values_list("code", flat=True)}
    assert tried("place").code not in live
    box = factories.make_closed_box()
    longest = longest_face(longest_of("box"))[1]
    assert longest.sscc[0] != box.sscc[0] == "0"


@pytest.mark.smoke
def test_a_test_goes_to_the_printer_and_is_no_print_of_the_label(
    workshop: Workshop,
) -> None:
    printer = make_printer(ADDRESS, BAG_ROLL)
    key = sign()
    first, same = (
        try_label(name="place", printer_id=printer.pk, sign=key) for _ in range(2)
    )
    assert first == same
    assert try_label(name="place", printer_id=printer.pk, sign=sign()).copy == 2
    logged = Print.objects.get(copy=1)
    assert (logged.kind, logged.number) == (TEST, "place")
    job = PrintJob.objects.get(pk=first.job)
    assert bytes(job.document or b"") == prints.document_pdf(bytes(logged.pdf_sha))
    assert factories.prove() == []
    Place.objects.create(code="ZZZZZZZZZZZZ", name="Somewhere far away", kind="shelf")
    with pytest.raises(Conflict) as caught:
        prints.document_pdf(bytes(logged.pdf_sha))
    assert_refused(caught.value, "record_has_changed", label="place")


def test_what_does_not_fit_the_printer_is_not_tried_on_it(workshop: Workshop) -> None:
    printer = make_printer(ADDRESS, BAG_ROLL)
    with pytest.raises(NotFit):
        try_label(name="box", printer_id=printer.pk, sign=sign())
    assert not Print.objects.exists()


def test_what_was_drawn_for_a_printer_that_was_changed_is_not_sent(
    workshop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    printer, draw = make_printer(ADDRESS, BAG_ROLL), fitting.drawn_test

    def changed_meanwhile(*given: Any) -> Any:
        Printer.objects.filter(pk=printer.pk).update(head_dots=640, head_um=80_000)
        return draw(*given)

    monkeypatch.setattr(fitting, "drawn_test", changed_meanwhile)
    with pytest.raises(Conflict) as caught:
        try_label(name="place", printer_id=printer.pk, sign=sign())
    assert_refused(caught.value, "page_is_old")
    assert not Print.objects.exists()
    assert not PrintJob.objects.exists()


def test_a_label_of_nothing_is_not_tried() -> None:
    printer = make_printer(ADDRESS, BAG_ROLL)
    with pytest.raises(Refused) as caught:
        try_label(name="carrier", printer_id=printer.pk, sign=sign())
    assert_refused(caught.value, "label_of_nothing")


def test_the_mark_alone_has_no_room(
    workshop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(fitting, "TEST_MARK", "TEST " * 40)
    one = longest_of("place")
    with pytest.raises(NotFit) as caught:
        fitting.drawn_test(one, longest_face(one)[1], of_kind(one.kind).on)
    assert_refused(caught.value, "test_has_no_room")


@pytest.mark.smoke
def test_a_look_at_every_label_says_who_and_what_fits(workshop: Workshop) -> None:
    assert newest_look() is None
    by = factories.make_person("manager", name="mara")
    key = sign(by)
    done = look_at_labels(sign=key)
    assert done.unfit == []
    assert {"box", "set_slip", "badge", "carrier", "shipment", "pallet"} <= set(
        done.labels
    )
    assert look_at_labels(sign=key) == done
    assert Operation.objects.filter(name="look_at_labels").count() == 1
    look = newest_look()
    assert look is not None
    assert (look.by, look.unfit) == ("mara", ())


def test_a_look_says_what_cannot_be_printed(workshop: Workshop, client: Client) -> None:
    # As a later version might find it, whose letters are wider: no act lets it in.
    with guards_away():
        Place.objects.filter(pk=Place.objects.latest("pk").pk).update(name="フ" * 40)
    answer = client.post(EVERY, {"op_key": uuid.uuid4()})
    assert answer.status_code == 302
    look = newest_look()
    assert look is not None
    assert look.unfit == ("place",)
    shown = text_of(client.get(EVERY))
    assert "1 of them cannot be printed." in shown
    address = reverse("kitting:label-try", args=["place"])
    assert "フ" in text_of(client.get(address))
    assert f'href="{reverse("kitting:places")}"' in text_of(client.get(address))
    hour = client.get(reverse("first-hour"))
    step = hour.context["steps"][-1]
    assert step.missing
    assert "place label" in str(step.why)
    Place.objects.filter(pk=Place.objects.latest("pk").pk).update(name="Shelf")
    client.post(EVERY, {"op_key": uuid.uuid4()})
    assert not client.get(reverse("first-hour")).context["steps"][-1].missing


def pages() -> list[str]:
    return [
        reverse(f"kitting:label-try{tail}", args=[one.name])
        for one in ALL
        for tail in ("", "-picture", "-pdf")
    ]


def test_every_page_of_a_label_shows_it(
    workshop: Workshop, client: Client, django_assert_max_num_queries: Any
) -> None:
    make_printer(ADDRESS, BOX_ROLL)
    with django_assert_max_num_queries(15):
        assert client.get(EVERY).status_code == 200
    for page in pages():
        with django_assert_max_num_queries(15):
            answer = client.get(page)
        assert answer.status_code == 200, page
    answer = client.get(reverse("kitting:label-try-pdf", args=["box"]) + "?stock=BOX")
    assert answer.content.startswith(b"%PDF")
    for odd in ("%00", "NOPE"):
        page = reverse("kitting:label-try-pdf", args=["box"])
        assert client.get(f"{page}?stock={odd}").status_code in (200, 404)


def test_a_test_is_printed_from_its_page(workshop: Workshop, client: Client) -> None:
    printer = make_printer(ADDRESS, BOX_ROLL)
    page = reverse("kitting:label-try", args=["box"])
    sent = {"op_key": uuid.uuid4(), "printer": printer.pk}
    assert client.post(page, sent | {"printer": 9**9}).status_code == 422
    assert not Print.objects.exists()
    for _ in range(2):
        assert client.post(page, sent).status_code == 302
    assert Print.objects.get().number == "box"


def test_who_does_not_set_up_sees_none_of_it(
    client_for: Callable[..., Client], outsider: Any
) -> None:
    packer = client_for(factories.make_person("packer"))
    for page in (EVERY, *pages()):
        assert_sent_to_sign_in(Client().get(page))
        assert client_for(outsider).get(page).status_code == 403
        assert packer.get(page).status_code == 403


def test_a_label_of_no_kind_is_not_there(client: Client) -> None:
    for tail in ("", "-picture", "-pdf"):
        page = reverse(f"kitting:label-try{tail}", args=["poster"])
        assert client.get(page).status_code == 404


def test_the_most_letters_make_the_longest() -> None:
    faces = [("a", ("x" * 9, ("y",))), ("b", ("x", ("y" * 12, 7)))]
    assert [fitting._letters(face) for _, face in faces] == [10, 13]
    assert fitting._letters(astuple(tried("bag_number"))) > 15
