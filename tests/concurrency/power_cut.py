"""Run by test_power_cut.py in a process of its own, with the real settings.

Makes one complete open box in a migrated database, then closes that box again and
again on copies of it: each time in a child process that is killed (SIGKILL) after one statement
more than the time before. Prints one JSON line for each kill.
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import sys
import uuid
from pathlib import Path
from typing import Any

import django

os.environ["DJANGO_SETTINGS_MODULE"] = "lotward.settings"
django.setup()

from django.conf import settings  # noqa: E402
from django.db import connection  # noqa: E402

from kitting.ledger.operations import Sign  # noqa: E402
from kitting.models import Box, BoxEvent, Link, Operation, Workshop  # noqa: E402
from kitting.packing.services import boxes  # noqa: E402
from tests import factories  # noqa: E402

MOST_STATEMENTS = 80


def use(path: Path) -> None:
    connection.close()
    connection.settings_dict["NAME"] = settings.DATABASES["default"]["NAME"] = str(path)


def build(path: Path) -> int:
    use(path)
    Workshop.objects.update(gs1_prefix="9521234")
    size = factories.make_size(factories.make_recipe())
    line = size.product.recipes.get().lines.get()
    box = factories.make_open_box(size, None, factories.make_bag(line.revision, 10))
    connection.close()
    return box.pk


class Killer:
    """Kills this process once so many statements have run."""

    def __init__(self, after: int) -> None:
        self.left = after

    def __call__(
        self, execute: Any, sql: str, params: Any, many: bool, context: Any
    ) -> Any:
        result = execute(sql, params, many, context)
        self.left -= 1
        if self.left == 0:
            os.kill(os.getpid(), signal.SIGKILL)
        return result


def close_and_die(path: Path, box_id: int, after: int) -> None:
    use(path)
    user = factories.make_person(name="closer")
    sign = Sign(by=user, key=uuid.UUID(int=after), now=factories.NOW)
    with connection.execute_wrapper(Killer(after)):
        boxes.close_box(box_id=box_id, sign=sign)
    # The act is acknowledged: nothing may take it back from here.
    os.kill(os.getpid(), signal.SIGKILL)


def state(path: Path, box_id: int) -> dict[str, Any]:
    use(path)
    box = Box.objects.get(pk=box_id)
    found = {
        "stage": box.stage,
        "serial": box.serial,
        "events": BoxEvent.objects.filter(box=box).count(),
        "operations": Operation.objects.filter(name="close_box").count(),
        "links": Link.objects.filter(operation__name="close_box").count(),
        "faults": [str(fault) for fault in factories.prove()],
    }
    connection.close()
    return found


def main(folder: Path) -> None:
    first = folder / "lotward.sqlite3"
    box_id = build(first)
    for after in range(1, MOST_STATEMENTS):
        copy = folder / f"after-{after}.sqlite3"
        shutil.copy(first, copy)
        child = os.fork()
        if child == 0:
            close_and_die(copy, box_id, after)
        _, status = os.waitpid(child, 0)
        found = state(copy, box_id)
        row = {"after": after, "signal": os.WTERMSIG(status), **found}
        sys.stdout.write(json.dumps(row) + "\n")
        sys.stdout.flush()
        if found["stage"] == "closed":
            return


if __name__ == "__main__":
    main(Path(sys.argv[1]))
