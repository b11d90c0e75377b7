"""Printing a label a second time, and making a logged document again."""

from __future__ import annotations

import hashlib
import json

import pytest

from kitting.domain.errors import LotwardError
from kitting.domain.prints import DESTROYED, Again, Onto
from kitting.models import Box, Place, Print
from kitting.packing.labels import box_label
from kitting.packing.services.labels import print_box_label
from kitting.printing import steps
from kitting.printing.queries import labels as queries
from kitting.printing.services import prints as printing
from kitting.printing.services.prints import print_labels
from tests import factories
from tests.benches import Packing, make_packing
from tests.databases import once_a_module
from tests.factories import NOW, sign
from tests.kitting.labels.samples import text_of
from tests.printers import (
    BOX_ROLL,
    make_stock,
)

pytestmark = pytest.mark.django_db

NOWHERE = "ipp://printer.example/ipp/print"


@once_a_module
def at() -> Packing:
    return make_packing()


@once_a_module
def box(at: Packing) -> Box:
    return factories.make_closed_box(at.size, at.bench)


def made_again(printed: printing.PrintedLabels) -> str:
    return text_of(printing.document_pdf(bytes.fromhex(printed.pdf_sha)))


def test_a_second_print_names_what_became_of_the_first(box: Box) -> None:
    print_box_label(box_id=box.pk, sign=sign())
    for again, code in (
        (Again(), "reprint_needs_a_reason"),
        (Again("Label lost"), "first_label_stays"),
        (Again("Label lost", "K1000009X"), "first_label_is_another"),
    ):
        with pytest.raises(LotwardError) as error:
            print_box_label(box_id=box.pk, again=again, sign=sign())
        assert error.value.code == code
    assert Print.objects.count() == 1


@pytest.mark.parametrize(
    "scan",
    [
        "{serial}",
        "]C100{sscc}",
        "00{sscc}",
        "]d201{gtin}13260114{rest}",
    ],
)
def test_the_first_label_may_be_scanned_by_any_of_its_symbols(
    box: Box, scan: str
) -> None:
    print_box_label(box_id=box.pk, sign=sign())
    label = box_label(box.pk)
    use_by = f"17{label.use_by:%y%m%d}" if label.use_by else ""
    rest = f"{use_by}10{box.batch}\x1d21{box.serial}"
    read = scan.format(serial=box.serial, sscc=box.sscc, gtin=label.gtin, rest=rest)
    print_box_label(box_id=box.pk, again=Again("Label torn", read), sign=sign())
    second = Print.objects.get(copy=2)
    assert (second.reason, second.first) == ("Label torn", "scanned")
    assert Print.objects.get(copy=1).first is None


def test_every_bench_has_command_labels_of_its_own() -> None:
    of = {"kind": "command", "numbers": ["ACT-CLOSE"]}
    for copy in (1, 2, 3):
        done = print_labels(**of, again=Again("", ""), sign=sign())
        assert done.copy == copy
        assert "ACT-CLOSE" in made_again(done)
    rows = Print.objects.order_by("copy").values_list("copy", "reason", "first")
    assert [*rows] == [(1, "", None), *((n, "Another copy", None) for n in (2, 3))]
    assert [fault for fault in factories.prove() if fault.check == "prints"] == []


def test_of_several_labels_only_the_printed_ones_are_reprints() -> None:
    first, second = (factories.make_place().code for _ in range(2))
    print_labels(kind="place", numbers=[first], sign=sign())
    done = print_labels(
        kind="place",
        numbers=[first, second],
        again=Again("Faded", DESTROYED),
        sign=sign(),
    )
    assert done.copy == 2
    told = Print.objects.filter(pdf_sha=bytes.fromhex(done.pdf_sha)).order_by("nth")
    assert [(row.copy, row.reason, row.first) for row in told] == [
        (2, "Faded", DESTROYED),
        (1, "", None),
    ]
    assert "Reprint 2" in made_again(done)


def test_one_key_is_one_print(box: Box) -> None:
    once = sign()
    numbers = [str(box.serial)]
    first = print_labels(kind="set_slip", numbers=numbers, sign=once)
    assert print_labels(kind="set_slip", numbers=numbers, sign=once) == first
    assert Print.objects.count() == 1


def test_what_changed_while_it_was_drawn_is_not_logged(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    place = factories.make_place()
    make_ready = printing.make_ready

    def slowly(*args):
        ready = make_ready(*args)
        Place.objects.filter(pk=place.pk).update(name="Another shelf")
        return ready

    monkeypatch.setattr(printing, "make_ready", slowly)
    with pytest.raises(LotwardError, match="page_is_old"):
        print_labels(kind="place", numbers=[place.code], sign=sign())
    assert not Print.objects.exists()


def test_who_prints_in_the_same_instant_is_told_so(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """As where two acts both counted the copies before either was written."""
    place = factories.make_place()
    print_labels(kind="place", numbers=[place.code], sign=sign())
    monkeypatch.setattr(steps, "copies_made", lambda *args: {})
    with pytest.raises(LotwardError, match="page_is_old"):
        print_labels(kind="place", numbers=[place.code], sign=sign())
    assert Print.objects.count() == 1


def test_a_document_that_the_record_no_longer_gives_is_not_made_up() -> None:
    place = factories.make_place()
    done = print_labels(kind="place", numbers=[place.code], sign=sign())
    Place.objects.filter(pk=place.pk).update(name="Another shelf")
    with pytest.raises(LotwardError, match="record_has_changed"):
        made_again(done)


def test_a_document_that_was_never_printed_is_missing(box: Box) -> None:
    with pytest.raises(LotwardError, match="row_missing"):
        printing.document_pdf(bytes(32))


def test_a_document_can_be_seen_before_it_is_logged_and_only_then() -> None:
    """For labels that are shown once, such as badges."""
    place = factories.make_place()
    labelled = queries.labelled_as("place")
    seen: list[bytes] = []
    once = sign()
    for _ in range(2):
        printing.print_subjects(
            labelled=labelled,
            load=lambda: labelled.compose([place.code]),
            sent={"numbers": [place.code]},
            drawn=lambda ready: seen.append(ready.pressed.pdf),
            sign=once,
        )
    assert len(seen) == 1
    assert hashlib.sha256(seen[0]).digest() == bytes(Print.objects.get().pdf_sha)


def test_the_journal_keeps_what_was_printed() -> None:
    place = factories.make_place()
    print_labels(kind="place", numbers=[place.code], sign=sign())
    row = Print.objects.select_related("operation__link").get()
    assert row.operation.at == NOW
    outcome = json.loads(row.operation.link.outcome)
    assert outcome["numbers"] == [place.code]


def test_all_box_labels_of_a_purpose_are_one_registry(box: Box) -> None:
    """The box label as one of many, as on the page that prints any."""
    make_stock(BOX_ROLL)
    done = print_labels(
        kind="box", numbers=[str(box.serial)], onto=Onto(stock="BOX"), sign=sign()
    )
    assert made_again(done)
    assert Print.objects.get().box == box
