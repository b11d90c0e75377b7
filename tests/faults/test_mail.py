"""A server that is killed while it sends a letter: none is lost, and two are seen as one."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Any

import pytest
from django.db import connection

from dispatch.models import LetterSent
from dispatch.notices.services.letters import Sent, send_letter
from kitting.ledger.operations import Sign
from tests import factories
from tests.backups import each_or_some
from tests.dispatch.notices.calling import write
from tests.dispatch.notices.test_letter_pages import two_at
from tests.factories import sign
from tests.faults.walk import At, die, forked, moments

MOMENTS = 120
"""More than sending a letter takes."""


def send(letter: int, by: Sign) -> Sent:
    return send_letter(letter_id=letter, way="email", sign=by)


def send_and_die(letter: int, by: Sign, moment: int) -> None:
    with connection.execute_wrapper(At(moment, die)):
        send(letter, by)


def on_record(by: Sign) -> int:
    return LetterSent.objects.filter(operation__key=by.key.bytes).count()


def went(folder: Path, by: Sign) -> int:
    """How many times it went; all bear the number by which mail programs know it as one.

    RFC 5322 §3.6.4: a message identifier is of exactly one version of a message.
    """
    number = f"Message-ID: <{by.key}@".encode()
    return sum(file.read_bytes().count(number) for file in folder.iterdir())


@each_or_some
@pytest.mark.usefixtures("own")
def test_a_server_is_killed_at_any_moment_of_sending_a_letter(
    settings: Any, tmp_path: Path, stride: int
) -> None:
    settings.EMAIL_HOST = "mail.example"
    settings.DEFAULT_FROM_EMAIL = "recalls@harrow.example"
    settings.EMAIL_BACKEND = "django.core.mail.backends.filebased.EmailBackend"
    settings.EMAIL_FILE_PATH = folder = tmp_path / "mail"
    case, first, _second = two_at()
    [letter] = write(case, first)
    twice = 0
    for moment in moments(stride, MOMENTS):
        by = sign()
        folder.mkdir(exist_ok=True)
        forked(partial(send_and_die, letter.pk, by, moment))
        before = went(folder, by)
        over = on_record(by) == 1
        assert before == 1 if over else before <= 1
        assert send(letter.pk, by) == send(letter.pk, by)
        assert (on_record(by), went(folder, by)) == (1, before + (not over))
        twice += before and not over
        if over:
            break
    assert 20 < moment < MOMENTS - 1
    assert twice * stride > 5, "the moments after it went"
    assert factories.prove() == []
