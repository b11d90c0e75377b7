from __future__ import annotations

import json
from dataclasses import asdict
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from kitting.domain.errors import Missing
from kitting.ledger import proof as proving
from kitting.ledger.proof import heads, newest
from kitting.models import Workshop


class Command(BaseCommand):
    help = (
        "Recomputes every invariant of the database and lists the rows at fault; exit"
        " status 1 when there is one. People may go on working meanwhile. When nothing"
        f" is at fault, the newest link of the journal is added to {heads.FILE} in the"
        " data folder, and every link on record there must still be in the journal."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--json", action="store_true", help="one JSON object")
        parser.add_argument(
            "--newest",
            action="store_true",
            help=(
                "check only what was done since the newest link on file: cheap enough"
                " for every hour"
            ),
        )
        parser.add_argument(
            "--expect",
            action="append",
            default=[],
            metavar="NUMBER:HEAD",
            help="a head as a paper prints it: it must be in the journal (repeatable)",
        )
        parser.add_argument(
            "--no-record",
            action="store_true",
            help=f"compare with {heads.FILE}, but add nothing to it",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        expected = []
        for text in options["expect"]:
            # That the workshop's row is gone is for the proof to say.
            site = Workshop.objects.values_list("site", flat=True).first()
            head = heads.from_paper(text, site or 1)
            if head is None:
                msg = (
                    f"“{text}” is no head: write its number and first 16 digits as on"
                    " the paper, such as 1/1432:9f3a0b1c2d3e4f50."
                )
                raise CommandError(msg)
            expected.append(head)
        if options["newest"]:
            proof, what = self._newest(expected)
        else:
            proof, what = proving.examine(on_paper=expected), "Everything holds."
        if options["json"]:
            self.stdout.write(_as_json(proof))
        else:
            self._tell(proof, what)
        if not options["no_record"]:
            _remember(proof, newest=options["newest"])
        if proof.faults:
            raise SystemExit(1)

    def _newest(self, on_paper: list[heads.Head]) -> tuple[proving.Proof, str]:
        try:
            since = newest.since()
        except Missing as error:
            msg = (
                f"There is no link in {heads.path()} to go on from: run prove without"
                " --newest first."
            )
            raise CommandError(msg) from error
        named = ", ".join(f"{head.site}/{head.seq}" for head in since)
        proof = proving.Proof(*newest.tallies(since, on_paper))
        return proof, f"Everything that was done since link {named} holds."

    def _tell(self, proof: proving.Proof, what: str) -> None:
        for tally in proof.tallies:
            found = len(tally.faults) + tally.more
            verdict = f"{found:,} at fault" if found else "in order"
            self.stdout.write(
                f"{tally.check:18} {tally.count:>12,} {tally.of}: {verdict}"
            )
            if tally.note:
                self.stdout.write(f"    {tally.note}")
            for fault in tally.faults:
                self.stdout.write(f"    {fault}")
            if tally.more:
                self.stdout.write(f"    and {tally.more:,} more.")
        whole = sum(len(tally.faults) + tally.more for tally in proof.tallies)
        last = f"{whole:,} faults found." if whole else what
        self.stdout.write(last)


def _remember(proof: proving.Proof, *, newest: bool) -> None:
    """Put the newest link on file where all held; The day tells of this and of a fault."""
    if proof.faults:
        heads.remember_fault()
        return
    heads.record(proof.heads, heads.path())
    if newest:
        heads.remember_newest()
    else:
        heads.remember(proof.heads)


def _as_json(proof: proving.Proof) -> str:
    return json.dumps(
        {
            "holds": not proof.faults,
            "checks": [asdict(tally) for tally in proof.tallies],
            "heads": [str(head) for head in proof.heads],
        },
        indent=2,
    )
