"""README.md and DEVELOPERS.md say what is there, and no more."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from django.core.management import get_commands

from dispatch import rooms as dispatch
from kitting import rooms as kitting
from kitting.ledger.setup import ROLES
from kitting.models import Workshop
from lotward import env
from lotward.urls import urlpatterns

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text()
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text()
OURS = ("lotward", "kitting", "dispatch")


def own_commands() -> list[str]:
    return sorted(name for name, app in get_commands().items() if app in OURS)


@pytest.mark.parametrize("name", sorted(env.KNOWN))
def test_every_setting_stands_in_the_readme(name: str) -> None:
    assert f"`{name}`" in README


def test_the_readme_names_no_setting_that_is_not_there() -> None:
    named = set(re.findall(r"LOTWARD_[A-Z_]+", README))
    assert {n for n in named if not n.startswith("LOTWARD_TEST_")} <= env.KNOWN


@pytest.mark.parametrize("name", own_commands())
def test_every_command_stands_in_the_readme(name: str) -> None:
    assert re.search(rf"^\| `{name}\b", README, re.MULTILINE)


def test_the_readme_names_no_command_that_is_not_there() -> None:
    commands = README.split("## Commands")[1].split("## ")[0]
    named = set(re.findall(r"^\| `([a-z]+)", commands, re.MULTILINE))
    assert named == set(own_commands())


def rights_table() -> str:
    """Who may do what, as ``docs/roles.md`` shows it."""
    lines = [("", *ROLES), ("---", *("---" for _ in ROLES))]
    for right, words in Workshop._meta.permissions:
        has = ("yes" if right in rights else "" for rights in ROLES.values())
        lines.append((str(words), *has))
    return "\n".join(f"| {' | '.join(line)} |".replace("  ", " ") for line in lines)


def test_the_page_of_roles_shows_the_rights_that_the_code_gives() -> None:
    page = (ROOT / "docs" / "roles.md").read_text()
    shown = [line for line in page.splitlines() if line.startswith("|")]
    assert "\n".join(shown) == rights_table()
    assert "docs/roles.md" in README


def test_the_two_commands_are_targets_of_make() -> None:
    makefile = (ROOT / "Makefile").read_text()
    for target in ("demo", "test", "check", "setup", "tools", "bench"):
        assert re.search(rf"^{target}:", makefile, re.MULTILINE)
        assert f"make {target}" in README + DEVELOPERS


def test_what_make_runs_is_listed_for_people_without_make() -> None:
    makefile = (ROOT / "Makefile").read_text().replace("$(BIN)", ".venv/bin")
    without = README.split("Without make")[1].split("</details>")[0]
    locks = re.findall(r"^\.venv/.*: (requirements\S*)", makefile, re.MULTILINE)
    assert {f"--require-hashes -r {lock}\n" in without for lock in locks} == {True}
    for part in (
        "uv pip install",
        "--python .venv/bin/python --require-hashes -r",
        ".ci/chromium",
        ".ci/programs",
        "pytest -n 2 --dist worksteal",
    ):
        assert part in makefile
        assert part in without


def test_every_room_that_the_map_names_is_there() -> None:
    tree = DEVELOPERS.split("```")[1]
    above = [ROOT]
    for line in tree.splitlines():
        found = re.match(r"( *)([\w./]+(?: [\w]+/)*)", line)
        if not found or not found[2]:
            continue
        del above[len(found[1]) // 4 + 1 :]
        names = [*found[2].split(), *re.findall(r"; (\w+\.py)", line)]
        for name in names:
            if name.endswith(("/", ".py")):
                assert (above[-1] / name).exists(), name
        above.append(above[-1] / names[0])


@pytest.mark.parametrize(
    ("house", "ground"),
    [
        *(("kitting", ground) for ground in kitting.GROUND),
        *(("dispatch", ground) for ground in dispatch.GROUND),
    ],
)
def test_every_file_of_the_ground_is_in_the_map(house: str, ground: str) -> None:
    tree = DEVELOPERS.split("```")[1].split(f"\n{house}/")[1]
    part = re.search(rf"^    {ground}/.*\n(?:     .*\n)*", tree, re.MULTILINE)
    assert part
    files = {path.name for path in (ROOT / house / ground).glob("*.py")}
    assert files - set(re.findall(r"\w+\.py", part[0])) == {"__init__.py"}


def test_there_is_a_screen_for_each_row_of_the_readme() -> None:
    assert urlpatterns
    rows = README.split("## The screens")[1].split("A scanner")[0]
    head = (ROOT / "templates/_head.html").read_text()
    words = set(re.findall(r"_\('([^']+)'\)", head))
    named = set(re.findall(r"^\| ([A-Z][\w -]+?) \|", rows, re.MULTILINE))
    assert named == words
