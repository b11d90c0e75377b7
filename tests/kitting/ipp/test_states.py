"""What keeps a printer or a job from going on, in codes with sentences."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitting.domain.errors import PrinterFault
from kitting.ipp.client import IppPrinter
from kitting.ipp.facts import JobFacts
from kitting.ipp.states import Trouble, end_of, read_reasons, troubles, waits_of
from kitting.web.messages import sentence
from tests.kitting.ipp.fake_printer import FakePrinter

# RFC 8011 §5.4.12: every keyword of its list, but for 'none'.
RFC_8011 = {
    "other": "printer_trouble",
    "connecting-to-device": "printer_offline",
    "cover-open": "printer_open",
    "developer-empty": "printer_ribbon_out",
    "developer-low": "printer_ribbon_low",
    "door-open": "printer_open",
    "fuser-over-temp": "printer_trouble",
    "fuser-under-temp": "printer_trouble",
    "input-tray-missing": "printer_open",
    "interlock-open": "printer_open",
    "interpreter-resource-unavailable": "printer_trouble",
    "marker-supply-empty": "printer_ribbon_out",
    "marker-supply-low": "printer_ribbon_low",
    "marker-waste-almost-full": "printer_trouble",
    "marker-waste-full": "printer_trouble",
    "media-empty": "printer_out_of_labels",
    "media-jam": "printer_jam",
    "media-low": "printer_labels_low",
    "media-needed": "printer_out_of_labels",
    "moving-to-paused": "printer_paused",
    "opc-life-over": "printer_trouble",
    "opc-near-eol": "printer_trouble",
    "output-area-almost-full": "printer_output_full",
    "output-area-full": "printer_output_full",
    "output-tray-missing": "printer_trouble",
    "paused": "printer_paused",
    "shutdown": "printer_offline",
    "spool-area-full": "printer_trouble",
    "stopped-partly": "printer_trouble",
    "stopping": "printer_paused",
    "timed-out": "printer_offline",
    "toner-empty": "printer_ribbon_out",
    "toner-low": "printer_ribbon_low",
}
PASSING = {"connecting-to-device", "moving-to-paused", "spool-area-full", "stopping"}


def said(trouble: Trouble) -> str:
    text = sentence(PrinterFault(trouble.code, reason=trouble.reason))
    assert f"({trouble.code})" not in text
    return text


@pytest.mark.parametrize(("keyword", "code"), RFC_8011.items())
@pytest.mark.parametrize("severity", ["report", "warning", "error"])
def test_a_reason_of_the_standard_has_a_code(
    keyword: str, code: str, severity: str
) -> None:
    (trouble,) = read_reasons([f"{keyword}-{severity}"])
    assert (trouble.code, trouble.severity) == (code, severity)
    assert trouble.stops is (severity == "error")
    assert said(trouble)


@pytest.mark.parametrize("keyword", RFC_8011)
def test_a_reason_without_severity_is_an_error(keyword: str) -> None:
    # RFC 8011 §5.4.12: where no suffix is added, all assume an error. Its own
    # descriptions make of these four steps that pass.
    (trouble,) = read_reasons([keyword])
    assert trouble.severity == ("report" if keyword in PASSING else "error")


# Registered since, with PWG 5100.9 and others, or seen on print queues (from memory).
@pytest.mark.parametrize(
    ("keyword", "code"),
    [
        ("offline-report", "printer_offline"),
        ("media-path-jam-error", "printer_jam"),
        ("input-media-supply-empty", "printer_ribbon_out"),
        ("marker-print-ribbon-empty", "printer_ribbon_out"),
        ("marker-print-ribbon-almost-low", "printer_ribbon_low"),
        ("roll-cover-open-warning", "printer_open"),
        ("hold-new-jobs-paused", "printer_paused"),
        ("bander-output-almost-full", "printer_output_full"),
        ("com.example-flux-off", "printer_trouble"),
    ],
)
def test_other_reasons_are_told_by_their_words(keyword: str, code: str) -> None:
    assert read_reasons([keyword])[0].code == code


def test_the_worst_comes_first_and_each_code_once() -> None:
    found = read_reasons(
        [
            "media-low-report",
            "none",
            "media-needed-warning",
            "cover-open",
            "media-empty-error",
        ]
    )
    assert [(one.code, one.severity) for one in found] == [
        ("printer_open", "error"),
        ("printer_out_of_labels", "error"),
        ("printer_labels_low", "report"),
    ]


def test_a_printer_that_stands_without_saying_why_has_a_trouble(
    printer: FakePrinter, client: IppPrinter
) -> None:
    assert troubles(client.facts()) == ()
    printer.state = "stopped"
    (trouble,) = troubles(client.facts())
    assert (trouble.code, trouble.reason) == ("printer_trouble", "stopped")
    printer.reasons = ["media-empty-error"]
    (trouble,) = troubles(client.facts())
    assert (trouble.code, trouble.goes_on) == ("printer_out_of_labels", True)


def test_what_a_stopped_printer_reports_has_stopped_it(
    printer: FakePrinter, client: IppPrinter
) -> None:
    # Some call everything a report; that they are stopped is what counts.
    printer.reasons = ["media-low-warning", "cover-open-report"]
    assert [one.stops for one in troubles(client.facts())] == [False, False]
    printer.state = "stopped"
    assert [(one.code, one.stops) for one in troubles(client.facts())] == [
        ("printer_open", True),
        ("printer_labels_low", False),
    ]
    printer.reasons = ["media-low-report"]
    assert [(one.code, one.stops) for one in troubles(client.facts())] == [
        ("printer_trouble", True),
        ("printer_labels_low", False),
    ]


def test_the_steps_of_a_print_queue_stop_nothing(
    printer: FakePrinter, client: IppPrinter
) -> None:
    # What a CUPS 2.4 queue tells while a job is printed, as seen in November 2026.
    printer.state, printer.reasons = "processing", ["cups-waiting-for-job-completed"]
    assert [one.stops for one in troubles(client.facts())] == [False]
    # What is known, or called an error, is one: the queue prints, its printer stands.
    printer.reasons = ["media-empty", "com.example-broken-error"]
    assert [one.stops for one in troubles(client.facts())] == [True, True]


def test_sentences_say_whether_the_job_goes_on_by_itself() -> None:
    for keyword in RFC_8011:
        (trouble,) = read_reasons([keyword])
        text = said(trouble)
        assert "job" in text
        assert "goes on" in text
        assert ("whether the job goes on" in text) is not trouble.goes_on, trouble


# RFC 8011 §5.3.8: reasons of jobs that are on their way.
@pytest.mark.parametrize(
    "reason",
    [
        "job-incoming",
        "job-interpreting",
        "job-queued",
        "job-transforming",
        "job-queued-for-marker",
        "job-printing",
        "job-outgoing",
        "queued-in-device",
        "processing-to-stop-point",
        "job-restartable",
    ],
)
def test_a_job_on_its_way_waits_for_nothing(reason: str) -> None:
    assert waits_of(JobFacts(7, "processing", (reason,), "")) == ()


@pytest.mark.parametrize(
    ("reason", "code"),
    [
        ("job-hold-until-specified", "printer_job_held"),
        ("resources-are-not-ready", "printer_out_of_labels"),
        ("service-off-line", "printer_offline"),
        ("printer-stopped", "printer_trouble"),
        ("media-needed", "printer_out_of_labels"),  # No reason of jobs, but said.
    ],
)
def test_a_job_tells_what_it_waits_for(reason: str, code: str) -> None:
    (trouble,) = waits_of(JobFacts(7, "stopped", ("job-printing", reason), ""))
    assert (trouble.code, trouble.stops) == (code, True)
    assert said(trouble)
    assert waits_of(JobFacts(7, "completed", (reason,), "")) == ()


@given(st.lists(st.text(max_size=40), max_size=8))
def test_any_words_are_some_trouble(reasons: list[str]) -> None:
    found = read_reasons(reasons)
    assert bool(found) is any(reason != "none" for reason in reasons)
    assert len({one.code for one in found}) == len(found)


@pytest.mark.parametrize(
    ("state", "code"),
    [
        ("aborted", "printer_job_aborted"),
        ("canceled", "printer_job_canceled"),
        ("completed", None),
        ("processing", None),
        ("unknown", None),
    ],
)
def test_a_job_that_ended_without_labels_says_why(state: str, code: str | None) -> None:
    job = JobFacts(7, state, ("aborted-by-system", "document-format-error"), "")
    found = end_of(job)
    assert (found.code if found else None) == code
    if found:
        assert "aborted-by-system, document-format-error" in said(found)
        told = end_of(JobFacts(7, state, (), "No page description."))
        assert told is not None
        assert "No page description." in said(told)
