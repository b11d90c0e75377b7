"""The packing list of a shipment, and the ways between the pages of a clerk."""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable

import pytest
from django.core.management import call_command
from django.test import Client
from django.urls import reverse

from dispatch.labels import spoken
from dispatch.models import Consignee, Shipment
from dispatch.shipments import services
from kitting.models import JournalHead, User
from tests import factories
from tests.assertions import assert_page, assert_sent_to_sign_in, text_of

pytestmark = pytest.mark.django_db

NEW = reverse("dispatch:shipment-new")


def page_of(shipment: Shipment) -> str:
    return reverse("dispatch:shipment-detail", args=[shipment.number])


def list_of(shipment: Shipment) -> str:
    return reverse("dispatch:packing-list", args=[shipment.number])


@pytest.fixture
def clerk(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("clerk"))


def test_who_may_see_shipments_may_print_their_lists(
    client: Client, client_for: Callable[[User], Client], outsider: User
) -> None:
    address = list_of(factories.make_shipment())
    assert_sent_to_sign_in(client.get(address))
    assert client_for(outsider).get(address).status_code == 403
    packer = client_for(factories.make_person("packer"))
    assert_page(packer.get(address))
    assert packer.post(address).status_code == 405
    assert packer.get("/shipments/S1999999X/packing-list/").status_code == 404


@pytest.mark.smoke
def test_it_lists_boxes_by_serial_with_sizes_and_lots_by_part(clerk: Client) -> None:
    recipe = factories.make_recipe(name="Face shield")
    small, large = factories.make_size(recipe, 6), factories.make_size(recipe, 24)
    boxes = [factories.make_labelled_box(size) for size in (small, large, small)]
    whom = factories.make_consignee("Thornwick Children's")
    shipment = factories.make_shipment(*reversed(boxes), consignee=whom)
    factories.send(shipment)
    answer = clerk.get(list_of(shipment))
    assert_page(answer)
    packed = answer.context["packed"]
    assert [box.serial for box in packed] == sorted(str(box.serial) for box in boxes)
    part = recipe.lines.get().part.name
    for row, box in zip(packed, boxes, strict=True):
        assert (row.sscc, row.sets) == (box.sscc or "", box.size.sets)
        assert row.parts == ((part, (box.lines.get().lot.number,)),)
    assert answer.context["sizes"] == [
        ("Face shield", 24, 1, 24),
        ("Face shield", 6, 2, 12),
    ]
    assert (answer.context["boxes"], answer.context["sets"]) == (3, 36)
    text = text_of(answer)
    assert "1 Ward Road<br>Eskmoor" in text
    assert "may still change" not in text


def test_an_open_shipment_says_that_its_list_may_change(clerk: Client) -> None:
    shipment = factories.make_shipment(factories.make_labelled_box())
    assert "may still change" in clerk.get(list_of(shipment)).content.decode()
    assert list_of(shipment) in clerk.get(page_of(shipment)).content.decode()


def test_it_is_in_the_language_of_its_consignee(clerk: Client) -> None:
    consignee, box = factories.make_consignee(), factories.make_labelled_box()
    Consignee.objects.update(language="de-AT")
    begun = services.begin_shipment(
        consignee_id=consignee.pk, reference="PO 7731", sign=factories.sign()
    )
    shipment = Shipment.objects.get(pk=begun.shipment_id)
    services.load_box(shipment_id=shipment.pk, box_id=box.pk, sign=factories.sign())
    shown = text_of(clerk.get(list_of(shipment)))
    start = shown.index('<div class="packing" lang="de-AT">')
    paper = shown[start : shown.index("</main>")]
    said = set(spoken.GERMAN) - {"sent"}
    for word in said:
        assert spoken.GERMAN[word] in paper, word
    for word in said - {"receiver", "sets_inside"}:
        assert not re.search(rf">\s*{spoken.ENGLISH[word]}\b", paper), word
    factories.send(shipment)
    paper = text_of(clerk.get(list_of(shipment)))
    assert re.search(r"Versandt <time", paper)
    assert spoken.GERMAN["not_sent"] not in paper


def cells_of(text: str, begins: str) -> list[str]:
    """What stands in the cells of the row that begins so."""
    row = re.split(rf'<th scope="row">\s*{begins}\s*</th>', text)[-1]
    cells = re.findall(r"<td[^>]*>(.*?)</td>", row.split("</tr>")[0])
    return [cell.strip() for cell in cells]


def test_the_sum_says_sets_of_a_box_and_of_all(clerk: Client) -> None:
    size = factories.make_size(factories.make_recipe(name="Face shield"), 6)
    boxes = [factories.make_labelled_box(size) for _ in range(2)]
    shipment = factories.make_shipment(*boxes)
    for address in (list_of(shipment), page_of(shipment)):
        text = text_of(clerk.get(address))
        assert "Sets per box</th>" in text
        assert cells_of(text, "Face shield") == ["6", "2", "12"]
        assert cells_of(text, "Total") == ["", "2", "12"]
    Consignee.objects.update(language="de")
    text = text_of(clerk.get(list_of(shipment)))
    assert "Sets je Karton</th>" in text
    assert cells_of(text, "Summe") == ["", "2", "12"]


@pytest.mark.smoke
def test_an_empty_shipment_lists_nothing(clerk: Client) -> None:
    shipment = factories.make_shipment()
    answer = clerk.get(list_of(shipment))
    assert answer.context["packed"] == []
    assert "No box is in shipment" in answer.content.decode()
    assert list_of(shipment) not in clerk.get(page_of(shipment)).content.decode()


def test_the_newest_link_goes_on_the_paper_as_a_proof_expects_it(
    clerk: Client,
) -> None:
    shipment = factories.send(factories.make_shipment(factories.make_labelled_box()))
    page = clerk.get(list_of(shipment))
    head = JournalHead.objects.get()
    printed = f"{head.site}/{head.seq}:{bytes(head.hash).hex()[:16]}"
    assert printed in text_of(page)
    factories.seal_set_up()
    call_command("prove", "--no-record", "--expect", printed)


def test_its_queries_do_not_grow_with_the_boxes(
    clerk: Client, django_assert_max_num_queries: Callable[..., object]
) -> None:
    size = factories.make_size(factories.make_recipe())
    boxes = [factories.make_labelled_box(size) for _ in range(4)]
    shipment = factories.make_shipment(*boxes)
    with django_assert_max_num_queries(14):  # type: ignore[attr-defined]
        assert len(clerk.get(list_of(shipment)).context["packed"]) == 4


# -- Ways on -----------------------------------------------------------------------


def test_a_sent_shipment_leads_to_its_list_and_to_the_next(
    clerk: Client, client_for: Callable[[User], Client]
) -> None:
    shipment = factories.send(factories.make_shipment(factories.make_labelled_box()))
    text = clerk.get(page_of(shipment)).content.decode()
    assert re.search(rf'href="{NEW}"[^>]*>Begin another', text)
    assert f'href="{list_of(shipment)}"' in text
    packer = client_for(factories.make_person("packer"))
    text = packer.get(page_of(shipment)).content.decode()
    assert "Begin another" not in text
    assert f'href="{list_of(shipment)}"' in text


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
