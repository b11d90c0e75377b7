"""``manage.py journal``: the journal as a file that others can check."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from kitting.ledger import export
from kitting.management.plainly import plainly, whole


class Command(BaseCommand):
    help = (
        "Writes links of the journal to a file, one JSON object a line, with all that"
        " their hashes cover. check_journal.py, a program without dependencies, checks"
        " the file anywhere. The last line is the newest link written, as papers print it and"
        " check_journal.py --expect reads it."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--export", required=True, metavar="FILE", help="a new file to write"
        )
        parser.add_argument(
            "--from", type=whole(1), default=1, metavar="NUMBER", help="the first link"
        )
        parser.add_argument(
            "--to", type=whole(1), metavar="NUMBER", help="the last link"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        out = Path(options["export"])
        with plainly("Nothing was exported"):
            chosen = export.span(options["from"], options["to"])
            # What is no file, such as /dev/stdout, is there already and is no loss.
            device = out.exists() and not out.is_file()
            with out.open("wb" if device else "xb") as file:
                try:
                    for line in export.lines(chosen):
                        file.write(line.encode("ascii"))
                except BaseException:
                    if not device:  # half a file would only look damaged
                        out.unlink()
                    raise
            head = chosen.head
        self.stdout.write(f"{out}: links {chosen.first} to {chosen.last}")
        self.stdout.write(head)
