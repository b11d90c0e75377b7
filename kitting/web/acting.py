"""Sending a form's act: the outcome, or the refusal on the form.

An act that puts a name under something asks for the password once more: a tablet that
somebody left signed in must not sign for them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, TypeVar

from django.contrib import messages
from django.contrib.auth import authenticate
from django.contrib.messages import get_messages
from django.http import HttpResponse

from kitting.domain.errors import Doubted, LotwardError, Refused
from kitting.ledger.operations import Sign, outcome_of
from kitting.web.forms import KeyedForm, SureForm, TwoStepForm
from kitting.web.http import LotwardRequest, add_refusal, go, render_part

T = TypeVar("T")

OK = 200
UNFIT = 422
_NOT_THERE = 404
_BY_SCAN = "by-scan"
"""Marks a message that belongs under the scan field."""


@dataclass(frozen=True)
class Said:
    """What is said of a scan that was taken."""

    words: str
    besides: bool = False
    """Whether it was taken though nothing expected it."""


def sign_of(request: LotwardRequest, form: KeyedForm) -> Sign:
    """Sign an act with the person, the form's key and the moment."""
    return Sign(by=request.user, key=form.key)


def attempt(
    request: LotwardRequest, form: KeyedForm, act: Callable[..., T]
) -> tuple[T | None, int]:
    """Do the act of a form, if it was sent.

    An act that puts a name under something asks for the password again; a wrong one
    counts towards the lockout as it does at signing in.

    Args:
        request: The request.
        form: The form; one with a field ``password`` is of such an act.
        act: The service, given its ``sign`` and the form's entries by their names.

    Returns:
        The outcome and 200, or None and the status to answer with: nothing was sent,
        the first of two steps was, or the refusal is on the form.
    """
    if request.method != "POST":
        return None, OK
    if not form.is_valid():
        return None, UNFIT
    if isinstance(form, TwoStepForm) and form.is_asked_now:
        return None, OK
    for field in form.passwords:
        try:
            _need_password(request, form, field)
        except Refused as error:
            return None, add_refusal(form, error, field=field)
    try:
        return act(sign=sign_of(request, form), **form.entries), OK
    except LotwardError as error:
        if isinstance(error, Doubted) and isinstance(form, SureForm):
            form.ask_why()
        return None, add_refusal(form, error)


def attempt_scan(
    request: LotwardRequest, form: KeyedForm, act: Callable[..., T]
) -> tuple[T | None, int]:
    """Do the act of a scan; see ``attempt``.

    What a scan does not find is a wrong entry, not an address that is not there.

    Args:
        request: The request.
        form: The form.
        act: The service.

    Returns:
        As ``attempt``.
    """
    done, status = attempt(request, form, act)
    return done, UNFIT if status == _NOT_THERE else status


def say_of_scan(request: LotwardRequest, said: Said) -> None:
    """Keep what is said of a scan for the page that comes next."""
    level = messages.WARNING if said.besides else messages.SUCCESS
    messages.add_message(request, level, said.words, extra_tags=_BY_SCAN)


def said_of_scan(request: LotwardRequest) -> Said:
    """What the scan before this page did; it stands under the field, not on top."""
    told = [each for each in get_messages(request) if each.extra_tags == _BY_SCAN]
    besides = any(each.level == messages.WARNING for each in told)
    return Said(" ".join(str(each) for each in told), besides=besides)


def done_before(request: LotwardRequest, form: KeyedForm, act: str) -> bool:
    """Whether this form was sent before, and its act done.

    Args:
        request: The request.
        form: The form; what it was about is gone since.
        act: The name of its act in the journal.
    """
    done, _status = attempt(request, form, outcome_of)
    return done is not None and done.name == act


def act_page(
    request: LotwardRequest,
    page: str,
    form: KeyedForm,
    act: Callable[..., T],
    /,
    *,
    said: str | Callable[[T], str],
    named: Mapping[str, object] = MappingProxyType({}),
    to: str | Callable[[T], str],
    level: int = messages.SUCCESS,
    around: Callable[[], dict[str, Any]] = dict,
    **context: Any,
) -> HttpResponse:
    """Show the form of an act; do the act once it was sent, say so and lead on.

    Args:
        request: The request.
        page: As for ``form_page``.
        form: The form, bound if it was sent.
        act: As for ``attempt``.
        said: What is said of the outcome: a sentence that names its values, or what
            makes it; nothing where it is empty.
        named: Values that the sentence names besides. It is never filled in before:
            somebody's own words may have a per cent sign.
        to: Where it leads, or what tells this of the outcome; without ``back`` in
            ``context`` the form leads back there as well.
        level: How it is said.
        around: What else the page shows, read only where it is shown, after the act.
        **context: What else the page shows.

    Returns:
        The page, or the way on.
    """
    done, status = attempt(request, form, act)
    if done is not None:
        if isinstance(said, str):
            words = said % {**vars(done), **named}
        else:
            words = said(done)
        return say_and_go(
            request, words, to if isinstance(to, str) else to(done), level=level
        )
    if isinstance(to, str):
        context.setdefault("back", to)
    return form_page(request, page, form, status, **{**context, **around()})


def say_and_go(
    request: LotwardRequest, words: str, to: str, *, level: int = messages.SUCCESS
) -> HttpResponse:
    """Lead on after an act, with a sentence about it unless that is empty."""
    if words:
        messages.add_message(request, level, words)
    return go(request, to)


def form_page(
    request: LotwardRequest,
    page: str,
    form: KeyedForm,
    status: int,
    /,
    *,
    fragment: str = "",
    **context: Any,
) -> HttpResponse:
    """Answer with the page around a form, or with the form alone.

    Args:
        request: The request.
        page: The page's template without its ending; the form is named after it.
        form: The form.
        status: The status to answer with.
        fragment: The template of the form alone, as the part of ``render_part``.
        **context: What else the page shows.

    Returns:
        The page or the form.
    """
    named = page.rpartition("/")[2].replace("_", "-")
    context = {"form": form, "part": named, **context}
    return render_part(request, page, fragment, context, status=status)


def _need_password(request: LotwardRequest, form: KeyedForm, field: str) -> None:
    password = form.cleaned_data.get(field)
    if password is None:
        return
    person = form.signer(field) or request.user
    known = authenticate(request, username=person.get_username(), password=password)
    if known is not None and known.pk == person.pk:
        if person != request.user and person.password_until:
            raise Refused("password_not_chosen", name=str(person))
        return
    locked = getattr(request, "axes_locked_out", False)
    # The form answers, beside what was read; not the page that refuses to sign in.
    request.axes_locked_out = False  # type: ignore[attr-defined]
    code = "password_locked" if locked else "password_wrong"
    raise Refused(code, name=str(person))
