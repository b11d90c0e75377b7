"""Signing in by badge, and a badge in any other field: refused, not told, not kept."""

from __future__ import annotations

import logging
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from axes.models import AccessAttempt, AccessLog
from django.apps import apps
from django.contrib.sessions.models import Session
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import HttpRequest, HttpResponse, UnreadablePostError
from django.test import Client
from django.urls import reverse

from kitting.domain import badges
from kitting.models import Lot, Operation, User
from kitting.people.middleware import BadgeMiddleware
from kitting.people.queries import NOBODY
from kitting.people.services.badges import issue_badges, revoke_badge
from kitting.web.messages import ALL
from lotward.logs import LineFormatter
from lotward.sessions import SessionStore
from tests import factories
from tests.assertions import assert_page, assert_problem
from tests.trees import ROOT

pytestmark = pytest.mark.django_db

UNKNOWN = badges.make_token(bytes(16))
SENTENCE = str(ALL["badge_not_here"])


@pytest.fixture
def petra() -> User:
    return factories.make_person("packer", name="petra")


@pytest.fixture
def token(petra: User) -> str:
    return issue_badges(user_ids=[petra.pk], sign=factories.sign())[0].token


def sign_in(client: Client, name: str, password: str, **more: Any):
    return client.post("/sign-in/", {"username": name, "password": password, **more})


def kept_anywhere() -> Iterator[tuple[str, str]]:
    """Every text and every byte in every table, with where it stands."""
    for model in apps.get_models():
        for row in model._default_manager.values():
            for column, value in row.items():
                if isinstance(value, bytes | memoryview):
                    yield f"{model.__name__}.{column}", bytes(value).decode("latin-1")
                elif value is not None:
                    yield f"{model.__name__}.{column}", str(value)


def keepers_of(token: str) -> set[str]:
    return {where for where, text in kept_anywhere() if token.lower() in text.lower()}


# -- Signing in ------------------------------------------------------------------------


@pytest.mark.parametrize("as_sent", ["{}", "]d1{}", " {}\r\n"])
def test_a_badge_stands_for_the_name(
    client: Client, petra: User, token: str, as_sent: str
) -> None:
    answer = sign_in(client, as_sent.format(token.lower()), "pass", next="/lots/")
    assert (answer.status_code, answer["Location"]) == (302, "/lots/")
    assert client.session["_auth_user_id"] == str(petra.pk)
    assert AccessLog.objects.get().username == "petra"


@pytest.mark.parametrize("password", ["", "wrong"])
def test_a_badge_alone_lets_nobody_in(
    client: Client, token: str, password: str
) -> None:
    answer = sign_in(client, token, password)
    assert answer.status_code == 422
    assert "_auth_user_id" not in client.session
    # An empty password is a slip of the scanner, no try.
    assert AccessAttempt.objects.count() == (1 if password else 0)


@pytest.mark.smoke
def test_a_failed_try_counts_for_the_name_behind_the_badge(
    client: Client, token: str
) -> None:
    by = [token, "petra", token, "petra", token]
    assert [sign_in(client, name, "wrong").status_code for name in by] == [
        *[422] * 4,
        429,
    ]
    assert {attempt.username for attempt in AccessAttempt.objects.all()} == {"petra"}
    assert sign_in(client, "petra", "pass").status_code == 429
    assert sign_in(client, token, "pass").status_code == 429


@pytest.mark.smoke
def test_an_unknown_and_a_revoked_badge_get_the_ordinary_answer(
    client: Client, petra: User
) -> None:
    (new,) = issue_badges(user_ids=[petra.pk], sign=factories.sign())
    revoke_badge(badge_id=new.badge_id, sign=factories.sign())
    ordinary = sign_in(client, "nobody", "pass")
    shown = re.compile(r"csrfmiddlewaretoken\" value=\"\w+|value=\"nobody\"")
    for token in (UNKNOWN, new.token, UNKNOWN[:-1] + "B", f"petra{new.token}"):
        answer = sign_in(client, token, "pass")
        assert_problem(answer, "invalid_login")
        said = [shown.sub("", each.content.decode()) for each in (answer, ordinary)]
        assert "".join(said[0].split()) == "".join(said[1].split())
    tried = AccessAttempt.objects.exclude(username="nobody").get()
    assert (tried.username, tried.failures_since_start) == (NOBODY, 4)


def test_a_closed_account_is_not_opened_by_its_badge(
    client: Client, petra: User, token: str
) -> None:
    User.objects.filter(pk=petra.pk).update(is_active=False)
    assert_problem(sign_in(client, token, "pass"), "invalid_login")


