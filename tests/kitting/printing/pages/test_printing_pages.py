"""The page that prints labels of any kind, and what the first one looks like."""

from __future__ import annotations

import io
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse
from PIL import Image

from kitting.labels.readback import Raster, check_raster
from kitting.ledger import holds
from kitting.ledger.setup import ROLES
from kitting.models import Bag, Carrier, Place, Print, PrintJob, User
from kitting.packing.labels import every_command
from kitting.places.services import carriers
from kitting.printing.queries.labels import labelled_as
from kitting.printing.services.prints import print_labels
from kitting.web.messages import ALL
from tests import factories
from tests.assertions import (
    assert_page,
    assert_part,
    assert_problem,
    assert_sent_to_sign_in,
    text_of,
)
from tests.benches import Packing, make_packing
from tests.databases import once_a_module
from tests.factories import sign
from tests.kitting.printing.pages.asking import NOWHERE, keyed, words
from tests.printers import A4_OF_BAGS, BAG_ROLL, make_printer, make_stock

pytestmark = pytest.mark.django_db


@once_a_module
def at() -> Packing:
    return make_packing()


def cleared_bag() -> Bag:
    band = factories.make_revision(factories.make_part(name="Headband"))
    bag = factories.accept(factories.make_lot(band)).bags.get()
    run = factories.open_run(factories.make_protocol(band))
    factories.expose(run, bag)
    factories.close_run(run)
    bag.refresh_from_db()
    return bag


# -- Who, and what is there ----------------------------------------------------------


@pytest.mark.parametrize(
    "path", ["print/place/?all=1", "preview/place/X/", f"pdf/{'0' * 64}/"]
)
def test_only_who_prints_labels_gets_there(
    path: str, client_for: Callable[[User], Client], outsider: User
) -> None:
    assert_sent_to_sign_in(Client().get(f"/labels/{path}"))
    assert client_for(outsider).get(f"/labels/{path}").status_code == 403


@pytest.mark.parametrize("role", sorted(ROLES))
def test_every_role_prints_labels_and_finds_the_word(
    role: str, client_for: Callable[[User], Client]
) -> None:
    place = factories.make_place()
    client = client_for(factories.make_person(role))
    page = client.get("/labels/print/place/", {"n": place.code})
    assert_page(page)
    assert 'href="/labels/"' in page.content.decode()


@pytest.mark.parametrize("role", sorted(ROLES))
def test_back_leads_each_role_to_a_page_that_it_may_see(
    role: str, client_for: Callable[[User], Client], at: Packing
) -> None:
    client = client_for(factories.make_person(role))
    leads = {}
    for kind in ("command", "place", "bag"):
        page = client.get(
            f"/labels/print/{kind}/", {"all": 1, "lot": at.band.lots.get()}
        )
        leads[kind] = page.context["back"]
        assert f'href="{leads[kind]}">Back, without printing' in page.content.decode()
    assert {client.get(back).status_code for back in leads.values()} == {200}
    packs = "pack" in ROLES[role]
    assert leads["command"] == (reverse("kitting:benches") if packs else "/labels/")


@pytest.mark.parametrize(
    "path",
    [
        "print/none/?all=1",
        "print/place/",
        "print/place/?n=NOWHERE",
        "print/bag/?n=B1000001H",
        "print/command/?n=ACT-WHAT",
        "print/box/?n=K1&n=K2",
        "print/badge/?n=1",
        "preview/none/X/",
        "preview/place/NOWHERE/",
        "preview/badge/1/",
        "preview/command/ACT-WHAT/",
        "preview/bag_number/nonsense/",
        "pdf/zz/",
        "pdf/00/",
        f"pdf/{'0' * 64}/",
        f"printed/{'0' * 64}/",
        "printed/x/",
    ],
)
def test_what_is_not_there_is_404(path: str, client: Client) -> None:
    assert client.get(f"/labels/{path}").status_code == 404


@pytest.mark.smoke
def test_a_post_that_names_nothing_prints_nothing(client: Client) -> None:
    factories.make_place()
    response = client.post("/labels/print/place/?all=1", keyed())
    assert response.status_code == 404
    assert not Print.objects.exists()


# -- What is shown before anything is printed ------------------------------------------


def test_one_label_says_what_it_is_and_how_large(client: Client) -> None:
    place = factories.make_place()
    page = client.get("/labels/print/place/", {"n": place.code})
    said = words(page)
    assert "1 label of" in said
    assert "70 × 40 mm" in said
    assert "reprint" not in said
    html = text_of(page)
    # An inch is 25.4 mm and 96 px: CSS Values and Units 3, §6.2.
    size = f'width="{round(70 / 25.4 * 96)}" height="{round(40 / 25.4 * 96)}"'
    assert f'src="/labels/preview/place/{place.code}/" {size}' in html
    assert 'width="52mm"' in html
    assert not Print.objects.exists()


