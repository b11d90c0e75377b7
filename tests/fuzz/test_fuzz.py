"""Whatever is sent, a sentence answers: no fault of ours, no waiting, nothing written.

Addresses come from the resolver and from the links of every page, fields from the forms
in their HTML, so that a new page is met by itself. The gate takes some of all that there
is, always the same; ``make check-long`` takes all.
"""

from __future__ import annotations

import os
import random
import re
import socket
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from io import StringIO
from pathlib import Path
from typing import Any
from urllib.parse import urlencode, urlsplit
from uuid import uuid4

import pytest
from django.contrib.auth.models import Group
from django.core.management import CommandError, call_command
from django.db import connection, transaction
from django.test import Client
from django.urls import Resolver404, resolve, reverse
from django.utils import timezone

from dispatch.models import ReceiptLink
from dispatch.recall import links as recall_links
from dispatch.receipts.services import links
from kitting.ledger.setup import ROLES
from kitting.models import Bench, Operation, Touched, User
from kitting.packing.services.scales import give_token, token_of
from lotward.urls import PUBLIC
from tests import factories, pages
from tests.browser.touring import pages_of
from tests.dispatch.replies.replying import case_on
from tests.fuzz import hostile
from tests.fuzz.forms import Form, forms_in
from tests.ledgers import History
from tests.scales import door
from tests.tablets import tied
from tests.test_security import ADDRESSES, SAMPLES
from tests.trees import PACKAGES, modules

pytestmark = pytest.mark.django_db

SEED = int(os.environ.get("LOTWARD_TEST_FUZZ_SEED", "9521234"))
SECONDS = 10
"""Of computing; nothing that is sent may cost more."""
PLAIN = "application/x-www-form-urlencoded"
SEVERAL = f"multipart/form-data; boundary={hostile.BOUNDARY}"
NOT_AGAIN = {"kitting:badges"}
"""What it makes is given once: a badge's token is in memory alone."""

TAKING_FILES = {
    "dispatch:consignee-file",
    "dispatch:request-file",
    "kitting:lot-file",
}
TRIES = 6
"""With another seed there are others."""
MADE = 12
"""So many files each form is given in the gate."""

some_or_all = pytest.mark.parametrize(
    "every", [False, pytest.param(True, marks=pytest.mark.long)], ids=["some", "all"]
)


@dataclass
class Sender:
    """Sends anything, and takes back what it did: the next one finds all as it was."""

    client: Client
    fell: list[str] = field(default_factory=list)
    sent: int = 0
    acts: int = 0

    def send(
        self,
        what: str,
        method: str,
        address: str,
        body: bytes = b"",
        content_type: str = PLAIN,
        **extra: Any,
    ) -> None:
        """Send it, and the same once more where it was done; look at the answers."""

        def ask() -> tuple[Any, int]:
            before = written()
            answer = self.client.generic(method, address, body, content_type, **extra)
            # After a fault of ours the transaction may answer no question any more.
            return answer, 0 if answer.status_code >= 500 else written() - before

        self.sent += 1
        cookies, begun = self.client.cookies.copy(), time.process_time()
        around = transaction.savepoint()
        try:
            answer, wrote = ask()
            self._look(what, answer, wrote, time.process_time() - begun)
            self.acts += bool(wrote)
            if wrote and kind_of(address) not in NOT_AGAIN:
                again, twice = ask()
                if twice or again.status_code >= 400:
                    said = f"the same again: {again.status_code}, {twice} written"
                    self.fell.append(f"{what}: {said}")
        finally:
            transaction.savepoint_rollback(around)
            self.client.cookies = cookies

    def _look(self, what: str, answer: Any, wrote: int, took: float) -> None:
        page = answer.getvalue()
        is_html = answer.get("Content-Type", "").startswith("text/html")
        wrong = {
            f"status {answer.status_code}": answer.status_code >= 500,
            f"{took:.0f} seconds": took > SECONDS,
            f"{wrote} written": wrote and answer.status_code >= 400,
            "a script in the page": is_html and b"<script>alert(9521" in page,
        }
        self.fell += [f"{what}: {said}" for said, is_so in wrong.items() if is_so]


