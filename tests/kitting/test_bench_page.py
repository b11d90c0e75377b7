"""The bench's screen, scan by scan, as a packer uses it."""

from __future__ import annotations

import uuid
from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from kitting.domain.stages import BoxStage
from kitting.labels.box_label import box_symbols
from kitting.models import (
    Bag,
    Box,
    Lot,
    Movement,
    OpenBag,
    Operation,
    Part,
    Print,
    Product,
    Recipe,
)
from kitting.queries.labels import box_label
from kitting.services import holds, printing
from tests import factories
from tests.assertions import (
    assert_page,
    assert_part,
    assert_problem,
    assert_sent_to_sign_in,
)
from tests.benches import Packing, make_packing
from tests.factories import sign

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _today(monkeypatch: pytest.MonkeyPatch) -> None:
    later = factories.NOW + timedelta(minutes=15)
    monkeypatch.setattr(timezone, "now", lambda: later)


@pytest.fixture
def at() -> Packing:
    return make_packing()


@pytest.fixture
def packer(make_user):
    return make_user("packer", group="packer")


@pytest.fixture
def client(packer, client_for):
    return client_for(packer)


@pytest.fixture
def scan(client, at, hx):
    """Send one scan as the tablet does, or as a plain form where ``plain``."""

    def send(text: object, *, plain: bool = False, key: str = "", purpose: str = ""):
        data = {
            "scan": str(text),
            "op_key": key or str(uuid.uuid4()),
            "purpose": purpose,
        }
        address = reverse("kitting:bench-scan", args=[at.bench.code])
        return client.post(address, data, headers={} if plain else hx)

    return send


def page_of(at: Packing) -> str:
    return reverse("kitting:bench", args=[at.bench.code])


def words(response) -> str:
    return " ".join(response.content.decode().split())


def state(response) -> str:
    return response.content.decode().split('data-state="')[1].split('"')[0]


def step(response) -> str:
    return response.context["screen"].step


def fill(scan, at: Packing) -> None:
    for bag in at.bags:
        assert state(scan(bag.number)) == "right"


# -- Who may ------------------------------------------------------------------------


def test_a_packer_sees_the_benches_and_the_commands(client, at) -> None:
    factories.make_open_box(at.size, at.bench, at.band_bag)
    response = client.get(reverse("kitting:benches"))
    assert_page(response)
    assert at.bench.name in words(response)
    (row,) = response.context["rows"]
    assert (row.box, row.open_bags) == (Box.objects.get(), 1)
    assert "DO-CALL-OFF-DAMAGED" in words(response)


def test_without_a_bench_the_list_says_what_to_do(client, db) -> None:
    assert "There is no bench yet" in words(client.get(reverse("kitting:benches")))


def test_who_has_not_signed_in_is_asked_to(at, client_for, hx) -> None:
    assert_sent_to_sign_in(Client().get(page_of(at)))
    scan_page = reverse("kitting:bench-scan", args=[at.bench.code])
    assert_sent_to_sign_in(Client().post(scan_page, headers=hx))


def test_an_outsider_may_not(at, outsider, client_for) -> None:
    client = client_for(outsider)
    assert client.get(page_of(at)).status_code == 403
    scan_page = reverse("kitting:bench-scan", args=[at.bench.code])
    assert client.post(scan_page, {"scan": "DO-CLOSE"}).status_code == 403
    assert client.get(reverse("kitting:benches")).status_code == 403


def test_a_bench_that_is_not_there_is_404(client, at) -> None:
    assert client.get(reverse("kitting:bench", args=["NONE"])).status_code == 404


# -- One box, from size to label ----------------------------------------------------


def test_one_box_is_packed_wholly_by_scans(client, scan, at) -> None:
    assert step(client.get(page_of(at))) == "choose"
    response = scan("DO-SIZE-6")
    assert_part(response, "bench")
    assert (state(response), step(response)) == ("right", "fill")
    assert "Headband: scan a bag" in words(response)
    fill(scan, at)
    assert step(client.get(page_of(at))) == "close"
    response = scan("DO-CLOSE")
    assert (state(response), step(response)) == ("right", "label")
    box = Box.objects.get()
    assert Print.objects.get().box == box
    response = scan(f"]C100{box.sscc}")
    assert (state(response), step(response)) == ("right", "choose")
    assert f"Box {box.serial} labelled" in words(response)
    box.refresh_from_db()
    assert box.stage == BoxStage.LABELLED
    assert Operation.objects.filter(bench=at.bench).count() == 7
    assert response.context["screen"].packed_today == 1
    assert response.context["screen"].choices[0].again


