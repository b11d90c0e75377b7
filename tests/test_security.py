"""Every address asks for a right; what every answer carries; who is locked out."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import pytest
from axes.models import AccessAttempt
from django.contrib.auth.models import Group, Permission
from django.contrib.sessions.models import Session
from django.contrib.staticfiles import finders
from django.db import DatabaseError, connection
from django.http import HttpRequest, HttpResponse
from django.templatetags.static import static
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.utils import timezone

from kitting.ledger.setup import ROLES
from kitting.models import Workshop
from lotward import env, middleware, urls
from tests.assertions import assert_page, assert_problem, assert_sent_to_sign_in

SAMPLES = {
    "IntConverter": "1",
    "PathConverter": "a/b",
    "SlugConverter": "a-b",
    "StringConverter": "NONE-1",
    "UUIDConverter": "00000000-0000-4000-8000-000000000000",
}
PASSWORD = "a pass phrase"


@dataclass(frozen=True)
class Address:
    """One pattern of the resolver with a path that it takes."""

    name: str
    path: str
    view: Callable[..., Any]


def _walk(patterns: list[Any], prefix: str = "", room: str = "") -> Iterator[Address]:
    for pattern in patterns:
        route = prefix + str(pattern.pattern)
        if isinstance(pattern, URLResolver):
            space = f"{pattern.namespace}:" if pattern.namespace else ""
            yield from _walk(pattern.url_patterns, route, room + space)
        elif isinstance(pattern, URLPattern):
            for name, converter in pattern.pattern.converters.items():
                sample = SAMPLES[type(converter).__name__]
                kinds = ("int", "path", "slug", "str", "uuid")
                for written in (f"<{name}>", *(f"<{kind}:{name}>" for kind in kinds)):
                    route = route.replace(written, sample)
            yield Address(f"{room}{pattern.name}", f"/{route}", pattern.callback)


ADDRESSES = list(_walk(get_resolver().url_patterns))
GUARDED = [address for address in ADDRESSES if address.name not in urls.PUBLIC]


def test_the_public_addresses_are_these_and_all_exist() -> None:
    signing = {"sign-in", "sign-on", "sign-out"}
    doors = {
        "kitting:scale",
        "kitting:tablet",
        "dispatch:received",
        "dispatch:recalled",
    }
    assert signing | doors | {"favicon", "health"} == urls.PUBLIC
    assert {address.name for address in ADDRESSES} >= urls.PUBLIC


def test_every_address_has_a_name_of_its_own() -> None:
    names = [address.name for address in ADDRESSES]
    assert len(names) == len(set(names))
    assert not [name for name in names if name.endswith("None")]


@pytest.mark.django_db
def test_every_address_asks_for_a_permission_that_exists() -> None:
    kept = Permission.objects.values_list("content_type__app_label", "codename")
    known = {f"{app}.{codename}" for app, codename in kept}
    asked = {one.name: getattr(one.view, "permission", None) for one in GUARDED}
    assert asked
    assert {name: right for name, right in asked.items() if right not in known} == {}


@pytest.mark.django_db
def test_a_stranger_is_sent_to_sign_in_first(
    client: Client, subtests: pytest.Subtests
) -> None:
    for address in GUARDED:
        with subtests.test(address.name):
            assert_sent_to_sign_in(client.get(address.path))
            assert_sent_to_sign_in(client.post(address.path))


@pytest.mark.django_db
def test_a_session_that_is_over_lets_nobody_in(make_user, client_for) -> None:
    client = client_for(make_user("robin", group="manager"))
    address = reverse("kitting:lots")
    assert client.get(address).status_code == 200
    Session.objects.update(expire_date=timezone.now() - timedelta(seconds=1))
    assert_sent_to_sign_in(client.get(address))


@pytest.mark.django_db
@pytest.mark.parametrize("role", [*ROLES, "nobody's"])
def test_every_address_opens_to_the_roles_that_have_its_right_and_to_no_other(
    role: str, make_user, client_for
) -> None:
    """Half of the roles get an address, the other half post to it."""
    client = client_for(make_user("robin", group=role if role in ROLES else ""))
    turn = [*ROLES, "nobody's"].index(role)
    wrong = []
    for nth, address in enumerate(GUARDED, start=turn):
        right = address.view.permission.removeprefix("kitting.")
        may = right in ROLES.get(role, ())
        ask = client.post if nth % 2 else client.get
        status = ask(address.path).status_code
        if status >= 500 or (status == 403) == may:
            wrong.append((address.name, right, status))
    assert wrong == []


# -- Headers ------------------------------------------------------------------------


@pytest.mark.django_db
@pytest.mark.parametrize("path", ["/sign-in/", "/health/", "/favicon.ico", "/nowhere/"])
def test_every_answer_carries_the_content_security_policy(
    path: str, client: Client
) -> None:
    assert client.get(path)["Content-Security-Policy"] == (
        "default-src 'self'; base-uri 'none'; object-src 'none';"
        " frame-ancestors 'none'; form-action 'self'"
    )


def test_a_view_may_send_a_policy_of_its_own() -> None:
    own = {"Content-Security-Policy": "default-src 'none'"}
    layer = middleware.ContentSecurityPolicyMiddleware(
        lambda r: HttpResponse(headers=own)
    )
    assert (
        layer(HttpRequest()).headers["Content-Security-Policy"] == "default-src 'none'"
    )


@pytest.mark.django_db
def test_the_other_protecting_headers_are_there(client: Client) -> None:
    headers = client.get("/health/").headers
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["X-Frame-Options"] == "DENY"
    assert headers["Referrer-Policy"] == "same-origin"
    assert headers["Cross-Origin-Opener-Policy"] == "same-origin"


@pytest.mark.django_db
def test_no_cache_keeps_what_somebody_signed_in_saw(outsider, client_for) -> None:
    answer = client_for(outsider).get("/nowhere/")
    assert answer["Cache-Control"] == "private, no-store"


@pytest.mark.django_db
def test_a_page_without_session_and_one_with_rules_of_its_own_are_left_alone(
    client: Client, outsider, client_for
) -> None:
    assert not client.get("/nowhere/").has_header("Cache-Control")
    kept = client_for(outsider).get("/favicon.ico")["Cache-Control"]
    assert kept == "max-age=86400, public"


# -- Signing in and out -------------------------------------------------------------


def _try(client: Client, name: str, password: str, **extra: str) -> Any:
    return client.post("/sign-in/", {"username": name, "password": password}, **extra)


@pytest.mark.django_db
def test_the_sign_in_page_is_a_page_and_is_never_cached(client: Client) -> None:
    response = client.get("/sign-in/")
    assert_page(response)
    assert "no-store" in response["Cache-Control"]


@pytest.mark.smoke
@pytest.mark.django_db
def test_who_signs_in_goes_on_to_where_they_wanted(client: Client, outsider) -> None:
    data = {"username": "outsider", "password": PASSWORD, "next": "/lots/?q=1"}
    response = client.post("/sign-in/", data)
    assert (response.status_code, response["Location"]) == (302, "/lots/?q=1")
    assert client.session["_auth_user_id"] == str(outsider.pk)


@pytest.mark.django_db
@pytest.mark.parametrize(
    "there", ["https://elsewhere.example/", "//elsewhere.example", "", "/"]
)
def test_who_names_no_page_of_ours_is_sent_home(
    there: str, client: Client, outsider
) -> None:
    data = {"username": "outsider", "password": PASSWORD, "next": there}
    assert client.post("/sign-in/", data)["Location"] == reverse("home")


FIRST_PAGES = {
    ("packer",): "/bench/",
    ("line operator",): "/disinfection/",
    ("checker",): "/lots/?verdict=waiting",
    ("clerk",): "/shipments/",
    ("quality officer",): "/",
    ("manager",): "/",
    ("packer", "clerk"): "/",
}


@pytest.mark.django_db
@pytest.mark.parametrize(("roles", "first"), FIRST_PAGES.items())
def test_each_role_begins_on_its_own_page(
    roles: tuple[str, ...], first: str, client: Client, make_user
) -> None:
    person = make_user("robin")
    person.groups.set(Group.objects.filter(name__in=roles))
    asked = client.get("/")["Location"]
    data = {"username": "robin", "password": PASSWORD}
    home = client.post(asked, data | {"next": "/"})["Location"]
    assert client.get(home)["Location"] == first
    assert client.get(first).status_code == 200


def test_no_role_is_left_out_of_the_test_above() -> None:
    assert {role for roles in FIRST_PAGES for role in roles} == set(ROLES)


@pytest.mark.django_db
def test_a_wrong_password_is_said_on_the_form(client: Client, outsider) -> None:
    assert_problem(_try(client, "outsider", "wrong"), "invalid_login")
    assert "_auth_user_id" not in client.session


@pytest.mark.django_db
def test_signing_out_ends_the_session_and_is_a_post(outsider, client_for) -> None:
    client = client_for(outsider)
    assert client.get("/sign-out/").status_code == 405
    assert client.post("/sign-out/")["Location"] == "/sign-in/"
    assert "_auth_user_id" not in client.session


@pytest.mark.django_db
def test_a_form_without_its_token_is_refused_on_a_page(outsider) -> None:
    client = Client(enforce_csrf_checks=True)
    response = _try(client, "outsider", PASSWORD)
    assert_page(response, status=403)


@pytest.mark.smoke
@pytest.mark.django_db
@pytest.mark.parametrize("length", [151, 256, 5000])
def test_a_name_longer_than_any_there_is_never_reaches_the_lockout(
    client: Client, length: int
) -> None:
    """PostgreSQL refuses a name of more than 255 characters in the lockout's table."""
    response = _try(client, "x" * length, PASSWORD)
    assert response.status_code == 422
    assert response.context["form"].has_error("username", "max_length")
    assert not AccessAttempt.objects.exists()
    _try(client, "x" * 150, PASSWORD)
    assert AccessAttempt.objects.count() == 1


