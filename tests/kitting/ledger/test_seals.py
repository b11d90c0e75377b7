"""Seals: what an act touched is copied into the journal, whatever table it is in."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from typing import Any

import pytest
from django.contrib.auth.models import Group
from django.db import connection, transaction

from dispatch.models import Consignee
from kitting.ledger import bulk, seals
from kitting.ledger.kept import MOST_VALUES
from kitting.ledger.operations import Act, perform
from kitting.ledger.proof import Fault, prove
from kitting.models import (
    Bag,
    Box,
    BoxLine,
    Counter,
    Operation,
    Part,
    RowSeal,
    Touched,
    User,
    Workshop,
)
from kitting.people.services.accounts import add_person
from kitting.people.services.workshop import Particulars, change_workshop
from tests import factories
from tests.databases import guards_away
from tests.factories import sign
from tests.ledgers import History

pytestmark = pytest.mark.django_db


def found_by_seals() -> list[Fault]:
    return [fault for fault in prove() if fault.check == "seals"]


def copies_of(row: Any) -> list[dict[str, Any]]:
    sealed = RowSeal.objects.filter(of=row._meta.db_table, row=row.pk).order_by("pk")
    return [json.loads(each.text) if each.text else {} for each in sealed]


# -- What an act seals ----------------------------------------------------------------


def test_the_first_act_of_another_version_says_so(settings: Any) -> None:
    """21 CFR 11.10 (k): which version of the system an act was done by."""
    factories.make_lot()
    before, settings.VERSION = settings.VERSION, "9.9"
    factories.make_lot()
    first = Operation.objects.latest("pk")
    factories.make_lot()
    *_, was, now = copies_of(Workshop.objects.get())
    assert (was["version"], now["version"]) == (before, "9.9")
    newest = RowSeal.objects.filter(of=Workshop._meta.db_table).latest("pk")
    assert newest.operation == first
    factories.seal_set_up()
    assert prove() == []


def test_an_act_seals_what_it_changed_and_nothing_else(history: History) -> None:
    before = RowSeal.objects.count()
    workshop = Workshop.objects.get()
    to = Particulars(
        name="Harrow Lane",
        address="1 Harrow Lane",
        time_zone="UTC",
        gs1_prefix=workshop.gs1_prefix,
        country="",
    )
    change_workshop(to=to, sign=sign())
    (row,) = RowSeal.objects.order_by("pk")[before:]
    assert (row.of, row.row) == ("kitting_workshop", workshop.pk)
    assert row.operation == Operation.objects.latest("pk")
    assert copies_of(workshop)[-1]["address"] == "1 Harrow Lane"


def test_rows_beside_it_are_sealed_by_the_same_act(history: History) -> None:
    """A person's roles are rows of a table that no model of ours names."""
    add_person(name="mira", role="checker", password="four lamps at dusk", sign=sign())
    made = RowSeal.objects.filter(operation=Operation.objects.latest("pk"))
    assert sorted(made.values_list("of", flat=True)) == [
        "kitting_user",
        "kitting_user_groups",
    ]
    mira = User.objects.get(username="mira")
    assert copies_of(mira)[0]["username"] == "mira"


def test_a_seal_tells_another_password_and_not_which(history: History) -> None:
    """Who reads or exports the journal has nothing to try passwords against."""
    add_person(name="mira", role="checker", password="four lamps at dusk", sign=sign())
    mira = User.objects.get(username="mira")
    digest = hashlib.sha256(mira.password.encode()).hexdigest()
    assert copies_of(mira)[0]["password"] == digest
    assert not RowSeal.objects.filter(text__contains=mira.password).exists()
    User.objects.filter(pk=mira.pk).update(password="another")
    assert [fault.expected for fault in prove() if "password" in fault.words] == [
        digest
    ]


@dataclass(frozen=True)
class Changed:
    rows: int


def test_an_act_that_fails_leaves_no_note_and_no_seal(history: History) -> None:
    before = RowSeal.objects.count()

    def work(act: Act) -> Changed:
        Part.objects.update(name="Visor")
        raise RuntimeError

    with pytest.raises(RuntimeError), transaction.atomic():
        work(None)  # type: ignore[arg-type]
    with pytest.raises(RuntimeError):
        perform("change", work, Changed, sign())
    assert RowSeal.objects.count() == before
    assert not Touched.objects.exists()
    assert found_by_seals() == []


