"""What one person begins another ends, unless the workshop has too few for that."""

from __future__ import annotations

import uuid
from dataclasses import replace
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from kitting.disinfection.queries.protocols import mark_of, terms_of
from kitting.disinfection.services import protocols
from kitting.domain.errors import Refused
from kitting.ledger import holds
from kitting.ledger.operations import Sign
from kitting.models import Lift, Link, Operation, Protocol, Signature, User, Workshop
from kitting.people.services.workshop import Particulars, change_workshop
from tests import factories
from tests.assertions import assert_problem, text_of
from tests.factories import sign

pytestmark = pytest.mark.django_db

ONE = "In this workshop one person may do both"


def switch(on: bool) -> None:
    row = Workshop.objects.get()
    names = ("name", "address", "country", "time_zone", "gs1_prefix")
    to = Particulars(**{name: getattr(row, name) for name in names}, two_people=on)
    change_workshop(to=to, sign=sign())


@pytest.fixture
def robin() -> User:
    return factories.make_person("quality officer", "robin")


@pytest.fixture
def alex() -> User:
    return factories.make_person("quality officer", "alex")


def place(by: User) -> int:
    lot = factories.make_lot()
    values = {"target": "lot", "value": lot.pk, "reason": "Crack"}
    return holds.place_hold(**values, sign=sign(by)).hold_id


def lift(hold: int, by: User) -> None:
    holds.lift_hold(hold_id=hold, reason="Measured", sign=sign(by))


def draft(by: User, code: str = "BELT") -> Protocol:
    """A draft that is ready to be signed, every word of it by one person."""
    protocol = factories.make_protocol(in_force_from=factories.TODAY)
    ready = terms_of(protocol)
    made = protocols.draft_protocol(code=code, terms=ready, sign=sign(by))
    return Protocol.objects.get(pk=made.protocol_id)


def put_name_under(protocol: Protocol, by: User) -> None:
    read = mark_of(protocol, until=protocol.in_force_until).hex()
    values = {"protocol_id": protocol.pk, "meaning": "Approved", "mark": read}
    protocols.sign_protocol(**values, sign=sign(by))


def test_who_placed_a_hold_does_not_lift_it(robin: User, alex: User) -> None:
    hold = place(robin)
    with pytest.raises(Refused) as refusal:
        lift(hold, robin)
    assert refusal.value.code == "hold_own"
    assert not Lift.objects.exists()
    lift(hold, alex)
    assert Lift.objects.get().operation.by == alex


def test_who_drafted_a_protocol_does_not_sign_it(robin: User, alex: User) -> None:
    protocol = draft(robin)
    with pytest.raises(Refused) as refusal:
        put_name_under(protocol, robin)
    assert refusal.value.code == "protocol_own"
    put_name_under(protocol, alex)
    assert Signature.objects.latest("pk").operation.by == alex


@pytest.mark.parametrize("what", ["words", "loads"])
def test_nor_does_who_changed_a_part_of_it(what: str, robin: User, alex: User) -> None:
    protocol = draft(robin)
    said = terms_of(protocol)
    [load] = said.loads
    changed = {
        "words": replace(said, name="Belt, two layers"),
        "loads": replace(said, loads=(replace(load, max_pieces=7),)),
    }
    of = {"protocol_id": protocol.pk, "terms": changed[what]}
    protocols.edit_draft(**of, sign=sign(alex))
    protocol.refresh_from_db()
    for one in (robin, alex):
        with pytest.raises(Refused) as refusal:
            put_name_under(protocol, one)
        assert refusal.value.code == "protocol_own"
    put_name_under(protocol, factories.make_person("quality officer"))


def test_a_version_that_begins_as_a_copy_is_of_whoever_began_it(
    robin: User, alex: User
) -> None:
    first = draft(robin)
    put_name_under(first, alex)
    copy = protocols.draft_version(code="BELT", sign=sign(alex))
    second = Protocol.objects.get(pk=copy.protocol_id)
    with pytest.raises(Refused):
        put_name_under(second, alex)
    put_name_under(second, robin)


def test_a_workshop_with_fewer_people_switches_it_off(robin: User) -> None:
    hold, protocol = place(robin), draft(robin)
    switch(on=False)
    lift(hold, robin)
    put_name_under(protocol, robin)
    switch(on=True)
    with pytest.raises(Refused):
        lift(place(robin), robin)
    changes = Link.objects.filter(operation__name="change_workshop").order_by("pk")
    said = ['"two_people": false' in link.outcome for link in changes]
    assert said == [True, False]
    assert factories.prove() == []


def test_an_act_sent_again_is_not_asked_for_somebody_else(robin: User) -> None:
    hold = place(robin)
    switch(on=False)
    again = Sign(by=robin, key=uuid.uuid4(), now=factories.NOW)
    holds.lift_hold(hold_id=hold, reason="Measured", sign=again)
    switch(on=True)
    holds.lift_hold(hold_id=hold, reason="Measured", sign=again)
    assert Lift.objects.count() == 1


# -- Its pages ------------------------------------------------------------------------


def lift_values() -> dict[str, str]:
    return {"op_key": str(uuid.uuid4()), "reason": "Measured", "password": "pass"}


@pytest.mark.smoke
def test_it_is_switched_on_the_set_up_page_and_every_page_says_so(
    robin: User, client_for: Any
) -> None:
    manager, officer = client_for(factories.make_person()), client_for(robin)
    protocol = draft(robin)
    pages = [
        reverse("dispatch:lift", args=[place(robin)]),
        reverse("kitting:protocol-sign", args=[protocol.code, protocol.version]),
    ]
    assert [ONE in text_of(officer.get(page)) for page in pages] == [False, False]
    form = manager.get("/set-up/").context["form"]
    assert form["two_people"].value() is True
    values = {name: form[name].value() or "" for name in form.fields}
    del values["two_people"]
    assert manager.post("/set-up/", values).status_code == 302
    assert Workshop.objects.get().two_people is False
    assert [ONE in text_of(officer.get(page)) for page in pages] == [True, True]
    assert officer.get("/set-up/").status_code == 403


def test_the_page_says_at_once_that_it_is_for_somebody_else(
    robin: User, alex: User, client_for: Any
) -> None:
    draft(robin)
    pages = {
        reverse("dispatch:lift", args=[place(robin)]): "You placed this hold yourself.",
        reverse("kitting:protocol-sign", args=["BELT", 1]): "You wrote BELT version 1,",
    }
    for page, words in pages.items():
        said = [words in text_of(client_for(who).get(page)) for who in (robin, alex)]
        shut = [
            b'name="password"' not in client_for(who).get(page).content
            for who in (robin, alex)
        ]
        assert shut == said  # no form that would only be refused
        assert said == [True, False]
    switch(on=False)
    for page, words in pages.items():
        assert words not in text_of(client_for(robin).get(page))


@pytest.mark.parametrize("on", [True, False])
def test_what_counts_is_how_it_stands_when_the_form_is_sent(
    on: bool, robin: User, client_for: Any
) -> None:
    """Somebody switched it while the page was open."""
    switch(on=not on)
    client: Client = client_for(robin)
    page = reverse("dispatch:lift", args=[place(robin)])
    assert (ONE in text_of(client.get(page))) is on
    switch(on=on)
    before = Operation.objects.count()
    response = client.post(page, lift_values())
    if on:
        assert_problem(response, "hold_own")
        assert Operation.objects.count() == before
    else:
        assert response.status_code == 302
        assert Lift.objects.count() == 1
