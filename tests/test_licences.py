"""What others have made carries its licence where it stands."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from tests.trees import PACKAGES, ROOT

DATA = ROOT / "tests" / "data"
FONTS = ROOT / "kitting" / "labels" / "fonts"


def test_every_licence_in_the_tree_is_named_by_the_project() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    there = {ROOT / "LICENSE"}
    for folder in (*PACKAGES, "static", "tests"):
        there |= set((ROOT / folder).rglob("LICEN[CS]E*"))
    assert {ROOT / name for name in project["license-files"]} == there


@pytest.mark.parametrize(
    "font", sorted(FONTS.glob("*.ttf")), ids=lambda path: path.stem
)
def test_every_notice_inside_a_font_stands_in_the_licence_beside_it(font: Path) -> None:
    notices = set(re.findall(rb"Copyright \(c\) \d{4} by [\w ]+", font.read_bytes()))
    licence = (FONTS / "LICENCE-DejaVu.txt").read_bytes()
    assert notices
    assert {notice for notice in notices if notice not in licence} == set()


@pytest.mark.parametrize(
    "folder", sorted(path for path in DATA.iterdir()), ids=lambda path: path.name
)
def test_data_of_others_says_where_it_stands_whose_it_is(folder: Path) -> None:
    texts = [path.read_text() for path in folder.iterdir()]
    assert any(re.search(r"^Licence:|public domain", text, re.M) for text in texts)