def test_the_preview_reads_back_as_the_label(client: Client, at: Packing) -> None:
    box = factories.make_closed_box(at.size, at.bench)
    answer = client.get(f"/labels/preview/box/{box}/")
    assert answer.headers["Content-Type"] == "image/png"
    picture = Image.open(io.BytesIO(answer.content))
    # 100 × 150 mm at the 8 dots per mm of a "203 dpi" head
    assert picture.size == (800, 1200)
    labelled = labelled_as("box")
    [face] = labelled.compose([str(box)])[0].labels
    raster = Raster(*picture.size, picture.convert("L").tobytes())
    check_raster(raster, labelled.kind.symbols(face), number=str(box))


def test_the_preview_of_a_reprint_is_another_picture(client: Client) -> None:
    place = factories.make_place()
    address = f"/labels/preview/place/{place.code}/"
    first = client.get(address).content
    assert client.get(address).content == first
    print_labels(kind="place", numbers=[place.code], sign=sign())
    assert client.get(address).content != first


def test_labels_that_there_cannot_be_say_why(client: Client) -> None:
    bag = factories.make_lot().bags.get()
    page = client.get("/labels/print/cleared/", {"n": bag.number})
    assert page.status_code == 409
    assert "is not cleared by a run" in words(page)
    held = cleared_bag()
    holds.place_hold(target="bag", value=held.pk, reason="Torn", sign=sign())
    page = client.get("/labels/print/cleared/", {"n": held.number})
    assert page.status_code == 422
    assert "Torn" in words(page)


def test_one_number_asked_twice_is_refused(client: Client) -> None:
    place = factories.make_place()
    page = client.get("/labels/print/place/", {"n": [place.code, place.code]})
    assert page.status_code == 422
    page = client.post("/labels/print/place/", keyed(n=[place.code, place.code]))
    assert_problem(page, "label_asked_twice")


def test_a_label_that_does_not_fit_says_so_before_and_when_asked(
    client: Client,
) -> None:
    place = factories.make_place()
    Place.objects.filter(pk=place.pk).update(name="WWWWWWWWWW" * 6)
    page = client.get("/labels/print/place/", {"n": place.code})
    assert page.status_code == 200
    assert page.context["no_picture"]
    assert "<img" not in page.content.decode()
    refused = client.post("/labels/print/place/", keyed(n=[place.code]))
    assert refused.status_code == 422
    assert page.context["no_picture"] in str(refused.context["form"].errors)
    assert not Print.objects.exists()


@pytest.mark.parametrize("path", ["bag/?lot=NONE", "cleared/?run=NONE", "place/?all=1"])
def test_where_nothing_is_left_to_print_the_page_says_so(
    path: str, client: Client
) -> None:
    page = client.get(f"/labels/print/{path}")
    assert page.status_code == 422
    assert str(ALL["nothing_to_print"]) in words(page)


# -- All of some whole -----------------------------------------------------------------


def test_all_places_all_carriers_all_commands(client: Client, at: Packing) -> None:
    made = carriers.make_carrier(name="Rack", sign=sign())
    places = sorted(Place.objects.values_list("code", flat=True))
    assert len(places) > 2
    asked = {"place": places, "carrier": [made.carrier], "command": every_command()}
    for name, numbers in asked.items():
        page = client.get(f"/labels/print/{name}/", {"all": "1"})
        assert page.context["numbers"] == numbers
    assert f"ACT-BOX-{at.size.sets}" in asked["command"]


def test_the_bags_of_a_lot_and_those_that_a_run_cleared(client: Client) -> None:
    bag = cleared_bag()
    other = factories.make_lot(bag.lot.revision).bags.get()
    page = client.get("/labels/print/bag/", {"lot": bag.lot.number})
    assert page.context["numbers"] == [bag.number]
    assert bag.cleared_run is not None
    page = client.get("/labels/print/cleared/", {"run": bag.cleared_run.number})
    assert page.context["numbers"] == [bag.number]
    assert other.number not in page.content.decode()


def test_only_those_that_were_never_printed(client: Client) -> None:
    first, second = sorted(factories.make_place().code for _ in range(2))
    print_labels(kind="place", numbers=[first], sign=sign())
    page = client.get("/labels/print/place/", {"all": "1"})
    assert "1 of them was printed before" in words(page)
    assert "all=1&amp;new=1" in page.content.decode()
    page = client.get("/labels/print/place/", {"all": "1", "new": "1"})
    assert second in page.context["numbers"]
    assert first not in page.context["numbers"]
    assert "reprint" not in words(page)


