"""Two people at one line at the same moment; file SQLite and PostgreSQL."""

from __future__ import annotations

import threading
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction

from kitting.disinfection.services import covers, runs
from kitting.disinfection.services.verdicts import close_run
from kitting.domain.errors import Conflict, LotwardError, Refused, WrongStage
from kitting.ledger import locking
from kitting.ledger.coded import mark_of
from kitting.ledger.operations import Sign
from kitting.lots.services import lots
from kitting.models import Bag, Cover, Protocol, Reading, Run, RunBag, User
from kitting.models.catalogue import PlaceKind
from tests import factories
from tests.concurrency.threads import at_once, times

pytestmark = pytest.mark.django_db(transaction=True)

ON_POSTGRESQL = connection.vendor == "postgresql"


@pytest.fixture
def person(transactional_db: None) -> User:
    return factories.sign().by


@pytest.fixture
def bags(transactional_db: None) -> list[Bag]:
    revision = factories.make_revision()
    ten = tuple(lots.NewBag(pieces=10) for _ in range(10))
    lot = factories.accept(factories.make_lot(revision, bags=ten))
    return list(lot.bags.order_by("pk"))


def sign(person: User, **changes) -> Sign:
    return factories.sign(person, **changes)


def test_two_operators_open_one_run_on_one_line(person: User) -> None:
    line = factories.make_place(PlaceKind.LINE)
    protocol, meter = factories.make_protocol(), factories.make_meter()
    results = times(
        6,
        lambda _: factories.open_run(
            protocol, meter, line_id=line.pk, sign=sign(person)
        ),
    )
    assert len(results.values) == 1, results.of
    assert {type(error) for error in results.errors} == {Conflict}
    assert {error.code for error in results.errors} == {"line_has_a_run"}  # type: ignore[attr-defined]
    assert Run.objects.count() == Reading.objects.count() == 1


def test_one_bag_scanned_by_two_operators_goes_on_one_of_two_runs(
    person: User, bags: list[Bag]
) -> None:
    protocol = factories.make_protocol(bags[0].lot.revision)
    two = [factories.open_run(protocol) for _ in range(2)]
    for bag in bags[:5]:
        results = at_once(
            [
                lambda run=run, bag=bag: runs.scan_bag(  # type: ignore[misc]
                    run_id=run.pk, bag_id=bag.pk, sign=sign(person)
                )
                for run in two
            ]
        )
        assert len(results.values) == 1, results.of
        assert [type(error) for error in results.errors] == [WrongStage]
    assert RunBag.objects.filter(live=True).count() == 5


def test_one_label_scanned_twice_at_once_puts_the_bag_on(
    person: User, bags: list[Bag]
) -> None:
    run = factories.open_run(factories.make_protocol(bags[0].lot.revision))
    results = times(
        4,
        lambda _: runs.scan_bag(run_id=run.pk, bag_id=bags[0].pk, sign=sign(person)),
    )
    assert [value.stage for value in results.values] == ["in_run"], results.of
    codes = {error.code for error in results.errors}  # type: ignore[attr-defined]
    assert codes == {"bag_off_too_early"}


def test_a_bag_goes_on_before_a_run_is_closed_or_not_at_all(
    person: User, bags: list[Bag]
) -> None:
    """Never both: a bag on the line of a closed run would be lost to every run."""
    protocol, meter = factories.make_protocol(bags[0].lot.revision), None
    for bag in bags:
        meter = meter or factories.make_meter()
        run = factories.open_run(protocol, meter)
        close = {"run_id": run.pk, "readings": [(1, "top", 4_000)]}
        results = at_once(
            [
                lambda run=run, bag=bag: runs.put_on(  # type: ignore[misc]
                    run_id=run.pk, bag_id=bag.pk, sign=sign(person)
                ),
                lambda close=close: close_run(**close, sign=sign(person)),  # type: ignore[misc]
            ]
        )
        assert len(results.values) == 1, results.of
        (error,) = results.errors
        assert isinstance(error, LotwardError)
        run.refresh_from_db()
        bag.refresh_from_db()
        went_on = isinstance(error, Refused)
        assert error.code == ("bags_on_the_line" if went_on else "run_closed")
        assert run.stage == ("open" if went_on else "released")
        assert bag.stage == ("in_run" if went_on else "accepted")