def test_what_the_act_removed_is_sealed_as_gone(history: History) -> None:
    person = factories.make_person("clerk")
    factories.seal_set_up()
    through = User.groups.through
    pk = through.objects.get(user_id=person.pk).pk

    def work(act: Act) -> Changed:
        person.groups.clear()
        return Changed(1)

    perform("remove", work, Changed, sign())
    sealed = RowSeal.objects.filter(of="kitting_user_groups", row=pk)
    assert sealed.latest("pk").text == ""
    assert found_by_seals() == []


def test_columns_that_something_else_says_are_left_out(history: History) -> None:
    """A bag's count follows from its movements: moving pieces seals nothing."""
    bag = factories.make_bag(pieces=6)
    factories.seal_set_up()
    Bag.objects.filter(pk=bag.pk).update(pieces=5)
    BoxLine.objects.filter(box__stage="open").update(pieces=1)
    assert not Touched.objects.exists()
    (copy,) = copies_of(bag)
    assert "pieces" not in copy
    assert copy["lot_id"] == bag.lot_id


def test_a_column_that_is_left_out_says_why_and_exists() -> None:
    for model in seals.sealed_models().values():
        for name, why in getattr(model, "unsealed", {}).items():
            assert why
            assert name in {field.attname for field in model._meta.concrete_fields}


def test_ten_thousand_rows_are_sealed_each(db: None) -> None:
    """Also where their ids lie far apart."""
    factories.seal_set_up()
    codes = [f"C{n}" for n in range(300)]
    Consignee.objects.bulk_create(Consignee(code=code, name=code) for code in codes)
    Touched.objects.filter(of="dispatch_consignee").delete()
    every = list(Consignee.objects.order_by("pk").values_list("pk", flat=True))
    model = Consignee
    for ids in (every, every[::20] + every[-1:]):
        copies = seals._copies("dispatch_consignee", model, set(ids), set())
        assert [(table, pk) for table, pk, _text in copies] == [
            ("dispatch_consignee", pk) for pk in sorted(set(ids))
        ]
        assert all(json.loads(text)["id"] == pk for _table, pk, text in copies)


def test_what_is_last_said_as_it_is_written_is_sealed_beside_many_others(
    db: None,
) -> None:
    factories.seal_set_up()

    def work(act: Act) -> Changed:
        codes = [f"C{n}" for n in range(MOST_VALUES + 6)]
        Consignee.objects.bulk_create(Consignee(code=code, name=code) for code in codes)
        bulk.insert([Consignee(code="L", name="Last")], last=True)
        return Changed(1)

    perform("change", work, Changed, sign())
    last = Consignee.objects.get(code="L")
    told = RowSeal.objects.get(of="dispatch_consignee", row=last.pk).text
    assert json.loads(told)["code"] == "L"
    assert found_by_seals() == []


# -- What a proof finds ----------------------------------------------------------------


def test_a_change_by_no_act_is_found(history: History) -> None:
    Consignee.objects.filter(pk=history.gone.consignee_id).update(name="Elsewhere")
    if connection.vendor == "postgresql":  # a test is one transaction
        Touched.objects.update(act=0)
    # Whatever is done next does not take up what it did not touch.
    perform("note", lambda _act: Changed(0), Changed, sign())
    found = {(fault.table, fault.pk, fault.words) for fault in found_by_seals()}
    words = "It was made, changed or removed by no act."
    assert ("dispatch_consignee", history.gone.consignee_id, words) in found


def test_a_row_bent_behind_the_triggers_is_named_with_its_column(
    history: History,
) -> None:
    with guards_away():
        Box.objects.filter(pk=history.sent.pk).update(mass_mg=123_456)
    (fault,) = found_by_seals()
    assert (fault.table, fault.pk) == ("kitting_box", history.sent.pk)
    assert fault.words.startswith("Its mass_mg is not as act ")
    assert "close_box by " in fault.words
    assert (fault.expected, fault.found) == ("none", "123456")


def test_a_row_added_or_removed_behind_the_triggers_is_found(history: History) -> None:
    counter = Counter.objects.get(name="serial")
    group = Group.objects.get(name="packer")
    with guards_away():
        Counter.objects.filter(pk=counter.pk).delete()
        user = User.objects.exclude(groups=group).first()
        assert user is not None
        user.groups.add(group)
    words = {fault.table: fault.words for fault in found_by_seals()}
    assert words["kitting_counter"].startswith("It is gone, though act ")
    assert words["kitting_user_groups"] == "No act made this row."
