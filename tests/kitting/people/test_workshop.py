from __future__ import annotations

import re
import uuid
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from kitting.domain.errors import LotwardError
from kitting.models import Operation, User, Workshop
from kitting.people.services.workshop import Particulars, change_workshop
from tests import factories

pytestmark = pytest.mark.django_db

PAGE = reverse("kitting:workshop")


def particulars(**changes: str) -> Particulars:
    values = {
        "name": " Harrow Lane Workshop ",
        "address": "3 Harrow Lane\nEskmoor",
        "time_zone": "Europe/Lisbon",
        "gs1_prefix": "9521234",
        "country": "GB",
    }
    return Particulars(**{**values, **changes})


def test_the_particulars_change_and_the_journal_says_so() -> None:
    address = "3 Harrow Lane\r\nEskmoor\r\n"  # as browsers send a line's end
    change_workshop(to=particulars(address=address), sign=factories.sign())
    workshop = Workshop.objects.get()
    assert (workshop.name, workshop.gs1_prefix) == ("Harrow Lane Workshop", "9521234")
    assert workshop.country == "GB"
    assert workshop.address == "3 Harrow Lane\nEskmoor"
    assert "Harrow Lane" in Operation.objects.get().link.outcome


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"name": " "}, "name_missing"),
        ({"name": "Harrow Lane\nBcc: ward@example.org"}, "name_of_lines"),
        ({"name": "Harrow Lane\u2028Workshop"}, "name_of_lines"),
        ({"time_zone": "Moon/Tycho"}, "time_zone_unknown"),
        ({"gs1_prefix": "12"}, "gs1_prefix"),
        ({"gs1_prefix": "95O1234"}, "gs1_prefix"),
        ({"country": "QQ"}, "country_unknown"),
        ({"scrap_reasons": " \n"}, "scrap_reasons_wrong"),
        ({"scrap_reasons": "x" * 41}, "scrap_reasons_wrong"),
        ({"shift_questions": "Are the gloves new"}, "shift_questions_wrong"),
        ({"shift_questions": "x" * 60 + "?"}, "shift_questions_wrong"),
        ({"shift_questions": "1?\n2?\n3?\n4?\n5?\n6?"}, "shift_questions_wrong"),
        ({"scrap_reasons": "\n".join(map(str, range(21)))}, "scrap_reasons_wrong"),
    ],
)
def test_particulars_that_make_no_sense_are_refused(
    change: dict[str, str], code: str
) -> None:
    with pytest.raises(LotwardError) as refusal:
        change_workshop(to=particulars(**change), sign=factories.sign())
    assert refusal.value.code == code
    assert Workshop.objects.get().name != "Harrow Lane Workshop"


def test_reasons_for_scrapping_are_a_list_without_doubles() -> None:
    reasons = " Torn \r\n\r\nBurnt  black\nTorn"
    change_workshop(to=particulars(scrap_reasons=reasons), sign=factories.sign())
    assert Workshop.objects.get().scrap_list == ["Torn", "Burnt black"]


def test_a_workshop_without_a_prefix_is_one_too() -> None:
    change_workshop(to=particulars(gs1_prefix=""), sign=factories.sign())
    assert Workshop.objects.get().gs1_prefix == ""


@pytest.mark.smoke
def test_only_who_may_set_up_sees_the_page(
    client: Client, client_for: Callable[[User], Client], outsider: User
) -> None:
    assert client.get(PAGE).status_code == 302
    assert client_for(outsider).get(PAGE).status_code == 403
    packer = client_for(factories.make_person("packer"))
    assert packer.get(PAGE).status_code == 403


@pytest.mark.smoke
def test_a_manager_changes_the_particulars_once(
    client_for: Callable[[User], Client],
) -> None:
    client = client_for(factories.make_person("manager"))
    factories.make_protocol(factories.make_revision())
    factories.make_size(factories.make_recipe())
    assert client.get(PAGE).status_code == 200
    data = {**vars(particulars()), "op_key": str(uuid.uuid4())}
    for _ in range(2):
        assert client.post(PAGE, data).status_code == 302
    assert Operation.objects.filter(name="change_workshop").count() == 1
    answer = client.post(PAGE, {**data, "name": "Other"})
    assert answer.status_code == 409
    answer = client.post(
        PAGE, {**data, "time_zone": "Moon/Tycho", "op_key": str(uuid.uuid4())}
    )
    assert answer.status_code == 422
    assert answer.context["form"].has_error("__all__", "time_zone_unknown")


def test_a_country_may_be_typed_in_small_letters_or_left_out(
    client_for: Callable[[User], Client],
) -> None:
    client = client_for(factories.make_person("manager"))
    for typed, kept in (("pt", "PT"), ("", "")):
        data = {**vars(particulars(country=typed)), "op_key": str(uuid.uuid4())}
        assert client.post(PAGE, data).status_code == 302
        assert Workshop.objects.get().country == kept
    data = {**vars(particulars(country="qq")), "op_key": str(uuid.uuid4())}
    answer = client.post(PAGE, data)
    assert answer.status_code == 422
    assert "“QQ” is no country." in answer.content.decode()


def linked(page: str) -> set[str]:
    """The addresses that the row of set-up pages leads to."""
    row = page.split('aria-label="Pages of the set-up"')[1].split("</nav>")[0]
    return set(re.findall('href="([^"]+)"', row))


def test_the_page_leads_to_every_page_on_which_something_is_set_up(
    client_for: Callable[[User], Client],
) -> None:
    client = client_for(factories.make_person("manager"))
    addresses = linked(client.get(PAGE).content.decode())
    names = (
        *("badges", "inspection-set", "inspection", "yields", "protocols", "evidence"),
        *("meters", "lamps", "places", "carriers", "bag-numbers"),
    )
    assert {reverse(f"kitting:{name}") for name in names} <= addresses
    for address in addresses:
        assert client.get(address).status_code == 200


def test_the_page_leads_nowhere_where_somebody_may_not_go(
    client_for: Callable[[User], Client], make_user: Callable[..., User]
) -> None:
    rights = ("kitting.set_up", "kitting.see_work")
    client = client_for(make_user("builder", permissions=rights))
    addresses = linked(client.get(PAGE).content.decode())
    assert reverse("kitting:meters") in addresses
    assert reverse("kitting:inspection-set") not in addresses
    for address in addresses:
        assert client.get(address).status_code == 200
