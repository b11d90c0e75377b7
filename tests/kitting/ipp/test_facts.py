"""What a printer says of itself, and what is made of it."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitting.ipp.client import IppPrinter
from kitting.ipp.facts import Media, read_job, read_printer
from kitting.ipp.message import Attribute, Group, Range, Resolution, Tag, Value
from kitting.ipp.requests import ABOUT_JOB, ABOUT_PRINTER
from tests.kitting.ipp.asking import BOX, PDF, fault_of
from tests.kitting.ipp.fake_printer import FakePrinter
from tests.kitting.ipp.fake_values import attribute, collection, get, size
from tests.kitting.ipp.test_codec import VALUES


def test_a_printer_tells_about_itself(printer: FakePrinter, client: IppPrinter) -> None:
    printer.state, printer.message = "processing", "Printing box 7."
    printer.reasons = ["media-low-warning", "none"]
    facts = client.facts()
    assert (facts.state, facts.message) == ("processing", "Printing box 7.")
    assert facts.reasons == ("media-low-warning",)
    assert facts.formats == ("application/pdf", "image/pwg-raster")
    assert facts.media == ((100_000, 150_000), (70_000, 40_000))
    assert facts.ready == ((100_000, 150_000),)
    assert facts.resolutions == ((203, 203),)
    assert facts.operations == {2, 4, 8, 9, 10, 11}
    assert facts.up_time == 1_001
    assert (facts.name, facts.model) == ("fake", "A printer for tests")
    assert facts.accepting
    assert facts.can_scale_none


def test_a_request_says_what_rfc_8011_demands(
    printer: FakePrinter, client: IppPrinter
) -> None:
    client.facts()
    client.facts()
    first, second = printer.requests
    assert first.version == (2, 0)
    assert first.request_id != second.request_id
    operation = first.groups[0]
    assert [one.name for one in operation.attributes] == [
        "attributes-charset",
        "attributes-natural-language",
        "printer-uri",
        "requesting-user-name",
        "requested-attributes",
    ]
    assert get(operation, "attributes-charset") == "utf-8"
    assert get(operation, "printer-uri") == printer.url
    assert get(operation, "requesting-user-name") == "packer"


def test_an_older_printer_is_spoken_to_in_its_version(
    printer: FakePrinter, client: IppPrinter
) -> None:
    printer.versions = [(1, 1)]
    job = client.send(PDF, name="box 7", media=BOX)
    assert [one.version for one in printer.requests] == [(2, 0), (1, 1), (1, 1)]
    assert [one.pdf for one in printer.jobs] == [PDF]
    assert job.id == 1


def test_a_printer_of_no_known_version_is_a_refusal(
    printer: FakePrinter, client: IppPrinter
) -> None:
    printer.versions = []
    fault = fault_of(client.facts)
    assert fault.code == "printer_refused"
    assert fault.params["status"] == "server-error-version-not-supported"


# Sizes of each kind: PWG 5101.1 §5.1 (names), PWG 5100.7 (media-col-database).
@pytest.mark.parametrize(
    ("told", "media", "custom"),
    [
        (
            attribute("media-supported", Tag.KEYWORD, "om_label_100x150mm", "auto"),
            ((100_000, 150_000),),
            (),
        ),
        (
            attribute("media-supported", Tag.KEYWORD, "na_index-4x6_4x6in"),
            ((101_600, 152_400),),
            (),
        ),
        (
            attribute("media-ready", Tag.NAME, "oe_photo-l_3.5x5in"),
            ((88_900, 127_000),),
            (),
        ),
        (
            attribute(
                "media-supported",
                Tag.KEYWORD,
                "custom_min_19x6.35mm",
                "custom_max_104x991mm",
            ),
            (),
            (((19_000, 104_000), (6_350, 991_000)),),
        ),
        (
            Attribute(
                "media-size-supported",
                (
                    collection(size(5_000, 2_500)),
                    collection(size(Range(1_900, 10_400), Range(635, 99_100))),
                ),
            ),
            ((50_000, 25_000),),
            (((19_000, 104_000), (6_350, 991_000)),),
        ),
        (
            Attribute(
                "media-col-database",
                (
                    collection(
                        (Attribute("media-size", (collection(size(5_000, 2_500)),)),)
                    ),
                ),
            ),
            ((50_000, 25_000),),
            (),
        ),
        # Nothing of this is a size.
        (
            attribute("media-supported", Tag.KEYWORD, "om_none_0x0mm", "na_letter"),
            (),
            (),
        ),
        (attribute("media-size-supported", Tag.INTEGER, 7), (), ()),
        (Attribute("media-size-supported", (collection(size(-1, 5)),)), (), ()),
        (Attribute("media-size-supported", (collection(()),)), (), ()),
    ],
)
def test_sizes_are_read_in_every_form_in_which_printers_tell_them(
    told: Attribute, media: object, custom: object
) -> None:
    facts = read_printer(Group(4, (told,)))
    assert (facts.media, facts.custom) == (media, custom)


@pytest.mark.parametrize(
    ("media", "takes"),
    [
        (Media(100_000, 150_000), True),
        (Media(100_400, 149_600), True),  # Half a millimetre is rounding.
        (Media(100_000, 150_600), False),
        (Media(101_600, 152_400), False),  # 4 × 6 in is another label.
        (Media(150_000, 100_000), False),  # So is a turned one.
        (Media(30_000, 20_000), True),  # In the span.
        (Media(30_000, 9_000), False),
    ],
)
def test_a_size_is_among_the_printers_or_not(media: Media, takes: bool) -> None:
    told = (
        attribute("media-supported", Tag.KEYWORD, "om_label_100x150mm"),
        Attribute(
            "media-size-supported",
            (collection(size(Range(2_000, 4_000), Range(1_000, 3_000))),),
        ),
    )
    assert read_printer(Group(4, told)).takes(media) is takes


def test_resolutions_in_dots_per_centimetre_are_told_per_inch() -> None:
    values = (
        Value(Tag.RESOLUTION, Resolution(80, 118, 4)),
        Value(Tag.RESOLUTION, Resolution(0, 9, 3)),
    )
    facts = read_printer(Group(4, (Attribute("printer-resolution-supported", values),)))
    # 8 and 11.8 dots a millimetre are what is sold as 203 and 300 dpi (common practice).
    assert facts.resolutions == ((203, 300),)


def test_states_of_no_known_number_are_unknown() -> None:
    told = attribute("printer-state", Tag.ENUM, 77)
    assert read_printer(Group(4, (told,))).state == "unknown"
    assert read_printer(Group(4)).state == "unknown"
    job = read_job(
        Group(
            2,
            (attribute("job-id", Tag.INTEGER, 4), attribute("job-state", Tag.ENUM, 77)),
        )
    )
    assert job is not None
    assert (job.state, job.ended) == ("unknown", False)


def test_words_of_a_printer_are_fit_to_be_shown(
    printer: FakePrinter, client: IppPrinter
) -> None:
    printer.message = "Out\x00 of\r\n\x1b[31mlabels\u202e" + " now" * 200
    printer.reasons = ["media-empty", "<b>bold</b>", "Spaces in it"]
    facts = client.facts()
    assert facts.message.startswith("Out of [31mlabels now now")
    assert facts.message.isprintable()
    assert len(facts.message) <= 200
    assert facts.reasons == ("media-empty",)


KNOWN = st.sampled_from([*ABOUT_PRINTER, *ABOUT_JOB])
TOLD = st.builds(Attribute, KNOWN, st.lists(VALUES, min_size=1, max_size=3).map(tuple))


@given(st.builds(Group, st.just(4), st.lists(TOLD, max_size=12).map(tuple)))
def test_any_attributes_of_known_names_are_read(group: Group) -> None:
    facts = read_printer(group)
    assert facts.state in {"idle", "processing", "stopped", "unknown"}
    assert all(min(one) > 0 for one in facts.media)
    job = read_job(group)
    assert job is None or job.id > 0
