"""An export of the journal, and the program that checks it without the database."""

from __future__ import annotations

import ast
import hashlib
import json
import subprocess
import sys
from collections.abc import Callable, Iterator
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from kitting.domain.errors import Missing
from kitting.ledger import export
from kitting.models import JournalHead, Link, Movement, User, Workshop
from kitting.people.services import accounts as services
from tests import factories
from tests.assertions import assert_refused
from tests.databases import once_a_module
from tests.ledgers import History

pytestmark = pytest.mark.django_db

ROOT = Path(__file__).resolve().parents[3]
CHECKER = ROOT / "static/dispatch/journal/check_journal.py"

STARTER = """
import argparse, hashlib, json, os, re, runpy, sys, typing
for line in sys.stdin:
    told, *words = json.loads(line)
    child = os.fork()
    if child == 0:
        for number, name in enumerate(told, 1):
            os.dup2(os.open(name, os.O_CREAT | os.O_WRONLY | os.O_TRUNC), number)
        sys.argv = words
        runpy.run_path(words[0], run_name="__main__")
    print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), flush=True)
"""
STARTED: list[subprocess.Popen[str]] = []

Lines = list[dict[str, Any]]


@once_a_module
def text(_history_of_the_module: History) -> str:
    """The whole journal of a history, as it is exported."""
    return "".join(export.lines(export.span()))


@pytest.fixture
def exported(text: str) -> Lines:
    return [json.loads(line) for line in text.rstrip("\n").split("\n")]


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "export.jsonl"


def written(file: Path, lines: Lines) -> Path:
    file.write_text("".join(f"{json.dumps(line)}\n" for line in lines))
    return file


