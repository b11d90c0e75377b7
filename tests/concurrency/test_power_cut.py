"""A kill at any statement of closing a box leaves the whole act or none of it."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests.demo import copy_of

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def kills(
    tmp_path_factory: pytest.TempPathFactory, migrated: Path
) -> list[dict[str, object]]:
    folder = tmp_path_factory.mktemp("power-cut")
    copy_of(migrated, folder)
    environment = {
        name: value
        for name, value in os.environ.items()
        if not name.startswith(("LOTWARD_", "COV_", "COVERAGE_"))
    }
    environment |= {"LOTWARD_DATA_DIR": str(folder), "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [sys.executable, "-m", "tests.concurrency.power_cut", str(folder)],
        cwd=ROOT,
        env=environment,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return [json.loads(line) for line in done.stdout.splitlines()]


def test_every_kill_was_a_kill(kills: list[dict[str, object]]) -> None:
    assert len(kills) > 10
    assert {row["signal"] for row in kills} == {int(signal.SIGKILL)}


def test_a_kill_leaves_all_of_the_act_or_none(kills: list[dict[str, object]]) -> None:
    for row in kills[:-1]:
        assert (row["stage"], row["serial"]) == ("open", None), row
        assert (row["events"], row["operations"], row["links"]) == (1, 0, 0), row


def test_what_was_acknowledged_survives_the_kill(
    kills: list[dict[str, object]],
) -> None:
    last = kills[-1]
    assert last["stage"] == "closed"
    assert last["serial"]
    assert (last["events"], last["operations"], last["links"]) == (2, 1, 1)


def test_the_proof_agrees_after_every_kill(kills: list[dict[str, object]]) -> None:
    assert [row["faults"] for row in kills] == [[] for _ in kills]
