"""Doing several things at the same moment, each on a connection of its own."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.db import connections

from tests.patience import PATIENCE_S


@dataclass
class Results:
    """What came of it, in the order of the acts; an exception stands for itself."""

    of: list[Any] = field(default_factory=list)

    @property
    def errors(self) -> list[BaseException]:
        return [result for result in self.of if isinstance(result, BaseException)]

    @property
    def values(self) -> list[Any]:
        return [result for result in self.of if not isinstance(result, BaseException)]


def at_once(acts: Sequence[Callable[[], Any]]) -> Results:
    """Run every act in a thread, all let go at the same moment.

    Each thread closes its connections at its end, whatever happened: a test database
    with a connection open cannot be removed.
    """
    gate = threading.Barrier(len(acts))
    results: list[Any] = [TimeoutError("The thread never ended.")] * len(acts)

    def run(place: int) -> None:
        try:
            gate.wait(PATIENCE_S)
            results[place] = acts[place]()
        except BaseException as error:  # noqa: BLE001 -- handed to the test
            results[place] = error
        finally:
            connections.close_all()

    threads = [
        threading.Thread(target=run, args=(place,), daemon=True)
        for place in range(len(acts))
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(PATIENCE_S)
    return Results(results)


def meeting(count: int) -> Callable[[], object]:
    """Where so many threads wait for each other, as often as they come."""
    return threading.Barrier(count, timeout=PATIENCE_S).wait


def times(count: int, act: Callable[[int], Any]) -> Results:
    """Run one act ``count`` times at once; it is told which time it is."""
    return at_once([lambda n=n: act(n) for n in range(count)])  # type: ignore[misc]
