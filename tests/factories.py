"""Plain functions that make what tests need, through the services where history counts.

Defaults are fixed; codes and names are made unique by one counter.
"""

from __future__ import annotations

import itertools
import uuid
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any

from django.contrib.auth.models import Group
from django.db import connection
from django.db.models.expressions import RawSQL

from dispatch.models import Consignee, Pallet, Shipment
from dispatch.pallets import services as pallets
from dispatch.shipments import services
from kitting.checking.services import checks
from kitting.disinfection.queries.protocols import mark_of
from kitting.disinfection.services import evidence, protocols, runs, verdicts
from kitting.disinfection.services.meters import record_calibration
from kitting.domain.entries import Belt, Load, Report, Terms
from kitting.ledger import proof
from kitting.ledger.kept import Kept
from kitting.ledger.operations import Act, Sign, perform
from kitting.lots.services import lots
from kitting.models import (
    Bag,
    Bench,
    Box,
    BoxSize,
    DefectKind,
    Lot,
    Meter,
    Method,
    Part,
    Place,
    Product,
    Protocol,
    Recipe,
    RecipeLine,
    RecipePair,
    RecipeSubstitute,
    Revision,
    Run,
    Touched,
    User,
)
from kitting.models.catalogue import Per, PlaceKind
from kitting.packing.services import boxes as packing
from kitting.packing.services.labels import print_box_label
from kitting.products.queries import methods
from kitting.products.services.methods import release_method

NOW = datetime(2026, 1, 14, 4, 0, tzinfo=UTC)
TODAY = date(2026, 1, 14)

_numbers = itertools.count(1)
_CALLED = Kept(lambda name: User.objects.filter(username=name))


def unique(prefix: str) -> str:
    return f"{prefix}{next(_numbers)}"


def make_person(role: str = "manager", name: str = "") -> User:
    user = User.objects.create_user(username=name or unique("person"), password="pass")
    user.groups.add(Group.objects.get(name=role))
    return user


def _person(name: str, role: str = "manager") -> User:
    return next(iter(_CALLED(name)), None) or make_person(role, name)


def sign(by: User | None = None, **changes: Any) -> Sign:
    given: dict[str, Any] = {"key": uuid.uuid4(), "now": NOW, **changes}
    return Sign(by or _person("tester"), **given)


def sign_by_another(**changes: Any) -> Sign:
    """Signed by somebody else than whoever acts where a test does not say."""
    return sign(_person("another", "quality officer"), **changes)


BY_SERVICES = frozenset(
    f"kitting_{name}" for name in ("bag", "badge", "box", "counter", "lot", "run")
) | {"kitting_printjob", "kitting_runbag", "dispatch_shipment", "dispatch_pallet"}
"""Tables that no test writes to but through the services."""


@dataclass(frozen=True)
class SetUp:
    """What a test had made without any act."""

    rows: int


def seal_set_up(*also: str) -> None:
    """Seal what tests make of a workshop's set-up without the services.

    Args:
        *also: Tables of ``BY_SERVICES`` that this test wrote to by itself.
    """

    def work(act: Act) -> SetUp:
        mine = (
            act.operation.pk
            if connection.vendor == "sqlite"
            else RawSQL("pg_current_xact_id()::text::bigint", ())
        )
        made = Touched.objects.exclude(of__in=BY_SERVICES - set(also))
        return SetUp(made.update(act=mine))

    perform("set_up", work, SetUp, sign())


def prove() -> list[proof.Fault]:
    """Prove a database whose set-up a test has made."""
    seal_set_up()
    return proof.prove()


def make_part(**changes: Any) -> Part:
    code = unique("P")
    values = {"code": code, "name": f"Part {code}", **changes}
    return Part.objects.create(**values)


def make_revision(part: Part | None = None, code: str = "A") -> Revision:
    return Revision.objects.create(part=part or make_part(), code=code)


def make_method(**changes: Any) -> Method:
    return Method.objects.create(
        **{"code": unique("M"), "machine_group": "Printers", **changes}
    )


def make_released_method(**changes: Any) -> Method:
    """One that is no longer on trial."""
    method = make_method(**changes)
    seen = methods.mark_of(method)
    release_method(code=method.code, seen=seen, sign=sign_by_another())
    return method


def make_place(kind: str = PlaceKind.SHELF) -> Place:
    code = unique("SH")
    return Place.objects.create(code=code, name=f"Place {code}", kind=kind)


def new_lot(revision: Revision, **changes: Any) -> lots.NewLot:
    values: dict[str, Any] = {
        "part_id": revision.part_id,
        "revision_id": revision.pk,
        "made_on": TODAY,
        "source": "Print bench",
        "bags": (lots.NewBag(pieces=100),),
        **changes,
    }
    return lots.NewLot(**values)


def make_lot(revision: Revision | None = None, **changes: Any) -> Lot:
    """A lot taken in through the service; closed unless told otherwise."""
    changes = {"close": True, "sure": "Counted twice", **changes}
    taken = lots.take_in(
        lots=[new_lot(revision or make_revision(), **changes)], sign=sign()
    )
    return Lot.objects.get(number=taken.lots[0])


