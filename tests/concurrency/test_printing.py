"""Two people who print the same label in one instant, and two workers with one job."""

from __future__ import annotations

import threading

import pytest
from django.db import connection
from django.utils import timezone

from kitting.domain.errors import Conflict
from kitting.domain.prints import Onto
from kitting.domain.stages import PRINT_OVER
from kitting.models import Print, Printer, PrintJob
from kitting.printing import steps
from kitting.printing.services.prints import print_labels
from kitting.printing.worker import Worker
from tests import factories
from tests.concurrency.threads import at_once
from tests.factories import sign
from tests.patience import PATIENCE_S, until
from tests.printers import BAG_ROLL, FakePrinter, make_printer, reach

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(
        connection.vendor == "sqlite",
        reason="SQLite lets one writer in at a time: the race cannot happen there",
    ),
]


def test_one_label_printed_by_two_at_once_has_one_first_copy(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Both have counted the copies before either writes."""
    place = factories.make_place()
    signs = [sign(), sign()]
    both = threading.Barrier(2, timeout=PATIENCE_S)
    count = steps.copies_made

    def counted(kind: str, numbers: list[str]) -> dict[str, int]:
        made = count(kind, numbers)
        if connection.in_atomic_block:
            both.wait()
        return made

    monkeypatch.setattr(steps, "copies_made", counted)
    results = at_once(
        [
            lambda one=one: print_labels(kind="place", numbers=[place.code], sign=one)
            for one in signs
        ]
    )
    assert [type(error) for error in results.errors] == [Conflict]
    assert Print.objects.filter(number=place.code).count() == 1


def test_two_workers_send_a_job_once() -> None:
    with FakePrinter() as fake:
        make_printer(fake.url, BAG_ROLL)
        fake.ready = [(7_000, 4_000)]
        for _ in range(4):
            print_labels(
                kind="place",
                numbers=[factories.make_place().code],
                onto=Onto(printer="P1"),
                sign=sign(),
            )

        def work() -> None:
            worker = Worker(now=timezone.now, connect=reach)
            waiting = PrintJob.objects.exclude(state__in=PRINT_OVER)

            def over() -> bool:
                worker.step()
                PrintJob.objects.update(next_try=None)
                Printer.objects.update(asleep_until=None)
                return not waiting.exists()

            assert until(over)

        results = at_once([work, work, work])
        assert results.errors == []
        names = [job.name for job in fake.jobs]
    assert len(names) == len(set(names)) == 4
    assert set(PrintJob.objects.values_list("state", flat=True)) == {"done"}
