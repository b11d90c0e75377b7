"""The tablet that a request comes from, where it is tied to a bench."""

from __future__ import annotations

from typing import Final

from django.conf import settings
from django.http import HttpRequest, HttpResponse

from kitting.ledger.kept import Kept
from kitting.ledger.tied import mark_of
from kitting.models import Bench

COOKIE: Final = "lotward_tablet"
"""What a tied tablet carries; it outlasts every session."""
AGE_S: Final = 400 * 24 * 60 * 60
"""Browsers keep no cookie longer."""

_BENCH = Kept(lambda mark: Bench.objects.filter(tablet__token_sha256=mark, active=True))


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
