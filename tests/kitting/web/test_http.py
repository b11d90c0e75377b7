"""The helpers of the views: rights, part or page, redirects, keys, refusals."""

from __future__ import annotations

import uuid

import pytest
from django import forms
from django.contrib.auth.models import AnonymousUser
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpResponse
from django.test import RequestFactory
from django_htmx.middleware import HtmxDetails

from kitting.domain.errors import CodeError, Conflict, Missing, NotEnoughPieces
from kitting.models import User, Workshop
from kitting.web import http, idle
from kitting.web.forms import KeyedForm
from kitting.web.messages import sentence


class Person:
    """Somebody signed in who has the rights named, and no row."""

    is_authenticated = True

    def __init__(self, *permissions: str) -> None:
        self.permissions = permissions

    password_until = None

    def has_perm(self, permission: str) -> bool:
        return permission in self.permissions


def request_of(user=None, path: str = "/lots/?q=7", **headers: str):
    request = RequestFactory().get(path, headers=headers)
    request.user = user or AnonymousUser()
    request.htmx = HtmxDetails(request)
    request.workshop, request.session = Workshop(), {idle.SEEN: idle.moment()}
    return request


@http.allowed("kitting.pack")
def page(request: http.LotwardRequest, number: str) -> HttpResponse:
    return HttpResponse(number)


def test_allowed_keeps_its_permission_where_a_test_can_find_it() -> None:
    assert page.permission == "kitting.pack"
    assert page.__name__ == "page"


def test_who_has_the_right_gets_in() -> None:
    assert page(request_of(Person("kitting.pack")), "B-1").content == b"B-1"


def test_who_lacks_the_right_is_refused() -> None:
    with pytest.raises(PermissionDenied):
        page(request_of(Person("kitting.set_up")), "B-1")


@http.allowed("kitting.pack", "GET", "POST")
def acting(request: http.LotwardRequest) -> HttpResponse:
    return HttpResponse("done")


def test_a_page_takes_the_methods_that_it_names_and_else_is_read() -> None:
    sent = request_of(Person("kitting.pack"))
    sent.method = "POST"
    assert page(sent, "B-1").status_code == 405
    assert acting(sent).status_code == 200
    sent.method = "DELETE"
    assert acting(sent).status_code == 405


def test_a_stranger_is_sent_to_sign_in_and_back_again() -> None:
    response = page(request_of(), "B-1")
    assert (response.status_code, response["Location"]) == (
        302,
        "/sign-in/?next=/lots/%3Fq%3D7",
    )


def test_a_part_asked_for_by_a_stranger_moves_the_whole_page_to_sign_in() -> None:
    headers = {"HX-Request": "true", "HX-Current-URL": "http://testserver/day/"}
    response = page(request_of(**headers), "B-1")
    assert (response.status_code, response["HX-Redirect"]) == (
        200,
        "/sign-in/?next=/day/",
    )


def test_a_part_asked_for_from_another_host_comes_back_to_the_first_page() -> None:
    headers = {"HX-Request": "true", "HX-Current-URL": "http://elsewhere.example/"}
    assert page(request_of(**headers), "B-1")["HX-Redirect"] == "/sign-in/?next=/home/"


@pytest.mark.parametrize(
    ("headers", "part"),
    [
        ({}, False),
        ({"HX-Request": "true"}, True),
        ({"HX-Request": "true", "HX-Boosted": "true"}, False),
        ({"HX-Request": "true", "HX-History-Restore-Request": "true"}, False),
    ],
)
def test_only_a_plain_request_of_htmx_wants_a_part(
    headers: dict[str, str], part: bool
) -> None:
    assert http.wants_fragment(request_of(**headers)) is part


@pytest.mark.parametrize(
    ("headers", "part", "name"),
    [
        ({}, "_part", "room/page.html"),
        ({"HX-Request": "1"}, "_part", "room/_part.html"),
        ({"HX-Request": "1"}, "", "_form.html"),
    ],
)
def test_part_and_page_are_told_apart_for_caches_as_well(
    headers: dict[str, str], part: str, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    # The template engine is not under test: its name and status are handed through.
    monkeypatch.setattr(
        http, "render", lambda r, template, context, status: HttpResponse(template)
    )
    headers = dict.fromkeys(headers, "true")
    response = http.render_part(request_of(**headers), "room/page", part, {})
    assert response.content.decode() == name
    assert response["Vary"] == "HX-Request, HX-Boosted, HX-History-Restore-Request"


def test_after_a_success_the_browser_goes_on() -> None:
    plain = http.go(request_of(), "/lots/")
    assert (plain.status_code, plain["Location"]) == (302, "/lots/")
    hx = http.go(request_of(**{"HX-Request": "true"}), "/lots/")
    assert (hx.status_code, hx["HX-Redirect"]) == (200, "/lots/")


@pytest.mark.django_db
def test_get_or_404_finds_the_one_object(outsider) -> None:
    assert http.get_or_404(User, username="outsider") == outsider
    assert http.get_or_404(User.objects.all(), pk=outsider.pk) == outsider


@pytest.mark.django_db
@pytest.mark.parametrize("lookup", [{"username": "nobody"}, {"pk": "x"}, {"pk": -1}])
def test_what_is_not_there_or_no_number_is_404(lookup: dict[str, object]) -> None:
    with pytest.raises(Http404):
        http.get_or_404(User, **lookup)


def test_a_fresh_operation_key_reads_back() -> None:
    key = http.new_op_key()
    assert key != http.new_op_key()
    form = KeyedForm({"op_key": key})
    assert form.is_valid()
    assert form.key == uuid.UUID(key)


@pytest.mark.parametrize("data", [{}, {"op_key": ""}, {"op_key": "again"}])
def test_a_post_without_a_readable_key_is_refused(data: dict[str, str]) -> None:
    form = KeyedForm(data)
    assert not form.is_valid()
    assert "operation key" in form.errors["op_key"][0]


@pytest.mark.parametrize(
    ("error", "status"),
    [
        (Conflict("stale"), 409),
        (Missing("no_such_lot"), 404),
        (NotEnoughPieces("not_enough_pieces"), 422),
        (CodeError("not_digits"), 422),
    ],
)
def test_a_refusal_has_its_status_and_its_place_on_the_form(error, status: int) -> None:
    form = forms.Form(data={})
    assert http.add_refusal(form, error) == status
    assert form.has_error("__all__", error.code)
    assert form.non_field_errors() == [sentence(error)]