def accept(lot: Lot) -> Lot:
    checks.give_verdict(lot_id=lot.pk, accept=True, found=0, reason="", sign=sign())
    lot.refresh_from_db()
    return lot


def make_kind(grade: str = "major", **changes: Any) -> DefectKind:
    code = unique("DF")
    values = {"code": code, "name": f"Defect {code}", "grade": grade, **changes}
    return DefectKind.objects.create(**values)


def sampled_revision(
    level: str = "II", major: int = 1_000, minor: int = 2_500, **part: Any
) -> Revision:
    """A part that is checked by sample; AQLs are thousandths of a percent."""
    values = {
        "sampled": True,
        "check_level": level,
        "aql_major": major,
        "aql_minor": minor,
    }
    return make_revision(make_part(**{**values, **part}))


def reject(lot: Lot, found: int = 1) -> Lot:
    checks.give_verdict(
        lot_id=lot.pk, accept=False, found=found, reason="Cracked", sign=sign()
    )
    lot.refresh_from_db()
    return lot


def make_bag(revision: Revision | None = None, pieces: int = 100, **part: Any) -> Bag:
    """A bag of a part that needs neither check nor clearing: cleared at once."""
    if revision is None:
        part = {"needs_check": False, "needs_clearing": False, **part}
        revision = make_revision(make_part(**part))
    return make_lot(revision, bags=(lots.NewBag(pieces=pieces),)).bags.get()


def make_bench() -> Bench:
    code = unique("BN")
    place = Place.objects.create(code=code, name=f"Bench {code}", kind=PlaceKind.BENCH)
    return Bench.objects.create(code=code, name=f"Bench {code}", place=place)


def make_product(**changes: Any) -> Product:
    code = unique("FS")
    return Product.objects.create(**{"code": code, "name": f"Shield {code}", **changes})


def make_recipe(
    lines: list[tuple[Revision, int, str]] | None = None, **product: Any
) -> Recipe:
    """A recipe in force; lines are (revision, pieces, per set or box)."""
    recipe = Recipe.objects.create(product=make_product(**product), version=1)
    for revision, pieces, per in lines or [(_free_revision(), 1, Per.SET)]:
        RecipeLine.objects.create(
            recipe=recipe, part=revision.part, revision=revision, pieces=pieces, per=per
        )
    return recipe


def substitute(recipe: Recipe, part: Part, *revisions: Revision) -> None:
    """Let a recipe take revisions in place of a part, the preferred first."""
    line = recipe.lines.get(part=part)
    for nth, each in enumerate(revisions, start=line.substitutes.count() + 1):
        RecipeSubstitute.objects.create(line=line, nth=nth, revision=each)


def only_with(recipe: Recipe, revision: Revision, *others: Revision) -> None:
    """Let a revision go only with some others in a recipe."""
    for other in others:
        RecipePair.objects.create(recipe=recipe, revision=revision, other=other)


def _free_revision() -> Revision:
    return make_revision(make_part(needs_check=False, needs_clearing=False))


def make_size(recipe: Recipe, sets: int = 6, **changes: Any) -> BoxSize:
    return BoxSize.objects.create(product=recipe.product, sets=sets, **changes)


# -- Disinfection -------------------------------------------------------------------


def make_meter(due: date = date(2026, 12, 31), rel_u_ppm: int = 50_000) -> Meter:
    meter = Meter.objects.create(serial=unique("MTR"), name="Radiometer")
    record_calibration(
        meter_id=meter.pk,
        on=date(2026, 1, 1),
        due=due,
        rel_u_ppm=rel_u_ppm,
        sign=sign(),
    )
    return meter


def make_protocol(
    *revisions: Revision,
    container: str = "tote",
    signed_by: str | None = None,
    **terms: Any,
) -> Protocol:
    """A signed protocol in force, asking for 1000 mJ/cm² on top.

    It covers the revisions, or one of its own where none is given. A blank
    ``signed_by`` makes a draft.
    """
    code = terms.pop("code", None) or unique("UV")
    values: dict[str, Any] = {
        "name": "Belt, one layer",
        "process": "uvc_belt",
        "required_top_uj_cm2": 1_000_000,
        "in_force_from": date(2026, 1, 1),
        "label_words": "Disinfected (UV-C)",
        **terms,
    }
    first = datetime.combine(values["in_force_from"], NOW.time(), UTC)
    by = sign(now=min(first, NOW))
    loads = tuple(
        Load(revision.pk, container, 500) for revision in revisions or [make_revision()]
    )
    said = Terms(**values, loads=loads, evidence=(_report(by),))
    drafted = protocols.draft_protocol(code=code, terms=said, sign=sign(now=by.now))
    protocol = Protocol.objects.get(pk=drafted.protocol_id)
    if signed_by is None:
        officer = _person("Quality officer", "quality officer")
        protocols.sign_protocol(
            protocol_id=protocol.pk,
            meaning="Approved for use",
            mark=mark_of(protocol, until=protocol.in_force_until).hex(),
            sign=sign(officer, now=by.now),
        )
    elif signed_by:
        Protocol.objects.filter(pk=protocol.pk).update(signed_by=signed_by)
    protocol.refresh_from_db()
    return protocol