def test_the_label_is_seen_by_its_matrix_as_well(scan, at) -> None:
    scan("DO-SIZE-6")
    fill(scan, at)
    scan("DO-CLOSE")
    _, matrix = box_symbols(box_label(Box.objects.get().pk))
    assert state(scan(matrix.identifier + matrix.data)) == "right"
    assert Box.objects.get().stage == BoxStage.LABELLED


def test_a_plain_form_goes_back_to_the_screen(client, scan, at) -> None:
    response = scan("DO-SIZE-6", plain=True)
    assert (response.status_code, response.headers["Location"]) == (302, page_of(at))
    assert_page(client.get(page_of(at)))
    response = scan("no such thing", plain=True)
    assert_page(response, status=404)
    assert state(response) == "wrong"
    response = scan("DO-TAKE-BACK", plain=True)
    assert_page(response)
    assert "Take what back?" in words(response)


def test_what_the_box_needs_and_has_stands_in_the_lines(client, scan, at) -> None:
    scan("DO-SIZE-6")
    scan(at.band_bag.number)
    screen = client.get(page_of(at)).context["screen"]
    lines = [(line.part, line.needed, line.inside) for line in screen.lines]
    assert lines == [("Headband", 6, 6), ("Visor", 12, 0), ("Manual", 1, 0)]
    assert [line.done for line in screen.lines] == [True, False, False]
    assert (screen.lines[0].bag, screen.lines[0].left) == (at.band_bag.number, 94)
    assert screen.asked.part == "Visor"
    assert (screen.complete, screen.started) == (0, 6)
    scan(at.visor_bag.number)
    screen = client.get(page_of(at)).context["screen"]
    assert (screen.complete, screen.started) == (6, 0)


# -- What runs short ----------------------------------------------------------------


def offers(client, at) -> list[str]:
    return [offer.bag for offer in client.get(page_of(at)).context["screen"].offers]


def test_the_bag_that_expires_first_is_named_with_its_place(client, scan, at) -> None:
    soon = at.bag(at.band, 50, use_by=factories.TODAY + timedelta(days=30))
    at.bag(at.band, 50, use_by=factories.TODAY + timedelta(days=90))
    response = scan("DO-SIZE-6")
    offer = response.context["screen"].offers[0]
    assert (offer.bag, offer.pieces) == (soon.number, 6)
    assert (offer.lot, offer.place, offer.here) == (
        soon.lot.number,
        soon.place.name,
        False,
    )
    assert soon.place.name in words(response)


def test_a_lot_that_is_in_the_box_already_comes_first(client, scan, at) -> None:
    lot = factories.make_lot(
        at.visor, bags=(factories.lots.NewBag(5), factories.lots.NewBag(50))
    )
    first, second = lot.bags.order_by("pieces")
    at.bag(at.visor, 50, use_by=factories.TODAY + timedelta(days=1))
    scan("DO-SIZE-6")
    scan(at.band_bag.number)
    scan(first.number)
    assert offers(client, at) == [second.number]


def spoil(at: Packing, how: str) -> Bag:
    """A bag that would be offered first, were it not for one thing."""
    soon = factories.TODAY + timedelta(days=1)
    revision = at.band
    if how == "another revision":
        revision = factories.make_revision(at.band.part, "B")
    bag = at.bag(revision, use_by=soon)
    if how == "held":
        holds.place_hold(target="bag", value=bag.pk, reason="Torn", sign=sign())
    if how == "past its date":
        Lot.objects.filter(pk=bag.lot_id).update(
            made_on=soon - timedelta(days=9), use_by=soon - timedelta(days=2)
        )
    if how == "open elsewhere":
        OpenBag.objects.create(bench=factories.make_bench(), part=at.band.part, bag=bag)
    if how == "open too long":
        Part.objects.filter(pk=at.band.part_id).update(open_hours=8)
        Bag.objects.filter(pk=bag.pk).update(
            opened_at=factories.NOW - timedelta(hours=9)
        )
    return bag


@pytest.mark.parametrize(
    "how",
    ["another revision", "held", "past its date", "open elsewhere", "open too long"],
)
def test_a_bag_that_may_not_be_packed_is_not_offered(
    client, scan, at, how: str
) -> None:
    spoil(at, how)
    scan("DO-SIZE-6")
    assert offers(client, at) == [at.band_bag.number]