# -- Odd requests -------------------------------------------------------------------


@pytest.mark.smoke
@pytest.mark.django_db
@pytest.mark.parametrize("path", ["/boxes/a%00b/", "/lots/%00/", "/%00"])
def test_a_null_character_in_a_path_is_404(path: str, outsider, client_for) -> None:
    """Whoever asks: PostgreSQL refuses it, wherever it would look the number up."""
    assert_page(client_for(outsider).get(path), status=404)


# -- Lockout ------------------------------------------------------------------------


@pytest.mark.smoke
@pytest.mark.django_db
def test_five_failures_lock_the_name_at_that_address(client: Client, outsider) -> None:
    statuses = [_try(client, "outsider", "wrong").status_code for _ in range(5)]
    assert statuses == [422, 422, 422, 422, 429]
    locked = _try(client, "outsider", PASSWORD)
    assert_page(locked, status=429)
    assert "_auth_user_id" not in client.session


@pytest.mark.django_db
def test_what_is_tried_while_it_is_locked_is_written_nowhere(
    client: Client, outsider
) -> None:
    """Else a row would grow with each try, and the lock would never end."""
    for _ in range(5):
        _try(client, "outsider", "wrong")
    attempt, noted = AccessAttempt.objects.values().get(), Workshop.objects.get()
    for _ in range(3):
        assert _try(client, "outsider", "x" * 4_000).status_code == 429
    assert AccessAttempt.objects.values().get() == attempt
    assert Workshop.objects.get().guessed_at == noted.guessed_at is not None
    longer_ago = attempt["attempt_time"] - timedelta(minutes=16)
    AccessAttempt.objects.update(attempt_time=longer_ago)
    assert _try(client, "outsider", PASSWORD).status_code == 302


