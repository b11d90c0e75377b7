from __future__ import annotations

from typing import Any

from django.core.exceptions import ImproperlyConfigured
from django.core.management.base import BaseCommand, CommandError, CommandParser

from lotward import env
from lotward.demo.people import PASSWORD, PEOPLE
from lotward.volume import history

TOLD_EVERY = 10_000
"""Boxes between two lines."""


class Command(BaseCommand):
    help = (
        "Fills a migrated, empty database with three years of an invented workshop, for"
        " trying how long proofs, traces and pages take. The same seed on the same day"
        " gives the same journal."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--boxes", type=int, required=True, help="how many boxes")
        parser.add_argument(
            "--seed", type=int, default=1, help="chooses one history of many"
        )
        parser.add_argument(
            "--today",
            help="the day on which it ends, as YYYY-MM-DD; this one when not given",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        boxes = options["boxes"]
        if boxes < history.FEWEST:
            msg = f"{boxes} boxes are no history: ask for {history.FEWEST} or more."
            raise CommandError(msg)
        if not history.is_empty():
            msg = (
                "This database holds a journal already, so nothing was written: name an"
                " empty data folder in LOTWARD_DATA_DIR and run migrate there first."
            )
            raise CommandError(msg)
        try:
            today = env.day({"--today": options["today"] or ""}, "--today")
            written = history.write(boxes, options["seed"], today, self._say)
        except ImproperlyConfigured as error:
            raise CommandError(str(error)) from error
        self.stdout.write(
            f"{written.boxes:,} boxes, {written.acts:,} acts, newest link"
            f" {written.head}.\nSign in as {', '.join(PEOPLE)},"
            f" each with the password: {PASSWORD}"
        )

    def _say(self, boxes: int) -> None:
        if boxes % TOLD_EVERY == 0:
            self.stdout.write(f"{boxes:,} boxes")
            self.stdout.flush()