def test_the_same_bag_without_its_fault_is_offered(client, scan, at) -> None:
    bag = spoil(at, "nothing")
    scan("DO-SIZE-6")
    assert offers(client, at) == [bag.number]


def test_where_nothing_can_be_packed_the_screen_says_why(client, scan, at) -> None:
    holds.place_hold(target="bag", value=at.band_bag.pk, reason="Torn", sign=sign())
    at.band.part.needs_clearing = True
    at.band.part.save(update_fields=["needs_clearing"])
    at.bag(at.band, 30)
    at.band.part.needs_clearing = False
    at.band.part.save(update_fields=["needs_clearing"])
    away = at.bag(at.band, 40)
    OpenBag.objects.create(bench=factories.make_bench(), part=at.band.part, bag=away)
    past = at.bag(at.band, 20, use_by=factories.TODAY)
    Lot.objects.filter(pk=past.lot_id).update(
        made_on=factories.TODAY - timedelta(days=9),
        use_by=factories.TODAY - timedelta(days=1),
    )
    response = scan("DO-SIZE-6")
    lacking = response.context["screen"].lacking
    assert (lacking.held, lacking.not_cleared, lacking.elsewhere) == (100, 30, 40)
    assert "Headband: none may be packed" in words(response)
    assert "On hold: 100." in words(response)


def test_a_substitute_is_offered_and_a_bag_here_is_said_to_be(client, scan, at) -> None:
    newer = factories.make_revision(at.band.part, "B")
    at.recipe.lines.filter(part=at.band.part).update(substitute=newer, revision=newer)
    bag = at.bag(newer)
    scan(bag.number)
    scan(bag.number, purpose="lay_aside")
    response = scan("DO-SIZE-6")
    offer = response.context["screen"].offers[0]
    assert (offer.bag, offer.here) == (bag.number, True)
    assert "At this bench" in words(response)


def test_a_held_box_is_to_be_put_aside(client, scan, at) -> None:
    scan("DO-SIZE-6")
    fill(scan, at)
    holds.place_hold(
        target="lot", value=at.visor_bag.lot_id, reason="Haze", sign=sign()
    )
    assert step(client.get(page_of(at))) == "held"
    assert state(scan("DO-CLOSE")) == "wrong"


def test_a_hold_on_the_box_itself_shows(client, scan, at) -> None:
    scan("DO-SIZE-6")
    box = Box.objects.get()
    holds.place_hold(target="box", value=box.pk, reason="Crushed", sign=sign())
    assert step(client.get(page_of(at))) == "held"


def test_a_hold_on_something_else_does_not_show(client, scan, at) -> None:
    other = factories.make_lot()
    holds.place_hold(target="lot", value=other.pk, reason="Haze", sign=sign())
    scan("DO-SIZE-6")
    assert step(client.get(page_of(at))) == "fill"


# -- Sizes --------------------------------------------------------------------------


def test_sizes_of_two_products_name_the_product(client, scan, at) -> None:
    other = factories.make_recipe()
    factories.make_size(other, 6)
    commands = {c.command for c in client.get(page_of(at)).context["screen"].choices}
    code = at.size.product.code
    assert commands == {f"DO-SIZE-{code}-6", f"DO-SIZE-{other.product.code}-6"}
    assert_problem(scan("DO-SIZE-6"), "size_of_two_products")
    assert state(scan(f"DO-SIZE-{code}-6")) == "right"
    assert Box.objects.get().size == at.size


def test_a_size_that_nothing_has_is_refused(scan, at) -> None:
    assert_problem(scan("DO-SIZE-7"), "size_not_packed")


def test_without_a_recipe_in_force_there_is_nothing_to_choose(client, at) -> None:
    Recipe.objects.update(in_force=False)
    assert "Nothing to pack" in words(client.get(page_of(at)))


def test_a_second_box_waits_for_the_first(scan, at) -> None:
    scan("DO-SIZE-6")
    assert_problem(scan("DO-SIZE-6"), "bench_has_a_box", status=409)


# -- Labels -------------------------------------------------------------------------


@pytest.fixture
def closed(scan, at) -> Box:
    scan("DO-SIZE-6")
    fill(scan, at)
    scan("DO-CLOSE")
    return Box.objects.get(stage=BoxStage.CLOSED)


