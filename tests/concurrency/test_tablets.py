"""Two tablets take up one code; a tablet is untied while it scans."""

from __future__ import annotations

import time
from datetime import UTC, datetime
from functools import partial
from typing import Any

import pytest
from django.db import connection, transaction

from kitting.ledger import locking, operations
from kitting.ledger.given import mark_of
from kitting.ledger.setup import ensure_workshop
from kitting.ledger.tied import need_tied, with_tied
from kitting.models import Badge, JournalHead, Link, Tablet, Workshop
from kitting.packing.services import boxes
from kitting.packing.services.tablets import (
    code_of,
    give_code,
    tie_tablet,
    token_of,
    untie_tablet,
)
from kitting.people.services.badges import issue_badges, revoke_badge
from kitting.people.services.pins import set_pin, try_pin
from tests import factories
from tests.concurrency.threads import at_once, meeting, times
from tests.concurrency.twins import Meet

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.smoke]

control = pytest.mark.skipif(
    connection.vendor == "sqlite",
    reason="SQLite lets one writer in at a time: the race cannot happen there",
)
SCANS = 6
WAITS_S = 0.3


@pytest.fixture
def bench() -> int:
    ensure_workshop("Harrow Lane Workshop")
    factories.make_person(name="tester")
    return factories.make_bench().pk


def code_for(bench: int) -> str:
    sign = factories.sign()
    give_code(bench_id=bench, sign=sign)
    return code_of(sign.key)


def test_of_two_tablets_that_take_up_one_code_one_is_tied(bench: int) -> None:
    code = code_for(bench)
    signs = [factories.sign() for _ in range(2)]
    found = times(2, lambda n: tie_tablet(code=code, sign=signs[n]))
    assert [error.code for error in found.errors] == ["tie_code_wrong"]
    (won,) = (
        sign for sign, one in zip(signs, found.of, strict=True) if one in found.values
    )
    row = Tablet.objects.get(bench=bench)
    assert row.token_sha256 == mark_of(token_of(won.key, code))


def take_up_without_the_lock(bench: int, n: int, meet: Meet) -> bool:
    with transaction.atomic(durable=True):
        row = Tablet.objects.get(bench=bench)
        good = row.code_until is not None
        meet()
        Tablet.objects.filter(pk=row.pk).update(
            code_until=None, token_sha256=str(n), tied_at=factories.NOW
        )
    return good


@control
def test_control_without_the_lock_both_are_told_that_they_are_tied(bench: int) -> None:
    code_for(bench)
    meet = meeting(2)
    found = times(2, lambda n: take_up_without_the_lock(bench, n, meet))
    assert found.of == [True, True]


def tied(bench: int) -> str:
    code, sign = code_for(bench), factories.sign()
    tie_tablet(code=code, sign=sign)
    return mark_of(token_of(sign.key, code))


def late(name: str) -> list[str]:
    """What was done at a bench behind an act, in the order of the journal."""
    end = Link.objects.get(operation__name=name).seq
    after = Link.objects.filter(seq__gt=end, operation__bench__isnull=False)
    return list(after.values_list("operation__name", flat=True))


def scans_of(bench: int, **more: Any) -> list[partial[Any]]:
    signs = [factories.sign(bench_id=bench, **more) for _ in range(SCANS)]
    bags = [factories.make_bag().pk for _ in range(SCANS)]
    return [
        partial(boxes.bring_bag, bench_id=bench, bag_id=bag, sign=sign)
        for bag, sign in zip(bags, signs, strict=True)
    ]


def test_no_scan_of_a_tablet_stands_behind_the_act_that_unties_it_for_another(
    bench: int,
) -> None:
    mark, code = tied(bench), code_for(bench)
    other = partial(tie_tablet, code=code, sign=factories.sign())
    found = at_once([*scans_of(bench, tablet=mark), other])
    assert {error.code for error in found.errors} <= {"bench_tied_elsewhere"}
    again = Link.objects.filter(operation__name="tie_tablet").latest("seq")
    after = Link.objects.filter(seq__gt=again.seq, operation__bench__isnull=False)
    assert not after.exists()
    refused = len(found.errors)
    done = Link.objects.filter(operation__name="bring_bag").count()
    assert done + refused == SCANS