@pytest.mark.django_db
def test_the_lock_holds_neither_for_others_there_nor_from_elsewhere(
    client: Client, outsider, make_user
) -> None:
    make_user("neighbour")
    for _ in range(5):
        _try(client, "outsider", "wrong")
    assert _try(client, "neighbour", PASSWORD).status_code == 302
    elsewhere = _try(Client(), "outsider", PASSWORD, REMOTE_ADDR="192.0.2.7")
    assert elsewhere.status_code == 302


@pytest.mark.django_db
def test_a_success_forgets_the_failures_before(client: Client, outsider) -> None:
    for _ in range(2):
        for _ in range(4):
            assert _try(client, "outsider", "wrong").status_code == 422
        assert _try(client, "outsider", PASSWORD).status_code == 302


@pytest.mark.django_db
def test_a_forged_forwarding_header_does_not_open_the_lock(
    client: Client, outsider
) -> None:
    for number in range(5):
        _try(client, "outsider", "wrong", HTTP_X_FORWARDED_FOR=f"192.0.2.{number}")
    forged = _try(client, "outsider", PASSWORD, HTTP_X_FORWARDED_FOR="192.0.2.99")
    assert forged.status_code == 429


PROXIES = "127.0.0.1,2001:db8::/64"
STRANGER, HOME = "203.0.113.9", "198.51.100.4"


