"""Check an export of a workshop's journal, without the workshop's database.

    python check_journal.py EXPORT.jsonl --expect SITE/NUMBER:DIGITS ...

Needs Python 3.8 or later and nothing else, opens no connection and writes no file. Each
line of the export is one act of the workshop with a hash (SHA-256) over all that it
wrote and over the hash of the act before. Every hash is computed again here. A line that
was changed, left out, put in or moved no longer follows from the one before it.

A file can only be checked against itself. Whoever writes the whole journal anew, or cuts
off its end, makes a file that holds as well. What cannot be written anew are the papers
that others have: a packing list names the newest link of its day, such as
1/1432:9f3a0b1c2d3e4f50, by site, number and the first 16 digits of its hash. Give those
with --expect, from as many papers as there are.

Exit status 0: everything holds. 1: something does not. 2: nothing could be checked.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import re
import sys
from typing import Any, BinaryIO, Iterator, NamedTuple

FORM = "lotward-journal-1"
HEADER = {"file", "workshop", "site", "first", "last", "before"}
LINK = {"seq", "form", "operation", "outcome", "entries", "hash"}
LONGEST = 1 << 28
"""A longer line than this (256 MiB) is no line of an export."""
START = "0" * 64
"""What stands for the hash before the first act of all."""


class Head(NamedTuple):
    """A link as a paper names it."""

    site: int
    """0 where it is not said."""
    number: int
    digits: str


class Fault(Exception):
    """Something does not hold; its text says what."""


def main() -> int:
    """Check the file that the command line names; give the exit status."""
    for stream in (sys.stdout, sys.stderr):
        stream.reconfigure(errors="backslashreplace")  # type: ignore[union-attr]
    asked = _asked()
    try:
        with open(asked.export, "rb") as file:
            for said in _check(file, asked.expect):
                print(said)
    except Fault as fault:
        print(f"It does not hold. {fault}")
        return 1
    except OSError as error:
        print(f"{asked.export} cannot be read: {error.strerror}.")
        return 2
    return 0


def _asked() -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("export", metavar="EXPORT.jsonl", help="the file to check")
    parser.add_argument(
        "--expect",
        metavar="HEAD",
        nargs="+",
        action="extend",
        default=[],
        type=_head,
        help="a link as papers name it: site/number:digits; the site may be left out",
    )
    return parser.parse_args()


def _head(text: str) -> Head:
    found = re.fullmatch(
        "(?:([1-9])/)?([0-9]{1,18}):([0-9a-f]{16,64})", "".join(text.split()).lower()
    )
    if found is None:
        raise argparse.ArgumentTypeError(
            f"{text!r} is not a number, a colon and at least 16 digits from 0 to f"
        )
    return Head(int(found[1] or 0), int(found[2]), found[3])


def _check(file: BinaryIO, expected: list[Head]) -> Iterator[str]:
    lines = _lines(file)
    header = next(lines, None)
    if header is None:
        raise Fault("The file is empty.")
    first, last = _header(header)
    for head in expected:
        if head.site not in {0, header["site"]}:
            raise Fault(
                f"A link of site {head.site} is expected, and the file is of site"
                f" {header['site']}."
            )
    number, before = first - 1, header["before"]
    _compare(number, before, expected)
    for at, line in enumerate(lines, start=2):
        number += 1
        before = _follow(at, line, number, before)
        _compare(number, before, expected)
    if number != last:
        raise Fault(
            f"The first line says that link {last} is the last, and the file ends after"
            f" link {number}."
        )
    beside = [each.number for each in expected if not first - 1 <= each.number <= last]
    if beside:
        raise Fault(
            f"Link {beside[0]} is expected, and the file has links {first} to {last}:"
            " its end or its beginning was cut off, or only a part was exported."
        )
    yield f"Everything holds: links {first} to {last} follow one from the other."
    name = "".join(c if c.isprintable() else "?" for c in header["workshop"])
    yield f"The file says that it is of {name}, site {header['site']}."
    if first == 1:
        yield "It has the journal from its beginning."
    else:
        yield f"Before it, link {first - 1} begins with {header['before'][:16]}."
    yield f"The last link, {last}, begins with {before[:16]}."
    if expected:
        yield f"Expected and found: {len(expected)}."
    else:
        yield (
            "Nothing was expected. Compare with numbers and digits that are printed"
            " elsewhere, such as on packing lists: see --expect."
        )


def _lines(file: BinaryIO) -> Iterator[dict[str, Any]]:
    at = 0
    while True:
        at += 1
        line = file.readline(LONGEST + 1)
        if not line:
            return
        if len(line) > LONGEST:
            raise Fault(f"Line {at} is too long for an export.")
        try:
            read = json.loads(line.decode("ascii"), object_pairs_hook=_once)
        except (ValueError, RecursionError, MemoryError):
            raise Fault(
                f"Line {at} cannot be read: it is damaged, or no line of an export."
            ) from None
        wanted = HEADER if at == 1 else LINK
        if not isinstance(read, dict) or set(read) != wanted:
            raise Fault(f"Line {at} does not have exactly what it must have.")
        yield read


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Refuse a name that comes twice: people might read one and hash the other."""
    if len(dict(pairs)) != len(pairs):
        raise ValueError("a name comes twice")
    return dict(pairs)


def _header(header: dict[str, Any]) -> tuple[int, int]:
    first, last, before = header["first"], header["last"], header["before"]
    if header["file"] != FORM:
        raise Fault("Line 1: this is no export that this program knows.")
    numbers = (first, last, header["site"])
    if not all(type(each) is int for each in numbers) or not 1 <= first <= last:
        raise Fault("Line 1: the numbers of the first and last link make no sense.")
    if not isinstance(header["workshop"], str) or not _is_hash(before):
        raise Fault("Line 1: the workshop or the hash before the first link is none.")
    if first == 1 and before != START:
        raise Fault(
            "Line 1: before link 1 there is no other, and a hash of one is said."
        )
    return first, last


def _follow(at: int, line: dict[str, Any], number: int, before: str) -> str:
    seq, form = line["seq"], line["form"]
    if type(seq) is not int or type(form) is not int or not _is_hash(line["hash"]):
        raise Fault(f"Line {at}: its number, its form or its hash is none.")
    if seq != number:
        raise Fault(
            f"Line {at}: link {number} must come here, and link {seq} does. Lines are"
            " missing, or in another order."
        )
    covered = [form, before, seq, line["operation"], line["outcome"], line["entries"]]
    try:
        digest = hashlib.sha256(json.dumps(covered).encode()).hexdigest()
    except RecursionError:
        raise Fault(f"Line {at}: it is nested too deep for an export.") from None
    if form != 1 or digest != line["hash"]:
        raise Fault(
            f"Line {at}: link {seq} does not follow from the link before it and what"
            " this line says. One of the two is not as the workshop wrote it."
        )
    return digest


def _compare(number: int, digest: str, expected: list[Head]) -> None:
    for head in expected:
        if head.number == number and not digest.startswith(head.digits):
            raise Fault(
                f"Link {number} begins with {digest[:16]} in this file, and"
                f" {head.digits[:16]} is expected: the journal was written anew, or what"
                " was expected is of another workshop."
            )


def _is_hash(value: Any) -> bool:
    return isinstance(value, str) and re.fullmatch("[0-9a-f]{64}", value) is not None


if __name__ == "__main__":
    sys.exit(main())
