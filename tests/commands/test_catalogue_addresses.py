"""Addresses in parts in a catalogue: filled in once, refused or doubted in a sentence."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import IntegrityError, transaction

from dispatch.models import Consignee
from kitting.models import Workshop
from kitting.web.messages import sentence
from lotward.catalogue.loading import (
    CatalogueRefused,
    Loaded,
    doubts_about,
    load_catalogue,
)
from tests import factories

pytestmark = pytest.mark.django_db

HEDGE_END = {
    "street": ["3a High Street", "Hedge End"],
    "city": "Southampton",
    "postcode": "SO31 4NG",
    "country": "GB",
}


def consignee(**row: Any) -> dict[str, Any]:
    return {"consignees": [{"code": "HE", "name": "Hedge End Ward", **row}]}


def load(data: object) -> Loaded:
    return load_catalogue(data=data, sign=factories.sign())


def refused(data: object) -> dict[str, str]:
    with pytest.raises(CatalogueRefused) as error:
        load(data)
    assert not Consignee.objects.exclude(country="").exists()
    return {each.path: each.code for each in error.value.problems}


def test_an_address_in_parts_is_added_and_the_same_again_adds_nothing() -> None:
    loaded = load(consignee(**HEDGE_END))
    assert (loaded.consignees, loaded.addresses) == (1, 0)
    row = Consignee.objects.get()
    assert row.street.splitlines() == HEDGE_END["street"]
    assert (row.city, row.postcode, row.country) == ("Southampton", "SO31 4NG", "GB")
    again = load(consignee(**HEDGE_END))
    assert (again.consignees, again.addresses) == (0, 0)


def test_a_consignee_with_a_text_alone_gets_its_parts_once() -> None:
    load(consignee(address=["3a High Street", "Hedge End"]))
    loaded = load(consignee(**HEDGE_END))
    assert (loaded.consignees, loaded.addresses) == (0, 1)
    row = Consignee.objects.get()
    assert (row.country, row.city) == ("GB", "Southampton")
    assert row.address == "3a High Street\nHedge End"
    with pytest.raises(CatalogueRefused) as error:
        load(consignee(**HEDGE_END | {"city": "Elsewhere"}))
    (problem,) = error.value.problems
    assert (problem.path, problem.code) == ("consignees[1].city", "catalogue_differs")


def test_the_parts_come_with_all_else_or_not_at_all() -> None:
    load(consignee())
    assert refused(consignee(**HEDGE_END) | {"wards": []}) == {
        "wards": "catalogue_name"
    }
    twice = consignee(**HEDGE_END)
    twice["consignees"] *= 2
    assert refused(twice) == {"consignees[2]": "catalogue_twice"}
    assert refused(consignee(**HEDGE_END | {"postcode": "x" * 21})) == {
        "consignees[1].postcode": "catalogue_value"
    }


@pytest.mark.parametrize(
    ("row", "problems"),
    [
        ({"country": "QQ"}, {"consignees[1].country": "country_unknown"}),
        ({"country": "GBR"}, {"consignees[1].country": "country_unknown"}),
        ({"country": "gb"}, {"consignees[1].country": "country_unknown"}),
        ({"country": 44}, {"consignees[1].country": "catalogue_kind"}),
        ({"city": "Ulm"}, {"consignees[1].country": "address_without_country"}),
        ({"street": "Gate 1"}, {"consignees[1].country": "address_without_country"}),
        (
            {"country": "GB", "county": "Hants"},
            {"consignees[1].county": "catalogue_name"},
        ),
    ],
)
def test_what_cannot_be_set_in_order_is_refused(row: Any, problems: Any) -> None:
    assert refused(consignee(**row)) == problems
    assert not Consignee.objects.exists()


def test_the_workshop_has_a_country_of_its_own() -> None:
    Workshop.objects.update(name="Unnamed workshop")
    assert refused({"workshop": {"name": "Shop", "country": "QQ"}}) == {
        "workshop.country": "country_unknown"
    }
    load({"workshop": {"name": "Shop", "country": "PT"}})
    assert Workshop.objects.get().country == "PT"


def test_what_looks_wrong_is_loaded_and_said(tmp_path: Path, capsys: Any) -> None:
    """EK is no postcode area of Royal Mail's, and its addresses have no county."""
    odd = {"postcode": "EK1 1AA", "region": "Hampshire", "street": []}
    data = consignee(**HEDGE_END | odd)
    file = tmp_path / "own.json"
    file.write_text(json.dumps(data), "utf-8")
    for trial in (True, False):
        call_command("catalogue", str(file), dry_run=trial)
        said = capsys.readouterr().err.splitlines()
        assert [line.partition(":")[0] for line in said] == ["consignees[1]"] * 3
        assert "wants a street in an address" in said[0]
        assert "EK1 1AA does not look like a postcode of UNITED KINGDOM" in said[1]
        assert "Hampshire is not printed" in said[2]
    assert Consignee.objects.get().postcode == "EK1 1AA"


@pytest.mark.parametrize(
    "data",
    [
        consignee(**HEDGE_END),
        consignee(address=["Anywhere"]),
        consignee(country="GB", address=["Anywhere"]),
        {},
        [],
    ],
)
def test_what_looks_right_or_is_a_text_raises_no_doubt(data: object) -> None:
    assert doubts_about(data) == ()


def test_every_doubt_has_its_sentence() -> None:
    data = consignee(country="AG", city="Bolans")
    data["consignees"][0] |= {"country": "US", "postcode": "x"}
    found = doubts_about(data)
    assert [each.code for each in found] == [
        *["address_part_missing"] * 2,
        "postcode_doubtful",
    ]
    for each in found:
        assert "pass the code on" not in sentence(each.as_error())


def test_the_command_refuses_an_unknown_country(tmp_path: Path, capsys: Any) -> None:
    file = tmp_path / "own.json"
    file.write_text(json.dumps(consignee(country="QQ")), "utf-8")
    with pytest.raises(CommandError, match="1 faults"):
        call_command("catalogue", str(file))
    said = capsys.readouterr().err
    assert said.startswith("consignees[1].country: “QQ” “QQ” is no country.")


def test_the_database_refuses_parts_without_a_country() -> None:
    row = Consignee.objects.create(code="HE", name="Ward", country="GB", city="Ulm")
    with pytest.raises(IntegrityError), transaction.atomic():
        Consignee.objects.filter(pk=row.pk).update(country="")
    row.refresh_from_db()
    assert row.country == "GB"
