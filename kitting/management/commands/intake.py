"""``manage.py intake FILE``: take in the lots and bags of a table."""

from __future__ import annotations

from argparse import ArgumentParser
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from kitting.domain.delimited import Problem
from kitting.ledger import clock
from kitting.lots.services import files
from kitting.lots.services.files import Plan
from kitting.management.signing import ask_who, signed
from kitting.web.messages import sentence


class Command(BaseCommand):
    help = "Take in the lots and bags of an XLSX or CSV file: all of them, or none."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", help="a table as XLSX or CSV")
        parser.add_argument(
            "--dry-run", action="store_true", help="say what would be, write nothing"
        )
        parser.add_argument(
            "--date-order",
            choices=["dmy", "mdy"],
            help="which comes first in 01/03/2026; without it such dates are refused",
        )
        parser.add_argument(
            "--sure", default="", help="why what is asked about is right; it is kept"
        )
        ask_who(parser)
        parser.add_argument(
            "--again",
            action="store_true",
            help="take in a file that was taken in before",
        )

    @clock.at_the_workshop()
    def handle(self, *args: Any, **options: Any) -> None:
        path, order = Path(options["file"]), options["date_order"]
        data = _content(path)
        plan = files.plan_file(data=data, date_order=order, now=clock.now())
        if plan.problems:
            self._report(path, plan)
        if plan.questions and not options["sure"]:
            self._list(plan.questions)
            msg = (
                f"{path.name}: {len(plan.questions)} questions. If all this is right,"
                ' repeat the command with --sure "WHY". Nothing was written.'
            )
            raise CommandError(msg)
        if plan.before is not None and not (options["again"] or options["dry_run"]):
            msg = (
                f"{path.name} was taken in before, by {plan.before.by_name} on"
                f" {plan.before.at:%Y-%m-%d %H:%M} UTC. If its bags really came twice,"
                " repeat the command with --again. Nothing was written."
            )
            raise CommandError(msg)
        if options["dry_run"]:
            self._say(plan, "would be taken in; nothing was written")
            return
        done = files.take_in_file(
            data=data, date_order=order, sign=signed(options), sure=options["sure"]
        )
        self._say(plan, "taken in", done.lots)

    def _list(self, problems: Iterable[Problem]) -> None:
        for problem in problems:
            where = f"line {problem.line}"
            where += f", {problem.column}" if problem.column else ""
            read = f" “{problem.value}”" if problem.value else ""
            self.stderr.write(f"{where}:{read} {sentence(problem.as_error())}")

    def _report(self, path: Path, plan: Plan) -> None:
        self._list([*plan.problems, *plan.questions])
        msg = f"{path.name}: {len(plan.problems)} faults. Nothing was written."
        raise CommandError(msg)

    def _say(self, plan: Plan, what: str, numbers: list[str] | None = None) -> None:
        names = numbers or [entry.number for entry in plan.entries]
        for entry, number in zip(plan.entries, names, strict=True):
            kind = "new" if entry.is_new else "more bags"
            name = number or "(number to come)"
            self.stdout.write(
                f"{name}: {entry.part}, revision {entry.revision},"
                f" bags: {entry.bags}, {entry.pieces} {entry.unit}, {kind}"
            )
        self.stdout.write(f"Lots: {len(plan.entries)}, bags: {plan.bags}; {what}.")


def _content(path: Path) -> bytes:
    try:
        data = path.read_bytes()
    except OSError as error:
        msg = f"{path} cannot be read: {error.strerror}."
        raise CommandError(msg) from error
    return data
