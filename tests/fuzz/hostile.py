"""What is sent by mistake, by a broken program, or to do harm."""

from __future__ import annotations

import base64
import io
import random
import zipfile
import zlib
from collections.abc import Callable
from typing import Final

SCRIPT: Final = "\"'><script>alert(9521)</script>"
"""It must never stand in a page as it was sent."""

MEGABYTE: Final = 1 << 20

_TEXTS: Final = (
    *("", " ", "\t\n", "\0", "a\0b", "\x1d", "\x1b[2J\x07", "\x7f\x85\u2028\u2029"),
    *("\u202e1002\u202c", "\u200b\u200d\ufeff", "e\u0301" * 50, "\U0001f9ff", "\uffff"),
    *(
        "NaN",
        "inf",
        "1e400",
        "-1",
        "-0",
        "+1",
        "0x10",
        "1_000",
        "1,5.5",
        "1/0",
        "1 000",
    ),
    *(
        "²",
        "½",
        "٣",
        "１２",
        "零",
        "∞",
        "9" * 19,
        "9" * 400,
        "9" * 5_000,
        "0." + "0" * 999,
    ),
    *(
        "2026-02-30",
        "0000-00-00",
        "0001-01-01",
        "9999-12-31",
        "2999-12-31",
        "20260114",
        "1900-01-01",
    ),
    *("x" * 201, "x" * 5_000, "ß" * 5_000, "x y " * 5_000),
    *("=cmd|' /C calc'!A0", "@SUM(1+1)", "+1+1", "-2+3", "\t=1+1"),
    *("../../../../etc/passwd", "..\\..\\boot.ini", "/dev/zero", "file:///etc/passwd"),
    *("\r\nSet-Cookie: a=b", "a\nLocation: //b.example", "%0d%0aX: y", "//b.example"),
    *("https://b.example/", "javascript:alert(1)", SCRIPT, "{{ 7|add:7 }}{% x %}"),
    *(
        "%s%n%(x)s{0}{x}",
        "' OR 1=1 --",
        '";DROP TABLE kitting_lot',
        "null",
        "None",
        "one",
    ),
    *("[]", "{}", "[" * 5_000, '{"a":' * 2_000, "true", "]C1", "]C1\x1d\x1d", "]d2010"),
    *("(01)09521234000013(21)", "]C10109521234000013\x1d21", "ACT-", "ACT-CLOSE", "%"),
    *(
        "_",
        "%25",
        "*",
        "?",
        "#",
        "&",
        "a=b&c=d",
        ";",
        "\\",
        "`",
        "$(id)",
        "\N{SOFT HYPHEN}",
    ),
)
BYTES: Final = (
    b"\xff\xfe\xfd",
    b"\xc3",  # half a letter
    b"\xed\xa0\x80",  # half of a pair of UTF-16
    b"\xf4\x90\x80\x80",  # beyond the last letter
    "Größe".encode("latin-1"),
    "visor".encode("utf-16"),
)


def _bomb() -> str:
    """As a form of ours packs a file, but for what comes out of it."""
    return base64.b64encode(zlib.compress(bytes(64 * MEGABYTE), 9)).decode()


SHORT: Final[tuple[str | bytes, ...]] = (*_TEXTS, *BYTES)
VALUES: Final = (
    *SHORT,
    "x" * MEGABYTE,
    "9" * MEGABYTE,
    _bomb(),
)
PATHS: Final = (
    *("%00", "a%00b", "%0d%0aSet-Cookie:%20a=b", "..%2f..%2fetc%2fpasswd", "%ff%fe"),
    *("%ed%a0%80", "%e2%80%ae1", "9" * 19, "-1", "9" * 5_000, "x" * 5_000, "%20", "."),
    *("%25", "%3Cscript%3Ealert(9521)%3C/script%3E", "%1d", "%7b%7b7%7d%7d", "%e0%a4"),
)
"""Parts of an address, as they are sent."""

NAMES: Final = (
    *("lots.csv", "../../../etc/passwd", "C:\\lots.csv", "", ".", "..", "a" * 5_000),
    *("lots.xlsx", "a\0.csv", "a\r\nX: y.csv", '"; filename="b.csv', "\u202evsc.exe"),
    *("con.csv", "=1+1.csv", f"{SCRIPT}.csv", "%00.csv", "a/b.csv", "\udcff.csv"),
)
"""Of files; a name of half a pair is sent as the byte that it stands for."""


