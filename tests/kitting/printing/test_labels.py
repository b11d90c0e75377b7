"""Printing labels of every purpose: what each says, and where it comes out."""

from __future__ import annotations

import hashlib
import io
from dataclasses import replace

import pytest
from pypdf import PdfReader

from kitting.checking.services import settings
from kitting.domain.errors import LotwardError
from kitting.domain.prints import DESTROYED, Again, Onto
from kitting.ledger import holds
from kitting.lots.services import blanks
from kitting.models import Bag, Box, Carrier, Print, PrintJob, Workshop
from kitting.packing.labels import every_command
from kitting.packing.queries.commands import size_commands
from kitting.packing.services.labels import print_box_label
from kitting.places.services import carriers
from kitting.printing.queries import labels as queries
from kitting.printing.services import prints
from kitting.printing.services.prints import print_labels
from tests import factories
from tests.assertions import assert_refused
from tests.benches import Packing, make_packing
from tests.databases import once_a_module
from tests.factories import sign
from tests.kitting.labels.samples import pages_of, text_of
from tests.printers import A4_OF_BAGS, BAG_ROLL, SLIP_ROLL, make_printer, make_stock

pytestmark = pytest.mark.django_db

NOWHERE = "ipp://printer.example/ipp/print"


@once_a_module
def at() -> Packing:
    return make_packing()


@once_a_module
def box(at: Packing) -> Box:
    return factories.make_closed_box(at.size, at.bench)


def cleared_bags(count: int = 1) -> list[Bag]:
    """Bags of headbands that a run cleared."""
    band = factories.make_revision(factories.make_part(name="Headband"))
    bags = [factories.accept(factories.make_lot(band)).bags.get() for _ in range(count)]
    run = factories.open_run(factories.make_protocol(band))
    factories.expose(run, *bags)
    factories.close_run(run)
    for bag in bags:
        bag.refresh_from_db()
    return bags


def on_a_carrier(*bags: Bag) -> Carrier:
    made = carriers.make_carrier(name="Rack 1", sign=sign())
    carrier = Carrier.objects.get(number=made.carrier)
    for bag in bags:
        carriers.load_bag(carrier_id=carrier.pk, bag_id=bag.pk, sign=sign())
    return carrier


def made_again(printed: prints.PrintedLabels) -> str:
    return text_of(prints.document_pdf(bytes.fromhex(printed.pdf_sha)))


# --- What each says -------------------------------------------------------------------


def test_a_bag_says_what_is_in_it() -> None:
    bag = factories.make_bag(pieces=42, name="Headband")
    shown = made_again(print_labels(kind="bag", numbers=[bag.number], sign=sign()))
    assert bag.number in shown
    assert "Headband" in shown
    assert "42" in shown
    assert bag.lot.made_on.isoformat() in shown
    assert Print.objects.get().bag == bag


def test_a_bag_of_material_says_its_unit() -> None:
    for unit, said in (("gram", "Mass 750 g"), ("mm", "Length 750 mm")):
        bag = factories.make_bag(pieces=750, name="Filament", unit=unit)
        shown = made_again(print_labels(kind="bag", numbers=[bag.number], sign=sign()))
        assert said in shown
        assert "Pieces" not in shown


def test_a_bag_that_is_used_up_has_no_label_for_another() -> None:
    bag = factories.make_closed_box().lines.get().bag
    with pytest.raises(LotwardError) as error:
        print_labels(kind="bag", numbers=[bag.number], sign=sign())
    assert_refused(error.value, "bag_has_nothing_to_label", bag=bag.number)
    assert not Print.objects.exists()


def test_blank_bag_numbers_are_printed_ahead_and_only_while_they_are_blank() -> None:
    numbers = blanks.give_out_numbers(count=3, sign=sign()).numbers
    done = print_labels(kind="bag_number", numbers=numbers, sign=sign())
    assert (done.numbers, done.labels) == (numbers, 3)
    shown = made_again(done)
    assert all(number in shown for number in numbers)
    bag = factories.make_bag()
    with pytest.raises(LotwardError) as error:
        print_labels(kind="bag_number", numbers=[bag.number], sign=sign())
    assert_refused(error.value, "blank_in_use", read=bag.number)


@pytest.mark.parametrize("number", ["B1999999{}", "B2000001{}", "R1000001{}"])
def test_numbers_that_were_never_given_out_have_no_label(number: str) -> None:
    from kitting.domain.numbers import check_character

    blanks.give_out_numbers(count=3, sign=sign())
    whole = number.format(check_character(number[:-2]))
    with pytest.raises(LotwardError) as error:
        print_labels(kind="bag_number", numbers=[whole], sign=sign())
    assert_refused(error.value, "number_not_given_out", read=whole)


def test_every_set_of_a_box_gets_a_slip(box: Box) -> None:
    done = print_labels(kind="set_slip", numbers=[str(box.serial)], sign=sign())
    pages = pages_of(prints.document_pdf(bytes.fromhex(done.pdf_sha)))
    assert (done.labels, len(pages)) == (6, 6)
    for nth, shown in enumerate(pages, start=1):
        assert str(box.serial) in shown
        assert box.batch in shown
        assert f"Set {nth} of 6" in shown
    assert Print.objects.get().box is None, "it is no box label"


