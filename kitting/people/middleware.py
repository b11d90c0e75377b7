"""What keeps the tokens of badges out of every act, record and page."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import Final, NamedTuple

from django.core.files.uploadedfile import UploadedFile
from django.http import HttpRequest, HttpResponse, QueryDict, UnreadablePostError
from django.shortcuts import render
from django.urls import reverse

from kitting.domain.badges import holds_badge, is_badge
from kitting.domain.errors import Refused
from kitting.models import Badge
from kitting.people.queries import badge_behind, name_behind
from kitting.web.messages import sentence

NAME: Final = "username"
"""The field that takes a badge in place of a name, at the sign-in page."""

BADGE: Final = "badge"
"""The field that takes one at a tablet that is tied to a bench."""

RANDOM: Final = "csrfmiddlewaretoken"
"""A field of random letters and digits: one in some hundred thousand looks like one."""


class ScannedBadge(NamedTuple):
    """What was scanned as a badge at a tied tablet."""

    read: bool
    """Whether it reads as one."""
    known: Badge | None
    """The badge, if it is valid."""


class BadgeMiddleware:
    """Refuse a badge that was scanned into any field but those two that take one.

    It stands before sessions and views: nothing is done, kept, or sent on by way of
    the sign-in page. There the name that the badge stands for is put in its place, so
    that whatever keeps what was sent keeps the name. At a tied tablet the field is
    emptied, and the request says which badge it was.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        at_the_door = request.path == reverse("sign-in")
        by_badge = at_the_door and _any_badge(_sent(request).getlist(NAME))
        if by_badge:
            _put_name(request)
        if request.path == reverse("sign-on"):
            _take_badge(request)
        if _any_badge(_texts(request)):
            return _refuse(request)
        request.by_badge = by_badge  # type: ignore[attr-defined]
        return self.get_response(request)


def _any_badge(texts: Iterable[str]) -> bool:
    return any(map(holds_badge, texts))


def _sent(request: HttpRequest) -> QueryDict:
    """The fields of a form; none where the connection broke while it was read."""
    try:
        return request.POST
    except UnreadablePostError:
        return QueryDict()


def _put_name(request: HttpRequest) -> None:
    fields = request.POST.copy()
    fields[NAME] = name_behind(fields.getlist(NAME)[-1])
    request.POST = fields  # type: ignore[assignment]


def _take_badge(request: HttpRequest) -> None:
    fields = _sent(request).copy()
    scanned = fields.getlist(BADGE)[-1:]
    if _any_badge(fields.getlist(BADGE)):
        fields[BADGE] = ""
        request.POST = fields  # type: ignore[assignment]
    read = any(map(is_badge, scanned))
    request.badge = ScannedBadge(  # type: ignore[attr-defined]
        read, badge_behind(scanned[0]) if read else None
    )


def _texts(request: HttpRequest) -> Iterator[str]:
    """Everything in a request that could be shown, looked up or kept."""
    yield request.path_info
    for data in (request.GET, _sent(request)):
        for name, values in data.lists():
            yield name
            yield from values if name != RANDOM else ()
    for _name, files in request.FILES.lists():
        for file in files:
            yield file.name or ""
            yield _text_of(file)


def _text_of(file: UploadedFile[bytes]) -> str:
    """A file as letters, whether it was saved with one byte to a letter or two."""
    content: bytes = file.read()
    file.seek(0)
    return content.replace(b"\0", b"").decode("latin-1")


def _refuse(request: HttpRequest) -> HttpResponse:
    said = sentence(Refused("badge_not_here"))
    if "HX-Request" in request.headers:
        aim = {"HX-Retarget": "#alarm", "HX-Reswap": "textContent"}
        response = HttpResponse(said, status=422, headers=aim)
    else:
        response = render(
            request, "kitting/people/badge.html", {"said": said}, status=422
        )
    response.headers["Cache-Control"] = "no-store"
    return response
