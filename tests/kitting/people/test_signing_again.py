"""Acts that put a name under something: whoever holds the tablet knows the password."""

from __future__ import annotations

import logging
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from kitting.ledger import holds
from kitting.models import Bench, BoxSize, Link, Operation, Part, Signature, User
from kitting.packing.queries.weighing import moves_of
from kitting.packing.services.boxes import bring_bag
from kitting.web.forms import NamedForm
from tests import factories
from tests.assertions import assert_page, assert_part, assert_problem
from tests.factories import sign

pytestmark = pytest.mark.django_db

RIGHT, WRONG = "three words apart", "not it"


@dataclass
class Asked:
    """The page of an act, and what is entered on it."""

    address: str
    values: dict[str, Any]
    read: bool = False
    """Whether the page was read, and its mark is among the values."""


def sign_protocol() -> Asked:
    later = date(2999, 1, 1)
    factories.make_protocol(code="BELT", signed_by="", in_force_from=later)
    address = reverse("kitting:protocol-sign", args=["BELT", 1])
    return Asked(address, {"meaning": "Approved for use"})


def retire_protocol() -> Asked:
    factories.make_protocol(code="BELT")
    address = reverse("kitting:protocol-retire", args=["BELT", 1])
    return Asked(address, {"reason": "Superseded"})


def close_run() -> Asked:
    meter = factories.make_meter(due=date(2999, 1, 1))
    run = factories.open_run(factories.make_protocol(), meter)
    address = reverse("kitting:run-close", args=[run.number])
    return Asked(address, {"unit": "mW/cm²", "r_top_1": "3.9"})


def accept_under_concession() -> Asked:
    lot = factories.reject(factories.make_lot())
    address = reverse("kitting:lot-concession", args=[lot.number])
    return Asked(
        address, {"bags": [lot.bags.get().pk], "reason": "Looks only", "pieces": 100}
    )


def reduce_inspection() -> Asked:
    revision = factories.sampled_revision()
    for _ in range(10):
        lot = factories.make_lot(revision, bags=(factories.lots.NewBag(500),))
        factories.accept(lot)
    part, source = revision.part.code, lot.source
    query = {"part": part, "source": source, "grade": "major"}
    address = reverse("kitting:inspection-reduce", query=query)
    return Asked(address, {"steady": "on", "reason": "Good for weeks"})


def lift_hold() -> Asked:
    held = holds.place_hold(
        target="lot",
        value=factories.make_lot().pk,
        reason="Crack",
        sign=factories.sign(),
    )
    return Asked(reverse("dispatch:lift", args=[held.hold_id]), {"reason": "Measured"})


def void_box() -> Asked:
    box = factories.make_closed_box()
    return Asked(reverse("kitting:box-void", args=[box.number]), {"reason": "Crushed"})


def allow_mass() -> Asked:
    box = factories.make_open_box()
    carton = factories.make_part(name="Carton", mass_mg=9)
    Part.objects.update(mass_mg=10_000)
    BoxSize.objects.update(weigh=True, carton=carton)
    Bench.objects.update(scale_step_mg=1, scale_u_mg=1, scale_most_mg=9_000_000)
    line = box.recipe.lines.get()
    bag = factories.make_bag(line.revision, line.needed(box.size.sets))
    bring_bag(bench_id=box.bench_id, bag_id=bag.pk, sign=sign())
    said = {"mass_mg": "1", "seen": moves_of(box), "reason": "Lighter cartons"}
    return Asked(reverse("kitting:box-mass", args=[box.number]), said)


ACTS: dict[Callable[[], Asked], str] = {
    sign_protocol: "quality officer",
    retire_protocol: "quality officer",
    close_run: "line operator",
    accept_under_concession: "quality officer",
    reduce_inspection: "quality officer",
    lift_hold: "manager",
    void_box: "manager",
    allow_mass: "checker",
}
"""What is asked, by the name of its act in the journal, and whose it is."""
EVERY = pytest.mark.parametrize("act", ACTS, ids=lambda act: act.__name__)


def someone(role: str, name: str, password: str = RIGHT) -> User:
    person = factories.make_person(role, name)
    person.set_password(password)
    person.save()
    return person


