from __future__ import annotations

import subprocess
import sys
from io import StringIO
from pathlib import Path

import pytest
import xlsxwriter
from django.core.management import CommandError, call_command

from kitting.models import Bag, Link, Lot, Operation, User
from tests import factories

HEAD = "lot;part;revision;made on;source;bags;pieces per bag;close"
ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(autouse=True)
def headband(db: None) -> None:
    factories.make_revision(factories.make_part(code="HB", name="Headband"), "C")


def write(folder: Path, *rows: str, name: str = "lots.csv") -> str:
    path = folder / name
    path.write_bytes("\r\n".join([HEAD, *rows]).encode("utf-8-sig"))
    return str(path)


def intake(*arguments: str) -> str:
    out = StringIO()
    call_command("intake", *arguments, stdout=out, stderr=StringIO())
    return out.getvalue()


def refusal(*arguments: str) -> str:
    said = StringIO()
    with pytest.raises(CommandError) as caught:
        call_command("intake", *arguments, stdout=said, stderr=said)
    assert Lot.objects.count() == Operation.objects.count() == 0
    assert caught.value.returncode == 1
    return f"{said.getvalue()}{caught.value}"


def test_a_file_is_taken_in_and_signed_by_the_command_line(tmp_path: Path) -> None:
    path = write(tmp_path, "HB-1;HB;C;01.03.2025;Print bench;3;100;yes", "", ";;;;;;;")
    said = intake(path)
    assert said == (
        "HB-1: Headband, revision C, bags: 3, 300 piece, new\n"
        "Lots: 1, bags: 3; taken in.\n"
    )
    assert Bag.objects.filter(lot__number="HB-1", pieces=100).count() == 3
    act = Operation.objects.get()
    assert act.by_name == "command line"
    assert not act.by.has_usable_password()
    assert act.by.get_all_permissions() == set()


def test_the_command_line_is_one_person(tmp_path: Path) -> None:
    intake(write(tmp_path, "HB-1;HB;C;2025-03-01;Print bench;3;100;"))
    intake(write(tmp_path, "HB-2;HB;C;2025-03-01;Print bench;3;100;"))
    assert User.objects.filter(username="command-line").count() == 1


def test_somebody_can_sign(tmp_path: Path) -> None:
    factories.make_person(name="receiver")
    path = write(tmp_path, "HB-1;HB;C;2025-03-01;Print bench;3;100;")
    intake(path, "--as", "receiver")
    assert Operation.objects.get().by_name == "receiver"


def test_nobody_unknown_signs(tmp_path: Path) -> None:
    path = write(tmp_path, "HB-1;HB;C;2025-03-01;Print bench;3;100;")
    assert "“stranger”" in refusal(path, "--as", "stranger")


def test_a_dry_run_writes_nothing(tmp_path: Path) -> None:
    path = write(tmp_path, ";HB;C;2025-03-01;Print bench;3;100;")
    said = intake(path, "--dry-run")
    assert "(number to come): Headband, revision C, bags: 3" in said
    assert said.endswith("Lots: 1, bags: 3; would be taken in; nothing was written.\n")
    assert Lot.objects.count() == Operation.objects.count() == 0


def test_every_bad_row_is_reported(tmp_path: Path) -> None:
    path = write(
        tmp_path,
        "HB-1;HB;C;2025-03-01;Print bench;3;100;",
        "HB-2;HB;C;01/03/2025;Print bench;3;100;",
        "HB-3;XX;C;2025-03-01;Print bench;3;100;",
    )
    said = refusal(path)
    lines = said.splitlines()
    assert lines[0].startswith("line 3, made on: “01/03/2025” ")
    assert lines[1].startswith("line 4, part: “XX” There is no part of this code.")
    assert lines[2] == "lots.csv: 2 faults. Nothing was written."


def test_the_order_of_dates_can_be_named(tmp_path: Path) -> None:
    path = write(tmp_path, "HB-1;HB;C;01/03/2025;Print bench;3;100;")
    intake(path, "--date-order", "dmy")
    assert str(Lot.objects.get().made_on) == "2025-03-01"


def test_a_workbook_is_taken_in_by_its_first_sheet(tmp_path: Path) -> None:
    path = tmp_path / "lots.xlsx"
    with xlsxwriter.Workbook(path) as book:
        sheet = book.add_worksheet()
        sheet.write_row(0, 0, HEAD.split(";"))
        row = ["HB-1", "HB", "C", "2025-03-01", "Print bench", 3, 100, True]
        sheet.write_row(1, 0, row)
    assert "HB-1: Headband, revision C, bags: 3, 300 piece, new" in intake(str(path))
    assert Lot.objects.get().stage == "closed"


def test_another_kind_of_workbook_is_refused_with_what_to_do(tmp_path: Path) -> None:
    path = tmp_path / "lots.xls"
    path.write_bytes(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(2_000))
    assert "Save it as XLSX" in refusal(str(path))


def test_what_can_hardly_be_right_takes_a_reason(tmp_path: Path) -> None:
    row = "HB-1;HB;C;2025-03-01;Print bench;3;100;"
    path = write(tmp_path, row, row)
    said = refusal(path)
    assert "line 3: This row repeats line 2 exactly" in said
    assert "1 questions. If all this is right, repeat the command with --sure" in said
    assert "bags: 6" in intake(path, "--sure", "A row for each delivery")
    assert "A row for each delivery" in Link.objects.get().outcome


def test_a_file_that_is_not_there_is_named(tmp_path: Path) -> None:
    assert "cannot be read: No such file" in refusal(str(tmp_path / "none.csv"))


def test_the_same_file_is_not_taken_in_again_by_chance(tmp_path: Path) -> None:
    path = write(tmp_path, ";HB;C;2025-03-01;Print bench;3;100;")
    intake(path)
    with pytest.raises(CommandError, match="was taken in before, by command line"):
        intake(path)
    assert Lot.objects.count() == 1
    intake(path, "--again")
    assert Lot.objects.count() == 2


def test_the_program_says_its_own_arguments() -> None:
    done = subprocess.run(
        [sys.executable, "manage.py", "intake", "--help"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    for word in ("--dry-run", "--date-order", "--as", "--again"):
        assert word in done.stdout
