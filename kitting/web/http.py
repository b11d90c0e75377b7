"""What every view needs: rights, part or page, redirects, keys and refusals."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate, Final, ParamSpec, TypeVar

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.models import AnonymousUser
from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import ObjectDoesNotExist, PermissionDenied, ValidationError
from django.db.models import Model, QuerySet
from django.forms import BaseForm
from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render, resolve_url
from django.urls import NoReverseMatch, resolve, reverse
from django.utils.cache import patch_vary_headers
from django.utils.translation import gettext_lazy
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods
from django_htmx.http import HttpResponseClientRedirect
from django_htmx.middleware import HtmxDetails

from kitting.domain.errors import Conflict, LotwardError, Missing
from kitting.models import User, Workshop
from kitting.web import tablet
from kitting.web.idle import is_over, note
from kitting.web.messages import sentence

PASSWORD_ASKED: Final = gettext_lazy(
    "You signed on with a badge, which is for the bench. This page asks for your password."
)

P = ParamSpec("P")
M = TypeVar("M", bound=Model)


class LotwardRequest(HttpRequest):
    """A request of somebody who has signed in, as ``allowed`` hands it to a view."""

    htmx: HtmxDetails
    user: User
    workshop: Workshop
    """As it stood when the request came."""


R = TypeVar("R", bound=HttpResponseBase)
View = Callable[Concatenate[LotwardRequest, P], R]
GuardedView = Callable[Concatenate[HttpRequest, P], R | HttpResponse]


def allowed(
    permission: str, *methods: str, by_badge: bool = False, unchosen: bool = False
) -> Callable[[View[P, R]], GuardedView[P, R]]:
    """Let in only people with ``permission``; it stands outermost on every view.

    A page is only read, by GET, unless the methods that it takes are named.

    Who has not signed in is sent to do so, with or without htmx; who has signed in and
    lacks the right gets 403. Who signed on by a badge and a PIN, which is less than a
    password, gets at what a bench needs alone; for all else the password is asked. Who
    signed in with a password that a manager gave chooses their own before anything else.
    Right and badge are kept on the view, where tests find them.

    Args:
        permission: The right.
        *methods: Those that it takes.
        by_badge: Whether it is open to whoever signed on by a badge; of a bench, that
            bench alone.
        unchosen: Whether it is open to whoever has to choose their own password first.
    """

    def decorate(view: View[P, R]) -> GuardedView[P, R]:
        view = require_http_methods(list(methods or ("GET",)))(view)
        view = sensitive_post_parameters(
            *("password", "checker_password", "new_password", "same", "pin", "same_pin")
        )(view)

        @wraps(view)
        def guarded(
            request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs
        ) -> R | HttpResponse:
            if not request.user.is_authenticated or is_over(request):  # type: ignore[arg-type]
                return _to_sign_in(request)
            bench = tablet.bench_by_badge(request)
            if bench is None:
                return _to_sign_in(request)
            note(request)  # type: ignore[arg-type]
            if bench and not (by_badge and kwargs.get("code", bench) == bench):
                return _to_password(request)
            if request.user.password_until and not (bench or unchosen):
                return _to(request, reverse("kitting:account-password"))
            if not request.user.has_perm(permission):
                raise PermissionDenied
            return view(request, *args, **kwargs)  # type: ignore[arg-type]

        guarded.permission = permission  # type: ignore[attr-defined]
        guarded.by_badge = by_badge  # type: ignore[attr-defined]
        return guarded

    return decorate


_RIGHTS: Final[dict[str, str | None]] = {}
"""By the names of pages what their views ask for: to find a view takes a while."""


def open_to(user: User | AnonymousUser | None, to: str, *args: object) -> str:
    """Give the address of a page, or nothing if it is not there or not for this person.

    The right is the one that the page's own view asks for.
    """
    if to in _RIGHTS and not _has(user, _RIGHTS[to]):
        return ""
    try:
        address = reverse(to, args=args)
    except NoReverseMatch:
        return ""
    if to not in _RIGHTS:
        _RIGHTS[to] = getattr(resolve(address).func, "permission", None)
    return address if _has(user, _RIGHTS[to]) else ""


def _has(user: User | AnonymousUser | None, right: str | None) -> bool:
    return right is None or bool(user and user.has_perm(right))


def wants_fragment(request: LotwardRequest) -> bool:
    """Tell whether htmx asks for a part; a restored or boosted page is a whole page."""
    htmx = request.htmx
    return bool(htmx) and not htmx.boosted and not htmx.history_restore_request


def render_part(
    request: LotwardRequest,
    page: str,
    part: str,
    context: dict[str, Any],
    status: int = 200,
) -> HttpResponse:
    """Answer with the part where htmx asked for it, with the whole page otherwise.

    Args:
        request: The request.
        page: The page's template without its ending.
        part: That of the part, in the same folder; the plain form's where it is empty.
        context: What both show.
        status: The status.

    Returns:
        The part or the page.
    """
    name = page
    if wants_fragment(request):
        name = f"{page.rpartition('/')[0]}/{part}" if part else "_form"
    response = render(request, f"{name}.html", context, status=status)
    patch_vary_headers(
        response, ("HX-Request", "HX-Boosted", "HX-History-Restore-Request")
    )
    return response


def go(request: LotwardRequest, to: str) -> HttpResponse:
    """Send the browser on after a success; htmx would swap the target of a 302."""
    if wants_fragment(request):
        return HttpResponseClientRedirect(to)
    return redirect(to)


def pdf_response(pdf: bytes, name: str) -> HttpResponse:
    """Answer with a PDF, to be looked at under its name."""
    response = HttpResponse(pdf, content_type="application/pdf")
    response.headers["Content-Disposition"] = f'inline; filename="{name}.pdf"'
    return response


def get_or_404(source: type[M] | QuerySet[M], /, **lookup: Any) -> M:
    """Return the one object, or 404; an odd value in the address is a 404 as well."""
    objects = source if isinstance(source, QuerySet) else source._default_manager.all()
    try:
        return objects.get(**lookup)
    except (ObjectDoesNotExist, ValueError, ValidationError) as error:
        raise Http404("There is no such record.") from error


def new_op_key() -> str:
    """Make the operation key that a form carries in its hidden field ``op_key``."""
    return str(uuid.uuid4())


def status_for(error: LotwardError) -> int:
    """Give the HTTP status of a refusal: 409, 404 or 422."""
    if isinstance(error, Conflict):
        return 409
    if isinstance(error, Missing):
        return 404
    return 422


def add_refusal(
    form: BaseForm, error: LotwardError, *, field: str | None = None
) -> int:
    """Show a refusal on the form it came from, and return the status to answer with."""
    vars(form)["refusals"] = [error, *error.besides]  # whose numbers a page may link
    for each in (error, *error.besides):
        form.add_error(field, ValidationError(sentence(each), code=each.code))
    return status_for(error)


def _to_sign_in(request: HttpRequest) -> HttpResponse:
    """Ask who it is: at a tablet that is tied to a bench for a badge, else for a name."""
    if tablet.bench_of(request) is not None:
        return _to(request, reverse("sign-on"))
    return _to_password(request, said="")


def _to(request: HttpRequest, to: str) -> HttpResponse:
    """Send the browser to another page, whatever it asked for and however."""
    htmx: HtmxDetails = request.htmx  # type: ignore[attr-defined]
    return HttpResponseClientRedirect(to) if htmx else redirect(to)


def _to_password(request: HttpRequest, said: Any = PASSWORD_ASKED) -> HttpResponse:
    if said:
        messages.info(request, said)
    htmx: HtmxDetails = request.htmx  # type: ignore[attr-defined]
    if not htmx:
        return redirect_to_login(request.get_full_path())
    page = htmx.current_url_abs_path or resolve_url(settings.LOGIN_REDIRECT_URL)
    return HttpResponseClientRedirect(redirect_to_login(page).url)
