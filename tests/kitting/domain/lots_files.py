"""Small lots files for the tests of their reader."""

from __future__ import annotations

import csv
import io

from kitting.domain.intakefile import Row, Table, read

HEAD = "lot,part,revision,made on,counts"
GOOD = "HB-7,HEADBAND,R3,2026-03-01,100+100+40"


def faults(table: Table) -> list[tuple[int, str, str, str]]:
    return [(one.line, one.column, one.value, one.code) for one in table.problems]


def rows_of(data: bytes | str) -> list[Row]:
    table = read(data)
    assert faults(table) == []
    return table.rows


def one_row(**named: str) -> Table:
    """Read a file of one row; an underscore in a name stands for the blank."""
    row = {"lot": "HB-7", "part": "HEADBAND", "revision": "R3"}
    row |= {"made on": "2026-03-01", "counts": "100"}
    row |= {name.replace("_", " "): value for name, value in named.items()}
    out = io.StringIO()
    csv.writer(out).writerows([row.keys(), row.values()])
    return read(out.getvalue())
