"""Pages are compressed on the way, once, and hide what they hold while they are."""

from __future__ import annotations

import gzip
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from django.contrib.staticfiles import finders
from django.db.models import Count
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from benchmarks import filling
from kitting.models import Box, Lot, User
from tests import factories
from tests.browser.walking import HEAVIEST_PAGE

pytestmark = pytest.mark.django_db

GZIP = {"Accept-Encoding": "gzip, deflate"}
FILE_NAME = 0x08
"""The flag of a gzip member with a name: Django pads with one of random length."""

TOKEN = re.compile(r'name="csrfmiddlewaretoken" value="([^"#]+)[^"]*"')
FILE = re.compile(r'(?:href|src)="/static/([^"#]+)[^"]*"')


@pytest.fixture
def client(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person())


def body(answer: HttpResponse) -> bytes:
    return answer.getvalue()  # type: ignore[attr-defined,no-any-return]


def test_a_page_is_compressed_for_who_can_read_it(client: Client) -> None:
    packed = client.get("/boxes/", headers=GZIP)
    plain = client.get("/boxes/")
    assert packed.headers["Content-Encoding"] == "gzip"
    assert "Content-Encoding" not in plain.headers
    assert "<html" in gzip.decompress(body(packed)).decode()
    assert int(packed.headers["Content-Length"]) == len(body(packed))
    assert len(body(packed)) < len(body(plain)) / 2
    for answer in (packed, plain):
        assert "Accept-Encoding" in answer.headers["Vary"]
        assert answer.headers["Cache-Control"] == "private, no-store"
        assert "Content-Security-Policy" in answer.headers


def test_a_part_for_htmx_varies_by_both(client: Client) -> None:
    at = reverse("kitting:stock-new")
    part = client.get(at, headers={**GZIP, "HX-Request": "true"})
    assert part.headers["Content-Encoding"] == "gzip"
    assert {"Accept-Encoding", "HX-Request"} <= set(part.headers["Vary"].split(", "))


def test_a_compressed_page_hides_its_length_and_its_token(client: Client) -> None:
    # Who can make a browser ask for a page and sees lengths must learn nothing of what
    # is in it (BREACH): the length is padded at random, the token differs each time.
    packed = [body(client.get("/boxes/", headers=GZIP)) for _ in range(12)]
    assert all(page[3] & FILE_NAME for page in packed)
    names = [page[10:].split(b"\0")[0] for page in packed]
    assert len({len(name) for name in names}) > 1
    pages = [gzip.decompress(page).decode() for page in packed]
    assert len({TOKEN.findall(page)[0] for page in pages}) == len(pages)


def test_a_file_is_compressed_while_it_streams(client: Client) -> None:
    box = str(factories.make_closed_box())
    packed = client.get("/boxes/?as=csv", headers=GZIP)
    assert packed.streaming
    assert packed.headers["Content-Encoding"] == "gzip"
    lines = gzip.decompress(body(packed))
    assert box.encode() in lines
    assert lines == body(client.get("/boxes/?as=csv"))


def test_a_sheet_keeps_its_rows_when_it_is_compressed(client: Client) -> None:
    factories.make_closed_box()
    packed, plain = (
        client.get("/boxes/?as=xlsx", headers=headers) for headers in (GZIP, {})
    )
    assert gzip.decompress(body(packed))[:4] == body(plain)[:4] == b"PK\3\4"


def wire_bytes(client: Client, address: str) -> int:
    """The first load of a page, with the files that it names, as the server sends it.

    The server compresses its files when they are collected; those that do not shrink
    stay as they are.
    """
    page = body(client.get(address, headers=GZIP))
    found = [finders.find(name) for name in set(FILE.findall(_text(page)))]
    contents = [Path(str(path)).read_bytes() for path in found]
    return len(page) + sum(min(len(c), len(gzip.compress(c))) for c in contents)


def _text(page: bytes) -> str:
    return gzip.decompress(page).decode()


def test_pages_of_250_boxes_are_light(client: Client) -> None:
    filling.fill(boxes=500)
    boxes_of = Count("bags__box_lines__box", distinct=True)
    lot = Lot.objects.annotate(boxes=boxes_of).latest("boxes")
    recall = f"{reverse('dispatch:recall')}?q={lot.number}"
    pages = [recall, "/boxes/", reverse("dispatch:log"), reverse("kitting:day")]
    found = Box.objects.filter(lines__lot=lot).distinct()
    boxes = [box.serial for box in found.exclude(serial=None)]
    assert len(boxes) >= 250
    text = _text(body(client.get(recall, headers=GZIP)))
    assert all(f"?q={serial}" in text for serial in boxes)
    heavy = {page: wire_bytes(client, page) for page in pages}
    assert max(heavy.values()) <= HEAVIEST_PAGE, heavy