def test_neither_the_badge_nor_the_name_behind_it_is_shown(
    client: Client, token: str
) -> None:
    for password in ("", "wrong"):
        text = sign_in(client, token, password).content.decode()
        assert not badges.holds_badge(text)
        assert "petra" not in text
    assert 'value="nobody"' in sign_in(client, "nobody", "wrong").content.decode()


def test_a_second_name_in_the_same_form_is_not_kept_either(
    client: Client, token: str
) -> None:
    data = {"username": [token, "nobody"], "password": "wrong"}
    assert client.post("/sign-in/", data).status_code == 422
    assert keepers_of(token) == set()


@pytest.mark.parametrize(
    "data",
    [
        {"username": "petra", "password": UNKNOWN},
        {"username": UNKNOWN, "password": "pass", "next": f"/recall/?q={UNKNOWN}"},
        {"username": UNKNOWN, "password": "pass", UNKNOWN: ""},
    ],
)
def test_only_the_name_takes_a_badge(client: Client, data: dict[str, str]) -> None:
    answer = client.post("/sign-in/", data)
    assert_page(answer, status=422)
    assert SENTENCE in answer.content.decode()
    assert not AccessAttempt.objects.exists()


# -- Anywhere else ---------------------------------------------------------------------


@pytest.fixture
def manager(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("manager", name="manager"))


def assert_kept_out(answer: HttpResponse) -> None:
    assert_page(answer, status=422)
    text = answer.content.decode()
    assert SENTENCE in text
    assert not badges.holds_badge(text)
    assert "no-store" in answer["Cache-Control"]


@pytest.mark.parametrize(
    "address",
    [
        f"/recall/?q={UNKNOWN}",
        f"/recall/?q=+{UNKNOWN[:9]}+{UNKNOWN[9:]}",
        f"/lots/?q={UNKNOWN.lower()}",
        f"/lots/?{UNKNOWN}=",
        f"/places/?where=x{UNKNOWN}y",
        f"/bags/{UNKNOWN}/",
        f"/{UNKNOWN}",
        f"/sign-in/?username={UNKNOWN}",
        f"/nowhere/?q={UNKNOWN}",
    ],
)
def test_a_badge_in_an_address_is_refused(manager: Client, address: str) -> None:
    assert_kept_out(manager.get(address))
    assert_kept_out(
        Client().get(address)
    )  # and not sent on to sign in, with it in the address


def test_a_badge_in_any_field_of_any_form_is_refused(manager: Client) -> None:
    bench = factories.make_bench()
    lot = factories.make_lot()
    run = factories.open_run(factories.make_protocol(factories.make_revision()))
    acts = Operation.objects.count()
    sent = {
        reverse("kitting:bench-scan", args=[bench.code]): "scan",
        reverse("kitting:put-away"): "read",
        reverse("kitting:run-scan", args=[run.number]): "number",
        reverse("kitting:lot-new"): "source_number",
        reverse("kitting:bag-new", args=[lot.number]): "number",
        reverse("kitting:carrier-new"): "name",
        reverse("kitting:workshop"): "address",
        reverse("kitting:lot-file"): "table",
        reverse("sign-out"): "next",
    }
    for address, name in sent.items():
        for value in (UNKNOWN, f"ACT-{UNKNOWN}", f"a\n{UNKNOWN.lower()}\nb"):
            data = {"op_key": str(uuid4()), name: value}
            assert_kept_out(manager.post(address, data))
    assert Operation.objects.count() == acts
    assert "_auth_user_id" in manager.session
    assert not AccessAttempt.objects.exists()


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "utf-16-be"])
def test_a_badge_in_a_file_is_refused(manager: Client, encoding: str) -> None:
    content = f"part;lot\nVISOR;{UNKNOWN}\n".encode(encoding)
    file = SimpleUploadedFile("lots.csv", content)
    assert_kept_out(manager.post("/lots/file/", {"op_key": str(uuid4()), "file": file}))
    assert not Lot.objects.exists()
    named = SimpleUploadedFile(f"{UNKNOWN}.csv", b"part;lot\n")
    assert_kept_out(
        manager.post("/lots/file/", {"op_key": str(uuid4()), "file": named})
    )


def test_a_file_without_a_badge_is_left_whole_for_its_reader() -> None:
    def read(request: HttpRequest) -> HttpResponse:
        return HttpResponse(request.FILES["file"].read())

    request = HttpRequest()
    request.method = "POST"
    request.path = request.path_info = "/lots/file/"
    request.FILES["file"] = SimpleUploadedFile("lots.csv", b"part;lot\n")
    assert BadgeMiddleware(read)(request).content == b"part;lot\n"


