"""A bench with something to pack: three parts, boxes of 6, bags that may be packed."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.urls import reverse

from kitting.ledger import holds
from kitting.lots.services import lots
from kitting.models import Bag, Bench, Box, BoxLine, BoxSize, Recipe, Revision, Workshop
from kitting.models.catalogue import Per
from kitting.packing.queries.bench_rows import newest_box
from kitting.packing.services.bench import take_scan
from tests import factories
from tests.assertions import text_of
from tests.factories import sign, sign_by_another


@dataclass
class Packing:
    """What a test at a bench needs."""

    bench: Bench
    recipe: Recipe
    size: BoxSize
    band: Revision
    visor: Revision
    manual: Revision
    band_bag: Bag
    visor_bag: Bag
    manual_bag: Bag

    @property
    def bags(self) -> tuple[Bag, Bag, Bag]:
        return self.band_bag, self.visor_bag, self.manual_bag

    def bag(self, revision: Revision, pieces: int = 100, **lot: object) -> Bag:
        """Another bag of a part, in a lot of its own."""
        return bag_of(revision, pieces, **lot)


def bag_of(revision: Revision, pieces: int = 100, **lot: object) -> Bag:
    place = factories.make_place()
    new = lots.NewBag(pieces=pieces, place_id=place.pk)
    return factories.make_lot(revision, bags=(new,), **lot).bags.get()


def revision_of(name: str) -> Revision:
    part = factories.make_part(name=name, needs_check=False, needs_clearing=False)
    return factories.make_revision(part)


def make_packing(
    pieces: int = 100, sets: int = 6, gtin: str = "09521234000013"
) -> Packing:
    Workshop.objects.update(gs1_prefix="9521234", name="Harrow Lane Workshop")
    band, visor, manual = map(revision_of, ("Headband", "Visor", "Manual"))
    recipe = factories.make_recipe(
        [(band, 1, Per.SET), (visor, 2, Per.SET), (manual, 1, Per.BOX)]
    )
    return Packing(
        bench=factories.make_bench(),
        recipe=recipe,
        size=factories.make_size(recipe, sets, gtin=gtin),
        band=band,
        visor=visor,
        manual=manual,
        band_bag=bag_of(band, pieces),
        visor_bag=bag_of(visor, pieces),
        manual_bag=bag_of(manual, pieces),
    )


# -- The screen ---------------------------------------------------------------------


def page_of(at: Packing) -> str:
    return reverse("kitting:bench", args=[at.bench.code])


def newest_number(bench: Bench) -> str:
    """What a screen loaded now sends along with its scans."""
    box = newest_box(bench.pk)
    return box.number if box else ""


def words(response: Any) -> str:
    return text_of(response)


def state(response: Any) -> str:
    return response.content.decode().split('data-state="')[1].split('"')[0]


def step(response: Any) -> str:
    return str(response.context["screen"].step)


def fill(scan: Callable[..., Any], at: Packing) -> None:
    for bag in at.bags:
        assert state(scan(bag.number)) == "right"


def key_of(shown: Any, name: str) -> dict[str, str]:
    """What a touch of a key sends."""
    page = shown.content.decode()
    forms = [each.split("</form>")[0] for each in page.split("<form")[1:]]
    form = next(each for each in forms if name in each)
    fields = re.findall(r'name="(\w+)" value="([^"]*)"', form)
    return dict(fields)


# -- Holds ---------------------------------------------------------------------------


def hold(target: str, value: int, reason: str = "Rough edge") -> int:
    placed = holds.place_hold(target=target, value=value, reason=reason, sign=sign())
    return placed.hold_id


def lift(hold_id: int) -> None:
    holds.lift_hold(hold_id=hold_id, reason="Measured", sign=sign_by_another())


def packed_before(at: Packing, *texts: str) -> Box:
    """Have somebody scan at the bench before; give its newest box."""
    by = factories.make_person("packer")
    for text in texts:
        take_scan(
            bench_id=at.bench.pk,
            text=text,
            box=newest_number(at.bench),
            purpose="",
            sign=sign(by, bench_id=at.bench.pk),
        )
    return Box.objects.latest("pk")


def in_box() -> int:
    return sum(BoxLine.objects.values_list("pieces", flat=True))