@pytest.fixture(scope="module", autouse=True)
def _starter() -> Iterator[None]:
    """A Python that sees nothing of the project, and is forked for each check."""
    with subprocess.Popen(
        [sys.executable, "-I", "-W", "error", "-c", STARTER],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as started:
        STARTED[:] = [started]
        yield


def ran(file: Path, *asked: str) -> tuple[int, str, str]:
    """How the checker ends, and what it says where."""
    [started] = STARTED
    assert started.stdin
    assert started.stdout
    told = [f"{file}.said", f"{file}.wrong"]
    print(json.dumps([told, str(CHECKER), str(file), *asked]), file=started.stdin)
    started.stdin.flush()
    status = int(started.stdout.readline())
    said, wrong = (Path(name).read_text() for name in told)
    return status, said, wrong


def checked(file: Path, *asked: str) -> tuple[int, str]:
    status, said, wrong = ran(file, *asked)
    assert wrong == ""
    return status, said


def by_hand(before: str, line: dict[str, Any]) -> str:
    """The hash of a link, from nothing but the standard library."""
    names = ("seq", "operation", "outcome", "entries")
    text = json.dumps([1, before, *(line[name] for name in names)])
    return hashlib.sha256(text.encode()).hexdigest()


def sealed_anew(lines: Lines) -> Lines:
    """A file written anew by somebody who knows how hashes are made."""
    before = lines[0]["before"]
    for line in lines[1:]:
        before = line["hash"] = by_hand(before, line)
    lines[0]["last"] = lines[-1]["seq"]
    return lines


def head_of(line: dict[str, Any]) -> str:
    return f"1/{line['seq']}:{line['hash'][:16]}"


# -- What is in it ---------------------------------------------------------------------


def test_it_has_every_link_with_all_that_its_hash_covers(exported: Lines) -> None:
    header, *links = exported
    head = JournalHead.objects.get()
    assert header == {
        "file": "lotward-journal-1",
        "workshop": Workshop.objects.get().name,
        "site": 1,
        "first": 1,
        "last": head.seq,
        "before": "0" * 64,
    }
    assert [link["seq"] for link in links] == list(range(1, head.seq + 1))
    before = header["before"]
    for link in links:
        assert by_hand(before, link) == link["hash"]
        before = link["hash"]
    assert before == bytes(head.hash).hex()
    moved = [e for link in links for e in link["entries"] if e[0] == "kitting.movement"]
    assert len(moved) == Movement.objects.count()


def test_a_part_names_the_hash_before_it(history: History) -> None:
    assert history
    chosen = export.span(3, 5)
    header, *links = (json.loads(line) for line in export.lines(chosen))
    assert header["before"] == bytes(Link.objects.get(seq=2).hash).hex()
    assert [link["seq"] for link in links] == [3, 4, 5]
    assert chosen.head == head_of(links[-1])


def test_links_that_are_not_there_are_refused(history: History) -> None:
    assert history
    newest = JournalHead.objects.get().seq
    assert export.span(2, 10**9).last == newest
    with pytest.raises(Missing) as refused:
        export.span(newest + 1)
    assert_refused(refused.value, "no_such_links", newest=newest)


def test_it_is_read_some_links_at_a_time(
    history: History, monkeypatch: pytest.MonkeyPatch
) -> None:
    """So that a long journal takes no more memory than a short one."""
    assert history
    monkeypatch.setattr(export, "BATCH", 10)
    asked: list[int] = []
    monkeypatch.setattr(export, "written_by", _noting(export.written_by, asked))
    lines = export.lines(export.span(1, 35))
    assert [next(lines) for _ in range(12)]
    assert asked == [10, 10]
    assert len(list(lines)) == 36 - 12
    assert asked == [10, 10, 10, 5]


def _noting(call: Callable[[Any], Any], asked: list[int]) -> Callable[[Any], Any]:
    def noted(ids: Any) -> Any:
        asked.append(len(ids))
        return call(ids)

    return noted


def test_no_hash_of_a_password_is_in_it(exported: Lines) -> None:
    person = User.objects.exclude(password="").latest("pk")
    services.open_account(name=person.username, open=False, sign=factories.sign())
    text = "".join([*export.lines(export.span()), *map(json.dumps, exported)])
    for each in User.objects.exclude(password=""):
        assert each.password not in text
        assert hashlib.sha256(each.password.encode()).hexdigest() in text


# -- The command -----------------------------------------------------------------------


def test_the_command_writes_a_file_and_names_its_last_link(
    history: History, file: Path
) -> None:
    assert history
    said = StringIO()
    call_command("journal", export=str(file), stdout=said)
    head = JournalHead.objects.get()
    last = f"1/{head.seq}:{bytes(head.hash).hex()[:16]}"
    assert said.getvalue() == f"{file}: links 1 to {head.seq}\n{last}\n"
    assert checked(file, "--expect", last)[0] == 0


def test_the_command_leaves_a_file_that_is_there(history: History, file: Path) -> None:
    assert history
    file.write_text("kept")
    with pytest.raises(CommandError, match=r"Nothing was exported\. File exists"):
        call_command("journal", export=str(file))
    assert file.read_text() == "kept"


def test_the_command_leaves_no_half_a_file(
    history: History, file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert history

    def breaking(chosen: export.Span) -> Any:
        yield "{}\n"
        raise OSError(28, "No space left on device", str(file))

    monkeypatch.setattr(export, "lines", breaking)
    with pytest.raises(CommandError, match="The disk is full"):
        call_command("journal", export=str(file))
    assert not file.exists()


def test_the_command_says_which_links_there_are(history: History, file: Path) -> None:
    assert history
    with pytest.raises(CommandError, match=r"no such acts\. Its newest is number"):
        call_command("journal", "--export", str(file), "--from", "999999")
    assert not file.exists()


# -- What the checker finds ------------------------------------------------------------


def test_what_was_exported_holds(exported: Lines, file: Path) -> None:
    status, said = checked(written(file, exported))
    last = exported[-1]
    assert status == 0
    assert f"Everything holds: links 1 to {last['seq']} " in said
    assert f"The last link, {last['seq']}, begins with {last['hash'][:16]}." in said
    assert "Nothing was expected." in said


def test_a_part_holds_with_the_head_before_it(history: History, file: Path) -> None:
    assert history
    file.write_text("".join(export.lines(export.span(3, 5))))
    before = bytes(Link.objects.get(seq=2).hash).hex()
    status, said = checked(file, "--expect", f"2:{before}", f"5:{_hash(5)[:16]}")
    assert (status, "Expected and found: 2." in said) == (0, True)
    assert f"Before it, link 2 begins with {before[:16]}." in said
    assert checked(file, "--expect", f"2:{'0' * 16}")[0] == 1


def _hash(seq: int) -> str:
    return bytes(Link.objects.get(seq=seq).hash).hex()


def change_a_value(lines: Lines) -> None:
    line = next(each for each in lines[1:] if each["entries"])
    line["entries"][0][2][-1][1] = "another"


def change_who(lines: Lines) -> None:
    dict_of = {name: at for at, (name, _value) in enumerate(lines[4]["operation"])}
    lines[4]["operation"][dict_of["by_name"]][1] = "Somebody else"


def change_an_outcome(lines: Lines) -> None:
    lines[4]["outcome"] = lines[4]["outcome"].replace("}", ', "more": 1}')


def drop_a_row(lines: Lines) -> None:
    next(each for each in lines[1:] if each["entries"])["entries"].pop()


def drop_a_line(lines: Lines) -> None:
    del lines[4]


def drop_the_first(lines: Lines) -> None:
    del lines[1]


def drop_the_last(lines: Lines) -> None:
    del lines[-1]


def swap_lines(lines: Lines) -> None:
    lines[4], lines[5] = lines[5], lines[4]


def double_a_line(lines: Lines) -> None:
    lines.insert(4, lines[4])


def add_what_is_not_covered(lines: Lines) -> None:
    lines[4]["note"] = "not sealed"


def change_a_hash(lines: Lines) -> None:
    lines[4]["hash"] = "0" * 64


def give_another_form(lines: Lines) -> None:
    lines[4]["form"] = 2


def begin_elsewhere(lines: Lines) -> None:
    lines[0]["before"] = "1" * 64


@pytest.mark.parametrize(
    ("bend", "found"),
    [
        (change_a_value, "does not follow"),
        (change_who, "Line 5: link 4 does not follow"),
        (change_an_outcome, "Line 5: link 4 does not follow"),
        (drop_a_row, "does not follow"),
        (drop_a_line, "Line 5: link 4 must come here, and link 5 does"),
        (drop_the_first, "Line 2: link 1 must come here, and link 2 does"),
        (drop_the_last, "is the last, and the file ends after link"),
        (swap_lines, "Line 5: link 4 must come here, and link 5 does"),
        (double_a_line, "Line 6: link 5 must come here, and link 4 does"),
        (add_what_is_not_covered, "Line 5 does not have exactly what it must have"),
        (change_a_hash, "Line 5: link 4 does not follow"),
        (give_another_form, "Line 5: link 4 does not follow"),
        (begin_elsewhere, "Line 1: before link 1 there is no other"),
    ],
)
def test_what_was_bent_is_found(
    exported: Lines, file: Path, bend: Callable[[Lines], None], found: str
) -> None:
    bend(exported)
    status, said = checked(written(file, exported))
    assert (status, said[:16], found in said) == (1, "It does not hold", True), said


def test_a_cut_tail_is_found_by_an_expected_head_alone(
    exported: Lines, file: Path
) -> None:
    head = head_of(exported[-1])
    written(file, sealed_anew(exported[:-3]))
    assert checked(file)[0] == 0
    status, said = checked(file, "--expect", head)
    assert (status, f"Link {exported[-1]['seq']} is expected" in said) == (1, True)


def test_a_rewritten_tail_is_found_by_an_expected_head_alone(
    exported: Lines, file: Path
) -> None:
    head = head_of(exported[-1])
    change_an_outcome(exported)
    written(file, sealed_anew(exported))
    assert checked(file)[0] == 0
    status, said = checked(file, "--expect", head_of(exported[3]), head)
    assert (status, "the journal was written anew" in said) == (1, True)


@pytest.mark.parametrize(
    "garbage",
    [
        b"",
        b"\n",
        b"\x00\xff\xfe",
        b"null\n",
        b"[" * 100_000,
        b'{"file": "lotward-journal-1", "file": "lotward-journal-1"}\n',
        b'{"file": 1, "workshop": 1, "site": [], "first": {}, "last": 0, "before": 2}',
        b'{"file": "lotward-journal-1", "workshop": "", "site": 1, "first": true}\n',
        b'{"file": "", "workshop": "", "site": 1, "first": 1, "last": 1, "before": ""}',
    ],
)
def test_garbage_is_refused_in_a_sentence(file: Path, garbage: bytes) -> None:
    file.write_bytes(garbage)
    status, said = checked(file)
    assert (status, said.count("\n")) == (1, 1), said


@pytest.mark.parametrize("cut", [1, 2, 40])
def test_a_file_that_breaks_off_is_found(exported: Lines, file: Path, cut: int) -> None:
    written(file, exported)
    whole = file.read_bytes()
    file.write_bytes(whole[:-cut])
    status, said = checked(file)
    # Without the last line's end nothing that it says is missing.
    assert status == (0 if cut == 1 else 1), said
    file.write_bytes(whole + b"\xff")
    assert checked(file)[0] == 1


@pytest.mark.parametrize("place", ["operation", "outcome", "entries", "seq", "hash"])
@pytest.mark.parametrize("value", [None, [[[]]], {"a": 1}, 1e400, "\ud800", -1])
def test_a_value_of_any_kind_is_found(
    exported: Lines, file: Path, place: str, value: object
) -> None:
    exported[4][place] = value
    status, said = checked(written(file, exported))
    assert (status, said[:24]) == (1, "It does not hold. Line 5"), said


def test_what_is_expected_is_read_with_care(file: Path) -> None:
    for head in (
        "4",
        "4:123",
        "x:0123456789abcdef",
        "4:0123456789abcdeg",
        "10/4:" + "0" * 16,
    ):
        status, _said, wrong = ran(file, "--expect", head)
        assert (status, "at least 16 digits" in wrong) == (2, True)
    status, said = checked(file)
    assert (status, "No such file" in said) == (2, True)


def test_digits_may_be_expected_as_they_are_printed(
    exported: Lines, file: Path
) -> None:
    seq, digits = head_of(exported[-1]).split(":")
    fours = " ".join(digits[at : at + 4] for at in range(0, 16, 4)).upper()
    for head in (f"{seq}: {fours}", f"{seq.removeprefix('1/')}:{digits}"):
        assert checked(written(file, exported), "--expect", head)[0] == 0
    status, said = checked(file, "--expect", f"2/{seq.removeprefix('1/')}:{digits}")
    assert (status, "A link of site 2 is expected" in said) == (1, True)


def test_the_checker_is_one_file_for_an_old_python() -> None:
    tree = ast.parse(CHECKER.read_text(), feature_version=(3, 8))
    taken = {
        name.partition(".")[0]
        for node in ast.walk(tree)
        if isinstance(node, ast.Import | ast.ImportFrom)
        for name in (
            [node.module or ""]
            if isinstance(node, ast.ImportFrom)
            else [alias.name for alias in node.names]
        )
    }
    assert taken == {
        *("__future__", "argparse", "hashlib", "json", "re", "sys", "typing")
    }
