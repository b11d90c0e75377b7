"""A consignee and a clerk answer about the same boxes at once, or as the link ends."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import partial
from typing import Any

import pytest
from django.db import connection
from django.db.models import Model

from dispatch.models import Case, Consignee, Reply, ReplyBox
from dispatch.receipts.services.links import consignee as the_consignee
from dispatch.replies import services, steps
from kitting.domain.errors import LotwardError
from kitting.models import Box, Link
from tests import factories
from tests.concurrency.threads import Results, at_once, meeting
from tests.dispatch.replies.replying import case_on, closed, lines, sent_to
from tests.factories import sign

pytestmark = pytest.mark.django_db(transaction=True)

control = pytest.mark.skipif(
    connection.vendor == "sqlite",
    reason="SQLite lets one writer in at a time: the race cannot happen there",
)


@pytest.fixture(autouse=True)
def _who_signs(transactional_db: None) -> None:
    sign()  # the person who signs is made once, before any thread


def codes(results: Results) -> list[str]:
    assert all(isinstance(error, LotwardError) for error in results.errors), results.of
    return sorted(error.code for error in results.errors)  # type: ignore[attr-defined]


def sent() -> tuple[Case, Consignee, Box]:
    whom = factories.make_consignee()
    [box] = sent_to(whom)
    return case_on(box), whom, box


def theirs(case: Case, whom: Consignee, box: Box) -> Callable[[], Any]:
    said = {"told_by": "M. Ward", "note": "", "seen": 0, "lines": lines(box, used=6)}
    of: dict[str, Any] = {"number": case.number, "consignee_id": whom.pk, "nth": 1}
    signed = replace(sign(), by=the_consignee())
    return partial(services.reply_by_link, **of, **said, sign=signed)


def both_answer() -> Results:
    """Neither page knows of an answer, and each says something else."""
    case, whom, box = sent()
    said: dict[str, Any] = {"told_by": "N. Desk", "note": "", "seen": 0, "way": "call"}
    ours = partial(
        services.record_reply,
        number=case.number,
        consignee_id=whom.pk,
        lines=lines(box, unknown=6),
        **said,
        sign=sign(),
    )
    return at_once([theirs(case, whom, box), ours])


@pytest.mark.parametrize("nth", range(4))
def test_of_a_consignee_and_a_clerk_at_once_one_reads_the_other_first(nth: int) -> None:
    assert codes(both_answer()) == ["answered_since"]
    assert Reply.objects.count() == 1
    assert ReplyBox.objects.get().reply == Reply.objects.get()
    assert factories.prove() == []


@control
def test_control_without_the_lock_the_second_hides_the_first_unread(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    meet = meeting(2)
    asked = steps.newest_about

    def both_asked(*of: Any) -> int:
        found = asked(*of)
        meet()
        return found

    def unlocked(model: type[Model], ids: Iterable[int], *_beside: str) -> Any:
        return model._default_manager.in_bulk(list(ids))

    monkeypatch.setattr(steps.locking, "lock_rows", unlocked)
    monkeypatch.setattr(steps, "newest_about", both_asked)
    assert both_answer().errors == []
    assert Reply.objects.count() == 2


@pytest.mark.parametrize("nth", range(4))
@pytest.mark.parametrize("end", ["link", "case"])
def test_no_answer_comes_after_the_end_of_its_link_or_case(nth: int, end: str) -> None:
    case, whom, box = sent()
    ends = {
        "link": partial(
            services.end_reply_link,
            number=case.number,
            consignee_id=whom.pk,
            nth=1,
            sign=sign(),
        ),
        "case": partial(closed, case, box),
    }
    results = at_once([theirs(case, whom, box), ends[end]])
    assert codes(results) in ([], ["link_is_over"])
    acts = Link.objects.order_by("seq").values_list("operation__name", flat=True)
    assert list(acts)[-1] == {"link": "end_reply_link", "case": "close_case"}[end]
    assert Reply.objects.count() == 1 - len(results.errors)
    assert factories.prove() == []
