"""Views of the shipping log that two people keep at once: one name is one view."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import pytest
from django.db import connection

from dispatch.log import services
from dispatch.models import LogView
from kitting.domain.errors import LotwardError
from kitting.ledger.setup import ensure_workshop
from tests import factories
from tests.concurrency.threads import Results, at_once, meeting
from tests.factories import sign

pytestmark = pytest.mark.django_db(transaction=True)

control = pytest.mark.skipif(
    connection.vendor == "sqlite",
    reason="SQLite lets one writer in at a time: the race cannot happen there",
)


@pytest.fixture(autouse=True)
def _workshop(transactional_db: None) -> None:
    """Rows made by migrations vanish at the first flush."""
    ensure_workshop()
    sign()  # the person who signs is made once, before any thread


def keep_two() -> Results:
    """Two people keep two views under one name."""
    by = [factories.make_person("clerk", name=f"clerk {nth}") for nth in range(2)]
    return at_once(
        [
            partial(
                services.keep_view,
                name="By van",
                asked=f"q={nth}",
                sign=replace(sign(), by=who),
            )
            for nth, who in enumerate(by)
        ]
    )


@pytest.mark.parametrize("nth", range(4))
def test_of_two_who_keep_one_name_the_second_is_told_who_keeps_it(nth: int) -> None:
    (error,) = keep_two().errors
    assert isinstance(error, LotwardError)
    assert error.code == "view_kept"
    view = LogView.objects.get()
    assert error.params["by"] == view.kept.by_name
    assert factories.prove() == []


@control
def test_control_without_the_lock_neither_knows_of_the_other(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Both find the name free; the database alone stops one of them."""
    meet = meeting(2)

    class Most(int):
        def __le__(self, _views: int) -> bool:
            meet()
            return False

    monkeypatch.setattr(services, "MOST", Most(40))
    monkeypatch.setattr(services.locking, "lock_row", lambda model, pk: None)
    (error,) = keep_two().errors
    assert not isinstance(error, LotwardError)
