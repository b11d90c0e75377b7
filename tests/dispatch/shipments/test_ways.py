"""The ways between the pages of a clerk, and what a shipment sums up."""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from dispatch.models import Shipment
from kitting.models import User
from tests import factories
from tests.assertions import text_of

pytestmark = pytest.mark.django_db

NEW = reverse("dispatch:shipment-new")


def page_of(shipment: Shipment) -> str:
    return reverse("dispatch:shipment-detail", args=[shipment.number])


@pytest.fixture
def clerk(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("clerk"))


def cells_of(text: str, begins: str) -> list[str]:
    """What stands in the cells of the row that begins so."""
    row = re.split(rf'<th scope="row">\s*{begins}\s*</th>', text)[-1]
    cells = re.findall(r"<td[^>]*>(.*?)</td>", row.split("</tr>")[0])
    return [cell.strip() for cell in cells]


def test_the_sum_says_sets_of_a_box_and_of_all(clerk: Client) -> None:
    size = factories.make_size(factories.make_recipe(name="Face shield"), 6)
    boxes = [factories.make_labelled_box(size) for _ in range(2)]
    shipment = factories.make_shipment(*boxes)
    text = text_of(clerk.get(page_of(shipment)))
    assert "Sets per box</th>" in text
    assert cells_of(text, "Face shield") == ["6", "2", "12"]
    assert cells_of(text, "Total") == ["", "2", "12"]


# -- Ways on -----------------------------------------------------------------------


def test_a_sent_shipment_leads_to_its_papers_and_to_the_next(
    clerk: Client, client_for: Callable[[User], Client]
) -> None:
    shipment = factories.send(factories.make_shipment(factories.make_labelled_box()))
    text = clerk.get(page_of(shipment)).content.decode()
    assert re.search(rf'href="{NEW}"[^>]*>Begin another', text)
    papers = [
        reverse(f"dispatch:{paper}", args=[shipment.number])
        for paper in ("packing-list", "delivery-note")
    ]
    assert all(f'href="{paper}"' in text for paper in papers)
    packer = client_for(factories.make_person("packer"))
    text = packer.get(page_of(shipment)).content.decode()
    assert "Begin another" not in text
    assert all(f'href="{paper}"' in text for paper in papers)


@pytest.mark.parametrize("act", ["scan", "take-off"])
def test_without_a_script_the_panel_under_the_field_says_what_happened(
    clerk: Client, act: str
) -> None:
    box, other = factories.make_labelled_box(), factories.make_labelled_box()
    shipment = factories.make_shipment(*([box] if act == "take-off" else []))
    data = {"op_key": str(uuid.uuid4()), "scan": box.serial, "box": box.pk}
    to = reverse(f"dispatch:shipment-{act}", args=[shipment.number])
    answer = clerk.post(to, data, follow=True)
    said = f"Box {box.serial} is {'on' if act == 'scan' else 'off'} the shipment."
    assert answer.context["said"].startswith(said)
    text = text_of(answer)
    panel = text[text.index('id="scan-said"') :]
    assert said in panel[: panel.index("</div>")]
    assert text.count(said) == 1  # Under the field, not on top as well.
    again = clerk.get(page_of(shipment))
    assert again.context["said"] == ""
    assert other.stage == "labelled"