def test_a_cleared_bag_says_by_which_run_and_when() -> None:
    Workshop.objects.update(time_zone="Pacific/Auckland")
    (bag,) = cleared_bags()
    run = bag.cleared_run
    assert run is not None
    shown = made_again(print_labels(kind="cleared", numbers=[bag.number], sign=sign()))
    assert run.number in shown
    assert run.protocol.code in shown
    # 04:00 UTC is 17:00 of the same day there, in summer time (IANA tz database).
    assert "2026-01-14 17:00" in shown
    assert "not sterilisation" in shown


def test_a_carrier_whose_bags_one_run_cleared_gets_one_label() -> None:
    carrier = on_a_carrier(*cleared_bags(2))
    done = print_labels(kind="cleared", numbers=[carrier.number], sign=sign())
    shown = made_again(done)
    assert carrier.number in shown
    assert "Carrier" in shown


def test_nothing_is_said_to_be_cleared_that_is_not() -> None:
    arrived = factories.make_lot().bags.get()
    empty = on_a_carrier()
    mixed = on_a_carrier(*cleared_bags(), *cleared_bags())
    (held,) = cleared_bags()
    holds.place_hold(target="bag", value=held.pk, reason="a drill", sign=sign())
    for number, code in (
        (arrived.number, "bag_not_cleared_by_a_run"),
        (empty.number, "carrier_is_empty"),
        (mixed.number, "carrier_of_several_runs"),
        (held.number, "bag_on_hold"),
    ):
        with pytest.raises(LotwardError) as error:
            print_labels(kind="cleared", numbers=[number], sign=sign())
        assert error.value.code == code
    assert not Print.objects.exists()


def test_a_bag_that_needs_no_run_has_no_cleared_label() -> None:
    bag = factories.make_bag(needs_clearing=False)
    with pytest.raises(LotwardError, match="bag_not_cleared_by_a_run"):
        print_labels(kind="cleared", numbers=[bag.number], sign=sign())


def test_places_carriers_and_commands(at: Packing) -> None:
    place = factories.make_place()
    carrier = on_a_carrier()
    shown = made_again(print_labels(kind="place", numbers=[place.code], sign=sign()))
    assert place.code in shown
    assert place.name in shown
    done = print_labels(kind="carrier", numbers=[carrier.number], sign=sign())
    assert "Rack 1" in made_again(done)
    long = {"code": "ABCDEFGHIJKL", "name": "The clip is wider at the left by 2 mm WW"}
    factories.make_kind(**long)
    commands = every_command()
    assert {"ACT-BOX-6", "ACT-DEF-ABCDEFGHIJKL"} <= set(commands)
    assert len(set(commands)) == len(commands)
    done = print_labels(kind="command", numbers=commands, sign=sign())
    assert done.labels == len(commands)
    assert "Start a box of 6 sets" in made_again(done)


def test_a_defect_that_no_command_label_could_name_is_refused(at: Packing) -> None:
    wide = settings.Kind(name="W" * 40, grade="major")
    with pytest.raises(LotwardError, match="label_would_not_fit"):
        settings.add_kind(code="WIDE", to=wide, sign=sign())
    settings.add_kind(code="WIDE", to=replace(wide, name="W" * 12), sign=sign())


def test_a_size_of_two_products_is_named_with_its_product(at: Packing) -> None:
    other = factories.make_recipe([(at.band, 1, "set")])
    factories.make_size(other, 6)
    code = other.product.code
    assert f"ACT-BOX-{code}-6" in dict(size_commands())
    shown = made_again(
        print_labels(kind="command", numbers=[f"ACT-BOX-{code}-6"], sign=sign())
    )
    assert code in shown


@pytest.mark.parametrize(
    ("kind", "number"),
    [
        ("box", "K10000017"),
        ("set_slip", "K10000017"),
        ("bag", "B1000001X"),
        ("cleared", "B1000001X"),
        ("place", "NOWHERE"),
        ("carrier", "C1000001X"),
        ("command", "ACT-NOTHING"),
        ("command", "ACT-BOX-6-"),
        ("command", "act-close"),
        ("nothing", "1"),
        ("badge", "1"),
    ],
)
def test_what_there_is_not_has_no_label(kind: str, number: str) -> None:
    with pytest.raises(LotwardError) as error:
        print_labels(kind=kind, numbers=[number], sign=sign())
    assert error.value.code == "row_missing"


def test_labels_of_a_demo_say_so() -> None:
    Workshop.objects.update(demo=True)
    place = factories.make_place()
    shown = made_again(print_labels(kind="place", numbers=[place.code], sign=sign()))
    assert queries.DEMO_MARK in shown


@pytest.mark.parametrize("kind", ["box", "set_slip"])
def test_a_box_that_is_not_here_any_more_gets_no_label(kind: str) -> None:
    box = factories.make_labelled_box()
    factories.send(factories.make_shipment(box))
    with pytest.raises(LotwardError) as error:
        print_labels(
            kind=kind,
            numbers=[str(box.serial)],
            again=Again("Lost", DESTROYED),
            sign=sign(),
        )
    assert_refused(error.value, "box_wrong_stage", stage="sent")


