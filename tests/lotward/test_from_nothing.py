"""A workshop that makes hygiene kits is set up from an empty database, by pages alone.

Nothing in it is a face shield: other parts, other sizes, nothing disinfected by lamps.
"""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from kitting.models import Bag, Bench, Box, BoxSize, Place, Recipe, Revision
from tests import factories
from tests.assertions import text_of

pytestmark = pytest.mark.django_db

FIRST = reverse("first-hour")
ROLL = {
    "code": "BOX-ROLL",
    "name": "Box labels on a roll",
    "width_um": "100",
    "height_um": "150",
    "gap_um": "3",
    "page": "roll",
}


def shown(form: Any, name: str) -> Any:
    """What a browser sends of a field that nobody touched: of a list its first entry."""
    value, choices = form[name].value(), getattr(form.fields[name], "choices", None)
    if (
        value is None
        and choices
        and not form[name].field.widget.allow_multiple_selected
    ):
        return next(iter(choices))[0]
    return value


LINES = ("lines", "more")
"""Where a form has lines below it, by the names of its attributes."""


class Pages:
    """Sends forms as a browser would, with whatever the page filled in."""

    def __init__(self, client: Client) -> None:
        self.client = client

    def send(self, page: str, /, *args: Any, **entered: Any) -> None:
        path = reverse(page if ":" in page else f"kitting:{page}", args=args)
        form = self.client.get(path).context["form"]
        filled = {name: shown(form, name) for name in form.fields}
        for lines in filter(None, (getattr(form, name, None) for name in LINES)):
            for extra in (*lines, lines.management_form):
                filled |= {bound.html_name: bound.value() for bound in extra}
        sent = {**filled, "op_key": str(uuid.uuid4()), **entered}
        unsaid = (None, False)  # an empty field, and a tick that is not there
        kept = {
            name: value
            for name, value in sent.items()
            if not any(value is one for one in unsaid)
        }
        answer = self.client.post(path, kept)
        done = answer.status_code == 302 or answer.context.get("given")
        assert done, (path, answer.context["form"].errors)


@pytest.fixture
def pages(make_user: Any, client_for: Any) -> Pages:
    return Pages(client_for(make_user("manager", group="manager")))


def missing(pages: Pages) -> int:
    return len(pages.client.get(FIRST).context["missing"])


def enter_the_rooms(pages: Pages) -> None:
    pages.send(
        "workshop",
        name="Quay Kits",
        address="2 Quay Road\nLodebridge",
        country="GB",
        time_zone="UTC",
    )
    for code, kind in (("S1", "shelf"), ("Q1", "quarantine"), ("T1", "bench")):
        pages.send("place-new", code=code, name=f"Place {code}", kind=kind)
    table = Place.objects.get(code="T1")
    pages.send("bench-new", code="B1", name="Table 1", place=table.pk)


def enter_the_parts(pages: Pages) -> None:
    whole = {"needs_check": None, "needs_clearing": None}
    for code, name, mass in (
        ("SO", "Soap", "90"),
        ("TO", "Towel", "55.5"),
        ("LE", "Leaflet", "3"),
        ("CA", "Carton", "140"),
    ):
        pages.send("part-new", code=code, name=name, mass_mg=mass, **whole)


def enter_the_product(pages: Pages) -> None:
    pages.send(
        "product-new",
        code="HK1",
        name="Hygiene kit",
        cautions="For one person.",
        cautions_reviewed_by="Quality officer",
    )
    carton = Revision.objects.get(part__code="CA").part
    pages.send("size-new", "HK1", sets=10, carton=carton.pk)
    soap, towel, leaflet = (
        Revision.objects.get(part__code=code).pk for code in ("SO", "TO", "LE")
    )
    pages.send(
        "recipe-new",
        "HK1",
        **{
            "line-0-revision": soap,
            "line-0-pieces": 2,
            "line-1-revision": towel,
            "line-1-pieces": 1,
            "line-2-revision": leaflet,
            "line-2-pieces": 1,
            "line-2-per": "box",
        },
    )
    pages.send("recipe", "HK1", 1)


def enter_the_rest(pages: Pages) -> None:
    pages.send(
        "person-new",
        name="ann",
        role="quality officer",
    )
    pages.send("stock-new", **ROLL)
    pages.send(
        "dispatch:consignee-new",
        code="SHELTER",
        name="Quay Shelter",
        street="9 Quay Road",
        city="Lodebridge",
        postcode="EC1Y 8SY",
        country="GB",
    )


def pack_one(pages: Pages) -> None:
    for code, pieces in (("SO", 20), ("TO", 10), ("LE", 1)):
        pages.send(
            "lot-new",
            revision=Revision.objects.get(part__code=code).pk,
            made_on=factories.TODAY.isoformat(),
            source="Wholesaler",
            bag_count=1,
            pieces_each=pieces,
        )
    bench = Bench.objects.get()
    scan = reverse("kitting:bench-scan", args=[bench.code])
    for read in (
        *Bag.objects.values_list("number", flat=True),
        "ACT-BOX-10",
        "ACT-CLOSE",
    ):
        sent = {"op_key": str(uuid.uuid4()), "scan": read}
        box = Box.objects.first()
        answer = pages.client.post(scan, {**sent, "box": box.number if box else ""})
        assert answer.status_code == 302, text_of(answer)


@pytest.mark.smoke
def test_a_workshop_of_hygiene_kits_is_set_up_and_packs_by_pages_alone(
    pages: Pages,
) -> None:
    assert missing(pages) == 10
    enter_the_rooms(pages)
    enter_the_parts(pages)
    enter_the_product(pages)
    enter_the_rest(pages)
    assert missing(pages) == 0, text_of(pages.client.get(FIRST))
    pack_one(pages)
    box = Box.objects.get()
    assert (box.stage, box.size, box.recipe) == (
        *("closed", BoxSize.objects.get(), Recipe.objects.get()),
    )
    assert box.batch.startswith("1-HK1-")
    factories.seal_set_up()
    assert factories.prove() == []