WRITTEN = " + ".join(
    f'(SELECT count(*) FROM "{model._meta.db_table}")' for model in (Operation, Touched)
)


def written() -> int:
    """Grows with every act, and with every row that is changed without one."""
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT {WRITTEN}")
        return int(cursor.fetchone()[0])


def kind_of(address: str) -> str:
    try:
        return resolve(urlsplit(address).path).view_name
    except Resolver404:
        return ""


@pytest.fixture(autouse=True)
def _no_address_is_known(monkeypatch: pytest.MonkeyPatch) -> None:
    """Printers have names of nowhere; what would look them up might wait for long."""

    def unknown(*_: Any, **__: Any) -> None:
        raise socket.gaierror(socket.EAI_NONAME, "unknown")

    monkeypatch.setattr(socket, "getaddrinfo", unknown)


@pytest.fixture
def sender(make_user: Any, client_for: Any) -> Sender:
    """Somebody who may do everything."""
    everybody: User = make_user("everybody")
    everybody.groups.set(Group.objects.filter(name__in=ROLES))
    client = client_for(everybody)
    client.raise_request_exception = False
    return Sender(client)


@pytest.fixture
def stranger(db: None) -> Sender:
    return Sender(Client(raise_request_exception=False))


# -- Forms --------------------------------------------------------------------------

ASKED = re.compile(r'request\.GET(?:\.get|\.getlist)?[(\[]"(\w+)"')


def asked_for() -> list[str]:
    """Names in addresses that views read without a form."""
    texts = [module.text for module in modules(*PACKAGES)]
    return sorted({name for text in texts for name in ASKED.findall(text)})


def all_there_is(history: History, each: int) -> tuple[list[str], list[Form]]:
    """Every page that a link leads to, and its forms; of one kind not more than this."""
    toured = [one for _, some in sorted(pages_of(history).items()) for one in some]
    kinds: dict[object, list[Form]] = {}
    addresses = []
    everybody, may = ("everybody",), range(200, 500)
    every = pages.pages_for(everybody, *toured, answers=may, of_a_kind=each)
    for page in every:
        addresses.append(page.address)
        for form in forms_in(page.html.decode(), page.address):
            found = kinds.setdefault((kind_of(form.action), form.names), [])
            if len(found) < each:
                found.append(form)
    return addresses, [form for some in kinds.values() for form in some]


def cases(
    form: Form, by: random.Random, every: bool
) -> Iterator[tuple[str, dict[str, Any]]]:
    """A form as it was meant, and with something else in one field or all."""
    names = [name for name in form.names if name != "csrfmiddlewaretoken"]
    yield "as meant", {}
    odd = [("a script", {name: [hostile.SCRIPT] for name in names if name != "op_key"})]
    odd += [
        ("anything", {name: [by.choice(hostile.SHORT)] for name in names})
        for _ in range(TRIES)
    ]
    wrong = [(name, by.choice(hostile.VALUES)) for name in names * TRIES]
    odd += [(f"{name} {value[:30]!r}", {name: [value]}) for name, value in wrong]
    odd.append(("nothing", dict.fromkeys(names, ())))
    odd += [(f"no {name}", {name: ()}) for name in names]
    odd += [(f"{name} twice", {name: ["1", "2"]}) for name in names]
    yield from odd if every else by.sample(odd, 1)


def filled(form: Form, changes: dict[str, Any]) -> hostile.Parts:
    kept = [(name, value) for name, value in form.filled() if name not in changes]
    keyed = [
        (name, str(uuid4()) if name == "op_key" and value else value)
        for name, value in kept
    ]
    return keyed + [(name, one) for name, some in changes.items() for one in some]