# --- How many, and where they come out ------------------------------------------------


def test_nothing_too_much_or_the_same_twice_is_not_printed() -> None:
    place = factories.make_place()
    for numbers, code in (
        ([], "nothing_to_print"),
        ([place.code, place.code], "label_asked_twice"),
    ):
        with pytest.raises(LotwardError) as error:
            print_labels(kind="place", numbers=numbers, sign=sign())
        assert error.value.code == code
    numbers = blanks.give_out_numbers(count=241, sign=sign()).numbers
    with pytest.raises(LotwardError) as error:
        print_labels(kind="bag_number", numbers=numbers, sign=sign())
    assert_refused(error.value, "too_many_labels", labels=241, most=240)


def test_labels_go_to_the_printer_that_was_named() -> None:
    printer = make_printer(NOWHERE, BAG_ROLL)
    place = factories.make_place()
    done = print_labels(
        kind="place", numbers=[place.code], onto=Onto(printer="P1"), sign=sign()
    )
    job = PrintJob.objects.get(pk=done.job)
    assert (job.printer, job.labels, job.title) == (printer, 1, place.code)
    assert (job.width_um, job.height_um) == (70_000, 40_000)
    assert hashlib.sha256(bytes(job.document or b"")).hexdigest() == done.pdf_sha
    logged = Print.objects.get()
    assert (logged.printer, logged.job) == (printer, job)
    assert made_again(done), "the same bytes are made of the record"


def test_several_labels_are_titled_by_the_first_and_the_last() -> None:
    make_printer(NOWHERE, BAG_ROLL)
    codes = [factories.make_place().code for _ in range(3)]
    done = print_labels(
        kind="place", numbers=codes, onto=Onto(printer="P1"), sign=sign()
    )
    assert PrintJob.objects.get(pk=done.job).title == f"{codes[0]} … {codes[2]}"


def test_a_bench_prints_on_its_own_printer(at: Packing) -> None:
    make_printer(NOWHERE, BAG_ROLL, code="BAGS", bench=at.bench)
    make_printer(NOWHERE, code="DESK")
    make_printer(NOWHERE, code="BENCH", bench=at.bench)
    box = factories.make_closed_box(at.size, at.bench)
    done = print_box_label(box_id=box.pk, sign=sign(bench_id=at.bench.pk))
    assert PrintJob.objects.get(pk=done.job).printer.code == "BENCH"


def test_a_desk_without_a_choice_gets_a_pdf(box: Box) -> None:
    make_printer(NOWHERE)
    assert print_box_label(box_id=box.pk, sign=sign()).job is None


def test_labels_are_laid_out_on_a_sheet_from_any_position() -> None:
    make_stock(A4_OF_BAGS)
    numbers = blanks.give_out_numbers(count=4, sign=sign()).numbers
    done = print_labels(
        kind="bag_number",
        numbers=numbers,
        onto=Onto(stock="A4-14", start=13),
        sign=sign(),
    )
    pdf = prints.document_pdf(bytes.fromhex(done.pdf_sha))
    first, _ = PdfReader(io.BytesIO(pdf)).pages
    wide, high = (float(side) / 72 * 25.4 for side in first.mediabox[2:])
    # A4 of ISO 216.
    assert (wide, high) == pytest.approx((210, 297), abs=0.1)
    first_text, second_text = pages_of(pdf)
    assert all(number in first_text for number in numbers[:2])
    assert all(number in second_text for number in numbers[2:])
    logged = [row.nth for row in Print.objects.order_by("nth")]
    assert logged == [1, 2, 3, 4]


@pytest.mark.parametrize(("stock", "start"), [("A4-14", 15), ("A4-14", 0), ("BAG", 2)])
def test_a_position_that_is_not_there_is_refused(stock: str, start: int) -> None:
    make_stock(A4_OF_BAGS)
    make_stock(BAG_ROLL)
    place = factories.make_place()
    with pytest.raises(LotwardError) as error:
        print_labels(
            kind="place",
            numbers=[place.code],
            onto=Onto(stock=stock, start=start),
            sign=sign(),
        )
    assert_refused(error.value, "start_out_of_range", read=start)


@pytest.mark.parametrize("onto", [Onto(printer="P9"), Onto(stock="NONE")])
def test_a_printer_or_stock_that_is_not_there_is_missing(onto: Onto) -> None:
    place = factories.make_place()
    with pytest.raises(LotwardError, match="row_missing"):
        print_labels(kind="place", numbers=[place.code], onto=onto, sign=sign())


def test_a_label_on_stock_that_is_too_small_is_refused_with_what_would_fit(
    box: Box,
) -> None:
    make_stock(SLIP_ROLL)
    with pytest.raises(LotwardError) as error:
        print_box_label(box_id=box.pk, onto=Onto(stock="SLIP"), sign=sign())
    assert error.value.code == "stock_too_small"
    assert not Print.objects.exists()