@pytest.fixture
def tablet(request: Any, client_for: Any) -> Client:
    """A tablet on which somebody is signed in who may do the act."""
    asked = request.getfixturevalue("act") if "act" in request.fixturenames else None
    client: Client = client_for(someone(ACTS[asked or sign_protocol], "robin"))
    return client


def post(client: Client, asked: Asked, password: str | None, **more: Any) -> Any:
    if not asked.read:
        form = client.get(asked.address).context["form"]
        assert isinstance(form, NamedForm)
        if "mark" in form.fields:
            asked.values["mark"] = form.initial["mark"]
        asked.read = True
    values = {"op_key": str(uuid.uuid4()), **asked.values}
    if password is not None:
        values["password"] = password
    return client.post(asked.address, values, **more)


@pytest.mark.smoke
@EVERY
def test_the_right_password_does_it_and_is_kept_nowhere(
    act: Callable[[], Asked], tablet: Client, caplog: pytest.LogCaptureFixture
) -> None:
    asked = act()
    with caplog.at_level(logging.DEBUG):
        assert post(tablet, asked, RIGHT).status_code == 302
    done = Operation.objects.latest("pk")
    assert (done.name, done.by_name) == (act.__name__, "robin")
    assert RIGHT not in Link.objects.latest("pk").outcome
    assert RIGHT not in caplog.text


@EVERY
def test_what_was_sent_does_not_tell_the_password_in_its_mark(
    act: Callable[[], Asked], tablet: Client
) -> None:
    """The same act sent again with another password, which is right by then, is the same."""
    asked = act()
    form = tablet.get(asked.address).context["form"]
    values = {"op_key": str(uuid.uuid4()), **asked.values, **form.initial}
    assert tablet.post(asked.address, {**values, "password": RIGHT}).status_code == 302
    robin = User.objects.get(username="robin")
    robin.set_password("another one by now")
    robin.save()
    tablet.force_login(robin)
    before = Operation.objects.count()
    again = tablet.post(asked.address, {**values, "password": "another one by now"})
    assert again.status_code == 302
    assert Operation.objects.count() == before


OTHERS = {
    WRONG: "password_wrong",
    "": "required",
    None: "required",
    RIGHT.upper(): "password_wrong",
    f" {RIGHT} ": "password_wrong",
    "neighbour's own": "password_wrong",
}


@EVERY
def test_another_password_does_nothing(
    act: Callable[[], Asked], tablet: Client, subtests: pytest.Subtests
) -> None:
    someone("manager", "neighbour", "neighbour's own")
    asked = act()
    before = Operation.objects.count()
    for password, code in OTHERS.items():
        with subtests.test(password=password):
            response = post(tablet, asked, password)
            assert response.context["form"].has_error("password", code)
            assert_page(response, status=422)
            assert Operation.objects.count() == before
            assert (
                not password or f'value="{password}"' not in response.content.decode()
            )


@pytest.mark.smoke
@EVERY
def test_guessing_is_locked_as_at_signing_in(
    act: Callable[[], Asked], tablet: Client
) -> None:
    asked = act()
    before = Operation.objects.count()
    codes = []
    for _ in range(5):
        response = post(tablet, asked, WRONG)
        assert response.status_code == 422
        codes += [e.code for e in response.context["form"].errors.as_data()["password"]]
    assert codes == ["password_wrong"] * 4 + ["password_locked"]
    late = post(tablet, asked, RIGHT)
    assert late.context["form"].has_error("password", "password_locked")
    assert Operation.objects.count() == before
    entry = {"username": "robin", "password": RIGHT}
    assert Client().post("/sign-in/", entry).status_code == 429
    # Who is signed in already goes on working.
    assert tablet.get("/protocols/").status_code == 200


def test_a_wrong_password_is_said_in_place(tablet: Client, hx: dict[str, str]) -> None:
    response = post(tablet, sign_protocol(), WRONG, headers=hx)
    assert_part(response, "protocol-sign", status=422)
    assert "not the password of robin" in response.content.decode()


def test_the_stale_page_is_refused_only_to_who_knows_the_password(
    tablet: Client,
) -> None:
    asked = sign_protocol()
    values = {**asked.values, "op_key": str(uuid.uuid4()), "mark": "0" * 64}
    response = tablet.post(asked.address, {**values, "password": RIGHT})
    assert_problem(response, "page_is_old", status=409)
    assert Signature.objects.count() == 0
