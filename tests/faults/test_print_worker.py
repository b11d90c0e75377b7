"""A print worker that is killed, a printer that is gone: each label comes out once."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from functools import partial

import pytest
from django.db import connection

from kitting.models import PrintJob
from tests import factories
from tests.backups import each_or_some
from tests.faults.walk import At, die, forked, moments
from tests.printers import Clock, FakePrinter, make_printer, print_again, until_over

MOMENTS = 60
"""More than a job takes."""
GONE = 6
"""As many as there are before a worker knows that its printer is gone."""


@pytest.fixture
def fake() -> Iterator[FakePrinter]:
    with FakePrinter() as printer:
        yield printer


def work(job: PrintJob, clock: Clock, moment: int) -> None:
    """What a worker writes stands between what it tells a printer."""
    with connection.execute_wrapper(At(moment, die, among="UPDATE")):
        until_over(job, clock)


@each_or_some
@pytest.mark.usefixtures("own")
def test_a_print_worker_is_killed_at_any_moment_also_where_its_printer_is_gone(
    fake: FakePrinter, stride: int
) -> None:
    box = factories.make_labelled_box()
    make_printer(fake.url)
    clock = Clock(printer=fake)
    unheard = 0
    for moment in moments(stride, MOMENTS):
        for gone in (False, True)[: 2 if moment < GONE else 1]:
            job = print_again(box, "P1")
            if gone:
                fake.stop()
            forked(partial(work, job, clock, moment))
            if gone:
                fake.start()
            job.refresh_from_db()
            unheard += job.state == "sent" and job.name in {j.name for j in fake.jobs}
            over = job.state == "done"
            assert over or until_over(job, clock)[-1] == "done", (moment, job.trouble)
        if over:
            break
    assert unheard, "the moment after the printer took it, before that was written"
    assert 10 < moment < MOMENTS - 1
    came = Counter(each.name for each in fake.jobs)
    assert set(came.values()) == {1}
    done = PrintJob.objects.filter(state="done").values_list("name", flat=True)
    assert set(came) == set(done)
    assert factories.prove() == []
