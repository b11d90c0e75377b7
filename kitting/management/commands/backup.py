from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from kitting.ledger import clock, planner
from kitting.ledger.backup import making
from kitting.management.plainly import plainly, whole


class Command(BaseCommand):
    help = (
        "Makes a backup of the database while people work, and proves it: on SQLite the"
        " copy itself, on PostgreSQL the very snapshot that was dumped, and that the"
        " dump reads. The last line is the file made. Exit status 1 if none was made, or"
        " if the proof found faults; then the file is called faulty."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--to", required=True, metavar="DIR", help="a folder, on another disk"
        )
        parser.add_argument(
            "--keep",
            type=whole(1),
            metavar="N",
            help="remove all but the newest N of this workshop's backups in the folder",
        )
        parser.add_argument(
            "--recipient",
            action="append",
            default=[],
            metavar="KEY",
            help="encrypt for the holder of this public key, age1…; may be repeated",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        to = Path(options["to"]).absolute()
        with plainly(f"No backup was made in {to}"), clock.at_the_workshop():
            made = making.make(to, options["recipient"])
        with plainly(f"The backup {made.file} was made, but not all after it"):
            planner.refresh()
            for name in making.settle(made, options["keep"]):
                self.stdout.write(f"Removed {name}")
        for fault in made.faults:
            self.stderr.write(fault)
        manifest = made.manifest
        proved = "the copy" if manifest.vendor == "sqlite" else "the snapshot dumped"
        verdict = f"{len(made.faults)} faults" if made.faults else "everything holds"
        self.stdout.write(
            f"Proved {proved}, up to link {manifest.site}/{manifest.seq}"
            f" {manifest.head}: {verdict}."
        )
        self.stdout.write(str(made.file))
        if made.faults:
            raise SystemExit(1)