def _put_on_unlocked(run: Run, bag: Bag, between: threading.Barrier) -> bool:
    """The twin of ``put_on`` without its lock on the run: it looks, waits, writes."""
    with transaction.atomic():
        if Run.objects.get(pk=run.pk).stage != "open":
            return False
        between.wait(20)
        between.wait(20)
        RunBag.objects.create(run=run, bag=bag, on_at=factories.NOW)
    return True


@pytest.mark.skipif(not ON_POSTGRESQL, reason="SQLite has one writer at a time")
def test_without_the_lock_a_bag_goes_on_a_closed_run(bags: list[Bag]) -> None:
    run = factories.open_run(factories.make_protocol(bags[0].lot.revision))
    between = threading.Barrier(2)

    def close() -> bool:
        between.wait(20)
        with transaction.atomic():
            locking.lock_row(Run, run.pk)
            Run.objects.filter(pk=run.pk).update(stage="released")
        between.wait(20)
        return True

    results = at_once([lambda: _put_on_unlocked(run, bags[0], between), close])
    assert results.of == [True, True]
    run.refresh_from_db()
    assert (run.stage, run.run_bags.filter(live=True).count()) == ("released", 1)


def test_the_database_itself_refuses_a_second_open_run(person: User) -> None:
    run = factories.open_run(factories.make_protocol(), sign=sign(person))
    twin = Run.objects.get(pk=run.pk)
    twin.pk, twin.number = None, "R-TWIN"
    with pytest.raises(IntegrityError), transaction.atomic():
        twin.save(force_insert=True)


def _signature(bags: list[Bag]) -> dict[str, Any]:
    """What is sent by whoever signs that the bags are covered like an earlier revision."""
    newer = bags[0].lot.revision
    older = factories.make_revision(newer.part, code="0")
    protocol = factories.make_protocol(older)
    return {
        "protocol_id": protocol.pk,
        "revision_id": newer.pk,
        "like_id": older.pk,
        "reason": "The same film",
        "seen": mark_of(newer),
    }


def test_two_officers_sign_one_cover(person: User, bags: list[Bag]) -> None:
    said = _signature(bags)
    officers = [factories.make_person("quality officer") for _ in range(2)]
    results = at_once(
        [
            lambda by=by: covers.cover_revision(**said, sign=sign(by))  # type: ignore[misc]
            for by in officers
        ]
    )
    assert len(results.values) == 1, results.of
    assert [type(error) for error in results.errors] == [WrongStage]
    assert Cover.objects.count() == 1


def test_a_bag_goes_on_before_its_cover_is_withdrawn_or_not_at_all(
    person: User, bags: list[Bag]
) -> None:
    """The proof has the order from the journal: nothing went on by what had ended."""
    said = _signature(bags)
    officer = factories.make_person("quality officer")
    run = factories.open_run(Protocol.objects.get(pk=said["protocol_id"]))
    went = 0
    for bag in bags[:6]:
        cover = covers.cover_revision(**said, sign=sign(officer)).cover_id
        results = at_once(
            [
                lambda bag=bag: runs.put_on(  # type: ignore[misc]
                    run_id=run.pk, bag_id=bag.pk, sign=sign(person)
                ),
                lambda cover=cover: covers.withdraw_cover(  # type: ignore[misc]
                    cover_id=cover, reason="Thicker", sign=sign(officer)
                ),
            ]
        )
        assert [error.code for error in results.errors] in ([], ["not_covered"])  # type: ignore[attr-defined]
        went += not results.errors
    assert RunBag.objects.filter(cover__isnull=False).count() == went
    assert factories.prove() == []
