"""Sending a form's act: the outcome, or the refusal on the form."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

from django.utils import timezone

from kitting.domain.errors import LotwardError
from kitting.operations import Sign
from lotward.http import add_refusal

if TYPE_CHECKING:
    from collections.abc import Callable

    from kitting.forms.base import KeyedForm
    from lotward.http import LotwardRequest

T = TypeVar("T")

OK = 200
UNFIT = 422


def sign_of(request: LotwardRequest, form: KeyedForm) -> Sign:
    """Sign an act with the person, the form's key and the moment."""
    return Sign(by=request.user, key=form.key, now=timezone.now())


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
