"""What a request is answered with that failed."""

from __future__ import annotations

import logging
import sys
from uuid import UUID

from django.conf import settings
from django.db import DatabaseError
from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.translation import gettext
from django.views.defaults import server_error

from kitting.ledger import failing
from kitting.models import Operation
from kitting.web.messages import sentence

LOG = logging.getLogger("lotward")
AWAY = 503
"""A bench keeps a scan that is answered so, and sends it again under its own key."""


def failed(request: HttpRequest) -> HttpResponse:
    """Say why, where database or disk failed in a way that could be foreseen.

    The page needs neither of them, nor who is signed in. What was sent is offered
    again with its own key, unless a password or a file is in it.
    """
    error = sys.exc_info()[1]
    refused = failing.why(error)
    if refused is None:
        return server_error(request)
    failing.let_go(error)
    said = [sentence(refused), *_recorded(request), *_at_the_door(request)]
    LOG.error("%s: %s", request.path, " ".join(said))
    if "HX-Request" in request.headers:
        answer = HttpResponse(" ".join(said), content_type="text/plain", status=AWAY)
    else:
        busy = refused.code == "database_busy"
        context = {
            "said": said,
            "again": _again(request) if busy else [],
            "reads": busy and request.method != "POST",
            "to": request.get_full_path(),
        }
        answer = HttpResponse(render_to_string("503.html", context), status=AWAY)
    if request.path == reverse("sign-out"):
        answer.delete_cookie(settings.SESSION_COOKIE_NAME)
    # One line is enough in a log that may be on the same disk; Django's has a traceback.
    answer._has_been_logged = True  # type: ignore[attr-defined]
    return answer


def _recorded(request: HttpRequest) -> list[str]:
    """Whether the act of a form is on record; a sentence, or none for what is no act."""
    if request.method != "POST" or "op_key" not in request.POST:
        return []
    try:
        key = UUID(request.POST["op_key"]).bytes
        done = Operation.objects.filter(key=key).exists()
    except ValueError:
        return [gettext("Nothing was recorded.")]
    except DatabaseError:
        return [gettext("Sent again later, this is recorded only once.")]
    if done:
        return [gettext("What you sent was recorded before that.")]
    return [gettext("Nothing of what you sent was recorded.")]


def _at_the_door(request: HttpRequest) -> list[str]:
    """What becomes of whoever signs in or out; sessions and attempts are on record."""
    if request.path == reverse("sign-in"):
        return [
            gettext(
                "Nobody can sign in until then, for that is recorded as well. Whoever"
                " is signed in goes on, each at their own screen."
            )
        ]
    if request.path == reverse("sign-out"):
        return [gettext("You are signed out in this browser.")]
    return []


def _again(request: HttpRequest) -> list[tuple[str, str]]:
    """The fields of the form that was sent, its token and key among them."""
    if "password" in request.POST or request.FILES:
        return []
    return [(name, value) for name, values in request.POST.lists() for value in values]
