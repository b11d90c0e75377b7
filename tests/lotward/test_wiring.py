"""The tests' own wiring: file databases, guards through a flush, marks, the browser."""

from __future__ import annotations

import uuid
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management import call_command
from django.db import DatabaseError, connection, transaction
from django.utils import timezone

from kitting.ledger.guards import missing_guards
from kitting.models import Operation
from tests.databases import guards_away


def _operation() -> Operation:
    from kitting.models import User

    user = User.objects.create_user(username=f"somebody-{uuid.uuid4()}")
    return Operation.objects.create(
        site=1,
        key=uuid.uuid4().bytes,
        name="test",
        mark=bytes(32),
        by=user,
        by_name=str(user),
        at=timezone.now(),
    )


@pytest.mark.django_db
def test_the_test_database_is_a_file_or_a_server() -> None:
    if connection.vendor == "postgresql":
        assert str(connection.settings_dict["NAME"]).startswith("test_")
    else:
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA database_list")
            assert Path(cursor.fetchone()[2]).parent == Path(settings.TEST_DIR)


@pytest.mark.django_db
def test_sqlite_journals_and_waits_as_in_production_and_only_syncs_less() -> None:
    if connection.vendor == "postgresql":
        pytest.skip("the pragmas are SQLite's")
    with connection.cursor() as cursor:
        found = [
            cursor.execute(f"PRAGMA {name}").fetchone()[0]
            for name in ("journal_mode", "synchronous", "busy_timeout", "foreign_keys")
        ]
    assert found == ["wal", 0, 20_000, 1]
    assert connection.transaction_mode == "IMMEDIATE"


@pytest.mark.django_db(transaction=True)
def test_a_flush_gets_past_the_guards_and_leaves_them_standing() -> None:
    operation = _operation()
    with pytest.raises(DatabaseError), transaction.atomic():
        Operation.objects.filter(pk=operation.pk).delete()
    assert Operation.objects.count() == 1
    with guards_away():
        call_command("flush", interactive=False, verbosity=0)
    assert Operation.objects.count() == 0
    assert missing_guards() == []
    operation = _operation()
    with pytest.raises(DatabaseError), transaction.atomic():
        Operation.objects.filter(pk=operation.pk).update(name="bent")


@pytest.mark.parametrize("turn", [1, 2])
@pytest.mark.django_db(transaction=True)
def test_the_tear_down_of_a_transactional_test_leaves_no_row(turn: int) -> None:
    assert Operation.objects.count() == 0
    assert _operation().pk


def test_a_test_without_a_database_is_marked_pure(
    request: pytest.FixtureRequest,
) -> None:
    assert request.node.get_closest_marker("pure")
    assert not request.node.get_closest_marker("browser")


@pytest.mark.smoke
def test_the_browser_shows_the_sign_in_page_without_a_complaint(
    page, live_server, console_errors: list[str], request: pytest.FixtureRequest
) -> None:
    assert request.node.get_closest_marker("browser")
    assert not request.node.get_closest_marker("pure")
    page.goto(f"{live_server.url}/sign-in/")
    page.get_by_label("Name", exact=True).fill("nobody")
    page.get_by_label("Password").fill("nothing")
    page.get_by_role("button", name="Sign in").click()
    page.get_by_text("You are not signed in.").wait_for()
    # Chromium itself reports the answer 422; nothing else may be there.
    assert [text for text in console_errors if "422" not in text] == []