@pytest.fixture
def behind(settings) -> None:
    settings.PROXY = env.networks({"LOTWARD_PROXY": PROXIES}, "LOTWARD_PROXY")


@pytest.mark.smoke
@pytest.mark.django_db
def test_behind_the_named_proxy_a_stranger_locks_out_nobody_else(
    client: Client, outsider, behind: None
) -> None:
    """Whatever the stranger writes into the header, the proxy adds who asked it."""
    for number in range(5):
        asked = f"{HOME}, 192.0.2.{number}, {STRANGER}"
        _try(client, "outsider", "wrong", HTTP_X_FORWARDED_FOR=asked)
    locked = _try(client, "outsider", PASSWORD, HTTP_X_FORWARDED_FOR=STRANGER)
    assert locked.status_code == 429
    at_home = _try(Client(), "outsider", PASSWORD, HTTP_X_FORWARDED_FOR=HOME)
    assert at_home.status_code == 302
    assert {str(row.ip_address) for row in AccessAttempt.objects.all()} == {STRANGER}


@pytest.mark.parametrize(
    ("asked_by", "told", "seen"),
    [
        ("127.0.0.1", "", "127.0.0.1"),
        ("127.0.0.1", STRANGER, STRANGER),
        ("127.0.0.1", f"{HOME}, {STRANGER}", STRANGER),
        ("127.0.0.1", f"{STRANGER},2001:db8::7", STRANGER),
        ("::ffff:127.0.0.1", f" {STRANGER} ", STRANGER),
        ("127.0.0.1", f"::ffff:{STRANGER}", STRANGER),
        ("127.0.0.1", "2001:db8::7, 127.0.0.1", "2001:db8::7"),
        ("127.0.0.1", "2001:DB8:1::7", "2001:db8:1::7"),
        ("127.0.0.1", f"{STRANGER}, unknown", "127.0.0.1"),
        ("127.0.0.1", f"{STRANGER}, 2001:db8::7, x, 127.0.0.1", "127.0.0.1"),
        ("127.0.0.2", STRANGER, "127.0.0.2"),
        (STRANGER, HOME, STRANGER),
        ("", STRANGER, ""),
    ],
)
def test_the_address_is_that_of_the_last_hop_which_is_no_proxy(
    asked_by: str, told: str, seen: str, behind: None
) -> None:
    request = HttpRequest()
    request.META = {"REMOTE_ADDR": asked_by, "HTTP_X_FORWARDED_FOR": told}
    middleware.ProxyMiddleware(lambda r: HttpResponse())(request)
    assert request.META["REMOTE_ADDR"] == seen


# -- Health and favicon -------------------------------------------------------------


@pytest.mark.django_db
def test_health_is_ok_while_the_database_answers(client: Client) -> None:
    response = client.get(reverse("health"))
    assert (response.status_code, response.content) == (200, b"ok\n")
    assert "no-store" in response["Cache-Control"]


@pytest.mark.django_db
def test_health_is_503_when_the_database_does_not_answer(client: Client) -> None:
    def broken(*args: Any) -> None:
        raise DatabaseError

    with connection.execute_wrapper(broken):
        assert client.get("/health/").status_code == 503


@pytest.mark.django_db
def test_the_favicon_is_there_for_every_browser(client: Client) -> None:
    response = client.get("/favicon.ico")
    assert response["Location"] == static("favicon.svg")
    assert finders.find("favicon.svg")