def test_the_label_opens_from_the_screen(client, closed: Box, at) -> None:
    address = reverse("kitting:box-label", args=[closed.serial])
    assert f'href="{address}" target="_blank"' in words(client.get(page_of(at)))


def test_a_label_that_cannot_be_drawn_leaves_the_box_closed(client, scan, at) -> None:
    Product.objects.update(cautions="\n".join(f"Caution {n}." * 6 for n in range(40)))
    scan("DO-SIZE-6")
    fill(scan, at)
    response = scan("DO-CLOSE")
    assert (response.status_code, state(response)) == (422, "wrong")
    assert step(response) == "print"
    Product.objects.update(cautions="")
    assert step(client.get(page_of(at))) == "print"
    response = scan("DO-PRINT")
    assert (state(response), step(response)) == ("right", "label")


def test_printing_again_asks_for_a_reason(scan, closed: Box) -> None:
    response = scan("DO-PRINT")
    assert "Why print it again?" in words(response)
    assert Print.objects.count() == 1
    assert state(scan("DO-PRINT-SPOILT")) == "right"
    assert Print.objects.latest("copy").reason == "Label spoilt"


def test_another_label_or_a_second_closing_is_refused(scan, closed: Box) -> None:
    other = factories.make_labelled_box()
    assert_problem(scan(other.serial), "other_label")
    assert_problem(scan("DO-CLOSE"), "box_waits_for_label", status=409)
    assert_problem(scan("DO-CALL-OFF-SIZE"), "closed_box_not_called_off", status=409)


def test_a_label_that_was_scanned_before_is_said_to_be(scan, closed: Box) -> None:
    scan(closed.serial)
    assert_problem(scan(closed.serial), "label_was_seen")


def test_a_label_is_not_awaited_while_a_box_is_open(scan, at) -> None:
    elsewhere = factories.make_closed_box()
    printing.print_box_label(box_id=elsewhere.pk, reason="", sign=sign())
    scan("DO-SIZE-6")
    assert_problem(scan(elsewhere.serial), "no_label_awaited")
    elsewhere.refresh_from_db()
    assert elsewhere.stage == BoxStage.CLOSED


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("DO-CLOSE", "bench_has_no_box"),
        ("DO-CALL-OFF", "bench_has_no_box"),
        ("DO-PRINT", "bench_has_no_closed_box"),
        ("DO-LAY-ASIDE", "no_open_bag"),
        ("DO-DANCE", "command_unknown"),
    ],
)
def test_a_command_without_its_box_or_bag_is_refused(
    scan, text: str, code: str
) -> None:
    assert_problem(scan(text), code)


def test_a_command_after_the_box_is_finished_is_refused(scan, closed: Box) -> None:
    scan(closed.serial)
    assert_problem(scan("DO-CLOSE"), "bench_has_no_box")


# -- Taking back --------------------------------------------------------------------


def test_a_box_is_called_off_with_a_reason_of_fixed_words(scan, at) -> None:
    scan("DO-SIZE-6")
    scan(at.band_bag.number)
    assert "Call off the box" in words(scan("DO-TAKE-BACK"))
    response = scan("DO-CALL-OFF")
    assert "Parts ran out" in words(response)
    assert Box.objects.get().stage == BoxStage.OPEN
    response = scan("DO-CALL-OFF-SHORT")
    assert (state(response), step(response)) == ("right", "choose")
    assert Box.objects.get().events.latest("nth").reason == "Parts ran out"
    at.band_bag.refresh_from_db()
    assert at.band_bag.pieces == 100


def test_the_next_bag_is_laid_aside(scan, at) -> None:
    scan(at.band_bag.number)
    response = scan("DO-LAY-ASIDE")
    assert 'name="purpose" value="lay_aside"' in words(response)
    response = scan(at.band_bag.number, purpose="lay_aside")
    assert state(response) == "right"
    assert f"Headband bag {at.band_bag.number} laid aside" in words(response)
    assert not OpenBag.objects.exists()


def test_going_on_writes_nothing(scan, at) -> None:
    before = Operation.objects.count()
    response = scan("DO-GO-ON")
    assert (response.status_code, state(response)) == (200, "ask")
    assert Operation.objects.count() == before


# -- Any text -----------------------------------------------------------------------


