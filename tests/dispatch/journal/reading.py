"""What the tests of the journal's pages share."""

from __future__ import annotations

import json

from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from dispatch.journal.queries import acts
from tests.assertions import assert_page

JOURNAL = reverse("dispatch:journal")
EXPORT = reverse("dispatch:journal-export")


def lines_of(client: Client, **asked: object) -> list[acts.Line]:
    answer = client.get(JOURNAL, asked)
    assert_page(answer)
    return answer.context["lines"]  # type: ignore[no-any-return]


def body_of(answer: HttpResponse) -> list[dict[str, object]]:
    text = b"".join(answer.streaming_content).decode()  # type: ignore[attr-defined]
    return [json.loads(line) for line in text.splitlines()]