@pytest.mark.smoke
@some_or_all
def test_every_form_takes_anything(
    every: bool, history: History, sender: Sender
) -> None:
    by = random.Random(SEED)
    addresses, forms = all_there_is(history, 2 if every else 1)
    posted = [form for form in forms if form.method == "post"]
    for form in forms:
        named = f"{form.method} {kind_of(form.action)}"
        for what, changes in cases(form, by, every):
            parts = filled(form, changes)
            if form.method == "get":
                address = f"{urlsplit(form.action).path}?{urlencode(parts)}"
                sender.send(f"{named}: {what}", "GET", address)
            elif form.files:
                body = hostile.multipart(parts, {})
                sender.send(f"{named}: {what}", "POST", form.action, body, SEVERAL)
            else:
                body = urlencode(parts).encode()
                sender.send(f"{named}: {what}", "POST", form.action, body)
    names = asked_for()
    for address in addresses if every else by.sample(addresses, 30):
        for name in by.sample(names, TRIES if every else 1):
            value = by.choice(hostile.SHORT)
            asked = f"{urlsplit(address).path}?{urlencode([(name, value)])}"
            sender.send(f"{kind_of(address)}?{name}={value[:30]!r}", "GET", asked)
    assert sender.fell == []
    assert len(posted) > 60
    assert {kind_of(form.action) for form in forms if form.files} == TAKING_FILES
    assert sender.acts > 25
    assert factories.prove() == []


# -- Files and bodies ---------------------------------------------------------------


@some_or_all
def test_every_file_is_taken_or_refused(
    every: bool, history: History, sender: Sender
) -> None:
    by = random.Random(SEED)
    forms = [
        form
        for page in map(reverse, sorted(TAKING_FILES))
        for form in forms_in(sender.client.get(page).content.decode(), page)
        if form.files
    ]
    for form in forms:
        parts = filled(form, {})
        contents = list(hostile.FILES.items())
        for content, make in contents if every else by.sample(contents, MADE):
            for called in hostile.NAMES if every else by.sample(hostile.NAMES, 1):
                files = {name: (called, make(by)) for name in form.files}
                body = hostile.multipart(parts, files)
                what = f"{kind_of(form.action)}: {content} in {called[:30]!r}"
                sender.send(what, "POST", form.action, body, SEVERAL)
        good = hostile.multipart(
            parts, dict.fromkeys(form.files, ("a.csv", hostile.TABLE.encode()))
        )
        for odd, bend in hostile.ODD_BODIES.items():
            content_type, body = bend(good)
            sender.send(
                f"{kind_of(form.action)}: {odd}",
                "POST",
                form.action,
                body,
                content_type,
            )
    assert sender.fell == []
    assert forms


def at_a_tied_tablet(history: History, client: Client) -> str:
    client.cookies.update(tied(history.bench).cookies)
    return reverse("sign-on")


def by_a_link(history: History, _: Client) -> str:
    """The page on which a consignee says what it received."""
    of = {"shipment_id": history.gone.pk, "days": 30}
    links.give_link(**of, sign=factories.sign(now=timezone.now()))
    return links.path_of(ReceiptLink.objects.get(shipment=history.gone))


def by_a_case(history: History, _: Client) -> str:
    """The page on which a consignee answers for its boxes of a case."""
    load = history.gone.shipment_boxes.filter(live=True, passed=None).latest("pk")
    return recall_links.path_of(case_on(load.box), history.gone.consignee)


DOORS: dict[str, Callable[[History, Client], str]] = {
    "sign-in": lambda *_: reverse("sign-in"),
    "sign-on": at_a_tied_tablet,
    "kitting:tablet": lambda *_: reverse("kitting:tablet"),
    "dispatch:received": by_a_link,
    "dispatch:recalled": by_a_case,
}
"""Forms of whoever is not signed in, and the way to each."""
NO_FORM = {"sign-out", "health", "favicon", "kitting:scale"}


def test_every_door_is_tried() -> None:
    assert DOORS.keys() | NO_FORM == PUBLIC


