"""Signing in and out, the health of the process, and the pages for refusals."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.contrib.auth import login, logout
from django.db import DatabaseError, connection
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render, resolve_url
from django.templatetags.static import static
from django.urls import reverse_lazy
from django.utils.http import url_has_allowed_host_and_scheme, urlencode
from django.views.decorators.cache import cache_control, never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import (
    require_GET,
    require_http_methods,
    require_POST,
    require_safe,
)

from kitting.ledger.failing import low_disk
from kitting.web import tablet
from kitting.web.http import LotwardRequest, allowed
from lotward.forms import SignInForm
from lotward.loopback import keep_demo_home

DAY = reverse_lazy("kitting:day")
HOMES = {
    "packer": reverse_lazy("kitting:benches"),
    "line operator": reverse_lazy("kitting:runs"),
    "checker": reverse_lazy("kitting:lots", query={"verdict": "waiting"}),
    "clerk": reverse_lazy("dispatch:shipments"),
}
"""The page on which a role begins; every other begins on The day."""


@sensitive_post_parameters("password")
@never_cache
@require_http_methods(["GET", "POST"])
def sign_in(request: HttpRequest) -> HttpResponse:
    keep_demo_home(request)
    form = SignInForm(request, data=request.POST or None)
    onward = _onward(request)
    if request.method == "POST" and form.is_valid():
        login(request, form.get_user())
        # Who was on by a badge keeps the session, and is on by a password from now on.
        request.session.pop(tablet.BY_BADGE, None)
        return redirect(onward)
    status = 422 if request.method == "POST" else 200
    context = {"form": form, "next": onward, "locked": False}
    return render(request, "lotward/sign_in.html", context, status=status)


@require_POST
def sign_out(request: HttpRequest) -> HttpResponse:
    """Sign out; whoever signs in next comes back to the page that asks for it.

    A tablet that is tied to a bench asks for the next badge.
    """
    onward = _onward(request) if request.POST.get("next") else ""
    logout(request)
    if tablet.bench_of(request) is not None:
        return redirect("sign-on")
    sign_in_page = resolve_url("sign-in")
    query = urlencode({"next": onward})
    return redirect(f"{sign_in_page}?{query}" if onward else sign_in_page)


@allowed("kitting.see_work")
def home(request: LotwardRequest) -> HttpResponse:
    """Send a person to the page of their role; who has several begins on The day."""
    roles = list(request.user.groups.values_list("name", flat=True))
    return redirect(HOMES.get(roles[0], DAY) if len(roles) == 1 else DAY)


@never_cache
@require_safe
def health(request: HttpRequest) -> HttpResponse:
    """Answer 200 when the process runs and reaches its database, else 503.

    A second line says that the disk will soon be full.
    """
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
            cursor.fetchone()
    except DatabaseError:
        return HttpResponse("no database\n", content_type="text/plain", status=503)
    told = "ok\ndisk nearly full\n" if low_disk() else "ok\n"
    return HttpResponse(told, content_type="text/plain")


@cache_control(max_age=86_400, public=True)
@require_GET
def favicon(request: HttpRequest) -> HttpResponse:
    """Send a browser that asks at the usual address on to the site's one icon."""
    return redirect(static("favicon.svg"))


def locked_out(
    request: HttpRequest, response: HttpResponse, credentials: dict[str, Any]
) -> HttpResponse:
    """Answer a person who failed too often from this address; called by the lockout."""
    context = {
        "form": SignInForm(request),
        "next": _onward(request),
        "locked": True,
    }
    return render(request, "lotward/sign_in.html", context, status=429)


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    """Answer a form without a valid token; most often the page is from before a sign-in."""
    return render(request, "403_csrf.html", status=403)


def _onward(request: HttpRequest) -> str:
    """Return where to go after signing in; never to another host.

    Who typed the bare address of the site asked for no page: their role's will do.
    """
    wanted = request.POST.get("next") or request.GET.get("next") or ""
    safe = url_has_allowed_host_and_scheme(
        wanted, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    named = safe and wanted != "/"
    return wanted if named else resolve_url(settings.LOGIN_REDIRECT_URL)
