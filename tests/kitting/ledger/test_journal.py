"""Acts: done once under their key, sealed by the chain, or leaving nothing at all."""

from __future__ import annotations

import hashlib
import json
import uuid
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, timezone
from typing import Any

import pytest
from django.utils.safestring import SafeString

from kitting.domain.errors import OperationKeyReused, Refused
from kitting.domain.stages import BoxStage
from kitting.ledger import holds, proof, upheld
from kitting.ledger.canon import (
    canonical,
    canonical_values,
    columns,
    object_writer,
    writer,
)
from kitting.ledger.operations import (
    Act,
    Sign,
    fingerprint,
    link_hash,
    perform,
)
from kitting.lots.services import lots
from kitting.models import (
    Calibration,
    Counter,
    Hold,
    JournalHead,
    Link,
    Lot,
    Meter,
    Movement,
    Operation,
    Reading,
    RowSeal,
)
from tests import factories
from tests.ledgers import History

pytestmark = pytest.mark.django_db


@dataclass(frozen=True)
class Noted:
    """What a test's act gives."""

    said: str


def note(sign: Sign, said: str = "yes", work: Any = None) -> Noted:
    def nothing(act: Act) -> Noted:
        return Noted(said)

    return perform("note", work or nothing, Noted, sign, said=said)


def everything() -> dict[str, int]:
    """How much of everything that an act could leave behind there is."""
    models = (Operation, Link, Lot, Movement, Hold)
    counts = {model.__name__: model._default_manager.count() for model in models}
    head = JournalHead.objects.get()
    counters = dict(Counter.objects.values_list("name", "next"))
    return {**counts, "head": head.seq, **counters}


# -- Once ---------------------------------------------------------------------------


def test_the_same_act_sent_twice_happens_once() -> None:
    revision = factories.make_revision()
    sign = factories.sign()
    sent = [factories.new_lot(revision)]
    first = lots.take_in(lots=sent, sign=sign)
    before = everything()
    assert lots.take_in(lots=sent, sign=sign) == first
    assert everything() == before


def test_a_resent_act_is_answered_before_any_rule_can_refuse_it() -> None:
    """By now the lot is closed: asked anew, the same act would be refused."""
    lot = factories.make_lot(close=False)
    sign = factories.sign()
    first = lots.close_lot(lot_id=lot.pk, sign=sign)
    assert lots.close_lot(lot_id=lot.pk, sign=sign) == first


def test_a_resent_act_may_come_later() -> None:
    """Its moment is no part of what was sent."""
    sign = factories.sign()
    first = note(sign)
    later = Sign(by=sign.by, key=sign.key, now=sign.now + timedelta(hours=1))
    assert note(later) == first
    assert Operation.objects.get().at == sign.now


def test_the_same_input_under_another_key_happens_again() -> None:
    note(factories.sign())
    note(factories.sign())
    assert Operation.objects.count() == 2


def _other_person(sign: Sign) -> Sign:
    return Sign(by=factories.make_person(), key=sign.key, now=sign.now)


def _other_bench(sign: Sign) -> Sign:
    bench = factories.make_bench().pk
    return Sign(by=sign.by, key=sign.key, now=sign.now, bench_id=bench)


@pytest.mark.parametrize("change", [_other_person, _other_bench])
def test_a_key_belongs_to_one_person_at_one_bench(change: Any) -> None:
    sign = factories.sign()
    note(sign)
    before = everything()
    with pytest.raises(OperationKeyReused):
        note(change(sign))
    assert everything() == before


def test_a_key_with_other_content_is_refused() -> None:
    sign = factories.sign()
    note(sign, "yes")
    before = everything()
    with pytest.raises(OperationKeyReused) as refusal:
        note(sign, "no")
    assert refusal.value.code == "operation_key_reused"
    assert everything() == before


def test_a_key_of_another_act_is_refused() -> None:
    lot = factories.make_lot(close=False)
    sign = factories.sign()
    lots.close_lot(lot_id=lot.pk, sign=sign)
    with pytest.raises(OperationKeyReused):
        holds.place_hold(target="lot", value=lot.pk, reason="x", sign=sign)
    assert Hold.objects.count() == 0


def test_a_refused_act_leaves_nothing_and_frees_its_key() -> None:
    lot = factories.make_lot(close=False, bags=())
    sign = factories.sign()
    before = everything()
    with pytest.raises(Refused):
        lots.close_lot(lot_id=lot.pk, sign=sign)
    assert everything() == before
    assert note(sign) == Noted("yes")


def test_an_act_that_breaks_down_after_writing_leaves_nothing() -> None:
    lot = factories.make_lot()
    before = everything()

    def work(act: Act) -> Noted:
        act.write(Hold(lot=lot, reason="half"))
        assert Hold.objects.count() == 1
        msg = "power cut"
        raise ConnectionError(msg)

    with pytest.raises(ConnectionError):
        note(factories.sign(), work=work)
    assert everything() == before
    assert Hold.objects.count() == 0


