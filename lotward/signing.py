"""Signing on at a tablet that is tied to a bench: a badge is scanned, its PIN entered.

It takes two steps, and between them the server remembers in a session of nobody's which
badge was scanned, for a minute: so the badge's token is sent once and kept nowhere, not
in the page either. Who was on is off as soon as another badge is scanned, whatever comes
of the PIN. The session of who signs on is a new one each time.
"""

from __future__ import annotations

from typing import Any, Final

from django.contrib import messages
from django.contrib.auth import logout
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from kitting.domain.errors import LotwardError, Refused
from kitting.ledger import clock
from kitting.models import Badge, Bench
from kitting.people.middleware import ScannedBadge
from kitting.people.services.pins import try_pin
from kitting.web import tablet
from kitting.web.acting import OK, UNFIT
from kitting.web.http import add_refusal
from kitting.web.idle import is_over, moment
from kitting.web.messages import sentence
from lotward.forms import PinForm

ASKED: Final = "asked"
"""Where the session of nobody keeps which badge was scanned, and when."""
ASKED_S: Final = 60
"""Seconds for which it is remembered."""
NOBODYS: Final = 0
"""The badge that nobody has."""


@sensitive_post_parameters("pin")
@never_cache
@require_http_methods(["GET", "POST"])
def sign_on(request: HttpRequest) -> HttpResponse:
    """Sign a packer on, off or over to another one at a tied tablet."""
    at = tablet.bench_of(request)
    if at is None:
        return redirect("sign-in")
    if request.method == "POST" and "pin" in request.POST:
        return _enter_pin(request, at)
    if request.method == "POST":
        return _scan_badge(request, at)
    if _on(request):
        return redirect("kitting:bench", code=at.code)
    return _page(request, at, PinForm(), OK)


def _on(request: HttpRequest) -> bool:
    if not request.user.is_authenticated or is_over(request):  # type: ignore[arg-type]
        return False
    return tablet.bench_by_badge(request) is not None


def _scan_badge(request: HttpRequest, at: Bench) -> HttpResponse:
    """Ask for the PIN of the badge; one's own signs off."""
    scanned: ScannedBadge = request.badge  # type: ignore[attr-defined]
    if not scanned.read:
        messages.warning(request, sentence(Refused("badge_malformed")))
        return redirect("sign-on")
    badge = scanned.known
    own = badge is not None and _on(request) and badge.user_id == request.user.pk
    logout(request)
    if own:
        messages.info(request, _("You are signed out."))
    else:
        request.session[ASKED] = [NOBODYS if badge is None else badge.pk, moment()]
    return redirect("sign-on")


def _asked(request: HttpRequest) -> int | None:
    """The badge whose PIN is asked for; None where none is, any more."""
    badge, when = request.session.get(ASKED, (None, 0))
    return badge if 0 <= moment() - when < ASKED_S else None


def _enter_pin(request: HttpRequest, at: Bench) -> HttpResponse:
    badge_id, form = _asked(request), PinForm(request.POST)
    if badge_id is None:
        messages.warning(request, _("That took too long. Scan your badge again."))
        return redirect("sign-on")
    if not form.is_valid():
        return _page(request, at, form, UNFIT)
    try:
        badge = _tried(badge_id, at, form.cleaned_data["pin"])
    except LotwardError as error:
        status = add_refusal(form, error, field="pin")
        request.session[ASKED] = [badge_id, moment()]
        return _page(request, at, form, status)
    tablet.sign_on(request, badge, at)
    return redirect("kitting:bench", code=at.code)


def _tried(badge_id: int, at: Bench, pin: str) -> Badge:
    badge = try_pin(
        badge_id=badge_id,
        tablet_id=at.tablet.pk,
        pin=pin,
        now=clock.of_machine(),
    )
    if not badge.user.has_perm("kitting.pack"):
        raise Refused("may_not_pack", name=str(badge.user))
    return badge


def _page(request: HttpRequest, at: Bench, form: PinForm, status: int) -> HttpResponse:
    asked = _asked(request) is not None
    context: dict[str, Any] = {"bench": at, "form": form, "asked": asked}
    response = render(request, "lotward/sign_on.html", context, status=status)
    if asked:
        response.headers["Refresh"] = str(ASKED_S)
    return response
