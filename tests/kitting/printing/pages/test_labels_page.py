"""The pages of print jobs: how they stand, and what is decided about them."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from kitting.domain.prints import DESTROYED, Again
from kitting.models import Print, Printer, PrintJob, User
from kitting.printing.services.printers import print_test_page
from kitting.printing.services.prints import print_labels
from tests import factories
from tests.assertions import (
    assert_page,
    assert_part,
    assert_problem,
    assert_sent_to_sign_in,
    text_of,
)
from tests.benches import make_packing
from tests.databases import once_a_module
from tests.factories import NOW, sign
from tests.kitting.printing.pages.asking import (
    NOWHERE,
    become,
    keyed,
    pdf,
    places,
    queue,
    words,
)
from tests.printers import BAG_ROLL, make_printer

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("printer")]


@once_a_module
def printer() -> None:
    make_printer(NOWHERE, BAG_ROLL)


# -- The page of print jobs -------------------------------------------------------------


@pytest.mark.parametrize("path", ["", "log/", "jobs/1/"])
def test_only_who_prints_labels_sees_them(
    path: str, client_for: Callable[[User], Client], outsider: User
) -> None:
    assert_sent_to_sign_in(Client().get(f"/labels/{path}"))
    assert client_for(outsider).get(f"/labels/{path}").status_code == 403


@pytest.mark.parametrize("act", ["cancel", "again", "settle"])
def test_only_who_prints_labels_decides_about_a_job(
    act: str, client: Client, client_for: Callable[[User], Client], outsider: User
) -> None:
    job = become(queue(), "failed")
    address = f"/labels/jobs/{job.pk}/{act}/"
    assert_sent_to_sign_in(Client().post(address, keyed()))
    assert client_for(outsider).post(address, keyed()).status_code == 403
    assert client.get(address).status_code == 405
    assert client.post(f"/labels/jobs/1/{act}/", keyed()).status_code == 404
    assert_problem(client.post(address, {"op_key": "x"}), "invalid")
    job.refresh_from_db()
    assert job.state == "failed"


def test_nothing_was_printed_yet(client: Client) -> None:
    page = client.get("/labels/")
    assert_page(page)
    said = words(page)
    assert "No print job is on its way, none failed; 0 labels" in said
    assert "hx-get" not in page.content.decode()


def test_the_answer_counts_jobs_and_the_labels_of_this_week(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    # 2026-01-14 is a Wednesday: what was printed on Sunday is of the week before.
    assert NOW.date().isoformat() == "2026-01-14"
    codes = places(2)
    sunday = sign(now=NOW - timedelta(days=3))
    print_labels(kind="place", numbers=codes[:1], sign=sunday)
    pdf(codes[1])
    become(queue(*places(3)), "done", document=None)
    queue(*places(4))  # not out yet
    become(queue(*places(5)), "failed")  # never came out
    monkeypatch.setattr(timezone, "now", lambda: NOW + timedelta(hours=1))
    said = words(client.get("/labels/")).replace(" ,", ",").replace(" ;", ";")
    assert "1 print job is on its way, 1 failed; 4 labels were printed" in said


def test_every_slip_of_a_box_is_a_label(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    at = make_packing()
    box = factories.make_closed_box(at.size, at.bench)  # its label is not printed yet
    before = Print.objects.count()
    print_labels(kind="set_slip", numbers=[str(box)], sign=sign())
    monkeypatch.setattr(timezone, "now", lambda: NOW + timedelta(hours=1))
    assert Print.objects.count() == before + 1
    assert client.get("/labels/").context["printed"] == before + at.size.sets


def test_a_test_page_is_no_label(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    printer = Printer.objects.get()
    done = print_test_page(printer_id=printer.pk, sign=sign())
    job = PrintJob.objects.get(pk=done.job)
    become(job, "done", document=None)
    monkeypatch.setattr(timezone, "now", lambda: NOW + timedelta(hours=1))
    page = client.get("/labels/")
    assert page.context["printed"] == 0
    assert "Test page" in words(page)
    assert "Test page" in words(client.get("/labels/log/"))
    assert "test page" in words(client.get(f"/labels/jobs/{job.pk}/"))


@pytest.mark.smoke
def test_jobs_stand_newest_first_with_what_is_wrong(client: Client) -> None:
    first = become(queue(), "printing", trouble="printer_out_of_labels", told={})
    second = become(
        queue(), "failed", trouble="printer_job_aborted", told={"reason": "aborted"}
    )
    page = client.get("/labels/")
    assert [job.pk for job, _form in page.context["jobs"]] == [second.pk, first.pk]
    said = words(page)
    assert "The printer has no labels of this stock. Load a roll" in said
    assert "The printer stopped the job: aborted." in said
    assert said.count("Send again") == 1
    assert said.count("Cancel") == 1


def test_a_trouble_without_its_figures_still_says_something(client: Client) -> None:
    become(queue(), "failed", trouble="printer_job_aborted", told={})
    assert "(printer_job_aborted)" in words(client.get("/labels/"))


def test_the_page_looks_again_while_a_job_is_on_its_way(
    client: Client, hx: dict[str, str]
) -> None:
    job = queue()
    page = client.get("/labels/?jobs=way")
    asks = 'hx-get="/labels/?jobs=way" hx-trigger="every 3s"'
    assert asks in text_of(page)
    assert "Look again" in words(page)
    assert_part(client.get("/labels/", headers=hx), "labels")
    own = client.get(f"/labels/jobs/{job.pk}/", headers=hx)
    assert_part(own, "label-job")
    assert 'hx-trigger="every 3s"' in own.content.decode()
    become(job, "done", document=None)
    for address in ("/labels/", f"/labels/jobs/{job.pk}/"):
        assert "every 3s" not in client.get(address).content.decode()


def test_the_filter_stands_in_the_address(client: Client) -> None:
    way = queue()
    failed = become(queue(), "failed")
    done = become(queue(), "done", document=None)
    stopped = become(queue(), "cancelled", document=None)
    chosen = {
        "": {way, failed, done, stopped},
        "way": {way},
        "failed": {failed},
        "over": {done, stopped},
        "nonsense": {way, failed, done, stopped},
    }
    for only, jobs in chosen.items():
        page = client.get("/labels/", {"jobs": only})
        assert {job for job, _form in page.context["jobs"]} == jobs, only
    file = client.get("/labels/", {"jobs": "failed", "as": "csv"})
    rows = list(csv.reader(io.StringIO(file.getvalue().decode("utf-8-sig"))))
    assert [row[0] for row in rows[1:]] == [str(failed.pk)]


def test_jobs_beyond_a_page_have_one_of_their_own(
    client: Client, django_assert_max_num_queries: Any
) -> None:
    for code in places(26):
        queue(code)
    with django_assert_max_num_queries(20):
        page = client.get("/labels/")
    assert len(page.context["jobs"]) == 25
    assert len(client.get("/labels/?page=2").context["jobs"]) == 1


def test_somebody_is_told_that_no_worker_runs(client: Client) -> None:
    assert "No print worker" not in words(client.get("/labels/"))
    job = queue()
    for address in ("/labels/", f"/labels/jobs/{job.pk}/"):
        assert "No print worker is running" in words(client.get(address))


# -- What is decided about a job ----------------------------------------------------------


@pytest.mark.smoke
def test_a_job_is_cancelled_once(client: Client) -> None:
    job, sent = queue(), keyed()
    address = f"/labels/jobs/{job.pk}/cancel/"
    for _ in range(2):
        done = client.post(address, sent)
        assert done.headers["Location"] == f"/labels/jobs/{job.pk}/"
    job.refresh_from_db()
    assert (job.state, job.document) == ("cancelled", None)
    assert "Nothing of it came out" in words(client.get(f"/labels/jobs/{job.pk}/"))
    assert_problem(client.post(address, keyed()), "job_is_over", status=409)


def test_a_printer_is_asked_to_give_a_job_up(client: Client) -> None:
    job = become(queue(), "printing", ipp_job=7)
    address = f"/labels/jobs/{job.pk}/"
    assert client.post(f"{address}cancel/", keyed()).status_code == 302
    page = words(client.get(address))
    assert "The printer is asked to stop it." in page
    assert "Cancel the print job" not in page
    page = client.get("/labels/")
    assert 'class="stop"' not in page.content.decode()


@pytest.mark.smoke
def test_what_did_not_come_out_is_sent_again(client: Client) -> None:
    job = become(queue(), "failed", trouble="printer_job_aborted", told={"reason": "x"})
    address = f"/labels/jobs/{job.pk}/"
    assert "none of its labels came out" in words(client.get(address))
    assert "They did come out" not in words(client.get(address))
    assert client.post(f"{address}again/", keyed()).status_code == 302
    job.refresh_from_db()
    assert (job.state, job.trouble) == ("queued", "")
    assert Print.objects.count() == 1
    refused = client.post(f"{address}again/", keyed())
    assert_problem(refused, "job_not_failed", status=409)


def test_where_labels_may_be_out_somebody_looks_first(client: Client) -> None:
    job = become(queue(), "failed", unsure=True)
    address = f"/labels/jobs/{job.pk}/"
    assert "Look, then say" in words(client.get("/labels/"))
    assert "Send again" not in words(client.get("/labels/"))
    assert "some of its labels may have come out" in words(client.get(address))
    refused = client.post(f"{address}again/", keyed())
    assert_problem(refused, "job_may_have_printed", status=409)
    sent = keyed(nothing_out="on")
    assert client.post(f"{address}again/", sent).status_code == 302
    job.refresh_from_db()
    assert job.state == "queued"


def test_what_did_come_out_is_said(client: Client) -> None:
    job = become(queue(*places(2)), "failed", unsure=True)
    address = f"/labels/jobs/{job.pk}/"
    assert "Some came out" in words(client.get(address))
    assert client.post(f"{address}settle/", keyed()).status_code == 302
    job.refresh_from_db()
    assert job.state == "done"
    assert "they came out" in words(client.get(address))
    refused = client.post(f"{address}settle/", keyed())
    assert_problem(refused, "job_not_failed", status=409)


@pytest.mark.smoke
def test_a_job_whose_labels_were_printed_again_waits_for_nobody(
    client: Client,
) -> None:
    codes = places(2)
    job = become(queue(*codes), "failed")
    address = f"/labels/jobs/{job.pk}/"
    pdf(codes[0], again=Again("Torn", DESTROYED))
    assert client.get("/labels/").context["failed"] == 1
    pdf(codes[1], again=Again("Torn", DESTROYED))
    page = client.get("/labels/")
    assert page.context["failed"] == 0
    assert "Its labels were printed again since." in words(page)
    assert "Send again" not in words(page)
    assert "Send again" not in words(client.get(address))
