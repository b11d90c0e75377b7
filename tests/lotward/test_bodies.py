"""Bodies that are too large: of whoever is signed in, and of strangers."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.conf import settings
from django.contrib.sessions.models import Session
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.test.client import FakePayload
from django.utils import timezone

from tests.assertions import assert_page


class Unread(FakePayload):
    """A body that remembers whether anybody read of it."""

    read_at = 0

    def read(self, size: int | None = None) -> bytes:
        self.read_at += 1
        return b""


@pytest.mark.django_db
@pytest.mark.parametrize("path", ["/sign-in/", "/boxes/", "/nowhere/"])
def test_a_body_larger_than_any_form_is_refused_unread(path: str) -> None:
    client = Client(enforce_csrf_checks=True)
    body = Unread()
    response = client.generic(
        "POST",
        path,
        content_type="multipart/form-data; boundary=x",
        **{"wsgi.input": body, "CONTENT_LENGTH": str(settings.LARGEST_REQUEST + 1)},
    )
    assert_page(response, status=413)
    assert not body.read_at


@pytest.mark.django_db
@pytest.mark.parametrize("length", ["many", "9" * 5_000], ids=["many", "too long"])
def test_a_length_that_is_no_number_is_refused(length: str, client: Client) -> None:
    response = client.post("/sign-in/", {}, CONTENT_LENGTH=length)
    assert response.status_code == 413


@pytest.mark.django_db
def test_a_file_as_large_as_any_form_takes_comes_in_from_who_is_signed_in(
    outsider, client_for
) -> None:
    data = {"username": "outsider", "password": "wrong"}

    def send(client: Client) -> int:
        file = SimpleUploadedFile("lots.csv", b"x" * 4 * 1024 * 1024)
        return client.post("/sign-in/", data | {"file": file}).status_code

    client = client_for(outsider)
    assert send(client) == 422
    Session.objects.update(expire_date=timezone.now() - timedelta(seconds=1))
    assert send(client) == 413


@pytest.mark.django_db
@pytest.mark.parametrize(
    "path", ["/sign-in/", "/lots/", "/received/x/", "/recalled/x/", "/nowhere/"]
)
@pytest.mark.parametrize("cookie", ["", "made-up"])
def test_the_body_of_a_stranger_is_small_and_a_larger_one_is_not_read(
    path: str, cookie: str
) -> None:
    client = Client(enforce_csrf_checks=True)
    if cookie:
        client.cookies[settings.SESSION_COOKIE_NAME] = cookie
    body, length = Unread(), settings.LARGEST_OF_STRANGERS + 1
    response = client.generic(
        "POST",
        path,
        content_type="multipart/form-data; boundary=x",
        **{"wsgi.input": body, "CONTENT_LENGTH": str(length)},
    )
    assert_page(response, status=413)
    assert not body.read_at
