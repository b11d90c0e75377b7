"""A whole proof, against reading every row that it reads and doing nothing with them."""

from __future__ import annotations

import resource

from django.apps import apps
from django.db import connection

from benchmarks.filling import Filled
from benchmarks.measure import Row, medians
from kitting.ledger import locking
from kitting.ledger.proof import examine


def read_all() -> None:
    """Fetch every row of every table, in the order of its ids."""
    with locking.snapshot(), connection.cursor() as cursor:
        for model in apps.get_models(include_auto_created=True):
            table = connection.ops.quote_name(model._meta.db_table)
            cursor.execute(f"SELECT * FROM {table}")
            while cursor.fetchmany(500):
                pass


def rows(filled: Filled) -> list[Row]:
    """The time and memory of a proof; a long journal's is shared by two processes."""
    assert examine().faults == []
    own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    beside = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    ours, bare = medians([examine, read_all], 1)
    return [
        Row(
            f"proof of {filled.boxes:,} boxes",
            f"{ours:,.1f} s, {ours / filled.boxes * 1e6:,.0f} µs a box",
            f"every row read {bare:,.1f} s",
            f"{ours / bare:.1f} × the time",
            "≤ 300 µs a box",
        ),
        Row(
            "its memory at most",
            f"{own / 1024:,.0f} MB",
            f"the process beside it {beside / 1024:,.0f} MB",
            limit="the same for any number",
        ),
    ]
