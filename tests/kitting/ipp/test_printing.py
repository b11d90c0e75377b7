"""Sending labels: as they are, or not at all."""

from __future__ import annotations

from typing import Any

import pytest

from kitting.domain.errors import Refused
from kitting.ipp.client import IppPrinter
from kitting.ipp.facts import Media
from kitting.ipp.message import Group, Tag
from kitting.web.messages import sentence
from tests.kitting.ipp.asking import BAG, BOX, PDF, fault_of, last
from tests.kitting.ipp.fake_printer import (
    CANCEL_JOB,
    GET_PRINTER,
    PRINT_JOB,
    VALIDATE_JOB,
    FakePrinter,
)
from tests.kitting.ipp.fake_values import attribute, get


def test_a_label_is_sent_as_it_is(printer: FakePrinter, client: IppPrinter) -> None:
    job = client.send(PDF, name="box 7 ✓", media=BOX)
    assert (job.id, job.state) == (1, "pending")
    (made,) = printer.jobs
    assert (made.name, made.pdf, made.user) == ("box 7 ✓", PDF, "packer")
    assert (made.media, made.copies, made.scaling) == ((10_000, 15_000), 1, "none")
    operation, wishes = last(printer, PRINT_JOB).groups
    assert get(operation, "document-format") == "application/pdf"
    assert get(operation, "ipp-attribute-fidelity") is True
    assert [one.name for one in wishes.attributes] == [
        "media-col",
        "print-scaling",
    ]


def test_margins_are_asked_for_where_they_are_given(
    printer: FakePrinter, client: IppPrinter
) -> None:
    client.send(PDF, name="bag", media=Media(70_000, 40_000, (1_000, 2_000, 3_000, 45)))
    wishes = Group(0, get(last(printer, PRINT_JOB).groups[1], "media-col"))
    # PWG 5100.7: hundredths of a millimetre; 45 µm are the nearest 5.
    assert [(one.name, get(wishes, one.name)) for one in wishes.attributes[1:]] == [
        ("media-top-margin", 100),
        ("media-right-margin", 200),
        ("media-bottom-margin", 300),
        ("media-left-margin", 5),
    ]


def test_one_copy_is_what_every_printer_makes_unasked(
    printer: FakePrinter, client: IppPrinter
) -> None:
    client.send(PDF, name="bag", media=BAG)
    assert last(printer, PRINT_JOB).groups[1].values("copies") == ()


def test_validating_prints_nothing(printer: FakePrinter, client: IppPrinter) -> None:
    client.validate(name="box 7", media=BOX)
    assert printer.jobs == []
    assert last(printer, VALIDATE_JOB).groups[1].values("media-col")
    assert last(printer, VALIDATE_JOB).data == b""


@pytest.mark.parametrize("scalings", [["auto", "fit"], ["fill"]])
def test_a_printer_that_cannot_print_unscaled_is_not_asked_to(
    printer: FakePrinter, client: IppPrinter, scalings: list[str]
) -> None:
    printer.scalings = scalings
    client.send(PDF, name="box", media=BOX)
    assert not client.facts().can_scale_none
    assert printer.jobs[0].scaling == ""


def test_a_printer_that_does_not_know_scaling_gets_the_label_without(
    printer: FakePrinter, client: IppPrinter
) -> None:
    printer.scalings = None
    client.send(PDF, name="box", media=BOX)
    client.send(PDF, name="bag", media=BAG)
    asked = [one for one in printer.requests if one.code == PRINT_JOB]
    assert [bool(one.groups[1].values("print-scaling")) for one in asked] == [
        True,
        False,
        False,
    ]
    assert [one.name for one in printer.jobs] == ["box", "bag"]


def test_validating_learns_that_a_printer_does_not_know_scaling(
    printer: FakePrinter, client: IppPrinter
) -> None:
    printer.scalings, printer.ignores = None, {"print-scaling"}
    client.validate(name="box", media=BOX)
    client.send(PDF, name="box", media=BOX)
    assert printer.jobs[0].scaling == ""


def test_a_printer_without_pdf_is_told_before_anything_is_sent(
    printer: FakePrinter, client: IppPrinter
) -> None:
    printer.formats = ["image/pwg-raster", "application/octet-stream"]
    for call in (
        lambda: client.validate(name="box", media=BOX),
        lambda: client.send(PDF, name="box", media=BOX),
    ):
        fault = fault_of(call)
        assert (fault.code, fault.sent, fault.again) == ("printer_no_pdf", False, False)
        assert "image/pwg-raster" in sentence(fault)
        assert "queue" in sentence(fault)
    assert {one.code for one in printer.requests} == {GET_PRINTER}


def test_a_size_that_the_printer_has_not_is_told_with_those_it_has(
    printer: FakePrinter, client: IppPrinter
) -> None:
    fault = fault_of(client.send, PDF, name="set", media=Media(50_000, 25_400))
    assert fault.code == "printer_media_missing"
    assert fault.params == {"asked": "50 × 25.4 mm", "sizes": "100 × 150, 70 × 40"}
    assert [one.code for one in printer.requests] == [GET_PRINTER]


def test_a_size_is_refused_by_a_printer_that_does_not_list_its_sizes(
    printer: FakePrinter, client: IppPrinter
) -> None:
    printer.more = [
        attribute("media-size-supported", Tag.KEYWORD, "no-list"),
        attribute("media-col-ready", Tag.KEYWORD, "no-list"),
    ]
    fault = fault_of(client.validate, name="set", media=Media(50_000, 25_000))
    assert (fault.code, fault.sent) == ("printer_media_missing", False)
    assert fault.params["sizes"] == "-"
    client.validate(name="box", media=BOX)


@pytest.mark.parametrize("name", ["media-col", "print-scaling"])
def test_a_job_whose_wishes_are_not_kept_is_cancelled_and_told(
    printer: FakePrinter, client: IppPrinter, name: str
) -> None:
    # RFC 8010 A.4: a success that names what was ignored.
    printer.ignores = {name}
    fault = fault_of(client.send, PDF, name="box", media=BOX)
    assert (fault.code, fault.sent, fault.again) == ("printer_substitutes", True, False)
    assert fault.params["names"] == name
    assert [one.state for one in printer.jobs] == ["canceled"]
    assert fault_of(client.validate, name="box", media=BOX).code in {
        "printer_media_missing",
        "printer_refused",
    }


def test_that_the_cancelling_failed_does_not_hide_that_wishes_are_not_kept(
    printer: FakePrinter, client: IppPrinter
) -> None:
    printer.ignores = {"media-col"}
    printer.fail("close", CANCEL_JOB)
    fault = fault_of(client.send, PDF, name="box", media=BOX)
    assert (fault.code, fault.sent) == ("printer_substitutes", True)
    assert [one.state for one in printer.jobs] == ["pending"]


@pytest.mark.parametrize(
    ("named", "code"),
    [
        ({"name": "é" * 128}, "printer_text_too_long"),
    ],
)
def test_what_no_printer_takes_is_refused_before_anything_is_sent(
    printer: FakePrinter, client: IppPrinter, named: dict[str, Any], code: str
) -> None:
    client.facts()
    with pytest.raises(Refused) as caught:
        client.send(PDF, **{"name": "box", "media": BOX, **named})
    assert caught.value.code == code
    assert f"({code})" not in sentence(caught.value)
    assert len(printer.requests) == 1


def test_a_name_may_have_255_octets(printer: FakePrinter, client: IppPrinter) -> None:
    client.send(PDF, name="é" * 127 + "a", media=BOX)
    assert printer.jobs[0].name == "é" * 127 + "a"
