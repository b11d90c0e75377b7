"""Sending a form's act: the outcome, or the refusal on the form.

An act that puts a name under something asks for the password once more: a tablet that
somebody left signed in must not sign for them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

from django.contrib.auth import authenticate

from kitting.domain.errors import LotwardError, Refused
from kitting.ledger import clock
from kitting.ledger.operations import Sign
from kitting.web.http import add_refusal

if TYPE_CHECKING:
    from collections.abc import Callable

    from kitting.web.forms import KeyedForm
    from kitting.web.http import LotwardRequest

T = TypeVar("T")

OK = 200
UNFIT = 422


def sign_of(request: LotwardRequest, form: KeyedForm) -> Sign:
    """Sign an act with the person, the form's key and the moment."""
    return Sign(by=request.user, key=form.key, now=clock.now())


def attempt(
    request: LotwardRequest, form: KeyedForm, act: Callable[[Sign], T]
) -> tuple[T | None, int]:
    """Do the act of a form that was sent.

    Args:
        request: The request.
        form: The bound form.
        act: The service, given its sign; reads ``form.cleaned_data``.

    Returns:
        The outcome and 200, or None and the status to answer with: the refusal is on
        the form then.
    """
    if not form.is_valid():
        return None, UNFIT
    try:
        return act(sign_of(request, form)), OK
    except LotwardError as error:
        return None, add_refusal(form, error)


def attempt_by_name(
    request: LotwardRequest, form: KeyedForm, act: Callable[[Sign], T]
) -> tuple[T | None, int]:
    """Do an act that puts a name under something: the password is asked for again.

    A wrong one counts towards the lockout as it does at signing in.

    Args:
        request: The request.
        form: The bound form, with a field ``password``.
        act: As for ``attempt``; the password is not for it.

    Returns:
        As ``attempt``.
    """
    if not form.is_valid():
        return None, UNFIT
    try:
        _need_password(request, form.cleaned_data["password"])
    except Refused as error:
        return None, add_refusal(form, error, field="password")
    return attempt(request, form, act)


def _need_password(request: LotwardRequest, password: str) -> None:
    name = request.user.get_username()
    known = authenticate(request, username=name, password=password)
    if known is not None and known.pk == request.user.pk:
        return
    locked = getattr(request, "axes_locked_out", False)
    # The form answers, beside what was read; not the page that refuses to sign in.
    request.axes_locked_out = False  # type: ignore[attr-defined]
    code = "password_locked" if locked else "password_wrong"
    raise Refused(code, name=str(request.user))