def test_an_outcome_that_cannot_be_stored_undoes_the_act() -> None:
    before = everything()
    with pytest.raises(TypeError):
        note(factories.sign(), work=lambda act: Noted(object()))  # type: ignore[arg-type]
    assert everything() == before


# -- The chain ----------------------------------------------------------------------


def test_links_are_numbered_from_one_without_gaps() -> None:
    for _ in range(5):
        note(factories.sign())
    assert list(Link.objects.order_by("seq").values_list("seq", flat=True)) == [
        *range(1, 6)
    ]
    head, last = JournalHead.objects.get(), Link.objects.get(seq=5)
    assert (head.seq, bytes(head.hash)) == (5, bytes(last.hash))


def _by_hand(row: Any) -> list[list[Any]]:
    """The canonical form as its description says, written down a second time."""
    found = []
    for field in row._meta.concrete_fields:
        value = getattr(row, field.attname)
        if value is None:
            continue
        if isinstance(value, datetime):
            value = value.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%f+00:00")
        elif isinstance(value, date):
            value = f"{value:%Y-%m-%d}"
        elif isinstance(value, bytes | memoryview):
            value = bytes(value).hex()
        found.append([field.attname, value])
    return sorted(found)


def test_a_link_hashes_what_its_description_says() -> None:
    """Recomputed here from the rows, with no function of the project."""
    lot = Lot.objects.create(
        number="L-1",
        source="bench 2",
        source_key="bench 2",
        part=(revision := factories.make_revision()).part,
        revision=revision,
        made_on=factories.TODAY,
    )
    hold = holds.place_hold(
        target="source", value=lot.source, reason="x", sign=factories.sign()
    )
    link = Link.objects.get()
    row = Hold.objects.get(pk=hold.hold_id)
    entries = [["kitting.hold", row.pk, _by_hand(row)]]
    found = RowSeal.objects.order_by("pk")  # the first act seals all that it finds
    entries += [["kitting.rowseal", seal.pk, _by_hand(seal)] for seal in found]
    text = json.dumps(
        [1, "00" * 32, 1, _by_hand(link.operation), link.outcome, entries]
    )
    assert bytes(link.hash) == hashlib.sha256(text.encode()).digest()


def test_each_link_hashes_the_one_before_it() -> None:
    note(factories.sign())
    note(factories.sign())
    one, two = Link.objects.order_by("seq")
    args = (two.seq, two.operation, two.outcome, [])
    assert bytes(two.hash) == link_hash(bytes(one.hash), *args)
    assert bytes(two.hash) != link_hash(bytes(32), *args)


def test_the_order_of_rows_is_no_part_of_a_hash(history: History) -> None:
    operation = history.released.verdicts.get().operation
    rows = [
        *Reading.objects.filter(operation=operation),
        *Movement.objects.filter(operation=operation),
    ]
    assert len(rows) == 3
    args = (bytes(32), 1, operation, "{}")
    assert link_hash(*args, rows) == link_hash(*args, rows[::-1])
    assert link_hash(*args, rows) != link_hash(*args, rows[1:])


# -- The canonical form -------------------------------------------------------------


ODD = [
    # As made in memory; each reads back the same from both databases.
    {"on": date(2026, 1, 1), "due": date(2026, 12, 31), "rel_u_ppm": 80_000},
    {"on": "2026-01-01", "due": "2026-12-31", "rel_u_ppm": "80000"},
    {"on": date(2026, 1, 1), "due": date(2026, 1, 1), "rel_u_ppm": True},
]


@pytest.mark.parametrize("values", ODD, ids=["dates", "texts", "a flag"])
def test_a_row_is_canonical_before_and_after_the_database(
    values: dict[str, Any],
) -> None:
    meter = Meter.objects.create(serial="UV 1", name="Radiometer")
    made: list[Calibration] = []

    def work(act: Act) -> Noted:
        made.append(Calibration(meter=meter, **values))
        act.write(*made)
        return Noted("made")

    note(factories.sign(), work=work)
    (row,) = made
    again = Calibration.objects.get(pk=row.pk)
    assert canonical(row) == canonical(again)
    assert factories.prove() == []


MOMENTS = [
    datetime(2026, 1, 14, 4, 0, tzinfo=UTC),
    datetime(2026, 1, 14, 4, 0, 0, 1, tzinfo=UTC),
    datetime(2026, 3, 29, 1, 30, tzinfo=timezone(timedelta(hours=5, minutes=45))),
    datetime(1999, 12, 31, 23, 59, 59, 999999, tzinfo=timezone(timedelta(hours=-11))),
]


