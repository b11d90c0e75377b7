"""Whatever is typed into a form of inspection or disinfection, a sentence answers."""

from __future__ import annotations

import uuid
from datetime import date
from typing import Any

import pytest
from django import forms
from django.contrib.auth.models import Group
from django.db import transaction
from django.http import HttpResponse
from django.test import Client

from kitting.ledger.setup import ROLES
from kitting.models import User
from tests import factories
from tests.browser.touring import pages_of
from tests.ledgers import History

pytestmark = pytest.mark.django_db

NO_NUMBER = ("NaN", "1e400", "9" * 400, "-1")
NO_DAY = ("2999-12-31", "1900-01-01", "0000-00-00")
NO_WORD = ("", "\x00", "x" * 5_000)
ABSURD = {
    forms.DateField: NO_DAY,
    forms.CharField: NO_WORD,
    forms.ChoiceField: ("nobody's",),
    forms.ModelChoiceField: ("nobody's", "9" * 40),
    forms.UUIDField: ("one",),
}
"""What is typed where; into any other field goes what is no number."""
SENTENCES_OF = {200, 302, 404, 409, 422}


def forms_of(response: HttpResponse) -> list[Any]:
    """Every form on a page, those of a set of forms one by one."""
    found: dict[int, Any] = {}
    for layer in response.context or []:  # type: ignore[attr-defined]
        for values in layer.dicts:
            for value in values.values():
                if isinstance(value, forms.BaseForm):
                    found[id(value)] = value
                elif isinstance(value, forms.BaseFormSet):
                    found[id(value)] = value.management_form
                    found |= {id(form): form for form in value}
    return list(found.values())


def sensible(field: Any) -> Any:
    """Something that a person could have entered."""
    value = field.value()
    if value not in (None, "", []):
        return value
    plain = field.field
    if isinstance(plain, forms.ChoiceField | forms.ModelChoiceField):
        offered = [str(key) for key, _word in plain.choices if str(key)]
        several = isinstance(plain, forms.MultipleChoiceField)
        return offered if several else next(iter(offered), "")
    if isinstance(plain, forms.DateField):
        return date(2026, 1, 14)
    if isinstance(plain, forms.BooleanField):
        return ""
    return uuid.uuid4() if isinstance(plain, forms.UUIDField) else "1"


def filled(page: HttpResponse) -> dict[str, tuple[Any, tuple[str, ...]]]:
    """For each field something sensible, and what is not."""
    return {
        field.html_name: (sensible(field), _absurd(field.field))
        for form in forms_of(page)
        for field in form
    }


def _absurd(field: forms.Field) -> tuple[str, ...]:
    for kind, values in ABSURD.items():
        if type(field) is kind or (
            isinstance(field, kind) and kind is not forms.CharField
        ):
            return values
    return NO_NUMBER


def post(client: Client, address: str, data: dict[str, Any]) -> HttpResponse:
    """Post, and take back what it did: the next one finds the page as it was."""
    before = transaction.savepoint()
    try:
        return client.post(address, data, headers={"HX-Request": "true"})
    finally:
        transaction.savepoint_rollback(before)


@pytest.fixture
def everybody(make_user: Any) -> User:
    """Somebody in every role, so that no page is closed."""
    everybody = make_user("everybody")
    everybody.groups.set(Group.objects.filter(name__in=ROLES))
    return everybody  # type: ignore[no-any-return]


@pytest.mark.smoke
@pytest.mark.parametrize("every", [False, pytest.param(True, marks=pytest.mark.long)])
def test_no_entry_makes_a_page_fall_over(
    every: bool, history: History, everybody: User, client_for: Any
) -> None:
    """In the gate each field gets one of its absurd values in turn, else every one."""
    client: Client = client_for(everybody)
    client.raise_request_exception = False
    fell: list[tuple[str, str, str, int]] = []
    tried = 0
    for address in (
        each for _, pages in sorted(pages_of(history).items()) for each in pages
    ):
        fields = filled(client.get(address))
        if "op_key" not in fields:
            continue
        empty = post(client, address, {}).status_code
        if empty == 405:
            continue
        if empty not in SENTENCES_OF:
            fell.append((address, "", "", empty))
        data = {name: value for name, (value, _absurd) in fields.items()}
        for name, (_value, values) in fields.items():
            turn = tried % len(values)
            for value in values if every else values[turn : turn + 1]:
                fresh = {**data, "op_key": uuid.uuid4(), name: value}
                status = post(client, address, fresh).status_code
                tried += 1
                if status not in SENTENCES_OF:
                    fell.append((address, name, value[:20], status))
    assert fell == []
    assert tried > (400 if every else 150)
    assert factories.prove() == []
