"""Whoever does nothing for a while has to sign in again: benches and desks are shared."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from django.contrib import messages
from django.contrib.auth import logout
from django.contrib.sessions.backends.base import UpdateError
from django.db import DatabaseError, transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from kitting.ledger import clock, failing

if TYPE_CHECKING:
    from kitting.web.http import LotwardRequest

SEEN: Final = "seen"
"""Where a session keeps when its person last did something, in seconds since 1970."""
BY_ITSELF: Final = "Lotward-By-Itself"
"""A header of what a page asks for while nobody does anything."""
EVERY_S: Final = 60
"""What is done within a minute is not written again."""


def is_over(request: LotwardRequest) -> bool:
    """Sign out whoever did nothing for longer than the workshop allows.

    Args:
        request: Of somebody who has signed in.

    Returns:
        Whether they are signed out now. On a disk that is full they stay: nobody could
        sign in again, and pages are read on.
    """
    most_s = 60 * request.workshop.idle_min
    if not most_s or moment() - request.session.get(SEEN, moment()) <= most_s:
        return False
    try:
        with transaction.atomic():
            request.session.delete()
    except DatabaseError as error:
        failing.let_go(error)
        return False
    logout(request)
    messages.warning(request, _why(request))
    return True


def _why(request: LotwardRequest) -> str:
    minutes = request.workshop.idle_min
    words = ngettext(
        "You were signed out, because nothing was done for %(minutes)s minute.",
        "You were signed out, because nothing was done for %(minutes)s minutes.",
        minutes,
    ) % {"minutes": minutes}
    if request.method == "GET":
        return words
    lost = _("What you sent then was not done: sign in and do it again.")
    return f"{words} {lost}"


def note(request: LotwardRequest) -> None:
    """Keep that somebody did something, if the disk takes it.

    What a page asks for by itself is nothing of theirs; it says so.

    Args:
        request: Of somebody who has signed in.
    """
    seen = request.session.get(SEEN)
    recent = seen is not None and 0 <= moment() - seen < EVERY_S
    by_itself = request.method == "GET" and BY_ITSELF in request.headers
    if recent or by_itself:
        return
    changed = request.session.modified
    request.session[SEEN] = moment()
    try:
        request.session.save()
    except (DatabaseError, UpdateError) as error:
        failing.let_go(error)
        failing.let_go(error.__context__)  # an UpdateError hides it
    request.session.modified = changed


def moment() -> int:
    """This moment, as sessions keep it."""
    return int(clock.of_machine().timestamp())
