"""Asking a printer about itself, and sending it a test page."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from fractions import Fraction

import pytest
from django.utils import timezone
from pypdf import PdfReader

from kitting.domain.errors import Conflict, LotwardError, Missing, NotFit
from kitting.ipp.facts import Media
from kitting.ipp.facts import PrinterFacts as Facts
from kitting.models import Operation, Print, Printer, PrintJob, Workshop
from kitting.printing.beat import BEAT, MISSED, Beat
from kitting.printing.queries.printers import no_worker, worker_seen
from kitting.printing.report import report
from kitting.printing.services import printers as services
from kitting.printing.services import prints
from kitting.printing.services.printers import (
    Told,
    ask_printer,
    keep_printer,
    print_test_page,
)
from kitting.printing.services.stocks import keep_stock
from kitting.web.messages import ALL, sentence
from tests import factories
from tests.assertions import assert_refused
from tests.factories import NOW, sign
from tests.kitting.ipp.fake_printer import FakePrinter
from tests.printers import (
    A4_OF_BAGS,
    BOX_ROLL,
    Clock,
    make_printer,
    make_stock,
    reach,
    until_over,
)

pytestmark = pytest.mark.django_db

BOX = Media(100_000, 150_000)
EIGHT = Fraction(8)


@pytest.fixture
def printer(fake: FakePrinter) -> Printer:
    return make_printer(fake.url)


def ask(printer: Printer, **changes) -> Told:
    return ask_printer(printer_id=printer.pk, connect=reach, sign=sign(**changes))


def codes(told: Told) -> dict[str, str]:
    return {finding.code: finding.good for finding in told.findings}


# -- Asking ----------------------------------------------------------------------------


def test_a_printer_that_is_as_it_was_entered_says_yes_to_everything(
    fake: FakePrinter, printer: Printer
) -> None:
    told = ask(printer)
    assert told.answered
    assert codes(told) == {
        "printer_told_idle": "yes",
        "printer_takes_pdf": "yes",
        "printer_size_known": "yes",
        "printer_dots_agree": "yes",
        "printer_scales_nothing": "yes",
    }
    assert not fake.jobs


def test_who_asked_stands_in_the_journal(fake: FakePrinter, printer: Printer) -> None:
    one = sign()
    ask_printer(printer_id=printer.pk, connect=reach, sign=one)
    ask_printer(printer_id=printer.pk, connect=reach, sign=one)
    assert len(fake.requests) == 2
    act = Operation.objects.get(name="ask_printer")
    assert act.by == one.by
    assert '"told": "idle"' in act.link.outcome
    assert factories.prove() == []


def test_nothing_is_connected_to_under_somebody_elses_key(
    fake: FakePrinter, printer: Printer
) -> None:
    one = sign()
    ask_printer(printer_id=printer.pk, connect=reach, sign=one)
    other = replace(one, by=make_other())
    with pytest.raises(Conflict):
        ask_printer(printer_id=printer.pk, connect=reach, sign=other)
    assert len(fake.requests) == 1
    with pytest.raises(Missing):
        ask_printer(printer_id=1, connect=reach, sign=sign())


def make_other():
    from tests.factories import make_person

    return make_person()


# Reasons: RFC 8011 §5.4.12. What a printer leaves out is told as such, never guessed.
TELLING: list[tuple[Callable[[FakePrinter], None], str, str]] = [
    (lambda p: setattr(p, "state", "stopped"), "printer_told_stopped", "no"),
    (lambda p: setattr(p, "state", "processing"), "printer_told_processing", "yes"),
    (lambda p: setattr(p, "accepting", False), "printer_takes_no_jobs", "no"),
    (
        lambda p: setattr(p, "reasons", ["media-empty-error"]),
        "printer_out_of_labels",
        "no",
    ),
    (
        lambda p: setattr(p, "reasons", ["media-low-warning"]),
        "printer_labels_low",
        "doubt",
    ),
    (lambda p: setattr(p, "formats", ["image/pwg-raster"]), "printer_no_pdf", "no"),
    (lambda p: setattr(p, "media", [(7_000, 4_000)]), "printer_media_missing", "no"),
    (
        lambda p: setattr(p, "ready", [(7_000, 4_000)]),
        "printer_size_not_loaded",
        "doubt",
    ),
    (lambda p: setattr(p, "scalings", ["auto"]), "printer_scaling_untold", "doubt"),
    (lambda p: setattr(p, "scalings", None), "printer_scaling_untold", "doubt"),
    (lambda p: p.fail("status", 0x000B, status=404), "printer_answer_wrong", "no"),
    (lambda p: p.stop(), "printer_unreachable", "no"),
    (lambda p: p.refuse(0x0507), "printer_busy", "no"),
]


@pytest.mark.parametrize(("tell", "code", "good"), TELLING)
def test_what_a_printer_tells_becomes_a_sentence(
    fake: FakePrinter,
    printer: Printer,
    tell: Callable[[FakePrinter], None],
    code: str,
    good: str,
) -> None:
    fake.ready = fake.media[:1]
    tell(fake)
    if code == "printer_media_missing":
        fake.ready = []
    told = ask(printer)
    assert codes(told).get(code) == good, codes(told)
    for finding in told.findings:
        said = sentence(LotwardError(finding.code, **finding.params))
        assert finding.code in ALL
        assert said.endswith(".")
        assert "pass the code on" not in said


def test_an_address_that_may_not_be_reached_any_more_is_a_finding(
    printer: Printer,
) -> None:
    Printer.objects.update(address="ipp://169.254.169.254/latest/")
    told = ask(printer)
    assert codes(told) == {"printer_address_not_allowed": "no"}
    assert not told.answered


def facts(**changes) -> Facts:
    values = {
        "state": "idle",
        "reasons": (),
        "message": "",
        "accepting": True,
        "formats": (),
        "media": (),
        "ready": (),
        "custom": (),
        "resolutions": (),
        "operations": frozenset(),
        "up_time": None,
        "name": "",
        "model": "",
        "can_scale_none": False,
        "scalings": (),
        **changes,
    }
    return Facts(**values)


def test_a_printer_that_tells_nothing_is_to_be_looked_at() -> None:
    found = {one.code: one.good for one in report(facts(state="?"), BOX, EIGHT)}
    assert found == dict.fromkeys(
        (
            "printer_told_unknown",
            "printer_formats_untold",
            "printer_sizes_untold",
            "printer_dots_untold",
            "printer_scaling_untold",
        ),
        "doubt",
    )


@pytest.mark.parametrize(
    ("told", "head", "code"),
    [
        # 25.4 mm to the inch: 8 to the mm are 203.2 to the inch, sold as 203; 12 are
        # 304.8, which is not 300; 24 are 609.6.
        ([(203, 203)], (8, 1000), "printer_dots_agree"),
        ([(300, 300)], (8, 1000), "printer_dots_differ"),
        ([(300, 300)], (12, 1000), "printer_dots_differ"),
        ([(305, 305)], (12, 1000), "printer_dots_agree"),
        ([(300, 300)], (300, 25_400), "printer_dots_agree"),
        ([(600, 300)], (300, 25_400), "printer_dots_differ"),
        ([(150, 150), (600, 600)], (600, 25_400), "printer_dots_agree"),
        ([(600, 600)], (24, 1000), "printer_dots_differ"),
    ],
)
def test_dots_are_compared_with_those_entered(told, head, code: str) -> None:
    dots = Fraction(head[0] * 1000, head[1])
    found = report(facts(resolutions=tuple(told)), BOX, dots)
    assert code in {one.code for one in found}


def test_a_size_between_two_others_is_known() -> None:
    span = (((50_000, 104_000), (20_000, 300_000)),)
    found = {one.code for one in report(facts(custom=span), BOX, EIGHT)}
    assert "printer_size_known" in found


# -- A test page -----------------------------------------------------------------------


def test_a_test_page_goes_to_the_printer_and_stands_in_the_log(
    fake: FakePrinter, printer: Printer, clock: Clock
) -> None:
    tried = print_test_page(printer_id=printer.pk, sign=sign())
    job = PrintJob.objects.get(pk=tried.job)
    assert (job.kind, job.title, job.labels) == ("test", "BOX", 1)
    assert until_over(job, clock)[-1] == "done"
    logged = Print.objects.get()
    assert (logged.kind, logged.number, logged.copy) == ("test", "BOX", 1)
    pdf = fake.jobs[0].pdf
    assert pdf == prints.document_pdf(bytes(logged.pdf_sha))
    # RFC 8011 sends hundredths of a millimetre; PDF 32000-1: a point is 1/72 inch.
    assert fake.jobs[0].media == (10_000, 15_000)
    page = PdfReader(io.BytesIO(pdf)).pages[0]
    assert float(page.mediabox.width) / 72 * 25.4 == pytest.approx(100, abs=0.1)
    assert factories.prove() == []


def test_another_test_page_is_no_reprint(printer: Printer) -> None:
    one = sign()
    first, again = (print_test_page(printer_id=printer.pk, sign=one) for _ in range(2))
    assert first == again
    assert print_test_page(printer_id=printer.pk, sign=sign()).copy == 2
    newest = Print.objects.latest("copy")
    assert (newest.reason, newest.first) == ("Test page", None)


def test_a_test_page_has_the_dots_of_the_printer(fake: FakePrinter) -> None:
    make_stock(A4_OF_BAGS)
    made = make_printer(fake.url, A4_OF_BAGS)
    first = print_test_page(printer_id=made.pk, sign=sign())
    keep_printer(facts=services_facts(made, head_dots=12), was=made.code, sign=sign())
    second = print_test_page(printer_id=made.pk, sign=sign())
    assert first.pdf_sha != second.pdf_sha
    papers = Print.objects.order_by("copy").values_list("paper", flat=True)
    assert ["8/1000" in paper for paper in papers] == [True, False]


def services_facts(printer: Printer, **changes):
    from kitting.domain.stocks import PrinterFacts

    return replace(
        PrinterFacts(printer.code, printer.name, printer.address, printer.stock.code),
        **changes,
    )


def test_a_printer_out_of_use_or_with_tiny_labels_gets_no_test_page(
    fake: FakePrinter, printer: Printer
) -> None:
    keep_printer(facts=services_facts(printer, active=False), was="P1", sign=sign())
    with pytest.raises(Missing):
        print_test_page(printer_id=printer.pk, sign=sign())
    with pytest.raises(Missing):
        print_test_page(printer_id=1, sign=sign())
    small = make_printer(
        fake.url, replace(BOX_ROLL, code="TINY", width_um=40_000), code="P2"
    )
    with pytest.raises(NotFit) as error:
        print_test_page(printer_id=small.pk, sign=sign())
    assert_refused(error.value, "stock_too_small")
    assert not Print.objects.exists()


def test_a_printer_changed_while_the_page_was_drawn_gets_none(
    printer: Printer, monkeypatch: pytest.MonkeyPatch
) -> None:
    draw = services.test_page

    def slowly(*args, **kwargs):
        wider = replace(BOX_ROLL, width_um=101_000)
        keep_stock(facts=wider, was="BOX", sign=sign())
        return draw(*args, **kwargs)

    monkeypatch.setattr(services, "test_page", slowly)
    with pytest.raises(Conflict) as error:
        print_test_page(printer_id=printer.pk, sign=sign())
    assert_refused(error.value, "page_is_old")
    assert not PrintJob.objects.exists()


def test_a_test_page_of_other_bytes_is_not_passed_off_as_the_one_logged(
    printer: Printer, monkeypatch: pytest.MonkeyPatch
) -> None:
    tried = print_test_page(printer_id=printer.pk, sign=sign())
    page = prints.test_page
    monkeypatch.setattr(prints, "test_page", lambda on, name: page(on, name="NEW"))
    with pytest.raises(Conflict) as error:
        prints.document_pdf(bytes.fromhex(tried.pdf_sha))
    assert_refused(error.value, "record_has_changed", label="BOX")


# -- Whether anybody prints ------------------------------------------------------------


def test_a_worker_says_now_and_then_that_it_looks() -> None:
    assert worker_seen() is None
    beat = Beat()
    for seconds, seen in ((0, 0), (5, 0), (15, 15), (29, 15), (30, 30)):
        beat.give(NOW + timedelta(seconds=seconds))
        assert worker_seen() == NOW + timedelta(seconds=seen)
    beat.give(NOW - timedelta(hours=1))  # the clock was set back
    assert worker_seen() == NOW - timedelta(hours=1)
    assert timedelta(seconds=10) < BEAT * 2 < MISSED


def test_jobs_that_wait_for_nobody_are_noticed(printer: Printer, clock: Clock) -> None:
    assert not no_worker(NOW)
    tried = print_test_page(printer_id=printer.pk, sign=sign())
    assert no_worker(NOW)
    Workshop.objects.update(print_worker_at=NOW)
    assert not no_worker(NOW + MISSED)
    assert no_worker(NOW + MISSED + timedelta(seconds=1))
    until_over(PrintJob.objects.get(pk=tried.job), clock)
    assert not no_worker(timezone.now())
