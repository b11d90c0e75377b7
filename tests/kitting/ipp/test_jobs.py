"""Following jobs, finding one whose answer was lost, cancelling."""

from __future__ import annotations

import pytest

from kitting.ipp.client import MOST_JOBS, Found, IppPrinter
from tests.kitting.ipp.asking import BOX, PDF, fault_of
from tests.kitting.ipp.fake_printer import GET_JOB, GET_JOBS, PRINT_JOB, FakePrinter


def test_a_job_is_followed_to_its_end(printer: FakePrinter, client: IppPrinter) -> None:
    job = client.send(PDF, name="box", media=BOX)
    seen = [client.job(job.id) for _ in range(3)]
    assert [one.state for one in seen] == ["processing", "completed", "completed"]
    assert [one.ended for one in seen] == [False, True, True]


@pytest.mark.parametrize(
    "state",
    ["pending", "held", "processing", "stopped", "canceled", "aborted", "completed"],
)
def test_every_state_of_a_job_is_told(
    printer: FakePrinter, client: IppPrinter, state: str
) -> None:
    job = client.send(PDF, name="box", media=BOX)
    made = printer.jobs[0]
    made.moves, made.state = False, state
    made.reasons, made.message = ["printer-stopped", "none"], "Waits for labels."
    told = client.job(job.id)
    assert (told.state, told.name) == (state, "box")
    assert (told.reasons, told.message) == (("printer-stopped",), "Waits for labels.")


def test_a_job_is_cancelled_once(printer: FakePrinter, client: IppPrinter) -> None:
    job = client.send(PDF, name="box", media=BOX)
    client.cancel(job.id)
    assert client.job(job.id).state == "canceled"
    fault = fault_of(client.cancel, job.id)
    assert fault.code == "printer_refused"
    assert fault.params["status"] == "client-error-not-possible"


def test_a_job_that_the_printer_does_not_know_is_told(
    printer: FakePrinter, client: IppPrinter
) -> None:
    job = client.send(PDF, name="box", media=BOX)
    printer.restart()
    for call in (client.job, client.cancel):
        assert fault_of(call, job.id).code == "printer_no_such_job"
    printer.refuse(0x0407, GET_JOB)  # client-error-gone
    assert fault_of(client.job, job.id).code == "printer_no_such_job"


def test_an_answer_about_another_job_is_not_taken(
    printer: FakePrinter, client: IppPrinter
) -> None:
    job = client.send(PDF, name="box", media=BOX)
    printer.fail("no_groups", GET_JOB)
    assert fault_of(client.job, job.id).code == "printer_answer_wrong"
    printer.fail("other_job", GET_JOB)
    fault = fault_of(client.job, job.id)
    assert fault.code == "printer_answer_wrong"
    assert fault.params["why"] == "it says nothing about the job"


def test_a_job_whose_answer_was_lost_is_found(
    printer: FakePrinter, client: IppPrinter
) -> None:
    before = client.facts().up_time
    printer.fail("lose", PRINT_JOB)
    assert fault_of(client.send, PDF, name="box 7", media=BOX).sent
    found = client.find("box 7", since_up=before)
    assert found.job is not None
    assert (found.job.id, found.sure) == (1, True)
    client.job(1)
    client.job(1)
    again = client.find("box 7", since_up=before)
    assert again.job is not None
    assert again.job.state == "completed"
    assert len(printer.jobs) == 1


def test_of_several_jobs_of_a_name_the_newest_is_found(
    printer: FakePrinter, client: IppPrinter
) -> None:
    printer.remember("box 7")
    newest = client.send(PDF, name="box 7", media=BOX)
    found = client.find("box 7", since_up=None)
    assert found.job is not None
    assert found.job.id == newest.id


def test_a_job_that_never_arrived_is_surely_not_there(
    printer: FakePrinter, client: IppPrinter
) -> None:
    printer.remember()
    before = client.facts().up_time
    printer.fail("close", PRINT_JOB)
    assert fault_of(client.send, PDF, name="box 7", media=BOX).sent
    assert client.find("box 7", since_up=before) == Found(None, sure=True)
    # Names are compared whole.
    printer.remember("box 77")
    assert client.find("box 7", since_up=before) == Found(None, sure=True)


def spoil(printer: FakePrinter, how: str) -> int | None:
    """Make the printer's list prove nothing; give the up time that is asked with."""
    before = printer.up_time
    if how == "restarted":
        printer.restart()
        printer.remember(ended_at=1)
    elif how == "hides names":
        printer.hides_names = True
    elif how == "lists nothing":
        printer.lists_jobs = False
    elif how == "forgot":
        printer.forget()
    elif how == "remembers only later jobs":
        printer.jobs[0].ended_at = (before or 0) + 1
    elif how == "lists as many as were asked for":
        for _ in range(MOST_JOBS):
            printer.remember()
    elif how == "tells no up time":
        printer.up_time = None
    elif how == "was not asked before":
        return None
    return before


@pytest.mark.parametrize(
    "how",
    [
        "restarted",
        "hides names",
        "lists nothing",
        "forgot",
        "remembers only later jobs",
        "lists as many as were asked for",
        "tells no up time",
        "was not asked before",
    ],
)
def test_a_list_that_proves_nothing_is_not_sure(
    printer: FakePrinter, client: IppPrinter, how: str
) -> None:
    printer.remember()
    assert client.find("box 7", since_up=printer.up_time).sure
    before = spoil(printer, how)
    assert client.find("box 7", since_up=before) == Found(None, sure=False)


def test_a_busy_printer_is_asked_for_its_jobs_again_later(
    printer: FakePrinter, client: IppPrinter
) -> None:
    printer.refuse(0x0507, GET_JOBS)
    fault = fault_of(client.find, "box 7", since_up=1)
    assert (fault.code, fault.again) == ("printer_busy", True)