def _table(text: str, encoding: str = "utf-8") -> bytes:
    return text.encode(encoding)


TABLE: Final = (
    "part;revision;made on;source;counts\nHB;C;2026-01-14;Print bench;100 50\n"
)
FILES: Final[dict[str, Callable[[random.Random], bytes]]] = {
    "nothing": lambda _: b"",
    "bytes": lambda by: by.randbytes(4_000),
    "many bytes": lambda by: by.randbytes(3 * MEGABYTE),
    "zeros": lambda _: bytes(MEGABYTE),
    "one line": lambda _: b"x" * (3 * MEGABYTE),
    "empty lines": lambda _: b"\n" * MEGABYTE,
    "cells": lambda _: b";" * MEGABYTE,
    "quotes": lambda _: b'"' * 500_001,
    "half a quote": lambda _: TABLE.encode() + b'"' + b"x\n" * 9_000,
    "mixed ends": lambda _: TABLE.replace("\n", "\r").encode() + b"\r\r\n\n",
    "utf-16": lambda _: _table(TABLE, "utf-16"),
    "utf-32": lambda _: _table(TABLE, "utf-32"),
    "half of utf-16": lambda _: _table(TABLE, "utf-16")[:-1],
    "latin-1": lambda _: _table(TABLE.replace("Print", "Größe"), "latin-1"),
    "mark and more": lambda _: b"\xef\xbb\xbf\xff\xfe" + TABLE.encode(),
    "null in a cell": lambda _: TABLE.replace("bench", "be\0nch").encode(),
    "formulas": lambda _: TABLE.replace("Print bench", "=cmd|'/C calc'!A0").encode(),
    "digits": lambda _: TABLE.replace("100 50", "9" * 5_000).encode(),
    "many headings": lambda _: TABLE.replace("part", "part;part").encode(),
    "long row": lambda _: TABLE.encode() + b"HB" + b";x" * 50_000,
    "hostile cells": lambda by: (
        TABLE
        + "\n".join(
            ";".join(by.choice(_TEXTS[:40]) for _ in "12345") for _ in range(50)
        )
    ).encode(errors="replace"),
    "deep": lambda _: b"[" * MEGABYTE,
    "deep objects": lambda _: b'{"places":' * 100_000,
    "wrong kinds": lambda _: b'{"places": [1, null, [], {"code": {}}], "parts": "x"}',
    "keys twice": lambda _: b'{"places": [], "places": []}',
    "no number": lambda _: b'{"places": [NaN, Infinity, 1e999, -0]}',
    "long number": lambda _: b'{"parts": [' + b"9" * 5_000 + b"]}",
    "half a letter": lambda _: b'{"places": ["\\ud800"]}',
    "archive": lambda _: _archive(1_000),
    "archive of much": lambda _: _archive(64 * MEGABYTE),
    "workbook": lambda _: _workbook("<row><c><v>1</v></c></row>"),
    "workbook of much": lambda _: _workbook("<row/>" * 6_000_000),
    "workbook of texts": lambda _: _workbook("<row><c t='s'><v>-9</v></c></row>"),
    "workbook that laughs": lambda _: _workbook(
        "&b;", f'<!DOCTYPE x [<!ENTITY a "ha"><!ENTITY b "{"&a;" * 999}">]>'
    ),
    "workbook that fetches": lambda _: _workbook(
        "&a;", '<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]>'
    ),
    "half of a workbook": lambda _: _workbook("<row/>")[:300],
    "picture": lambda _: b"\x89PNG\r\n\x1a\n" + bytes(100),
    "document": lambda _: b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n",
}
"""What is in files; another format adds its own here."""


def _archive(size: int) -> bytes:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("../../escape.xml", bytes(size))
    return file.getvalue()


def _workbook(rows: str, kind: str = "") -> bytes:
    file = io.BytesIO()
    links = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    parts = {
        "xl/workbook.xml": f'<workbook xmlns:r="{links}"><sheet r:id="a"/></workbook>',
        "xl/_rels/workbook.xml.rels": (
            '<Relationships><Relationship Id="a" Target="s.xml"/></Relationships>'
        ),
        "xl/s.xml": f"{kind}<worksheet><sheetData>{rows}</sheetData></worksheet>",
    }
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, text in parts.items():
            packed.writestr(name, text)
    return file.getvalue()


BOUNDARY: Final = "9521234"
Parts = list[tuple[str, str | bytes]]


