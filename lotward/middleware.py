"""Headers that every answer carries, and requests that no view could answer."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from ipaddress import IPv4Address, IPv6Address, ip_address

from django.conf import settings
from django.contrib.auth import SESSION_KEY
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.cache import patch_cache_control

from kitting.ledger.clock import at_the_workshop
from kitting.ledger.kept import one_request
from lotward.sessions import SessionStore

GetResponse = Callable[[HttpRequest], HttpResponse]


def policy_text(policy: Mapping[str, Sequence[str]]) -> str:
    """Write a policy, by directive, as the value of its header."""
    return "; ".join(f"{name} {' '.join(sources)}" for name, sources in policy.items())


class ContentSecurityPolicyMiddleware:
    """Send ``SECURE_CSP``, unless the view has set a policy of its own.

    Django 6 brings the same setting and its own middleware: this class goes then.
    """

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response
        self.header = policy_text(settings.SECURE_CSP)

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        response.headers.setdefault("Content-Security-Policy", self.header)
        return response


class ProxyMiddleware:
    """Put the address that a named proxy speaks for in place of the proxy's own.

    Each proxy adds at the end who asked it, so the list is read from there: past the
    proxies that the settings name, to the first address that is none of them. What
    stands further ahead anybody may have written. Without a proxy in the settings
    nothing is believed.
    """

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        told = request.META.get("HTTP_X_FORWARDED_FOR", "").split(",")
        while told and _is_proxy(request.META.get("REMOTE_ADDR", "")):
            asked_by = _address(told.pop())
            if asked_by is None:
                break
            request.META["REMOTE_ADDR"] = str(asked_by)
        return self.get_response(request)


def _is_proxy(text: str) -> bool:
    address = _address(text)
    return address is not None and any(address in known for known in settings.PROXY)


def _address(text: str) -> IPv4Address | IPv6Address | None:
    try:
        address = ip_address(text.strip())
    except ValueError:
        return None
    return getattr(address, "ipv4_mapped", None) or address


class LargestRequestMiddleware:
    """Refuse a body that is larger than any form here, before a byte of it is read.

    It stands before whatever reads a form: the check of tokens reads it whole, and a
    file in it would fill the disk of a stranger's choosing. Who is not signed in has
    no files to send, and much smaller forms.
    """

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        length = request.META.get("CONTENT_LENGTH") or "0"
        # Of thousands of digits Python makes no number.
        fits = length.isdecimal() and len(length) <= len(str(settings.LARGEST_REQUEST))
        if not fits or int(length) > settings.LARGEST_REQUEST:
            return render(request, "413.html", status=413)
        # A session is looked up only for what is large.
        if int(length) > settings.LARGEST_OF_STRANGERS and not _signed_in(request):
            return render(request, "413.html", status=413)
        return self.get_response(request)


def _signed_in(request: HttpRequest) -> bool:
    key = request.COOKIES.get(settings.SESSION_COOKIE_NAME)
    return SESSION_KEY in SessionStore(key)


class NoNullMiddleware:
    """Answer 404 for a null character in the path: PostgreSQL takes none as text."""

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if "\0" in request.path_info:
            raise Http404
        return self.get_response(request)


class NoStoreMiddleware:
    """Keep pages of signed-in people out of every cache.

    A tablet is shared: after sign-out the back button must show nothing. The session
    cookie is enough to tell, and asks the database nothing.
    """

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        signed_in = settings.SESSION_COOKIE_NAME in request.COOKIES
        if signed_in and not response.has_header("Cache-Control"):
            patch_cache_control(response, private=True, no_store=True)
        return response


class WorkshopTimeMiddleware:
    """Read the workshop once, and show every moment as the clock on its wall does.

    The session that whoever asks carries, and the person, are read in the same question.
    """

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if settings.SESSION_COOKIE_NAME not in request.COOKIES:
            return self.get_response(request)  # nobody is signed in: no figures
        with one_request():
            read = request.session.workshop()  # type: ignore[attr-defined]
            with at_the_workshop(read) as workshop:
                request.workshop = workshop  # type: ignore[attr-defined]
                return self.get_response(request)