# -- Printing --------------------------------------------------------------------------


def test_a_pdf_is_logged_and_opened_by_its_hash(
    client: Client, hx: dict[str, str]
) -> None:
    place = factories.make_place()
    address = f"/labels/print/place/?n={place.code}"
    assert_part(client.get(address, headers=hx), "label-print")
    sent = keyed(n=[place.code], where="pdf")
    done = client.post(address, sent)
    logged = Print.objects.get()
    sha = bytes(logged.pdf_sha).hex()
    assert (done.status_code, done.headers["Location"]) == (
        302,
        f"/labels/printed/{sha}/",
    )
    again = client.post(address, sent, headers=hx)
    assert again.headers["HX-Redirect"] == f"/labels/printed/{sha}/"
    assert Print.objects.count() == 1
    page = client.get(f"/labels/printed/{sha}/")
    assert_page(page)
    assert f'href="/labels/pdf/{sha}/"' in page.content.decode()
    assert f'href="/places/{place.code}/"' in page.content.decode()
    pdf = client.get(f"/labels/pdf/{sha}/")
    assert pdf.headers["Content-Disposition"].startswith('inline; filename="place-')
    assert pdf.content.startswith(b"%PDF")


@pytest.mark.smoke
def test_a_printer_gets_a_job_and_the_page_of_it_follows(client: Client) -> None:
    make_printer(NOWHERE, BAG_ROLL)
    place = factories.make_place()
    page = client.get("/labels/print/place/", {"n": place.code})
    assert "Printer Printer P1, with Bag labels" in words(page)
    assert page.context["form"]["where"].value() == "printer P1"
    sent = keyed(n=[place.code], where="printer P1")
    done = client.post("/labels/print/place/", sent)
    job = PrintJob.objects.get()
    assert done.headers["Location"] == f"/labels/jobs/{job.pk}/"
    assert "on its way to the printer" in words(client.get(done.headers["Location"]))


def test_a_sheet_is_begun_where_it_is_said(client: Client) -> None:
    make_stock(A4_OF_BAGS)
    place = factories.make_place()
    sent = keyed(n=[place.code], where="stock A4-14", start="15")
    page = client.post("/labels/print/place/", sent)
    assert_problem(page, "start_out_of_range")
    sent = keyed(n=[place.code], where="stock A4-14", start="14")
    assert client.post("/labels/print/place/", sent).status_code == 302
    assert str(Print.objects.get().paper).endswith("start 14")


@pytest.mark.parametrize("where", ["printer P9", "stock P9", "nowhere", "printer "])
def test_a_place_that_is_not_offered_is_refused(where: str, client: Client) -> None:
    place = factories.make_place()
    page = client.post("/labels/print/place/", keyed(n=[place.code], where=where))
    assert_problem(page, "invalid_choice")
    assert not Print.objects.exists()


# -- Printing again --------------------------------------------------------------------


@pytest.mark.smoke
def test_a_reprint_asks_why_and_what_became_of_the_first(client: Client) -> None:
    place = factories.make_place()
    print_labels(kind="place", numbers=[place.code], sign=sign())
    address = f"/labels/print/place/?n={place.code}"
    assert "It was printed before, so this is a reprint." in words(client.get(address))
    assert_problem(client.post(address, keyed(n=[place.code])), "required")
    page = client.post(address, keyed(n=[place.code], reason="Torn"))
    assert_problem(page, "first_label_stays")
    page = client.post(address, keyed(n=[place.code], reason="Torn", scanned="OTHER"))
    assert_problem(page, "first_label_is_another")
    sent = keyed(n=[place.code], reason="Torn", scanned=place.code)
    assert client.post(address, sent).status_code == 302
    assert client.post(address, sent).status_code == 302
    reprint = Print.objects.get(copy=2)
    assert (reprint.reason, reprint.first) == ("Torn", "scanned")


def test_many_reprints_are_only_declared(client: Client) -> None:
    codes = sorted(factories.make_place().code for _ in range(2))
    print_labels(kind="place", numbers=codes, sign=sign())
    form = client.get("/labels/print/place/", {"n": codes}).context["form"]
    assert "scanned" not in form.fields
    sent = keyed(n=codes, reason="Faded", destroyed="on")
    assert client.post("/labels/print/place/", sent).status_code == 302
    assert Print.objects.filter(copy=2, first="destroyed").count() == 2


