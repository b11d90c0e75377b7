"""``prove`` finds a right that was given beside the roles, and a role that was bent."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import Group, Permission

from kitting.ledger.proof import Tally
from kitting.models import User
from kitting.people.proof import rights
from tests import factories

pytestmark = pytest.mark.django_db


def found() -> list[str]:
    tally = Tally("rights", "roles and people")
    rights(tally)
    assert tally.count >= len(User.objects.all())
    return [f"{fault.words} {fault.found}" for fault in tally.faults]


def right(code: str) -> Permission:
    return Permission.objects.get(codename=code)


def test_roles_as_they_are_made_hold() -> None:
    factories.make_person("packer")
    assert found() == []


@pytest.mark.parametrize("change", [{"is_superuser": True}, {"is_staff": True}])
def test_who_was_let_into_everything_is_named(change: dict[str, Any]) -> None:
    User.objects.filter(pk=factories.make_person("packer", "robin").pk).update(**change)
    assert found() == ["“robin” has rights that no role gives. others"]


def test_rights_of_a_persons_own_are_named_once() -> None:
    robin = factories.make_person("packer", "robin")
    robin.user_permissions.add(right("lift_holds"), right("set_up"))
    assert found() == ["“robin” has rights that no role gives. others"]


@pytest.mark.parametrize(
    ("act", "code", "told"),
    [
        (
            "add",
            "set_up",
            "print_labels, put_away, recall, see_work, send_boxes, set_up",
        ),
        ("remove", "recall", "print_labels, put_away, see_work, send_boxes"),
    ],
)
def test_a_role_with_other_rights_is_named(act: str, code: str, told: str) -> None:
    getattr(Group.objects.get(name="clerk").permissions, act)(right(code))
    assert found() == [f"The role “clerk” has other rights than it is given. {told}"]


def test_a_right_under_another_name_is_found() -> None:
    Permission.objects.filter(codename="void_boxes").update(codename="see_all")
    assert len(found()) == 2


def test_a_role_too_many_and_a_role_too_few_are_named() -> None:
    Group.objects.filter(name="packer").update(name="helper")
    [many, few] = found()
    assert many.startswith("The role “helper” has other rights")
    assert few.startswith("The role “packer” is not there.")
