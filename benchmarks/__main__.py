"""Run every measurement on a database of its own and print a table."""

from __future__ import annotations

import argparse
import os
import tempfile
from pathlib import Path


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m benchmarks", description=__doc__)
    parser.add_argument(
        "--boxes", type=int, default=30_000, help="boxes in the filled database"
    )
    parser.add_argument(
        "--rows", type=int, default=10_000, help="rows of the file that is taken in"
    )
    parser.add_argument(
        "--shipments", type=int, default=100_000, help="shipments in the shipping log"
    )
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="lotward-bench-") as folder:
        _set_up(Path(folder))
        from benchmarks import (
            bench,
            crowd,
            filling,
            intake,
            labels,
            log,
            proving,
            reach,
            sharing,
            tracing,
        )
        from benchmarks.measure import Row, spread_out

        rows: list[Row] = labels.rows()
        filled = filling.fill(boxes=chosen.boxes)
        rows += filled.rows
        rows += proving.rows(filled)
        rows += tracing.rows(filled)
        rows += bench.rows()
        rows += crowd.rows()
        rows += intake.rows(chosen.rows)
        rows += log.rows(chosen.shipments)
        rows += tracing.case_rows(filled)
        rows += reach.rows()
        rows += sharing.rows()
        print(spread_out(rows))


def _set_up(folder: Path) -> None:
    """Start Django with the real settings on an empty SQLite file, migrated."""
    for name in [name for name in os.environ if name.startswith("LOTWARD_")]:
        del os.environ[name]
    os.environ["LOTWARD_DATA_DIR"] = str(folder)
    os.environ["LOTWARD_HOSTS"] = "testserver,127.0.0.1"
    os.environ["DJANGO_SETTINGS_MODULE"] = "lotward.settings"
    import django

    django.setup()
    from django.core.management import call_command

    call_command("migrate", verbosity=0)
    call_command("collectstatic", interactive=False, verbosity=0)


if __name__ == "__main__":
    main()
