"""Numbers that a restore passes over, and what is said of them: on SQLite alone."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from django.test import Client

from dispatch.trace.queries import find
from kitting.domain import gs1
from kitting.domain.errors import Missing, Refused
from kitting.domain.numbers import Kind, assigned, read
from kitting.ledger import clock
from kitting.ledger.backup import restoring
from kitting.lots.queries.blanks import given_out, newest_from
from kitting.lots.services import blanks, lots
from kitting.models import Box, Counter, Operation, SkippedNumbers, Workshop
from kitting.printing.queries.labels import labelled_as
from kitting.web import scans
from kitting.web.messages import sentence
from tests import factories
from tests.backups import ON_SQLITE, Line, back_up, refused, run

pytestmark = [
    pytest.mark.usefixtures("own"),
    pytest.mark.skipif(not ON_SQLITE, reason="the same on every database"),
]


@pytest.fixture
def to(tmp_path: Path) -> Path:
    return tmp_path / "disk"


# -- Numbers in the gap -------------------------------------------------------------


def test_a_number_in_the_gap_is_quarantined(line: Line, to: Path) -> None:
    file = back_up(to)
    box = line.pack()
    bag = factories.make_bag()
    lot, shipment = factories.make_lot(), factories.make_shipment()
    run("restore", file)
    lost = [box.number, box.serial, box.sscc, bag.number, lot.number, shipment.number]
    for number in (*lost, f"00{box.sscc}", f"]C100{box.sscc}"):
        for look in (find, scans.read):
            if number == shipment.number and look is scans.read:
                continue  # its row is looked for by whoever knows shipments
            with pytest.raises(Missing) as caught:
                look(str(number))
            assert caught.value.code == "made_after_backup", number
    assert "quarantine" in sentence(caught.value)
    client = Client()
    client.force_login(
        factories.make_person("clerk"), backend="lotward.rights.RightsBackend"
    )
    page = client.get("/recall/", {"q": box.serial})
    assert page.status_code == 422
    assert "Put it in quarantine" in page.content.decode()


def code_of(number: str) -> str:
    with pytest.raises(Missing) as caught:
        find(number)
    return caught.value.code


def serial(site: int, sequence: int) -> str:
    return next(assigned(Kind.SERIAL, site, range(sequence, sequence + 9)))


def test_other_numbers_are_answered_as_ever(line: Line, to: Path) -> None:
    assert code_of(serial(1, 9)) == "nothing_has_number"
    known = Box.objects.get()
    run("restore", back_up(to))
    assert scans.read(str(known.serial)).row == known
    assert code_of(serial(1, 9)) == "made_after_backup"
    elsewhere = [serial(2, 9), gs1.sscc("9529999", 9), gs1.sscc("9521234", 9, 1)]
    for number in ("HALL 4", *elsewhere):
        assert code_of(number) == "nothing_has_number", number


def test_a_number_beyond_the_gap_is_no_less_strange(line: Line, to: Path) -> None:
    run("restore", back_up(to), "--skip", 5)
    assert code_of(serial(1, 900)) == "made_after_backup"


def test_blank_labels_of_before_and_after_the_gap_are_none_of_it(
    line: Line, to: Path
) -> None:
    """They name no bag yet, and are as good as ever; those of the gap are not."""
    before = give_out()
    file = back_up(to)
    lost = give_out()
    run("restore", file)
    after = give_out()
    assert read(after).sequence > read(lost).sequence
    for number in (before, after):
        assert code_of(number) == "nothing_has_number"
        factories.make_lot(bags=(lots.NewBag(5, number=number),))
        assert find(number)
    assert code_of(lost) == "made_after_backup"
    with pytest.raises(Refused, match="made_after_backup"):
        factories.make_lot(bags=(lots.NewBag(5, number=lost),))
    shown = [each.number for each in given_out(newest_from(9), 99)]
    assert after in shown
    assert lost not in shown
    with pytest.raises(Refused, match="made_after_backup"):
        labelled_as("bag_number").compose([lost])


def give_out() -> str:
    return blanks.give_out_numbers(count=1, sign=factories.sign()).numbers[0]


# -- How far the counters go on -----------------------------------------------------


def counted() -> dict[str, int]:
    return dict(Counter.objects.values_list("name", "next"))


def test_counters_go_on_past_what_the_replaced_database_gave_out(
    line: Line, to: Path
) -> None:
    file = back_up(to)
    for _ in range(4):
        line.pack()
    given = counted()
    run("restore", file, "--skip", 0)
    assert counted() == given
    [gap] = SkippedNumbers.objects.filter(counter="serial")
    assert gap.stop == given["serial"]
    assert gap.stop - gap.first >= 4


@pytest.mark.parametrize(("days", "times"), [(0, 1), (3, 4)])
def test_unless_asked_the_days_since_decide(
    line: Line, to: Path, monkeypatch: pytest.MonkeyPatch, days: int, times: int
) -> None:
    file, before = back_up(to), counted()
    later = datetime.now(UTC) + timedelta(days=days, minutes=5)
    monkeypatch.setattr(clock, "now", lambda: later)
    run("restore", file)
    least = times * restoring.LEAST_A_DAY
    assert counted() == {name: next_ + least for name, next_ in before.items()}


def test_a_busy_workshop_passes_over_ten_times_its_usual_day(
    line: Line, to: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Numbers that are given out by files of bags: many a day."""
    begun = Operation.objects.earliest("at").at
    made = begun + timedelta(days=10, hours=1)
    monkeypatch.setattr(clock, "now", lambda: made)
    Counter.objects.filter(name="bag").update(next=50_000)
    factories.seal_set_up("kitting_counter")
    file = back_up(to)
    run("restore", file)
    assert counted()["bag"] == 50_000 + 10 * 5_000
    assert counted()["run"] == 1 + restoring.LEAST_A_DAY


def test_a_long_company_prefix_must_be_told_how_many(line: Line, to: Path) -> None:
    Workshop.objects.update(gs1_prefix="952123456789")
    factories.seal_set_up()
    file = back_up(to)
    assert "with --skip" in refused(file)
    run("restore", file, "--skip", 500)
    assert counted()["sscc"] == 502