def _report(by: Sign) -> str:
    report = Report(
        code=unique("EV"),
        laboratory="Eskmoor laboratory",
        surface="PETG film",
        measured="log reduction",
        result="3.2",
        document="Report 1",
        on=by.now.date(),
    )
    return evidence.record_evidence(report=report, sign=by).code


def open_run(protocol: Protocol, meter: Meter | None = None, **changes: Any) -> Run:
    """A run on a new line: 4 mW/cm², zone 0.5 m at 1.5 mm/s, one pass."""
    opened = runs.open_run(
        **{
            "line_id": make_place(PlaceKind.LINE).pk,
            "protocol_id": protocol.pk,
            "meter_id": (meter or make_meter()).pk,
            "belt": Belt(zone_um=500_000, belt_um_s=1_500),
            "readings": [(1, "top", 4_000)],
            "sure": "Lamps are warming up",
            "sign": sign(),
            **changes,
        }
    )
    return Run.objects.get(number=opened.run)


def after_passes(run: Run, since: datetime = NOW) -> datetime:
    """When a bag that went on at ``since`` has had all its passes."""
    return since + timedelta(milliseconds=run.exposure_ms * run.passes)


def expose(run: Run, *bags: Bag) -> None:
    for bag in bags:
        runs.put_on(run_id=run.pk, bag_id=bag.pk, sign=sign())
        runs.take_off(run_id=run.pk, bag_id=bag.pk, sign=sign(now=after_passes(run)))


def close_run(run: Run, uw_cm2: int = 4_000) -> Run:
    verdicts.close_run(run_id=run.pk, readings=[(1, "top", uw_cm2)], sign=sign())
    run.refresh_from_db()
    return run


# -- Boxes and shipments ------------------------------------------------------------


def make_open_box(
    size: BoxSize | None = None, bench: Bench | None = None, *bags: Bag
) -> Box:
    size = size or make_size(make_recipe())
    bench = bench or make_bench()
    started = packing.start_box(bench_id=bench.pk, size_id=size.pk, sign=sign())
    for bag in bags:
        packing.bring_bag(bench_id=bench.pk, bag_id=bag.pk, sign=sign())
    return Box.objects.get(pk=started.box_id)


def make_closed_box(size: BoxSize | None = None, bench: Bench | None = None) -> Box:
    """A box closed at a bench, filled from new bags of just enough pieces."""
    size = size or make_size(make_recipe())
    recipe = size.product.recipes.get(in_force=True)
    bags = [
        make_bag(line.revision, line.needed(size.sets)) for line in recipe.lines.all()
    ]
    return close_box(make_open_box(size, bench, *bags))


def close_box(box: Box) -> Box:
    packing.close_box(box_id=box.pk, sign=sign())
    box.refresh_from_db()
    return box


def make_labelled_box(size: BoxSize | None = None, bench: Bench | None = None) -> Box:
    return label_box(make_closed_box(size, bench))


def label_box(box: Box) -> Box:
    print_box_label(box_id=box.pk, sign=sign())
    packing.see_label(box_id=box.pk, read=str(box.serial), sign=sign())
    box.refresh_from_db()
    return box


def make_consignee(name: str = "") -> Consignee:
    code = unique("CN")
    return Consignee.objects.create(
        code=code, name=name or f"Infirmary {code}", address="1 Ward Road\nEskmoor"
    )


def make_shipment(*boxes: Box, consignee: Consignee | None = None) -> Shipment:
    begun = services.begin_shipment(
        consignee_id=(consignee or make_consignee()).pk, reference="", sign=sign()
    )
    for box in boxes:
        services.load_box(shipment_id=begun.shipment_id, box_id=box.pk, sign=sign())
    return Shipment.objects.get(pk=begun.shipment_id)


def make_pallet(*boxes: Box) -> Pallet:
    begun = pallets.begin_pallet(sign=sign())
    pallet = Pallet.objects.get(number=begun.pallet)
    stack(pallet, *boxes)
    return pallet


def stack(pallet: Pallet, *boxes: Box) -> None:
    for box in boxes:
        pallets.stack_box(pallet_id=pallet.pk, box_id=box.pk, sign=sign())


def unstack(pallet: Pallet, box: Box) -> pallets.Stacked:
    return pallets.unstack_box(pallet_id=pallet.pk, box_id=box.pk, sign=sign())


def load_pallet(shipment: Shipment, pallet: Pallet) -> services.PalletScanned:
    return services.load_pallet(
        shipment_id=shipment.pk, pallet_id=pallet.pk, sign=sign()
    )


def send(shipment: Shipment) -> Shipment:
    services.send_shipment(
        unlabelled="by hand", driver="Driver 2", shipment_id=shipment.pk, sign=sign()
    )
    shipment.refresh_from_db()
    return shipment
