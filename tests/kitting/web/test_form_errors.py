"""Every form of the project, sent empty and with rubbish: what it says is ours and plain.

No text of the framework's may be shown, and each error of a field names the thing, or
says what was read in its place.
"""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import re
from collections.abc import Iterator
from typing import Any

import pytest
from django import forms
from django.contrib.auth import forms as auth_forms
from django.contrib.auth import password_validation
from django.contrib.auth.password_validation import get_default_password_validators
from django.core import validators
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile
from django.forms import fields, formsets, models
from django.forms.utils import pretty_name
from django.test import RequestFactory
from django.utils.functional import Promise

import dispatch
import kitting
import lotward
from dispatch.allotment.queries.proposals import SizeThere
from dispatch.recall.queries.recall import Target
from dispatch.receipts.forms.links import StrangerForm
from dispatch.replies.forms import BoxAnswers
from kitting.disinfection.forms.protocols import NewProtocolForm
from kitting.domain.shown import shown
from kitting.labels import kinds
from kitting.lots.queries.usual import LastBag
from kitting.models import User, Workshop
from kitting.packing.queries.plan import Planned
from kitting.web.forms import SpokenForm
from lotward.forms import SignInForm
from tests import factories

pytestmark = [pytest.mark.django_db, pytest.mark.alike]

RUBBISH = [
    "rubbish",
    "-1",
    "0",
    "1.5",
    "x" * 3_000,
    "9" * 25,
    "a\0b",
    "2026-13-01",
    "9999-12-31",
    "\N{GREEK SMALL LETTER ALPHA} <b>",
]


def all_forms() -> list[type[forms.BaseForm]]:
    found: set[type[forms.BaseForm]] = set()
    for package in (kitting, dispatch, lotward):
        for module in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            if ".management" in module.name or ".migrations" in module.name:
                continue
            for each in vars(importlib.import_module(module.name)).values():
                if isinstance(each, type) and issubclass(each, forms.BaseForm):
                    found.add(each)
    ours = {f.__module__.partition(".")[0] for f in found} - {"django"}
    assert ours == {"kitting", "dispatch", "lotward"}
    # A consignee's page says what is wrong in the consignee's language, by words of its own.
    theirs = {each for each in found if issubclass(each, StrangerForm)} | {BoxAnswers}
    assert len(theirs) == 4
    return sorted(
        (form for form in found - theirs if form.__module__[:7] != "django."),
        key=lambda form: f"{form.__module__}.{form.__qualname__}",
    )


FORMS = all_forms()


NONE_OF_THEM = (
    *("boxes", "benches", "calibrations", "groups", "lines", "measured"),
    *("meters", "moved", "of", "people", "products", "recalling"),
    *("rows", "stocks", "to", "to_send", "waiting", "words"),
)
"""Of which a form may be given none."""


def given_to(form: type[forms.BaseForm]) -> dict[str, Any]:
    """Values for whatever a form cannot be made without."""
    made: dict[str, Any] = {
        **dict.fromkeys(NONE_OF_THEM, list),
        "bag": factories.make_bag,
        "before": dict,
        "belt": lambda: True,
        "by": lambda: "Officer",
        "checkers": User.objects.all,
        "again": lambda: True,
        "given": lambda: True,
        "hazard": str,
        "kind": lambda: kinds.BAG,
        "last": lambda: LastBag({}, ()),
        "lot": factories.make_lot,
        "newest": int,
        "part": factories.make_part,
        "pieces": lambda: 7,
        "plan": lambda: None,
        "planned": lambda: [
            Planned(factories.make_size(factories.make_recipe()), 3, 1, 2)
        ],
        "printed": lambda: True,
        "places": lambda: [(1, "top"), (2, "bottom")],
        "reasons": lambda: ["Torn"],
        "run": lambda: factories.open_run(factories.make_protocol()),
        "sizes": lambda: [
            SizeThere(factories.make_size(factories.make_recipe()), 3, 1)
        ],
        "sides": lambda: [("top", "top")],
        "targets": lambda: [Target("lot:1", "this lot")],
        "today": lambda: factories.TODAY,
        "workshop": lambda: Workshop.objects.get(pk=1),
    }
    wanted = {
        name
        for base in form.__mro__
        if "__init__" in vars(base)
        for name, parameter in inspect.signature(base.__init__).parameters.items()
        if parameter.kind is parameter.KEYWORD_ONLY
        and parameter.default is parameter.empty
    }
    if form is SignInForm:
        return {"request": RequestFactory().post("/sign-in/")}
    return {name: made[name]() for name in wanted}


