"""``docs/restoring.md`` is true: its commands are run as they stand, in their order."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
from django.core.management import get_commands, load_command_class

from kitting.ledger.backup.restoring import LEAST_A_DAY
from kitting.ledger.proof import heads
from kitting.models import Box
from lotward import env
from tests.backups import back_up, lose_the_database, make_line, run
from tests.trees import ROOT

PAGE = (ROOT / "docs" / "restoring.md").read_text()
DISK = "/mnt/lotward-backups"


def commands(part: str = PAGE) -> list[list[str]]:
    """The commands of Lotward in a part of the page, as a shell takes them apart."""
    blocks = re.findall(r"```sh\n(.*?)```", part, re.DOTALL)
    lines = "".join(blocks).replace("\\\n", "").splitlines()
    return [shlex.split(line)[1:] for line in lines if line.startswith("lotward ")]


def test_every_command_of_the_page_is_one() -> None:
    assert [words[0] for words in commands()] == [
        "restore",
        "restore",
        "prove",
        "prove",
        "backup",
    ]
    for name, *options in commands():
        command = load_command_class(get_commands()[name], name)
        assert command.create_parser("manage.py", name).parse_args(options)


def test_the_steps_bring_a_lost_workshop_back(own: Path, tmp_path: Path) -> None:
    line = make_line()
    disk = tmp_path / "disk"
    file = back_up(disk)
    kept = Box.objects.get().serial
    (printed,) = (head.on_paper for head in heads.current())
    lost = line.pack().serial
    lose_the_database()
    plain, _encrypted, prove, compare, backup = commands()
    run(*(word.replace(DISK, str(disk)).replace("FILE", file.name) for word in plain))
    assert "Everything holds." in run(*prove)
    assert compare[-1] == "1/10492:5d0c1f6ab2e94477"
    assert "Everything holds." in run(*compare[:-1], printed)
    assert [box.serial for box in Box.objects.all()] == [kept]
    assert line.pack().serial not in (kept, lost)
    last = run(*(word.replace(DISK, str(disk)) for word in backup))[-1]
    assert Path(last).parent == disk


@pytest.mark.parametrize("name", ["lotward", "lotward-printworker", "lotward-backup"])
def test_what_is_stopped_and_started_are_units(name: str) -> None:
    started = re.findall(r"systemctl (?:stop|start) (.*)", PAGE)
    assert len(started) == 2
    for units in started:
        names = [unit.removesuffix(".timer") for unit in units.split()]
        assert name in names
        assert (ROOT / "docs" / f"{name}.service").exists()


def test_it_says_what_the_code_says() -> None:
    """The sentences of the table of refusals are those that people meet."""
    code = "".join(
        path.read_text() for path in (ROOT / "kitting" / "ledger").rglob("*.py")
    )
    code = re.sub(r'"\s*f?"', "", code)
    table = PAGE.split("| --- | --- |")[1].split("\n\n")[0]
    said = re.findall(r"^\| (.*?) \|", table, re.MULTILINE)
    assert len(said) > 7
    for words in said:
        for part in words.removeprefix("… ").split("; others "):
            assert part in code, part
    assert f"{LEAST_A_DAY:,} numbers of each kind" in PAGE
    assert f"`{heads.FILE}`" in PAGE
    assert set(re.findall(r"LOTWARD_[A-Z_]+", PAGE)) <= env.KNOWN