@control
def test_what_is_read_beside_the_head_is_read_again_where_that_was_waited_for(
    bench: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    mark, code = tied(bench), code_for(bench)
    meet, real = meeting(2), locking.lock_head

    def lock(seen: JournalHead, *at: int) -> JournalHead:
        if at:
            meet()
            return real(seen, *at)
        head = real(seen)
        meet()
        time.sleep(WAITS_S)
        return head

    (scan, *_others) = scans_of(bench, tablet=mark)
    sign = factories.sign()
    monkeypatch.setattr(locking, "lock_head", lock)
    found = at_once([scan, partial(tie_tablet, code=code, sign=sign)])
    assert [error.code for error in found.errors] == ["bench_tied_elsewhere"]


def test_control_a_scan_that_asks_only_before_it_begins_stands_behind_it(
    bench: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    mark = tied(bench)
    (scan, *_others) = scans_of(bench, tablet=mark)
    sign, meet = factories.sign(bench_id=bench, tablet=mark), meeting(2)
    monkeypatch.setattr(operations.tied, "need_tied", lambda *_of: None)

    def scanned() -> None:
        need_tied(sign, with_tied(Workshop.objects.all(), bench).get())
        meet()
        meet()
        scan()

    def untied() -> None:
        meet()
        untie_tablet(bench_id=bench, sign=factories.sign())
        meet()

    assert at_once([scanned, untied]).errors == []
    assert late("untie_tablet") == ["bring_bag"]


# -- PINs and badges --------------------------------------------------------------------


@pytest.fixture
def badge() -> Badge:
    ensure_workshop("Harrow Lane Workshop")
    person = factories.make_person("packer", name="petra")
    issue_badges(user_ids=[person.pk], sign=factories.sign())
    set_pin(user_id=person.pk, pin="4071", sign=factories.sign())
    return Badge.objects.get()


def tablets(count: int) -> list[int]:
    rows = [factories.make_bench().pk for _ in range(count)]
    for row in rows:
        code_for(row)
    return [Tablet.objects.get(bench=row).pk for row in rows]


def test_of_pins_that_are_tried_at_once_one_is_compared(badge: Badge) -> None:
    """At as many tablets: the count is the badge's."""
    at = tablets(6)
    now = datetime.now(UTC)
    found = times(
        6,
        lambda n: try_pin(badge_id=badge.pk, tablet_id=at[n], pin="9999", now=now),
    )
    codes = sorted(error.code for error in found.errors)  # type: ignore[attr-defined]
    assert codes == ["pin_wait"] * 5 + ["pin_wrong"]
    badge.refresh_from_db()
    assert badge.pin_tries == 1


def try_without_the_lock(badge: int, meet: Meet) -> int:
    with transaction.atomic(durable=True):
        row = Badge.objects.get(pk=badge)
        meet()
        row.pin_tries += 1
        row.save(update_fields=["pin_tries"])
    return row.pin_tries


@control
def test_control_without_the_lock_tries_are_lost(badge: Badge) -> None:
    meet = meeting(4)
    assert times(4, lambda _n: try_without_the_lock(badge.pk, meet)).of == [1] * 4
    badge.refresh_from_db()
    assert badge.pin_tries == 1


def test_no_scan_by_a_badge_stands_behind_the_act_that_revokes_it(
    bench: int, badge: Badge
) -> None:
    mark = tied(bench)
    scans = scans_of(bench, by=badge.user, tablet=mark, badge_id=badge.pk)
    revoked = partial(revoke_badge, badge_id=badge.pk, sign=factories.sign())
    found = at_once([*scans, revoked])
    codes = {error.code for error in found.errors}  # type: ignore[attr-defined]
    assert codes <= {"badge_revoked_meanwhile"}
    assert late("revoke_badge") == []
    done = Link.objects.filter(operation__name="bring_bag").count()
    assert done + len(found.errors) == SCANS