def test_htmx_gets_the_sentence_for_the_place_of_alarms(
    manager: Client, hx: dict[str, str]
) -> None:
    data = {"op_key": str(uuid4()), "read": UNKNOWN}
    answer = manager.post("/put-away/", data, headers=hx)
    assert (answer.status_code, answer.content.decode()) == (422, SENTENCE)
    assert answer["HX-Retarget"] == "#alarm"


def test_a_broken_connection_is_nobodys_badge() -> None:
    class Broken(HttpRequest):
        def _refuse(self) -> None:
            raise UnreadablePostError

        POST = property(_refuse, lambda self, value: None)

    request = Broken()
    request.method = "POST"
    request.path = request.path_info = reverse("sign-in")
    answer = BadgeMiddleware(lambda r: HttpResponse(status=204))(request)
    assert answer.status_code == 204


# -- What is kept ----------------------------------------------------------------------


def test_no_table_keeps_a_token_after_a_day_of_acts(
    petra: User, client_for: Callable[[User], Client]
) -> None:
    manager = client_for(factories.make_person("manager", name="manager"))
    page = reverse("kitting:badges")
    data = {"op_key": str(uuid4()), "people": [petra.pk], "paper": "one"}
    assert manager.post(page, data).status_code == 200
    new = [
        issue_badges(user_ids=[petra.pk], sign=factories.sign())[0] for _ in range(2)
    ]
    revoke_badge(badge_id=new[1].badge_id, sign=factories.sign())
    tablet = Client()
    for badge in new:
        for password in ("", "wrong", "pass"):
            sign_in(tablet, badge.token, password)
            tablet.get("/recall/", {"q": badge.token})
            tablet.post("/put-away/", {"op_key": str(uuid4()), "read": badge.token})
            manager.post("/put-away/", {"op_key": str(uuid4()), "read": badge.token})
    tablet.get(f"/sign-in/?next=/{new[0].token}")
    sessions = list(Session.objects.all())
    assert len(sessions) == 2
    kept = [SessionStore().decode(session.session_data) for session in sessions]
    assert all(kept)
    for badge in new:
        assert keepers_of(badge.token) == set()
        assert badge.token not in str(kept)
    # The search does find what is kept: it looks where it should.
    assert "User.username" in keepers_of("petra")
    assert "AccessAttempt.username" in keepers_of(NOBODY)
    assert "Link.outcome" in keepers_of("petra")


def test_no_log_tells_a_token(
    client: Client, token: str, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.DEBUG)
    for password in ("", "wrong", "pass"):
        sign_in(client, token, password)
    client.get("/recall/", {"q": token})
    client.post("/put-away/", {"read": token})
    client.get(f"/bags/{token}/")
    assert len(caplog.records) >= 4
    formatter = LineFormatter("{name} {message}", style="{")
    lines = [formatter.format(record) for record in caplog.records]
    assert [line for line in lines if token in line] == []
    assert any(f"/bags/{badges.IN_PLACE}/" in line for line in lines)


def test_a_traceback_in_the_log_tells_no_token_either() -> None:
    try:
        raise ValueError(UNKNOWN)
    except ValueError as error:
        told = (type(error), error, error.__traceback__)
    record = logging.LogRecord("x", logging.ERROR, "", 1, "%s", (UNKNOWN,), told)
    line = LineFormatter("{message}", style="{").format(record)
    assert line.startswith("(badge)\nTraceback")
    assert not badges.holds_badge(line)


@pytest.mark.parametrize("name", ["", "django.request", "django.server"])
def test_every_logger_that_writes_writes_by_that_formatter(name: str) -> None:
    logger: logging.Logger | None = logging.getLogger(name)
    handlers: list[logging.Handler] = []
    while logger is not None:
        handlers += logger.handlers
        logger = logger.parent if logger.propagate else None
    own = [h for h in handlers if type(h) is logging.StreamHandler]
    assert own
    assert all(isinstance(handler.formatter, LineFormatter) for handler in own)


# -- The browser's half ----------------------------------------------------------------


def test_the_browser_knows_a_badge_by_the_same_shape() -> None:
    script = Path(ROOT / "static/kitting/people/badges.js").read_text()
    whole = badges.LENGTH - len(badges.PREFIX)
    assert f"PIECE = /[{badges.LETTERS}]{{{badges.TELLING},}}/gi;" in script
    assert f"WHOLE = /{badges.PREFIX}[{badges.LETTERS}]{{{whole}}}/;" in script
    assert f"DIFFERENT = {badges.DIFFERENT};" in script


def test_the_browser_says_the_same_sentence(client: Client) -> None:
    assert f'data-badge="{SENTENCE}"' in client.get("/sign-in/").content.decode()
