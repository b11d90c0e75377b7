"""What has room on labels is decided when it is set up, on every head in use."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import pytest

from kitting.day.services import confirm_clock
from kitting.domain.errors import NotFit
from kitting.domain.stocks import PrinterFacts
from kitting.ledger.operations import Act, perform
from kitting.ledger.setup import ensure_workshop
from kitting.models import Operation, Part, Place, Printer, RowSeal, Workshop
from kitting.packing.labels import box_subject
from kitting.people.services.accounts import add_person
from kitting.places.services.carriers import make_carrier
from kitting.places.services.set_up import add_place
from kitting.printing.services.printers import keep_printer
from kitting.printing.services.prints import print_labels
from kitting.web.messages import sentence
from lotward.catalogue.loading import CatalogueRefused, load_catalogue
from tests import factories
from tests.assertions import assert_refused
from tests.benches import make_packing
from tests.factories import sign
from tests.printers import BOX_ROLL, make_stock

pytestmark = pytest.mark.django_db

SIXTY = "Face shield with chin piece, forehead foam, visor of 0.5 mm"
WIDE = " ".join(["WWWWWWWWWWWWWW"] * 4)


@dataclass(frozen=True)
class Done:
    """An act of which nothing is told."""


def change(row: Any, **values: Any) -> None:
    """An act of whatever page: it changes a row and knows nothing of labels."""

    def work(act: Act) -> Done:
        for name, value in values.items():
            setattr(row, name, value)
        row.save()
        return Done()

    perform("change", work, Done, sign())


def test_a_product_code_of_eight_letters_fits_the_slips_of_the_largest_box() -> None:
    at = make_packing()
    product = at.size.product
    change(product, code="WWWWWWWW", name=SIXTY)
    box = factories.make_closed_box(at.size, at.bench)
    assert "WWWWWWWW" in box.batch
    assert print_labels(kind="set_slip", numbers=[str(box.serial)], sign=sign()).labels
    assert box_subject(box.pk).labels[0].product_name == SIXTY


def test_a_name_that_a_slip_cannot_carry_is_refused_with_the_figure() -> None:
    product = make_packing().size.product
    with pytest.raises(NotFit) as caught:
        change(product, name=WIDE)
    assert_refused(caught.value, "label_would_not_fit", of=WIDE, dpi=203)
    why = caught.value.params["why"]
    assert why.code == "text_too_long"
    said = sentence(caught.value)
    assert "at 203 dots to the inch" in said
    assert said.startswith(sentence(why))
    product.refresh_from_db()
    assert product.name != WIDE


def add_a_place(name: str) -> None:
    add_place(code="S-9", name=name, kind="shelf", sign=sign())


def add_a_carrier(name: str) -> None:
    make_carrier(name=name, sign=sign())


def add_somebody(name: str) -> None:
    add_person(
        name=name, role="packer", password="a-long-passphrase-of-ours", sign=sign()
    )


def name_a_part(name: str) -> None:
    change(Part.objects.first(), name=name)


def name_the_workshop(name: str) -> None:
    change(Workshop.objects.get(pk=1), name=name)


@pytest.mark.parametrize(
    ("label", "name_it"),
    [
        ("place label", add_a_place),
        ("carrier label", add_a_carrier),
        ("badge", add_somebody),
        ("bag label", name_a_part),
        ("box label", name_the_workshop),
    ],
)
def test_whatever_stands_on_a_label_is_named_so_that_it_can(
    label: str, name_it: Callable[[str], None]
) -> None:
    make_packing()
    with pytest.raises(NotFit) as caught:
        name_it("フェイス")
    assert_refused(caught.value, "label_would_not_fit", label=label)
    assert caught.value.params["why"].code == "missing_glyph"
    name_it("Rack-3")


# GS1 General Specifications 5.12.3.5: X of an SSCC is at least 0.495 mm; 176 modules with
# its quiet zones. At 5.2 dots to the mm that is 3 dots, 101.5 mm, on a label of 100.
def test_a_stock_is_refused_whose_head_cannot_print_what_is_set_up() -> None:
    make_packing()
    with pytest.raises(NotFit) as caught:
        make_stock(replace(BOX_ROLL, head_dots=52, head_um=10_000))
    assert_refused(caught.value, "label_would_not_fit", label="box label", dpi=132)
    assert caught.value.params["why"].code.startswith("bars_")


def test_a_printer_is_refused_whose_head_cannot_print_what_is_set_up() -> None:
    make_packing()
    make_stock(BOX_ROLL)
    coarse = PrinterFacts("P1", "Old one", "ipp://old.example/", BOX_ROLL.code)
    with pytest.raises(NotFit) as caught:
        keep_printer(facts=replace(coarse, head_dots=52, head_um=10_000), sign=sign())
    assert_refused(caught.value, "label_would_not_fit", label="box label", dpi=132)
    assert not Printer.objects.exists()
    keep_printer(facts=coarse, sign=sign())


def test_a_printer_is_back_in_use_only_if_its_head_prints_what_is_set_up() -> None:
    make_packing()
    make_stock(BOX_ROLL)
    facts = PrinterFacts("P1", "Old one", "ipp://old.example/", BOX_ROLL.code)
    keep_printer(facts=facts, sign=sign())
    printer = Printer.objects.get()
    change(printer, active=False)
    change(printer, head_dots=52, head_um=10_000)
    with pytest.raises(NotFit) as caught:
        change(printer, active=True)
    assert_refused(caught.value, "label_would_not_fit", dpi=132)
    assert not Printer.objects.get().active


@pytest.mark.django_db(transaction=True)
def test_the_first_act_of_all_is_asked_for_what_it_did_itself() -> None:
    """What was there before it was made by nobody, and waits."""
    ensure_workshop()
    Place.objects.create(code="S-1", name="ェ", kind="shelf")
    assert not Operation.objects.exists()
    with pytest.raises(NotFit) as caught:
        add_a_place("フ")
    assert_refused(caught.value, "label_would_not_fit", label="place label", of="S-9")
    assert not Operation.objects.exists()
    add_a_place("Rack-3")
    assert RowSeal.objects.filter(of="kitting_place").count() == 2


def test_a_catalogue_names_everything_that_has_no_room() -> None:
    places = [
        {"code": "S-1", "name": "フ", "kind": "shelf"},
        {"code": "S-2", "name": "Shelf", "kind": "shelf"},
        {"code": "S-3", "name": "ェ", "kind": "shelf"},
    ]
    with pytest.raises(CatalogueRefused) as caught:
        load_catalogue(data={"places": places}, sign=sign())
    assert [(one.value, one.code) for one in caught.value.problems] == [
        ("S-1", "label_would_not_fit"),
        ("S-3", "label_would_not_fit"),
    ]
    assert not Place.objects.exists()


def test_acts_that_set_nothing_up_draw_no_label(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    at = make_packing()
    drawn: list[str] = []
    monkeypatch.setattr(
        "kitting.printing.fitting.try_on", lambda kind, *_: drawn.append(kind.name)
    )
    factories.make_closed_box(at.size, at.bench)
    assert drawn == []
    confirm_clock(sign=sign())
    assert drawn == []
    change(at.size.product, name="Shield")
    assert drawn == ["box", "set_slip"]


def test_paper_draws_what_there_is_only_if_a_head_is_new(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    make_packing()
    drawn: list[float] = []
    monkeypatch.setattr(
        "kitting.printing.fitting._no_room",
        lambda kind, face, on: drawn.append(round(float(on.dots_per_inch), 1)),
    )
    roll = make_stock(BOX_ROLL)
    facts = PrinterFacts("P1", "Old one", "ipp://old.example/", BOX_ROLL.code)
    keep_printer(facts=facts, sign=sign())
    change(roll, name="Rolls", gap_um=2_000)
    assert drawn == []
    change(Printer.objects.get(), head_dots=600, head_um=25_400)
    assert set(drawn) == {203.2, 600.0}
    drawn.clear()
    fine = replace(facts, code="P2", head_dots=600, head_um=25_400)
    keep_printer(facts=fine, sign=sign())
    assert drawn == []
    change(roll, head_dots=300, head_um=25_400)
    assert set(drawn) == {203.2, 300.0, 600.0}