def framework_texts() -> list[re.Pattern[str]]:
    """What Django says of its own, with anything in place of its figures."""
    found: set[str] = set()

    def add(text: Any) -> None:
        if not text or not isinstance(text, str | Promise):
            return
        figures = dict.fromkeys(("limit_value", "show_value", "max", "length"), 7)
        try:  # one of those in the singular and the plural
            found.add(str(text % figures))
        except (KeyError, TypeError, ValueError):
            found.add(str(text))

    for module in (fields, models, formsets, validators, auth_forms):
        for _name, each in inspect.getmembers(module):
            for text in getattr(each, "default_error_messages", {}).values():
                add(text)
            add(getattr(each, "message", None))
            for text in getattr(each, "error_messages", {}).values():
                add(text)
    assert len(found) > 35
    patterns = []
    for text in found:
        plain = re.escape(re.sub(r"%\(\w+\)[sd]|\b7\b", "\0", text))
        patterns.append(re.compile(plain.replace("\0", ".*").replace(r"\.*", ".*")))
    return patterns


FRAMEWORK = framework_texts()


def test_the_texts_of_the_framework_are_known_when_they_are_seen() -> None:
    class Plain(forms.Form):
        name = forms.CharField()
        count = forms.IntegerField(max_value=5)
        short = forms.CharField(max_length=2)
        of = forms.ChoiceField(choices=[("a", "a")])
        day = forms.DateField()

    for data in ({}, {"count": "9", "short": "longer", "of": "b", "day": "x"}):
        for texts in Plain(data).errors.values():
            for text in texts:
                assert any(one.fullmatch(text) for one in FRAMEWORK), text


def sent(form: type[forms.BaseForm]) -> Iterator[forms.BaseForm]:
    given = given_to(form)
    names = list(form(**given).fields)
    yield form(data={}, **given)
    for text in RUBBISH:
        yield form(data=dict.fromkeys(names, text), **given)
    for file in (SimpleUploadedFile("a.csv", b""), SimpleUploadedFile("a.ods", b"x")):
        yield form(data={}, files=dict.fromkeys(names, file), **given)
    for left_out in names:
        yield form(data={n: "1" for n in names if n != left_out}, **given)


@pytest.mark.parametrize("form", FORMS, ids=lambda form: form.__name__)
def test_what_a_form_says_of_an_entry_is_ours_and_names_the_thing(
    form: type[forms.BaseForm],
) -> None:
    assert issubclass(form, SpokenForm)
    wrong = []
    for each in sent(form):
        each.is_valid()
        for name, texts in each.errors.items():
            for text in texts:
                if any(one.fullmatch(text) for one in FRAMEWORK):
                    wrong.append(f"{name}, the framework's: {text}")
                elif name != forms.forms.NON_FIELD_ERRORS and name != "op_key":
                    label = each.fields[name].label or pretty_name(name)
                    things = {str(label), str(each.things.get(name, label))}
                    read = each[name].data or "nothing"
                    things.add(f"“{shown(str(read).strip())}”")
                    if not any(thing.lower() in text.lower() for thing in things):
                        wrong.append(f"{name} ({label}) is not named: {text}")
    assert sorted(set(wrong)) == []


def test_lines_of_a_protocol_are_asked_for_in_our_words() -> None:
    many = {"line-TOTAL_FORMS": "1500", "line-INITIAL_FORMS": "0"}
    begun = {
        "line-TOTAL_FORMS": "1",
        "line-INITIAL_FORMS": "0",
        "line-0-container": "tote",
    }
    said = []
    for data in ({}, many, begun, {**begun, "line-0-container": "x"}):
        lines = NewProtocolForm(data).lines
        assert not lines.is_valid()
        said += lines.non_form_errors()
        said += [
            text
            for errors in lines.errors
            for texts in errors.values()
            for text in texts
        ]
    assert said
    for text in said:
        assert not any(one.fullmatch(text) for one in FRAMEWORK), text
    assert "Choose the part and revision." in said


def test_weak_passwords_are_refused_in_our_words() -> None:
    theirs = {
        rule: each().get_error_message()
        for rule, each in inspect.getmembers(password_validation, inspect.isclass)
        if hasattr(each, "get_error_message")
    }
    assert len(theirs) == 4
    weak = {"short": 1, "12345678": 2, "password": 1, "packer-two": 1}
    for password, least in weak.items():
        said = []
        for rule in get_default_password_validators():
            try:
                rule.validate(password, User(username="packer-two"))
            except ValidationError as error:
                said += error.messages
        assert len(said) >= least, password
        for text in said:
            assert text[0].isupper()
            assert text.endswith(".")
            assert text not in theirs.values()
            assert "This password is" not in text