@pytest.mark.parametrize("plain", [False, True])
@pytest.mark.parametrize(
    "text",
    [
        "",
        "\x1d",
        "\x00\x01\x02",
        "x" * 10_000,
        "9" * 10_000,
        "Γενικό Νοσοκομείο",
        "]E09521234000013",
        "\N{RIGHT-TO-LEFT OVERRIDE}gpj.txt",
        "<script>alert(1)</script>",
        "DO-" + "x" * 10_000,
    ],
)
def test_any_text_gets_a_sentence_and_writes_nothing(
    client, scan, at, text: str, plain: bool
) -> None:
    before = Operation.objects.count()
    response = scan(text, plain=plain)
    assert response.status_code in (404, 422)
    assert state(response) == "wrong"
    said = response.context["wrong"]
    assert 10 < len(said) < 200
    assert "<script>" not in words(response)
    assert Operation.objects.count() == before
    assert step(client.get(page_of(at))) == "choose"


@pytest.mark.parametrize("what", ["lot", "run", "place", "shipment"])
def test_the_number_of_something_else_is_said_to_be_that(scan, at, what: str) -> None:
    number = {
        "lot": lambda: at.band_bag.lot.number,
        "run": lambda: factories.open_run(factories.make_protocol()).number,
        "place": lambda: factories.make_place().code,
        "shipment": lambda: factories.make_shipment().number,
    }[what]()
    response = scan(number)
    assert_problem(response, "not_for_the_bench")
    assert f"is the number of a {what}" in response.context["wrong"]


def test_a_scan_without_a_key_is_refused(scan, at) -> None:
    assert_problem(scan(at.band_bag.number, key="no key"), "invalid")


# -- Keys ---------------------------------------------------------------------------


def test_every_scan_of_a_box_sent_twice_happens_once(client, scan, at) -> None:
    """As the outbox does after a lost answer: the same text under the same key."""

    def twice(text: object, purpose: str = "") -> None:
        key = str(uuid.uuid4())
        scan(text, key=key, purpose=purpose)
        done = (Operation.objects.count(), Movement.objects.count())
        again = scan(text, key=key, purpose=purpose)
        assert (again.status_code, state(again)) == (200, "right"), text
        assert (Operation.objects.count(), Movement.objects.count()) == done

    twice(at.manual_bag.number)
    twice("DO-SIZE-6")
    twice(at.band_bag.number)
    twice("DO-CALL-OFF-PARTS")
    twice("DO-SIZE-6")
    twice(at.visor_bag.number)
    twice("DO-CLOSE")
    twice("DO-PRINT-LOST")
    twice(Box.objects.latest("pk").serial)
    twice(at.band_bag.number, purpose="lay_aside")


def test_a_first_print_sent_twice_is_one_print(scan, at) -> None:
    Product.objects.update(cautions="\n".join(f"Caution {n}." * 6 for n in range(40)))
    scan("DO-SIZE-6")
    fill(scan, at)
    scan("DO-CLOSE")
    Product.objects.update(cautions="")
    key = str(uuid.uuid4())
    assert [state(scan("DO-PRINT", key=key)) for _ in range(2)] == ["right", "right"]
    assert Print.objects.count() == 1


def test_a_label_sent_again_while_the_next_box_is_in_work_is_answered(scan, at) -> None:
    scan("DO-SIZE-6")
    fill(scan, at)
    scan("DO-CLOSE")
    first, key = Box.objects.get(), str(uuid.uuid4())
    scan(first.serial, key=key)
    scan("DO-SIZE-6")
    assert state(scan(first.serial, key=key)) == "right"


def test_one_key_with_another_scan_is_a_conflict(scan, at) -> None:
    key = str(uuid.uuid4())
    scan(at.band_bag.number, key=key)
    response = scan(at.visor_bag.number, key=key)
    assert_problem(response, "operation_key_reused", status=409)


# -- How much it costs --------------------------------------------------------------

MOST_QUERIES = 26
"""6 to claim and seal the act, 12 to do it, 6 to show the screen, 2 to find the bench
and its day; PostgreSQL has one more than SQLite, the gate beside holds."""
APART = ("SAVEPOINT", "RELEASE", "django_session", "kitting_user", "auth_permission")
"""Not counted: the session, the person and rights, and marks of a transaction."""


def test_a_scan_at_the_bench_asks_the_database_little(scan, at) -> None:
    scan("DO-SIZE-6")
    with CaptureQueriesContext(connection) as seen:
        scan(at.band_bag.number)
    counted = [q for q in seen if not any(word in q["sql"] for word in APART)]
    assert len(counted) <= MOST_QUERIES, "\n".join(q["sql"][:120] for q in counted)