@pytest.mark.smoke
@pytest.mark.parametrize("named", DOORS)
@some_or_all
def test_the_door_takes_anything(
    every: bool, named: str, history: History, stranger: Sender
) -> None:
    by = random.Random(SEED)
    at = DOORS[named](history, stranger.client)
    page = stranger.client.get(at).content.decode()
    [form] = [one for one in forms_in(page, at) if one.method == "post"]
    for name in form.names if every else form.names[:5]:
        some = [hostile.SCRIPT, *by.sample(hostile.VALUES, 4)]
        for value in hostile.VALUES if every else some:
            parts = filled(form, {name: [value]})
            what = f"{name} {value[:30]!r}"
            stranger.send(what, "POST", at, urlencode(parts).encode())
            stranger.send(what, "POST", at, hostile.multipart(parts, {}), SEVERAL)
    good = hostile.multipart(form.filled(), {"file": ("a.csv", b"x")})
    for odd, bend in hostile.ODD_BODIES.items():
        content_type, body = bend(good)
        stranger.send(odd, "POST", at, body, content_type)
    assert stranger.fell == []


@some_or_all
def test_a_scale_sends_anything(every: bool, stranger: Sender) -> None:
    by, bench, sign = random.Random(SEED), factories.make_bench(), factories.sign()
    Bench.objects.update(scale_step_mg=1, scale_u_mg=1, scale_most_mg=9_000_000)
    give_token(bench_id=bench.pk, sign=sign)
    shown = {"HTTP_AUTHORIZATION": f"Bearer {token_of(sign.key)}"}
    for value in hostile.SHORT if every else by.sample(hostile.SHORT, 20):
        raw = value.encode(errors="replace") if isinstance(value, str) else value
        sent = {
            PLAIN: urlencode({"g": value, "stable": value}).encode(),
            "application/json": raw,
            "application/json; charset=utf-16": b'{"g": ' + raw + b"}",
        }
        for kind, body in sent.items():
            what = f"{kind} {value[:30]!r}"
            stranger.send(what, "POST", door(bench), body, kind, **shown)
    assert stranger.fell == []


PART = re.compile("|".join(map(re.escape, SAMPLES.values())))


# -- Addresses, headers, cookies ----------------------------------------------------


@pytest.mark.smoke
@some_or_all
def test_every_address_takes_anything_for_a_number(every: bool, sender: Sender) -> None:
    by = random.Random(SEED)
    for address in ADDRESSES:
        parts = PART.findall(address.path)
        for part in by.sample(hostile.PATHS, 6 if every else 1):
            path = address.path
            for sample in parts:
                path = path.replace(sample, part)
            for method in ("GET", "POST", "PUT", "HEAD") if every else ("GET", "POST"):
                sender.send(f"{method} {address.name} {part[:30]}", method, path)
    assert sender.fell == []


@pytest.mark.smoke
@some_or_all
def test_headers_and_cookies_take_anything(every: bool, sender: Sender) -> None:
    by = random.Random(SEED)
    texts = [value for value in hostile.SHORT if isinstance(value, str)]
    values = [text.encode().decode("latin-1") for text in texts]
    for name in hostile.HEADERS:
        for value in values if every else by.sample(values, 3):
            sender.send(f"{name} {value[:30]!r}", "GET", "/lots/", **{name: value})
    kept = sender.client.cookies.copy()
    for name in hostile.COOKIES:
        for value in hostile.COOKIE_VALUES:
            sender.client.cookies.clear()
            sender.send(
                f"{name} {value!r}", "GET", "/lots/", HTTP_COOKIE=f"{name}={value}"
            )
    sender.client.cookies = kept
    assert sender.fell == []


# -- Commands -----------------------------------------------------------------------


@pytest.mark.parametrize("command", ["catalogue", "intake"])
def test_a_command_takes_any_file(
    command: str, history: History, tmp_path: Path
) -> None:
    by = random.Random(SEED)
    file, before = tmp_path / "file", written()
    for content, make in by.sample(sorted(hostile.FILES.items()), 20):
        file.write_bytes(make(by))
        said = told(command, str(file))
        assert said is None or (said.strip() and written() == before), content


def told(*words: str) -> str | None:
    """What a command says that is refused."""
    try:
        call_command(*words, stdout=StringIO(), stderr=StringIO())
    except CommandError as error:
        return str(error)
    return None
