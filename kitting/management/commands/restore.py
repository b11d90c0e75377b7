from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from kitting.ledger.backup import restoring
from kitting.ledger.proof import heads
from kitting.management.plainly import plainly, whole
from kitting.management.signing import ask_who, signed


class Command(BaseCommand):
    help = (
        "Puts what is in a backup in the place of the database, which is kept beside it."
        " The backup is checked and proved first; whatever is refused changes nothing."
        " Stop the server and the print worker before."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", help="a file that backup made")
        parser.add_argument(
            "--identity", metavar="KEYFILE", help="file of the key of an encrypted one"
        )
        parser.add_argument(
            "--skip",
            type=whole(0),
            metavar="N",
            help=(
                "pass over N numbers of each kind; unless given, for each day since the"
                f" backup {restoring.LEAST_A_DAY:,}, or"
                f" {restoring.TIMES_THE_USUAL} times what a day has used up to then"
            ),
        )
        parser.add_argument(
            "--despite-faults",
            action="store_true",
            help="restore although the proof finds faults; the journal says so",
        )
        ask_who(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        identity = options["identity"]
        asked = restoring.Asked(
            sign=partial(signed, options),
            identity=Path(identity) if identity else None,
            skip=options["skip"],
            despite_faults=options["despite_faults"],
        )
        with plainly("Nothing was restored, and nothing has changed"):
            done = restoring.restore(Path(options["file"]), asked)
        self._tell(done)
        with plainly("All is restored, but its head is not on record"):
            heads.record(done.proof.heads, heads.path())
            heads.remember(done.proof.heads)

    def _tell(self, done: restoring.Done) -> None:
        restored = done.restored
        for name, (first, stop) in restored.skipped.items():
            self.stdout.write(
                f"{name}: {first:,} to {stop - 1:,} passed over; goes on at {stop:,}."
            )
        if restored.jobs:
            self.stdout.write(
                f"{restored.jobs} print jobs waited: see the page of the labels."
            )
        if done.kept:
            self.stdout.write(f"The database that was replaced: {done.kept}")
        self.stdout.write(
            f"Restored as of {restored.made_at}, link {restored.seq} {restored.head}."
            " Whatever was made since goes into quarantine: see docs/restoring.md."
        )
