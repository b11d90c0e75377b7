"""The tablet that a request comes from, and who signed on there by a badge.

Signing on by badge and PIN is quick and weak: a card that can be lost, and four digits.
So such a session is marked, and is worth less than one of a password. It is good at the
tablet alone that is tied to the bench, only while the badge is valid and the PIN is the
one that was entered, and opens nothing but what that bench needs (``http.allowed``).
All of it is asked with each request, so whatever is revoked, untied or set anew ends it
with the next.
"""

from __future__ import annotations

from typing import Final

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import (
    BACKEND_SESSION_KEY,
    HASH_SESSION_KEY,
    SESSION_KEY,
    logout,
)
from django.contrib.auth.models import update_last_login
from django.db.models import Exists, QuerySet
from django.http import HttpRequest, HttpResponse
from django.middleware.csrf import rotate_token
from django.utils.crypto import constant_time_compare
from django.utils.translation import gettext as _

from kitting.ledger.given import mark_of, secret_of
from kitting.ledger.kept import Kept
from kitting.models import Badge, Bench, User

COOKIE: Final = "lotward_tablet"
"""What a tied tablet carries; it outlasts every session."""
AGE_S: Final = 400 * 24 * 60 * 60
"""Browsers keep no cookie longer."""
BY_BADGE: Final = "by_badge"
"""Where a session keeps that it was opened by a badge: badge, bench, mark of the PIN."""


def _tied(mark: str) -> QuerySet[Bench]:
    return Bench.objects.filter(tablet__token_sha256=mark, active=True)


def _on(mark: str, badge: int) -> QuerySet[Bench]:
    valid = Badge.objects.filter(pk=badge, revoked_at__isnull=True)
    return _tied(mark).filter(Exists(valid))


_BENCH, _ON = Kept(_tied), Kept(_on)


def tablet_of(request: HttpRequest) -> str:
    """What the tablet of a request carries, as a ``Sign`` has it; empty where nothing."""
    token = request.COOKIES.get(COOKIE)
    return mark_of(token) if token else ""


def bench_of(request: HttpRequest) -> Bench | None:
    """The bench in use that the tablet of a request is tied to."""
    mark = tablet_of(request)
    return next(iter(_BENCH(mark)), None) if mark else None


def hand_token(response: HttpResponse, token: str) -> None:
    """Let the tablet that is answered carry its token.

    No script reads it, no other site's page makes a browser send it, and nothing but
    an encrypted connection carries it where there is one.
    """
    response.set_cookie(
        COOKIE,
        token,
        max_age=AGE_S,
        secure=settings.SESSION_COOKIE_SECURE,
        httponly=True,
        samesite="Strict",
    )


def sign_on(request: HttpRequest, badge: Badge, bench: Bench) -> None:
    """Sign a person on by their badge, once the PIN was right.

    The session is a new one, whatever was there before. Django's own ``login`` is not
    asked: it would tell the lockout that a password was right.

    Args:
        request: The request.
        badge: The badge, with its person.
        bench: The bench that the tablet is tied to.
    """
    person = badge.user
    request.session.flush()
    request.session[SESSION_KEY] = str(person.pk)
    request.session[BACKEND_SESSION_KEY] = settings.AUTHENTICATION_BACKENDS[-1]
    request.session[HASH_SESSION_KEY] = person.get_session_auth_hash()
    request.session[BY_BADGE] = [badge.pk, bench.code, _pin_mark(person)]
    request.user = person
    rotate_token(request)
    update_last_login(User, person)


def _pin_mark(person: User) -> str:
    return secret_of("tablet.pin", person.pin)


def badge_of(request: HttpRequest) -> int | None:
    """The badge by which whoever asks signed on; None where it was by a password."""
    on = request.session.get(BY_BADGE)
    return None if on is None else int(on[0])


def bench_by_badge(request: HttpRequest) -> str | None:
    """Tell at which bench somebody is on by a badge; sign out who is not any more.

    Args:
        request: Of somebody who has signed in.

    Returns:
        The code of the bench; empty for who signed in with a password; None for who is
        signed out now.
    """
    on = request.session.get(BY_BADGE)
    if on is None:
        return ""
    badge, bench, pin = on
    mark = tablet_of(request)
    same = constant_time_compare(pin, _pin_mark(request.user))  # type: ignore[arg-type]
    here = _ON(mark, badge) if mark and same else []
    if [row.code for row in here] == [bench]:
        return str(bench)
    logout(request)
    messages.warning(
        request, _("You were signed out: the badge, its PIN or the tablet has changed.")
    )
    return None
