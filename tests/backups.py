"""A small workshop at work, and the two commands of its worst day."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from kitting.ledger import proof as proving
from kitting.ledger.backup.files import MANIFEST, MEMBER
from kitting.models import Bench, Box, BoxSize, Counter, JournalHead, Workshop
from kitting.models.catalogue import Per
from kitting.packing.services import boxes
from tests import factories, ledgers
from tests.factories import sign
from tests.trees import ROOT

ON_SQLITE = connection.vendor == "sqlite"


@dataclass
class Line:
    """What is packed from, and where."""

    bench: Bench
    size: BoxSize

    def pack(self) -> Box:
        return ledgers.pack(self.bench, self.size)


def make_line() -> Line:
    """A bench with a bag on it, boxes with SSCCs, and one box packed already."""
    Workshop.objects.update(gs1_prefix="9521234")
    bag = factories.make_bag(pieces=200)
    recipe = factories.make_recipe([(bag.lot.revision, 1, Per.SET)])
    line = Line(factories.make_bench(), factories.make_size(recipe, sets=2))
    boxes.bring_bag(bench_id=line.bench.pk, bag_id=bag.pk, sign=sign())
    line.pack()
    factories.seal_set_up()
    return line


def run(*words: object, **options: Any) -> list[str]:
    """The lines that a command says."""
    out = StringIO()
    call_command(*(str(word) for word in words), stdout=out, **options)
    return out.getvalue().splitlines()


def back_up(to: Path, *options: object) -> Path:
    to.mkdir(exist_ok=True)
    return Path(run("backup", "--to", to, *options)[-1])


def manifest_of(file: Path) -> dict[str, Any]:
    with zipfile.ZipFile(file) as packed:
        found: dict[str, Any] = json.loads(packed.read(MANIFEST))
    return found


def changed(
    file: Path,
    manifest: Callable[[dict[str, Any]], object] | None = None,
    member: bytes | None = None,
) -> Path:
    """A backup like this one, but for what somebody did to it."""
    with zipfile.ZipFile(file) as packed:
        said = json.loads(packed.read(MANIFEST))
        held = packed.read(MEMBER) if member is None else member
    if manifest:
        manifest(said)
    other = file.with_name(f"changed-{file.name}")
    with zipfile.ZipFile(other, "w") as packed:
        packed.writestr(MANIFEST, json.dumps(said))
        packed.writestr(MEMBER, held)
    return other


def refused(file: Path, *options: object) -> str:
    """What is said, once it is sure that nothing has changed."""
    before = fingerprint()
    connection.close()
    with pytest.raises(CommandError) as caught:
        run("restore", file, *options)
    assert caught.value.returncode == 1
    assert fingerprint() == before
    return str(caught.value)


def refused_command(*words: object) -> str:
    """What a command says that ends with a plain sentence."""
    with pytest.raises(CommandError) as caught:
        call_command(*(str(word) for word in words), stdout=StringIO())
    assert caught.value.returncode == 1
    return str(caught.value)


def left_in(folder: Path) -> list[str]:
    return sorted(each.name for each in folder.iterdir())


def fingerprint() -> object:
    heads_ = list(JournalHead.objects.values_list("site", "seq"))
    return heads_, list(Counter.objects.order_by("pk").values_list("name", "next"))


def lose_the_database() -> None:
    """What a dead disk leaves: nothing."""
    name = connection.settings_dict["NAME"]
    connection.close()
    if ON_SQLITE:
        for left in Path(name).parent.glob(f"{Path(name).name}*"):
            left.unlink()
        return
    from kitting.ledger.backup.connecting import standing_in

    with standing_in(NAME="template1"), connection.cursor() as cursor:
        cursor.execute(f'DROP DATABASE "{name}"')


def holds() -> list[str]:
    return [str(fault) for fault in proving.prove()]


@contextmanager
def mounted(folder: Path, options: str) -> Iterator[Path]:
    """A file system of its own, in memory."""
    folder.mkdir()
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", options, "none", folder],
        capture_output=True,
        check=False,
    )
    if made.returncode:
        pytest.skip("nobody may mount a file system here")
    try:
        yield folder
    finally:
        # A test that failed may still have a file of it open.
        subprocess.run(["umount", "--lazy", folder], check=True)


each_or_some = pytest.mark.parametrize(
    "stride", [3, pytest.param(1, marks=pytest.mark.long)], ids=["some", "each"]
)
"""How many steps of what is done lie between two power cuts or kills."""


@contextmanager
def killed(own: Path, *words: object) -> Iterator[Callable[[int], int]]:
    """What becomes of a command that is killed at a step; 0 once it has no more."""
    environment = {n: v for n, v in os.environ.items() if not n.startswith("LOTWARD_")}
    with subprocess.Popen(
        [sys.executable, "-m", "tests.commands.killed", *map(str, words)],
        cwd=ROOT,
        env={**environment, "LOTWARD_DATA_DIR": str(own)},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    ) as started:

        def at(step: int) -> int:
            assert started.stdin
            assert started.stdout
            print(step, file=started.stdin, flush=True)
            return int(started.stdout.readline())

        yield at
