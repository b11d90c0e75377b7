"""Printing a box's label: read back, logged, and made again byte for byte."""

from __future__ import annotations

import hashlib
import io

import pytest
from pypdf import PdfReader

from kitting.domain.errors import Conflict, LotwardError, Missing, Refused, WrongStage
from kitting.domain.prints import DESTROYED, Again
from kitting.labels.copies import data_sha
from kitting.models import Box, Print, Product, Workshop
from kitting.packing.labels import box_label
from kitting.packing.services import boxes
from kitting.packing.services.labels import label_pdf, print_box_label
from kitting.printing import steps
from kitting.printing.services import prints as printing
from tests import factories
from tests.assertions import assert_refused
from tests.benches import make_packing
from tests.databases import once_a_module
from tests.factories import sign
from tests.kitting.labels.samples import pages_of

pytestmark = pytest.mark.django_db


@once_a_module
def box() -> Box:
    at = make_packing()
    return factories.make_closed_box(at.size, at.bench)


def print_it(
    box: Box, reason: str = "", first: str = DESTROYED, **changes
) -> printing.Printed:
    return print_box_label(
        box_id=box.pk, again=Again(reason, first), sign=sign(**changes)
    )


def test_a_print_is_logged_with_the_hash_of_its_bytes(box: Box) -> None:
    printed = print_it(box)
    logged = Print.objects.get()
    pdf = label_pdf(box_id=box.pk, copy=1)
    assert (printed.copy, printed.box) == (1, box.serial)
    assert hashlib.sha256(pdf).digest() == bytes(logged.pdf_sha)
    assert printed.pdf_sha == bytes(logged.pdf_sha).hex()
    assert "reportlab" in logged.renderer


def test_the_page_is_100_by_150_mm(box: Box) -> None:
    """Design, labels: the box label's stock; a point is 1/72 inch (PDF 32000-1)."""
    print_it(box)
    page = PdfReader(io.BytesIO(label_pdf(box_id=box.pk, copy=1))).pages[0]
    for points, mm in ((page.mediabox.width, 100), (page.mediabox.height, 150)):
        assert float(points) / 72 * 25.4 == pytest.approx(mm, abs=0.1)


def test_a_second_print_needs_a_reason_and_says_that_it_is_one(box: Box) -> None:
    print_it(box)
    with pytest.raises(Refused) as error:
        print_it(box)
    assert_refused(error.value, "reprint_needs_a_reason", label=box.serial)
    assert print_it(box, " Label lost ").copy == 2
    assert Print.objects.latest("copy").reason == "Label lost"
    first, second = (label_pdf(box_id=box.pk, copy=n) for n in (1, 2))
    assert first != second
    assert "Reprint 2" in PdfReader(io.BytesIO(second)).pages[0].extract_text()


def test_a_reason_has_its_length(box: Box) -> None:
    print_it(box)
    with pytest.raises(Refused) as error:
        print_it(box, "x" * 201)
    assert_refused(error.value, "entry_too_long", most=200)


def test_an_open_box_has_no_label() -> None:
    box = factories.make_open_box()
    with pytest.raises(WrongStage) as error:
        print_it(box)
    assert_refused(error.value, "box_wrong_stage", wanted="printed")
    with pytest.raises(Missing):
        print_box_label(box_id=1, sign=sign())


def test_a_box_that_has_gone_is_printed_no_more() -> None:
    box = factories.make_labelled_box()
    factories.send(factories.make_shipment(box))
    with pytest.raises(WrongStage) as error:
        print_it(box, "Label lost")
    assert_refused(error.value, "box_wrong_stage", stage="sent")


def test_somebody_who_printed_at_the_same_moment_comes_first(
    box: Box, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The other print comes between the drawing and the transaction."""
    press = steps.press
    other = sign()

    def slowly(*args, **kwargs):
        monkeypatch.setattr(steps, "press", press)
        print_box_label(box_id=box.pk, sign=other)
        return press(*args, **kwargs)

    monkeypatch.setattr(steps, "press", slowly)
    with pytest.raises(Conflict) as error:
        print_it(box)
    assert_refused(error.value, "page_is_old")
    assert Print.objects.count() == 1


def test_a_label_that_does_not_fit_is_not_logged(box: Box) -> None:
    Product.objects.update(
        cautions="\n".join(f"Caution {n}." * 6 for n in range(40)),
        cautions_reviewed_by="Ada",
    )
    with pytest.raises(LotwardError):
        print_it(box)
    assert not Print.objects.exists()


def test_what_a_label_says_is_hashed_without_how_it_is_drawn(box: Box) -> None:
    before = data_sha([box_label(box.pk)])
    assert data_sha([box_label(box.pk)]) == before
    Workshop.objects.update(address="Another street 1")
    assert data_sha([box_label(box.pk)]) != before


def test_printing_twice_with_one_key_is_one_print(box: Box) -> None:
    once = sign()
    first = print_box_label(box_id=box.pk, sign=once)
    again = print_box_label(box_id=box.pk, sign=once)
    assert again == first
    assert Print.objects.count() == 1


# Two protocols: what may be said under one is no word for what the other cleared.
@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("Disinfected (UV-C)", "Disinfected (UV-C)"), ["Disinfected (UV-C)"]),
        (("Treated by UV-C", "Disinfected (heat)"), None),
        (("Disinfected (UV-C)", ""), []),
    ],
    ids=["alike", "a line each", "nothing may be said of one"],
)
def test_no_disinfected_date_stands_without_the_words_of_its_protocol(
    words: tuple[str, str], said: list[str] | None
) -> None:
    parts = [factories.make_revision(factories.make_part(name=one)) for one in "AB"]
    bags = []
    for part, its in zip(parts, words, strict=True):
        mine = list(factories.accept(factories.make_lot(part)).bags.all())
        run = factories.open_run(factories.make_protocol(part, label_words=its))
        factories.expose(run, *mine)
        factories.close_run(run)
        bags += mine
    recipe = factories.make_recipe([(part, 1, "set") for part in parts])
    box = factories.make_open_box(factories.make_size(recipe, 6), None, *bags)

    boxes.close_box(box_id=box.pk, sign=sign())
    label = box_label(box.pk)
    wanted = sorted(words) if said is None else said
    assert label.disinfected == tuple((one, factories.TODAY) for one in wanted)
    shown = " ".join(pages_of(label_pdf(box_id=box.pk, copy=1)))
    assert shown.count(factories.TODAY.isoformat()) == 1 + len(wanted)
    assert all(f"{one} {factories.TODAY}" in shown for one in wanted)
    assert label.gtin is None
