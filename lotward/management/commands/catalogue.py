"""``manage.py catalogue FILE``: load the catalogue of a workshop; ``--export`` back.

A workshop that is no demo has to be set up before its first lot comes in. Django's own
loading of rows would walk past the services, the journal and every rule.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import asdict
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from kitting.domain.shown import shown
from kitting.ledger import clock, locking
from kitting.ledger.listing import written_catalogue
from kitting.ledger.shelf import Problem
from kitting.management.signing import ask_who, signed
from kitting.web.messages import sentence
from lotward.catalogue.loading import (
    CatalogueRefused,
    doubts_about,
    load_catalogue,
    try_catalogue,
)


class Command(BaseCommand):
    help = (
        "Load places, benches, label stock, parts, methods, products, meters, protocols"
        " and consignees from a JSON file: all of it, or nothing. What is there already is"
        " left as it is; fixtures/harrow_lane.json shows the form. With --export, write"
        " what is on record as such a file."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", nargs="?", help="a JSON file to load")
        parser.add_argument(
            "--export", metavar="FILE", help="write what is on record to a new file"
        )
        parser.add_argument(
            "--dry-run", action="store_true", help="say what would be, write nothing"
        )
        ask_who(parser)

    @clock.at_the_workshop()
    def handle(self, *args: Any, **options: Any) -> None:
        if bool(options["file"]) == bool(options["export"]):
            msg = "Name a file to load, or one to write with --export."
            raise CommandError(msg)
        if options["export"]:
            self._write(Path(options["export"]))
        else:
            self._load(Path(options["file"]), options)

    def _write(self, path: Path) -> None:
        with locking.snapshot():
            found = written_catalogue()
        text = json.dumps(found, indent=2, ensure_ascii=False)
        try:
            with path.open("x", encoding="utf-8") as file:
                file.write(f"{text}\n")
        except FileExistsError as error:
            msg = f"{path} is there already. Name another file."
            raise CommandError(msg) from error
        except OSError as error:
            msg = f"{path} cannot be written: {error.strerror}."
            raise CommandError(msg) from error
        rows = sum(len(each) for each in found.values() if isinstance(each, list))
        self.stdout.write(f"{rows} rows written to {path}.")

    def _load(self, path: Path, options: dict[str, Any]) -> None:
        data = _content(path)
        try:
            if options["dry_run"]:
                loaded = try_catalogue(data=data, now=clock.now())
            else:
                loaded = load_catalogue(data=data, sign=signed(options))
        except CatalogueRefused as refused:
            self._say(refused.problems)
            msg = f"{path.name}: {len(refused.problems)} faults. Nothing was written."
            raise CommandError(msg) from refused
        self._say(doubts_about(data))
        added = [
            f"{count} {name.replace('_', ' ')}"
            for name, count in asdict(loaded).items()
            if count
        ]
        would = " would be added; nothing was written" if options["dry_run"] else ""
        told = ", ".join(added) or "nothing that is not there already"
        self.stdout.write(f"{told}{would or ' added'}.")

    def _say(self, problems: Iterable[Problem]) -> None:
        for problem in problems:
            read = f" “{problem.value}”" if problem.value else ""
            where = problem.path or "the file"
            self.stderr.write(f"{where}:{read} {sentence(problem.as_error())}")


def _content(path: Path) -> object:
    try:
        text = path.read_text("utf-8-sig")
    except OSError as error:
        msg = f"{path} cannot be read: {error.strerror}."
        raise CommandError(msg) from error
    except UnicodeDecodeError as error:
        msg = f"{path.name} is not text in UTF-8. Save it as UTF-8."
        raise CommandError(msg) from error
    try:
        return json.loads(text, object_pairs_hook=_once_each, parse_constant=_no_number)
    except json.JSONDecodeError as error:
        msg = (
            f"{path.name} is not JSON: line {error.lineno}, column {error.colno}:"
            f" {error.msg}. Correct that place."
        )
        raise CommandError(msg) from error
    except RecursionError as error:
        msg = f"{path.name} is nested too deep to be a catalogue."
        raise CommandError(msg) from error
    except ValueError as error:  # Python reads no number of thousands of digits.
        msg = f"{path.name} has a number of too many digits. Correct it."
        raise CommandError(msg) from error


def _once_each(pairs: list[tuple[str, object]]) -> dict[str, object]:
    read: dict[str, object] = {}
    for name, value in pairs:
        if name in read:
            msg = f"“{shown(name)}” is there twice in one place. Keep one of them."
            raise CommandError(msg)
        read[name] = value
    return read


def _no_number(name: str) -> None:
    msg = f"{name} is no number that a catalogue can have."
    raise CommandError(msg)
