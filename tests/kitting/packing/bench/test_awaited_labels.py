"""What a bench says while its closed box waits for a label from a printer."""

from __future__ import annotations

import pytest
from django.urls import reverse

from kitting.models import Print, PrintJob
from kitting.packing.services.plan import plan_day
from tests import factories
from tests.assertions import assert_sent_to_sign_in
from tests.benches import Packing, packed_before, page_of, step, words
from tests.databases import once_a_module
from tests.printers import BOX_ROLL, make_printer

pytestmark = pytest.mark.django_db

NOWHERE = "ipp://printer.example/ipp/print"


@once_a_module
def printer(at: Packing):
    return make_printer(NOWHERE, BOX_ROLL, bench=at.bench)


@once_a_module
def job(at: Packing, printer) -> PrintJob:
    """The label of the box that was just closed, queued for the bench's printer."""
    packed_before(at, "ACT-BOX-6", *(bag.number for bag in at.bags), "ACT-CLOSE")
    return PrintJob.objects.get()


def become(job: PrintJob, state: str, **values: object) -> None:
    PrintJob.objects.filter(pk=job.pk).update(state=state, **values)


def label_of(at: Packing) -> str:
    return reverse("kitting:bench-label", args=[at.bench.code])


def test_only_who_packs_asks_for_it(client, at: Packing, client_for, outsider) -> None:
    from django.test import Client

    assert_sent_to_sign_in(Client().get(label_of(at)))
    assert client_for(outsider).get(label_of(at)).status_code == 403
    assert client.get("/bench/NOWHERE/label/").status_code == 404


def test_a_bench_that_keeps_going_can_be_stopped_while_the_label_is_on_its_way(
    client, at: Packing, job: PrintJob
) -> None:
    stop = "Stop after this box"
    assert stop not in words(client.get(label_of(at)))
    plan_day(day=factories.TODAY, wanted={at.size.pk: 2}, sign=factories.sign())
    for address in (label_of(at), page_of(at)):
        said = words(client.get(address))
        assert stop in said
        assert "Print again" not in said


def test_the_label_is_on_its_way_to_the_printer_by_name(
    client, at: Packing, job: PrintJob, printer
) -> None:
    page = client.get(page_of(at))
    assert step(page) == "label"
    said = words(page)
    assert f"its label is on its way to {printer.name}" in said
    assert "Open the label" not in said
    assert "Print again" not in said
    assert 'hx-trigger="every 3s"' in page.content.decode()


def test_a_trouble_stands_in_next_as_a_sentence(
    client, at: Packing, job: PrintJob
) -> None:
    become(job, "printing", trouble="printer_out_of_labels", told={})
    said = words(client.get(page_of(at)))
    assert "The printer has no labels of this stock. Load a roll" in said
    assert "See the print job" not in said, "the sentence needs the room"
    become(
        job, "queued", trouble="printer_unreachable", told={"address": "a", "why": "b"}
    )
    said = words(client.get(page_of(at)))
    assert "See the print job" in said, "nobody has to wait for it"


@pytest.mark.smoke
def test_a_failed_label_says_so_and_can_be_had_otherwise(
    client, at: Packing, job: PrintJob
) -> None:
    told = {"reason": "aborted"}
    become(job, "failed", trouble="printer_job_aborted", told=told, unsure=True)
    said = words(client.get(page_of(at)))
    assert "The label failed at" in said
    assert "If it did come out, stick it on and scan it." in said
    for act in ("See the print job", "Open the label", "Print again"):
        assert act in said


@pytest.mark.parametrize("unsure", [False, True])
def test_a_cancelled_label_is_printed_again(
    client, at: Packing, job: PrintJob, *, unsure: bool
) -> None:
    become(job, "cancelled", document=None, unsure=unsure)
    said = words(client.get(page_of(at)))
    assert "The print of the label was cancelled" in said
    assert ("It did not come out." in said) is not unsure
    assert "Print again" in said


@pytest.mark.smoke
def test_a_label_that_came_out_is_stuck_on(client, at: Packing, job: PrintJob) -> None:
    become(job, "done", document=None)
    page = client.get(page_of(at))
    assert "stick its label on, then scan it" in words(page)
    assert "hx-trigger" not in page.content.decode()


def test_nothing_is_swapped_while_nothing_changes(
    client, at: Packing, job: PrintJob
) -> None:
    seen = client.get(page_of(at)).context["screen"].print_seen
    assert client.get(label_of(at), {"seen": seen}).status_code == 204
    become(job, "printing", trouble="printer_jam", told={})
    fresh = client.get(label_of(at), {"seen": seen})
    assert fresh.status_code == 200
    assert fresh.content.decode().count('id="bench-print"') == 1
    assert 'id="scan"' not in fresh.content.decode(), "the scan field is not touched"
    assert "A label has jammed" in words(fresh)


def test_a_bench_that_waits_for_no_label_has_none(client, at: Packing, scan) -> None:
    assert client.get(label_of(at)).status_code == 204
    scan("ACT-BOX-6")
    assert client.get(label_of(at)).status_code == 204


def test_looking_for_it_is_cheap(
    client, at: Packing, job: PrintJob, django_assert_max_num_queries
) -> None:
    client.get(label_of(at))
    # Session, person, two of rights, workshop, bench, box, print: none for the parts.
    with django_assert_max_num_queries(8):
        client.get(label_of(at), {"seen": "old"})


@pytest.mark.usefixtures("full_box")
def test_without_a_printer_the_label_is_a_pdf_as_before(
    client, at: Packing, scan
) -> None:
    scan("ACT-CLOSE")
    assert not PrintJob.objects.exists()
    page = client.get(page_of(at))
    said = words(page)
    assert "stick its label on, then scan it" in said
    assert "Open the label" in said
    assert "hx-trigger" not in page.content.decode()


def test_the_menu_says_that_a_reason_declares_the_label_destroyed(
    at: Packing, scan, job: PrintJob
) -> None:
    menu = scan("ACT-PRINT")
    assert "you declare that the earlier label is destroyed" in words(menu)
    assert Print.objects.count() == 1
    again = scan("ACT-PRINT-LOST")
    assert "is on its way to the printer" in words(again)
    assert Print.objects.latest("copy").first == "destroyed"


def test_the_label_is_scanned_whatever_its_job_says(
    at: Packing, scan, job: PrintJob
) -> None:
    become(job, "failed", unsure=True)
    box = Print.objects.get().box
    assert box is not None
    assert step(scan(str(box.serial))) == "choose"
    box.refresh_from_db()
    assert box.stage == "labelled"