def multipart(parts: Parts, files: dict[str, tuple[str, bytes]]) -> bytes:
    """A form as RFC 7578 has it, whatever stands in its names."""
    body = bytearray()
    for name, value in parts:
        content = value.encode() if isinstance(value, str) else value
        body += _part(f'form-data; name="{name}"', content)
    for name, (called, content) in files.items():
        said = f'form-data; name="{name}"; filename="{called}"'
        body += _part(said, content, b"Content-Type: text/csv\r\n")
    return bytes(body) + f"--{BOUNDARY}--\r\n".encode()


def _part(said: str, content: bytes, more: bytes = b"") -> bytes:
    head = f"--{BOUNDARY}\r\nContent-Disposition: {said}\r\n"
    return head.encode(errors="surrogateescape") + more + b"\r\n" + content + b"\r\n"


ODD_BODIES: Final[dict[str, Callable[[bytes], tuple[str, bytes]]]] = {
    "no boundary": lambda body: ("multipart/form-data", body),
    "empty boundary": lambda body: ("multipart/form-data; boundary=", body),
    "long boundary": lambda body: (
        f"multipart/form-data; boundary={'x' * 5_000}",
        body,
    ),
    "another boundary": lambda body: ("multipart/form-data; boundary=other", body),
    "odd boundary": lambda body: ('multipart/form-data; boundary="\xff\0"', body),
    "cut off": lambda body: (f"multipart/form-data; boundary={BOUNDARY}", body[:-40]),
    "half": lambda body: (
        f"multipart/form-data; boundary={BOUNDARY}",
        body[: len(body) // 2],
    ),
    "no head": lambda body: (
        f"multipart/form-data; boundary={BOUNDARY}",
        body.replace(b"Content-Disposition", b"X"),
    ),
    "long head": lambda body: (
        f"multipart/form-data; boundary={BOUNDARY}",
        body.replace(b"form-data;", b"form-data; x=" + b"y" * 100_000 + b";", 1),
    ),
    "encoded": lambda body: (
        f"multipart/form-data; boundary={BOUNDARY}",
        body.replace(b"\r\n\r\n", b"\r\nContent-Transfer-Encoding: base64\r\n\r\n"),
    ),
    "unknown letters": lambda body: (
        f"multipart/form-data; boundary={BOUNDARY}; charset=none-such",
        body,
    ),
    "many parts": lambda body: (
        f"multipart/form-data; boundary={BOUNDARY}",
        _part('form-data; name="a"', b"") * 2_500 + body,
    ),
    "many files": lambda body: (
        f"multipart/form-data; boundary={BOUNDARY}",
        _part('form-data; name="a"; filename="b"', b"") * 150 + body,
    ),
    "form of utf-16": lambda body: (
        "application/x-www-form-urlencoded; charset=utf-16",
        body,
    ),
    "form of none": lambda body: (
        "application/x-www-form-urlencoded; charset=no\x80ne",
        body,
    ),
    "object": lambda _: ("application/json", b"[" * 100_000),
    "nothing": lambda _: ("", b"\xff"),
    "many fields": lambda _: ("application/x-www-form-urlencoded", b"a=&" * 2_500),
}
"""How a form is sent that no browser sends so."""

HEADERS: Final = (
    *("HTTP_HX_CURRENT_URL", "HTTP_HX_TARGET", "HTTP_HX_TRIGGER", "HTTP_HX_PROMPT"),
    *("HTTP_ACCEPT_LANGUAGE", "HTTP_ACCEPT", "HTTP_ACCEPT_ENCODING", "HTTP_REFERER"),
    *("HTTP_ORIGIN", "HTTP_X_FORWARDED_FOR", "HTTP_X_FORWARDED_PROTO", "HTTP_RANGE"),
    *("HTTP_IF_MODIFIED_SINCE", "HTTP_IF_NONE_MATCH", "HTTP_HOST", "HTTP_USER_AGENT"),
    *("HTTP_X_CSRFTOKEN", "HTTP_AUTHORIZATION", "REMOTE_ADDR", "CONTENT_LENGTH"),
)
COOKIES: Final = ("lotward_session", "lotward_csrf", "messages", "django_language")
COOKIE_VALUES: Final = (
    *('"\\000"', "x" * 5_000, "\xff\xfe", "=", ";;;", "9" * 32, "../../x", '"\\r\\n"'),
    *("\x80\x81", "[[", '"', "a" * 32),
)
