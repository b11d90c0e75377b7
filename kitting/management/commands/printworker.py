"""``manage.py printworker``: takes print jobs to their printers until it is ended."""

from __future__ import annotations

import os
import signal
import time
from contextlib import suppress
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import InterfaceError, OperationalError, close_old_connections

from kitting.ledger import clock, planner, serving
from kitting.printing.beat import Beat
from kitting.printing.worker import Worker, reach

AWAY = (OperationalError, InterfaceError)
PAUSE_S = 0.5
"""Between two looks for work when there is none."""


class Command(BaseCommand):
    help = (
        "Takes print jobs to their printers, each exactly once, until it is ended."
        " Several may run; each job is in one worker's hand at a time."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--once", action="store_true", help="end as soon as there is nothing to do"
        )
        parser.add_argument(
            "--beside",
            type=int,
            metavar="PID",
            help="end as well when that process has ended",
        )

    @clock.at_the_workshop()
    def handle(self, *args: Any, **options: Any) -> None:
        if not serving.hold():
            raise CommandError(serving.RESTORING)
        ended = _until_told()
        beat = Beat()
        worker = Worker(
            now=clock.now, connect=reach, beat=lambda: beat.give(clock.now())
        )
        gone = _until_gone(options["beside"])
        told_on = None
        while not ended() and not gone():
            taken = 0
            # A database that is busy or away for a moment is asked again.
            with suppress(*(() if options["once"] else AWAY)):
                beat.give(clock.now())
                if told_on != (today := clock.today()):
                    planner.refresh()
                    told_on = today
                taken = worker.step()
            if not taken:
                if options["once"]:
                    return
                close_old_connections()
                time.sleep(PAUSE_S)


def _until_told() -> Any:
    """Whether somebody has asked this process to end; a step is never cut short."""
    told: list[int] = []
    for which in (signal.SIGTERM, signal.SIGINT):
        # Only the main thread may take signals.
        with suppress(ValueError):
            signal.signal(which, lambda number, _frame: told.append(number))
    return lambda: bool(told)


def _until_gone(pid: int | None) -> Any:
    """Whether a process that this one runs beside has ended.

    One that started this one is told by who the parent is now: its number may be kept
    by a corpse that nobody buries, or be given to somebody else.
    """
    if pid is not None and pid == os.getppid():
        return lambda: os.getppid() != pid
    return lambda: pid is not None and _gone(pid)


def _gone(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return True
    except PermissionError:
        pass  # It is somebody else's, and it is there.
    return False