@pytest.mark.parametrize("moment", MOMENTS, ids=str)
def test_a_moment_is_canonical_in_any_time_zone(moment: datetime) -> None:
    note(factories.sign(now=moment))
    operation = Operation.objects.get()
    assert dict(canonical(operation))["at"].endswith("+00:00")
    assert datetime.fromisoformat(dict(canonical(operation))["at"]) == moment
    assert factories.prove() == []


TEXTS = [
    "plain",
    " blanks kept ",
    "µW/cm² × 2 − “quoted” \\ /",
    "nai\u0308ve and naïve are two",
    "\u202eright to left\u202c, 🧤, \u0000".replace("\u0000", ""),
    "line\nbreak\tand\r\ntab",
    "x" * 200,
]


def test_any_text_is_canonical(subtests: pytest.Subtests) -> None:
    def work(act: Act) -> Noted:
        act.write(Hold(source="s", reason=text))
        return Noted(text)

    for nth, text in enumerate(TEXTS):
        with subtests.test(nth=nth):
            note(factories.sign(), said=text, work=work)
            assert Hold.objects.latest("pk").reason == text
    assert Hold.objects.count() == len(TEXTS)
    assert factories.prove() == []


def test_every_guarded_row_of_a_history_is_canonical(history: History) -> None:
    """Whatever the services wrote: the links that sealed it in memory still hold."""
    assert history
    (chain,) = (t for t in proof.examine().tallies if t.check == "chain")
    assert (chain.count, chain.faults) == (Link.objects.count(), [])


def test_an_empty_column_is_left_out() -> None:
    """So that a guarded table may gain a nullable column and old links still hold."""
    note(factories.sign())
    operation = Operation.objects.get()
    assert operation.bench_id is None
    names = [name for name, _value in canonical(operation)]
    assert "bench_id" not in names
    assert names == [name for name in columns(Operation) if name != "bench_id"]


def test_a_long_name_is_cut_to_what_is_stored(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(upheld, "RULES", [])  # No badge has room for such a name.
    person = factories.make_person()
    person.first_name, person.last_name = "é" * 150, "b" * 150
    person.save()
    note(factories.sign(person))
    assert Operation.objects.get().by_name == "é" * 150
    assert factories.prove() == []


# -- The mark -----------------------------------------------------------------------

SENT = {"lot": 1, "on": date(2026, 1, 14), "lines": [{"a": 1, "b": None}]}


def test_the_mark_does_not_depend_on_the_order_of_names() -> None:
    turned = {"lines": [{"b": None, "a": 1}], "on": date(2026, 1, 14), "lot": 1}
    assert fingerprint("act", SENT) == fingerprint("act", turned)


@pytest.mark.parametrize(
    ("name", "sent"),
    [
        ("other act", SENT),
        ("act", {**SENT, "lot": 2}),
        ("act", {**SENT, "lot": "1"}),
        ("act", {**SENT, "on": date(2026, 1, 15)}),
        ("act", {**SENT, "lines": []}),
        ("act", {**SENT, "more": None}),
    ],
)
def test_the_mark_tells_two_inputs_apart(name: str, sent: dict[str, Any]) -> None:
    assert fingerprint("act", SENT) != fingerprint(name, sent)


def test_a_key_is_kept_as_its_sixteen_bytes() -> None:
    key = uuid.UUID("12345678-1234-5678-1234-567812345678")
    note(factories.sign(key=key))
    assert bytes(Operation.objects.get().key) == key.bytes


VALUES = (
    *(0, -1, 10**14, True, False, None, 1.5, {"b": 1, "a": [None]}),
    *("", "100 % of %s", '"quoted" \\ /', "µ × 🧤 \x7f \x00 \u2028", "line\nbreak"),
    *(BoxStage.SENT, SafeString("<b>"), b"\x00\xff", memoryview(b"ab"), bytearray(2)),
    *(date(2026, 1, 31), MOMENTS[2], MOMENTS[3]),
)


@pytest.mark.parametrize("second", VALUES, ids=lambda value: type(value).__name__)
def test_a_row_is_written_as_its_canonical_form_is(second: object) -> None:
    names = ("at", "of", "row")
    write, write_object = writer(names), object_writer(names)
    for first in VALUES:
        for values in ((first, second, 7), (None, second, first), (second, None, None)):
            pairs = canonical_values(names, values)
            assert write(values) == json.dumps(pairs)
            told = json.loads(write_object(values))
            assert told == json.loads(json.dumps(dict(pairs)))
            assert list(told) == [name for name, _value in pairs]


@pytest.mark.parametrize("moment", [MOMENTS[1], MOMENTS[3]], ids=str)
def test_a_bare_moment_of_sqlite_is_of_utc(moment: datetime) -> None:
    bare = moment.astimezone(UTC).replace(tzinfo=None)
    assert writer(("at",))([bare]) == writer(("at",))([moment])
