from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from kitting.ledger import keys
from kitting.ledger.operations import Act, perform
from kitting.management.plainly import plainly
from kitting.management.signing import ask_who, signed


@dataclass(frozen=True)
class Started:
    """From where on links carry a key of this server."""

    after: int
    """The number of the newest link before."""


class Command(BaseCommand):
    help = (
        "Starts a new key of the journal, where the old one is lost. From this act on"
        " links carry the new one; those before follow from link to link as ever. Keep a"
        f" copy of {keys.FILE} away from this server."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        ask_who(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        if keys.path().exists():
            msg = f"There is a key already: {keys.path()}. Move it away first."
            raise CommandError(msg)
        sign = signed(options)
        with plainly("No key was started"):
            keys.make()
            perform(keys.START, _start, Started, sign)
        self.stdout.write(f"{keys.path()}")


def _start(act: Act) -> Started:
    return Started(after=act.seen.seq)
