"""``manage.py catalogue --export``: what the pages make and the file makes is the same."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import transaction

from kitting.ledger.listing import LISTERS, written_catalogue
from kitting.ledger.sections import SECTIONS
from kitting.models import Method, Operation, Part, Protocol, Workshop
from kitting.people.services.workshop import Particulars
from lotward.catalogue.loading import CatalogueRefused, load_catalogue
from lotward.demo import masterdata
from tests import factories
from tests.factories import sign
from tests.faults.everything import do_everything

pytestmark = pytest.mark.django_db


@contextmanager
def undone() -> Iterator[None]:
    """Whatever is done inside never was: an empty database before and after."""
    before = transaction.savepoint()
    yield
    transaction.savepoint_rollback(before)


def export(path: Path) -> dict[str, Any]:
    call_command("catalogue", export=str(path), stdout=StringIO())
    found: dict[str, Any] = json.loads(path.read_text("utf-8"))
    return found


def from_the_file() -> None:
    load_catalogue(data=masterdata.read(), sign=sign())


@pytest.mark.smoke
@pytest.mark.parametrize("make", [from_the_file, do_everything])
def test_an_exported_file_gives_the_same_export_again(
    make: Callable[[], None], tmp_path: Path, settings: Any
) -> None:
    settings.DATA_DIR = tmp_path  # an act of these starts another key
    with undone():
        make()
        first = export(tmp_path / "first.json")
        parts = Part.objects.count()
    assert not Part.objects.exists()
    assert len(first["parts"]) == parts > 0
    loaded = tmp_path / "first.json"
    factories.make_person(name="mira")
    call_command("catalogue", str(loaded), username="mira", stdout=StringIO())
    assert export(tmp_path / "second.json") == first
    factories.seal_set_up()
    assert factories.prove() == []
    # A file signs and releases nothing.
    assert not Protocol.objects.exclude(signed_by="").exists()
    assert all(method.on_trial for method in Method.objects.all())
    # It says nothing that is not on record.
    acts = Operation.objects.count()
    told = StringIO()
    call_command("catalogue", str(loaded), username="mira", stdout=told)
    assert "nothing that is not there already" in told.getvalue()
    assert Operation.objects.count() == acts + 1


def test_every_section_of_the_file_is_written() -> None:
    assert set(LISTERS) == set(SECTIONS)
    from_the_file()
    found = written_catalogue()
    assert list(found) == [name for name in SECTIONS if name in masterdata.read()]
    data = masterdata.read()
    for name in ("places", "benches", "methods", "yields", "meters"):
        assert found[name] == data[name], name
    assert found["workshop"] == data["workshop"]
    shown = {each["code"]: each for each in found["products"]}
    for each in data["products"]:
        for recipe in each["recipes"]:
            del recipe["from"]
            recipe["in_force"] = recipe["version"] == len(each["recipes"])
        assert shown[each["code"]]["recipes"] == each["recipes"]


def test_what_the_workshop_asks_of_its_people_goes_along() -> None:
    asked = {"two_people": False, "idle_min": 5, "scrap_reasons": "Torn\nDropped"}
    asked["shift_questions"] = "Are the gloves new?"
    Workshop.objects.update(name="Quay Kits", **asked)
    said = written_catalogue()["workshop"]
    assert said["scrap_reasons"] == ["Torn", "Dropped"]
    usual = {name: getattr(Particulars, name) for name in asked}
    Workshop.objects.update(**usual)
    assert written_catalogue()["workshop"] == {"name": "Quay Kits"}
    load_catalogue(data={"workshop": said}, sign=sign())
    workshop = Workshop.objects.get()
    assert {name: getattr(workshop, name) for name in asked} == asked
    Workshop.objects.update(**usual)
    wrong = {"idle_min": 721, "scrap_reasons": ["Torn", "x" * 41]}
    with pytest.raises(CatalogueRefused) as caught:
        load_catalogue(data={"workshop": said | wrong}, sign=sign())
    assert {each.path: each.code for each in caught.value.problems} == {
        "workshop.idle_min": "idle_too_long",
        "workshop.scrap_reasons": "scrap_reasons_wrong",
    }


def test_what_is_said_wrongly_writes_nothing(tmp_path: Path) -> None:
    there = tmp_path / "there.json"
    there.write_text("{}")
    away = tmp_path / "away" / "file.json"
    for named, words in (
        ({"export": str(there)}, "is there already"),
        ({"export": str(away)}, "cannot be written"),
        ({}, "Name a file to load, or one to write"),
        ({"export": str(away), "file": str(there)}, "Name a file to load"),
    ):
        with pytest.raises(CommandError, match=words):
            call_command("catalogue", **named)
    assert there.read_text() == "{}"
    assert not away.exists()
