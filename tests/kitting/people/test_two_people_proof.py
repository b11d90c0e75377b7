"""``prove`` replays that what takes two people was not done by one."""

from __future__ import annotations

import pytest

from kitting.disinfection.services import protocols
from kitting.ledger import holds
from kitting.models import Lift, Method, MethodRelease, Signature, User
from kitting.products.queries.methods import mark_of
from kitting.products.services import methods
from tests import factories
from tests.kitting.people.test_two_people import (
    alex,
    draft,
    lift,
    place,
    put_name_under,
    robin,
    switch,
)

pytestmark = pytest.mark.django_db

__all__ = ["alex", "robin"]


def do_alone(by: User) -> list[tuple[str, int]]:
    """One person lifts, signs and releases what is their own."""
    lift(place(by), by)
    put_name_under(draft(by, factories.unique("UV")), by)
    code = factories.unique("M")
    said = {"machine_group": code, "settings_version": "1", "part_ids": ()}
    methods.add_method(code=code, **said, sign=factories.sign(by=by))
    seen = mark_of(Method.objects.get(code=code))
    methods.release_method(code=code, seen=seen, sign=factories.sign(by=by))
    return [
        (Lift._meta.db_table, Lift.objects.latest("pk").pk),
        (Signature._meta.db_table, Signature.objects.latest("pk").pk),
        (MethodRelease._meta.db_table, MethodRelease.objects.latest("pk").pk),
    ]


def test_what_one_person_did_alone_is_named_while_it_took_two(
    robin: User, alex: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The rule is taken out, as somebody would who changes the program."""
    lift(place(robin), alex)
    put_name_under(draft(robin, "NEAR"), alex)
    factories.seal_set_up()
    switch(False)
    do_alone(robin)
    switch(True)
    assert factories.prove() == []
    for module in (holds, protocols, methods):
        monkeypatch.setattr(module, "need_another", lambda *_, **__: None)
    alone = do_alone(robin)
    faults = factories.prove()
    assert [(each.table, each.pk) for each in faults] == alone
    assert {each.check for each in faults} == {"two people"}
    assert {each.found for each in faults} == {"robin"}
