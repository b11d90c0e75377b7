"""Set slips come out with the label of a box, where the product has them."""

from __future__ import annotations

import uuid

import pytest
from django.urls import reverse

from kitting.domain.errors import Refused
from kitting.models import Print, PrintJob, Product
from kitting.packing.services import labels
from tests.benches import Packing, fill, page_of, step, words
from tests.kitting.labels.samples import text_of
from tests.printers import BOX_ROLL, SLIP_ROLL, make_printer

pytestmark = pytest.mark.django_db


@pytest.fixture
def slips(at: Packing) -> None:
    Product.objects.update(set_slips=True)


def close(scan, at: Packing, key: str = ""):
    scan("ACT-BOX-6")
    fill(scan, at)
    return scan("ACT-CLOSE", key=key)


def printed() -> list[str]:
    return list(Print.objects.order_by("pk").values_list("kind", flat=True))


def test_none_come_out_unless_the_product_has_them(scan, at: Packing) -> None:
    assert "slip" not in words(close(scan, at))
    assert printed() == ["box"]


@pytest.mark.smoke
def test_one_for_each_set_comes_out_once(scan, client, at: Packing, slips) -> None:
    key = str(uuid.uuid4())
    page = close(scan, at, key)
    assert "Put one of its 6 slips with each set." in words(page)
    box = at.bench.boxes.get()
    assert printed() == ["box", "set_slip"]
    row = Print.objects.get(kind="set_slip")
    assert row.number == box.serial
    address = reverse("kitting:label-pdf", args=[bytes(row.pdf_sha).hex()])
    assert f'href="{address}"' in page.content.decode()
    said = text_of(client.get(address).content)
    assert [said.count(f"{nth} of 6") for nth in range(1, 7)] == [1] * 6
    scan("ACT-CLOSE", key=key)
    assert printed() == ["box", "set_slip"]
    assert step(scan("ACT-PRINT-SPOILT")) == "label"
    assert printed() == ["box", "set_slip", "box"]
    scan(box.serial)
    box.refresh_from_db()
    assert box.stage == "labelled"


def test_what_could_not_be_printed_comes_with_the_next_print(
    scan, at: Packing, slips, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(**_sent: object) -> None:
        raise Refused("printer_closed", printer="Roll")

    with monkeypatch.context() as away:
        away.setattr(labels, "print_labels", fails)
        close(scan, at)
    assert step(scan("ACT-PRINT")) == "label", "the label itself is there"
    assert printed() == ["box"]
    scan("ACT-PRINT-LOST")
    assert printed() == ["box", "box", "set_slip"]


def test_they_come_out_where_the_bench_has_stock_for_them(
    scan, client, at: Packing, slips
) -> None:
    make_printer("ipp://large.example/ipp/print", BOX_ROLL, bench=at.bench)
    small = make_printer(
        "ipp://small.example/ipp/print", SLIP_ROLL, code="P2", bench=at.bench
    )
    page = close(scan, at)
    label, job = PrintJob.objects.order_by("pk")
    assert (job.printer, job.prints.get().kind) == (small, "set_slip")
    assert "Open the slips" not in words(page)
    PrintJob.objects.filter(pk=label.pk).update(state="done", document=None)
    before = client.get(page_of(at))
    assert 'hx-trigger="every 3s"' in before.content.decode()
    told = {"trouble": "printer_jam", "told": {}}
    PrintJob.objects.filter(pk=job.pk).update(state="printing", **told)
    seen = before.context["screen"].print_seen
    fresh = client.get(
        reverse("kitting:bench-label", args=[at.bench.code]), {"seen": seen}
    )
    assert "The slips: A label has jammed" in words(fresh)
