"""Every page that links lead to, one or two of each kind."""

from __future__ import annotations

import re
from collections import Counter, deque
from collections.abc import Container, Iterator
from html import unescape
from typing import NamedTuple
from urllib.parse import parse_qs, urljoin, urlsplit

from django.test import Client
from django.urls import Resolver404, resolve

from kitting.models import User

OF_A_KIND = 2
"""Pages of one view with the same filters; a second one often shows another stage."""

FILLED = re.compile(rb'<(?:a|button) [^>]*class="(?:[^"]* )?main(?: [^"]*)?"')
"""An act that is filled with the accent."""


ANSWERS = frozenset({200, 302, 422})
"""A page may say why there is nothing to print; no link leads to what is shut."""

RIGHTS = "lotward.rights.RightsBackend"


class Shown(NamedTuple):
    """A page as it was answered."""

    address: str
    html: bytes


def pages_for(
    names: tuple[str, ...],
    *also: str,
    answers: Container[int] = ANSWERS,
    of_a_kind: int = OF_A_KIND,
) -> Iterator[Shown]:
    """Follow the links of every page, as one person after the other.

    Args:
        names: People by their names; who comes later adds what others may not see.
        *also: Addresses that are seen to first, though no link may lead there.
        answers: How a page may be answered.
        of_a_kind: How many are seen to.

    Yields:
        Pages in the order in which they were met.
    """
    kinds: Counter[object] = Counter()
    for name in names:
        client = Client(headers={"host": "localhost"})
        client.force_login(User.objects.get(username=name), RIGHTS)
        yield from _follow(client, kinds, also, answers, of_a_kind)


def _follow(
    client: Client,
    kinds: Counter[object],
    also: tuple[str, ...],
    answers: Container[int],
    of_a_kind: int,
) -> Iterator[Shown]:
    waiting, met = deque([*also, "/"]), {*also, "/"}
    while waiting:
        address = waiting.popleft()
        kind = _kind(address)
        # The first page is everybody's way to the others.
        if kind is None or (kinds[kind] >= of_a_kind and address != "/"):
            continue
        kinds[kind] += 1
        answer = client.get(address)
        assert answer.status_code in answers, (answer.status_code, address)
        if answer.status_code == 302:
            found = {urljoin(address, answer["Location"])}
        elif answer["Content-Type"].startswith("text/html"):
            yield Shown(address, answer.content)
            found = _links(address, answer.content.decode())
        else:
            answer.getvalue()  # a file; to close it would end a transaction around this
            continue
        waiting.extend(sorted(found - met))
        met |= found


def _links(address: str, html: str) -> set[str]:
    written = {unescape(each) for each in re.findall(r'<a [^>]*?href="([^"#]+)', html)}
    return {urljoin(address, each) for each in written}


def _kind(address: str) -> object:
    parts = urlsplit(address)
    try:
        name = resolve(parts.path).view_name
    except Resolver404:
        return None
    return name, tuple(sorted(parse_qs(parts.query)))