def test_a_first_print_of_somebody_else_is_not_answered(
    client: Client, client_for: Callable[[User], Client]
) -> None:
    place = factories.make_place()
    sent = keyed(n=[place.code])
    client.post("/labels/print/place/", sent)
    other = client_for(factories.make_person("manager", name="another"))
    page = other.post(
        "/labels/print/place/", {**sent, "reason": "x", "destroyed": "on"}
    )
    assert_problem(page, "operation_key_reused", status=409)


# -- From the pages of things ------------------------------------------------------------


def test_a_box_leads_to_its_label_and_its_slips(client: Client, at: Packing) -> None:
    box = factories.make_closed_box(at.size, at.bench)
    page = client.get(f"/boxes/{box}/").content.decode()
    assert f"/boxes/{box}/print/" in page
    assert f"/labels/print/set_slip/?n={box}" in page
    slips = client.get("/labels/print/set_slip/", {"n": str(box)})
    assert "6 labels of" in words(slips)
    one = client.get("/labels/print/box/", {"n": str(box)})
    assert one.headers["Location"] == f"/boxes/{box}/print/"
    shown = client.get(f"/boxes/{box}/print/")
    assert f'src="/labels/preview/box/{box}/"' in shown.content.decode()


def test_an_open_box_has_no_label_to_show(client: Client, at: Packing) -> None:
    box = factories.make_open_box(at.size, at.bench)
    page = client.get(f"/boxes/{box}/print/")
    assert_page(page)
    assert "<img" not in page.content.decode()
    assert_problem(
        client.post(f"/boxes/{box}/print/", keyed()), "box_wrong_stage", status=409
    )


def test_bags_carriers_places_lots_and_runs_lead_to_their_labels(
    client: Client,
) -> None:
    bag = cleared_bag()
    made = carriers.make_carrier(name="Rack", sign=sign())
    place = factories.make_place()
    empty = client.get(f"/carriers/{made.carrier}/").content.decode()
    assert "/labels/print/cleared/" not in empty
    rack = Carrier.objects.get(number=made.carrier)
    carriers.load_bag(carrier_id=rack.pk, bag_id=bag.pk, sign=sign())
    assert bag.cleared_run is not None
    wanted = {
        f"/bags/{bag.number}/": (
            f"/labels/print/bag/?n={bag.number}",
            f"/labels/print/cleared/?n={bag.number}",
        ),
        f"/carriers/{made.carrier}/": (
            f"/labels/print/carrier/?n={made.carrier}",
            f"/labels/print/cleared/?n={made.carrier}",
        ),
        "/carriers/": ("/labels/print/carrier/?all=1",),
        f"/places/{place.code}/": (f"/labels/print/place/?n={place.code}",),
        "/places/": ("/labels/print/place/?all=1",),
        f"/lots/{bag.lot.number}/": (f"/labels/print/bag/?lot={bag.lot.number}",),
        f"/disinfection/{bag.cleared_run.number}/": (
            f"/labels/print/cleared/?run={bag.cleared_run.number}",
        ),
        "/bench/": ("/labels/print/command/?all=1", 'name="n" value="ACT-CLOSE"'),
    }
    for page, links in wanted.items():
        html = client.get(page).content.decode()
        for link in links:
            assert link in html, (page, link)


def test_a_bag_that_no_run_cleared_has_no_cleared_label(client: Client) -> None:
    bag = factories.make_lot().bags.get()
    html = client.get(f"/bags/{bag.number}/").content.decode()
    assert f"/labels/print/bag/?n={bag.number}" in html
    assert "/labels/print/cleared/" not in html


def test_the_ticked_commands_are_those_that_are_printed(client: Client) -> None:
    ticked = ["ACT-CLOSE", "ACT-NEXT"]
    page = client.get("/labels/print/command/", {"n": ticked})
    assert page.context["numbers"] == ticked


@pytest.mark.parametrize("number", ["", "/", "a/b", "."])
def test_a_box_of_no_such_number_is_not_there(client: Client, number: str) -> None:
    asked = client.get("/labels/print/box/", {"n": number}, follow=True)
    assert asked.status_code == 404


@pytest.mark.parametrize(
    ("name", "word"), [("place", "n"), ("bag", "lot"), ("cleared", "run")]
)
def test_nothing_with_a_null_character_is_there(
    client: Client, name: str, word: str
) -> None:
    """PostgreSQL takes no such text, so that asking for it would fail."""
    page = f"/labels/print/{name}/"
    assert client.get(page, {word: "A\0"}).status_code == 404
    assert client.post(page, keyed(n="A\0")).status_code == 404
