"""What any text from a scanner or keyboard names."""

from __future__ import annotations

import pytest

from kitting.domain import gs1, numbers
from kitting.domain.badges import make_token
from kitting.domain.errors import CodeError, LotwardError, Missing
from kitting.domain.numbers import Kind
from kitting.labels.box_label import box_symbols
from kitting.models import Box
from kitting.packing.labels import box_label
from kitting.web import scans
from kitting.web.messages import sentence
from tests import factories
from tests.assertions import assert_refused
from tests.benches import make_packing
from tests.kitting.domain.gs1_vectors import bracketed

pytestmark = pytest.mark.django_db


@pytest.fixture
def box() -> Box:
    at = make_packing()
    return factories.make_closed_box(at.size, at.bench)


def found(text: str) -> tuple[str, object]:
    thing = scans.read(text)
    return thing.kind, thing.row


def test_a_bag_is_found_however_its_number_is_written(box: Box) -> None:
    bag = box.lines.all()[0].bag
    spaced = f" {bag.number[:4].lower()} {bag.number[4:]}\r\n"
    for text in (bag.number, spaced, f"]C0{bag.number}", f"]d1{bag.number}"):
        assert found(text) == ("bag", bag)


def test_a_box_is_found_by_every_symbol_of_its_label(box: Box) -> None:
    """What the symbols carry is built by the GS1 rules; ]C1 and ]d2 are ISO/IEC 15424."""
    label = box_label(box.pk)
    pairs = [
        ("01", str(label.gtin)),
        ("13", f"{label.packed_on:%y%m%d}"),
        ("10", label.kit_batch),
        ("21", label.serial),
    ]
    matrix = gs1.element_string(pairs)
    for text in (
        box.serial,
        box.number,
        box.sscc,
        f"00{box.sscc}",
        f"]C100{box.sscc}",
        f"(00){box.sscc}",
        f"]d2{matrix}",
        matrix,
        bracketed(pairs),
    ):
        assert found(text) == ("box", box), text


def without_gs(box: Box) -> tuple[str, str]:
    """What a scanner sends that drops GS: identifier and data of the matrix."""
    _linear, matrix = box_symbols(box_label(box.pk))
    assert gs1.GS in matrix.data
    return matrix.identifier, matrix.data.replace(gs1.GS, "")


def test_a_matrix_whose_separators_got_lost_is_still_its_box(box: Box) -> None:
    """FNC1 between elements is sent as GS: GS1 General Specifications, 7.8.3."""
    identifier, data = without_gs(box)
    for text in (data, identifier + data, f"]d1{data}", f" {data}\r\n"):
        assert found(text) == ("box", box), text
    assert scans.read(data).text == box.serial


@pytest.mark.parametrize("what", ["gtin", "date", "batch", "serial", "more"])
def test_a_matrix_without_separators_is_believed_only_to_the_letter(
    box: Box, what: str
) -> None:
    _identifier, data = without_gs(box)
    gtin = str(box.size.gtin)
    changed = {
        "gtin": data.replace(gtin, "09521234000020"),
        "date": data.replace(f"13{box.packed_on:%y%m%d}", "13300101"),
        "batch": data.replace(box.batch, box.batch[:-1] + "9"),
        "serial": data.replace(str(box.serial), numbers.assign(Kind.SERIAL, 1, 998)),
        "more": data.replace(gtin, f"{gtin}37"),
    }[what]
    assert changed != data
    with pytest.raises(CodeError) as error:
        scans.read(changed)
    assert_refused(error.value, "scan_separator_lost")
    assert "scan the bars" in sentence(error.value)


def test_a_matrix_without_separators_of_a_lot_with_a_short_batch_reads_whole() -> None:
    """Where batch and serial fit one field together, they are not taken for a batch."""
    at = make_packing()
    at.recipe.product.code = "F"
    at.recipe.product.save(update_fields=["code"])
    box = factories.make_closed_box(at.size, at.bench)
    assert len(f"{box.batch}21{box.serial}") > 20  # 1-F-YYDDD-1 is the shortest batch
    assert found(without_gs(box)[1]) == ("box", box)


def test_the_matrix_of_another_product_with_our_serial_is_not_our_box(box: Box) -> None:
    other = "0952123400099" + gs1.check_digit("0952123400099")
    with pytest.raises(Missing) as error:
        scans.read(bracketed([("01", other), ("21", str(box.serial))]))
    assert_refused(error.value, "nothing_has_number")


def test_lots_runs_and_places_are_found(box: Box) -> None:
    lot = box.lines.all()[0].lot
    run = factories.open_run(factories.make_protocol())
    place = factories.make_place()
    sourced = factories.make_lot(source_number="abc/7")
    assert found(lot.number) == ("lot", lot)
    assert found(run.number) == ("run", run)
    assert found(place.code.lower()) == ("place", place)
    assert found("ABC/7") == ("lot", sourced)


def test_a_lot_whose_number_looks_like_a_gs1_message_is_found() -> None:
    """(01) and a GTIN of GS1's range for demonstrations, as a workshop's lot number."""
    number = "0109521234000013"
    lot = factories.make_lot(number=number)
    assert found(number) == ("lot", lot)


def test_a_source_number_of_two_lots_names_neither() -> None:
    for _ in range(2):
        factories.make_lot(source_number="twice")
    with pytest.raises(Missing):
        scans.read("twice")


def test_a_shipments_number_is_a_number_without_a_row() -> None:
    shipment = factories.make_shipment()
    thing = scans.read(shipment.number)
    assert (thing.kind, thing.row, thing.text) == ("number", None, shipment.number)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "scan_empty"),
        (" \t\r\n\x1d", "scan_empty"),
        ("x" * 201, "scan_too_long"),
        ("5" * 10_000, "scan_too_long"),
        ("B1000\x00042T", "scan_unreadable"),
        ("\x07bell", "scan_unreadable"),
        ("B1000042A", "number_check_wrong"),
        ("B1000042T", "nothing_has_number"),
        ("Γενικό Νοσοκομείο", "nothing_has_number"),
        ("9521234000013", "nothing_has_number"),
        ("]E09521234000013", "nothing_has_number"),
        ("]E09521234000014", "nothing_has_number"),
        ("](=7", "nothing_has_number"),
        ("(00)095212340000000018", "gs1_check_digit"),
        ("]C100095212340000000018", "gs1_check_digit"),
        ("(37)5", "gs1_companion_missing"),
        ("(01)09521234000013", "nothing_has_number"),
        ("(00)" + gs1.sscc("9521234", 1), "nothing_has_number"),
        ("(21)K10000014", "gs1_companion_missing"),
        ("<script>alert(1)</script>", "nothing_has_number"),
        ("'; DROP TABLE kitting_bag; --", "nothing_has_number"),
    ],
)
def test_what_names_nothing_is_refused_with_its_reason(text: str, code: str) -> None:
    with pytest.raises(LotwardError) as error:
        scans.read(text)
    assert isinstance(error.value, CodeError | Missing)
    assert error.value.code == code


@pytest.mark.parametrize("before", ["", "]C0", "ACT-", "K"])
def test_a_badge_is_refused_without_telling_what_was_read(before: str) -> None:
    token = make_token(bytes(16))
    with pytest.raises(CodeError) as refusal:
        scans.read(before + token)
    assert (refusal.value.code, refusal.value.params) == ("badge_not_here", {})
