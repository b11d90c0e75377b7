"""Inner steps of loading a catalogue: each of its sections, in the order of need."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING, Any
from zoneinfo import available_timezones

from dispatch.services.steps.catalogue import Shelf, names_of, read_day
from dispatch.services.steps.consignees import read_consignee
from kitting import locking
from kitting.clock import day_of
from kitting.domain import batch, exposure, gs1
from kitting.domain.errors import CodeError, LotwardError
from kitting.labels.postal import country_name
from kitting.models import (
    Bench,
    BoxSize,
    Calibration,
    DefectKind,
    Meter,
    Method,
    Part,
    Place,
    Product,
    Protocol,
    ProtocolLoad,
    Recipe,
    RecipeLine,
    Revision,
    Stock,
    Workshop,
    Yield,
)
from kitting.queries.printers import facts_of
from kitting.services.stocks import trial

if TYPE_CHECKING:
    from datetime import datetime

UNNAMED = "Unnamed workshop"
"""The name of a workshop that nobody has named yet."""
WORKSHOP_FIELDS = (
    *("name", "address", "country", "time_zone", "gs1_prefix", "label_text"),
)


@dataclass
class Found:
    """What a catalogue names, by code, as it is found or made."""

    shelf: Shelf
    workshop: Workshop
    today: date
    places: dict[str, Place] = field(default_factory=dict)
    parts: dict[str, Part] = field(default_factory=dict)
    revisions: dict[str, dict[str, Revision]] = field(default_factory=dict)
    calibrations: list[Calibration] = field(default_factory=list)
    in_force: int = 0
    """Recipes that came into force."""


def read_all(data: object, now: datetime) -> Found:
    """Read a whole catalogue and write what is missing; needs a transaction.

    Calibrations are left to the caller: they are guarded rows of its act.

    Args:
        data: What the file says, as JSON is read.
        now: The moment.

    Returns:
        What was added, and every problem: with one, the caller rolls back.
    """
    workshop = locking.lock_row(Workshop, 1)
    found = Found(Shelf(), workshop, day_of(workshop, now))
    shelf = found.shelf
    if not isinstance(data, dict):
        shelf.fault("", data, "catalogue_kind", wanted="a row of sections")
        return found
    shelf.known("", data, ("workshop", *SECTIONS))
    _workshop(found, data)
    found.places = {each.code: each for each in Place.objects.all()}
    for revision in Revision.objects.select_related("part"):
        found.parts[revision.part.code] = revision.part
        by_code = found.revisions.setdefault(revision.part.code, {})
        by_code[revision.code] = revision
    for name, read in SECTIONS.items():
        for path, row in shelf.rows(data, name):
            read(found, path, row)
    return found


def _simple(found: Found, model: Any, path: str, row: Mapping[str, Any]) -> Any:
    """A row that is known by its code and names nothing else."""
    found.shelf.known(path, row, names_of(model))
    given = found.shelf.values(model, path, row)
    return found.shelf.place(path, model(**given), ("code",), given)


def _place(found: Found, path: str, row: Mapping[str, Any]) -> None:
    place = _simple(found, Place, path, row)
    if place is None:
        found.shelf.unread.add(("place", str(row.get("code"))))
    else:
        found.places[place.code] = place


def _method(found: Found, path: str, row: Mapping[str, Any]) -> None:
    _simple(found, Method, path, row)


def _consignee(found: Found, path: str, row: Mapping[str, Any]) -> None:
    read_consignee(found.shelf, path, row)


def _workshop(found: Found, data: Mapping[str, Any]) -> None:
    """Name a workshop that has no name yet; else the file must say the same."""
    shelf, workshop = found.shelf, found.workshop
    if "workshop" not in data:
        return
    row = data["workshop"]
    if not isinstance(row, dict):
        shelf.fault("workshop", row, "catalogue_kind", wanted="a row")
        return
    shelf.known("workshop", row, WORKSHOP_FIELDS)
    given = shelf.values(Workshop, "workshop", {"site": 1, **row})
    given = {name: given[name] for name in WORKSHOP_FIELDS if name in given}
    empty = dict.fromkeys(WORKSHOP_FIELDS, "") | {
        "name": UNNAMED,
        "time_zone": "UTC",
    }
    new = {
        name: value
        for name, value in given.items()
        if getattr(workshop, name) == empty[name] != value
    }
    shelf.same("workshop", workshop, {n: v for n, v in given.items() if n not in new})
    if "time_zone" in new and new["time_zone"] not in available_timezones():
        shelf.fault("workshop.time_zone", new["time_zone"], "catalogue_time_zone")
    if new.get("gs1_prefix"):
        _obey(shelf, "workshop.gs1_prefix", lambda: gs1.sscc(new["gs1_prefix"], 1))
    if new.get("country"):
        _obey(shelf, "workshop.country", lambda: country_name(new["country"]))
    if new and not shelf.problems:
        Workshop.objects.filter(pk=1).update(**new)


def _obey(shelf: Shelf, path: str, rule: Any) -> None:
    """Note what a rule of numbers refuses, under its own code."""
    try:
        rule()
    except CodeError as error:
        value = next(iter(error.params.values()), "")
        shelf.fault(path, value, error.code, **error.params)


def _part(found: Found, path: str, row: Mapping[str, Any]) -> None:
    shelf = found.shelf
    shelf.known(path, row, {*names_of(Part), "revisions"})
    given = shelf.values(Part, path, row)
    part = shelf.place(path, Part(**given), ("code",), given)
    codes = shelf.texts(row, "revisions", path)
    if part is None:
        shelf.unread.add(("part", str(row.get("code"))))
        return
    found.parts[part.code] = part
    by_code = found.revisions.setdefault(part.code, {})
    for nth, code in enumerate(codes, start=1):
        here, new = f"{path}.revisions[{nth}]", Revision(part=part, code=code)
        revision = shelf.place(here, new, ("part", "code"), {})
        if revision is not None:
            by_code[code] = revision


def _yield(found: Found, path: str, row: Mapping[str, Any]) -> None:
    shelf = found.shelf
    shelf.known(path, row, {*names_of(Yield), "part", "material"})
    given = shelf.values(Yield, path, row)
    part = shelf.one_of(path, row, "part", found.parts)
    material = shelf.one_of(path, row, "material", found.parts)
    if part is not None and material is not None:
        new = Yield(part=part, material=material, **given)
        shelf.place(path, new, ("part", "material"), given)


def _defect(found: Found, path: str, row: Mapping[str, Any]) -> None:
    shelf = found.shelf
    shelf.known(path, row, {*names_of(DefectKind), "part"})
    given = shelf.values(DefectKind, path, row)
    if row.get("part") is not None:
        given["part"] = shelf.one_of(path, row, "part", found.parts)
    shelf.place(path, DefectKind(**given), ("code",), given)


def _product(found: Found, path: str, row: Mapping[str, Any]) -> None:
    shelf = found.shelf
    shelf.known(path, row, {*names_of(Product), "sizes", "recipes"})
    given = shelf.values(Product, path, row)
    if "code" in given:
        code = given["code"]
        _obey(shelf, f"{path}.code", lambda: batch.kit_batch(1, code, found.today, 1))
    product = shelf.place(path, Product(**given), ("code",), given)
    if product is None:
        return
    for here, size in shelf.rows(row, "sizes", path):
        _size(shelf, here, size, product)
    _recipes(found, path, row, product)


def _size(shelf: Shelf, path: str, row: Mapping[str, Any], product: Product) -> None:
    shelf.known(path, row, names_of(BoxSize))
    given = shelf.values(BoxSize, path, row)
    gtin = given.get("gtin")
    if gtin is not None and not gs1.gtin14_ok(gtin):
        shelf.fault(f"{path}.gtin", gtin, "catalogue_gtin")
    shelf.place(path, BoxSize(product=product, **given), ("product", "sets"), given)


def _recipes(found: Found, path: str, row: Mapping[str, Any], product: Product) -> None:
    """A product's recipes; the newest that has begun is in force."""
    begun: list[Recipe] = []
    for here, each in found.shelf.rows(row, "recipes", path):
        found.shelf.known(here, each, {"version", "from", "lines"})
        since = read_day(each.get("from"))
        if since is None:
            found.shelf.fault(
                f"{here}.from",
                each.get("from"),
                "catalogue_kind",
                wanted="a day as 2026-03-01",
            )
        recipe = _recipe(found, here, each, product)
        if recipe is not None and since is not None and since <= found.today:
            begun.append(recipe)
    newest = max(begun, key=lambda recipe: recipe.version, default=None)
    now = product.recipes.filter(in_force=True).first()
    if newest is None or (now is not None and now.version >= newest.version):
        return
    product.recipes.filter(in_force=True).update(in_force=False)
    product.recipes.filter(pk=newest.pk).update(in_force=True)
    found.in_force += 1


def _recipe(
    found: Found, path: str, row: Mapping[str, Any], product: Product
) -> Recipe | None:
    shelf = found.shelf
    before = len(shelf.problems)
    given = shelf.values(Recipe, path, row)
    lines = [_line(found, here, line) for here, line in shelf.rows(row, "lines", path)]
    if not lines:
        shelf.fault(f"{path}.lines", "", "catalogue_missing")
    if len(shelf.problems) > before:
        return None
    wanted = [line for line in lines if line is not None]
    mine = {"version": given["version"]}
    known = product.recipes.filter(**mine).first()
    recipe = shelf.place(
        path,
        Recipe(product=product, in_force=False, **mine),
        ("product", "version"),
        mine,
    )
    if recipe is None:
        return None
    if known is not None:
        _same_lines(shelf, f"{path}.lines", known.lines.all(), wanted, _LINE)
        return recipe
    for nth, line in enumerate(wanted, start=1):
        line.recipe = recipe
        shelf.place(f"{path}.lines[{nth}]", line, ("recipe", "part"), {})
    return recipe


_LINE = ("part_id", "revision_id", "substitute_id", "pieces", "per")
_LOAD = ("revision_id", "container", "max_pieces", "orientation")


def _same_lines(
    shelf: Shelf, path: str, there: Any, wanted: list[Any], names: tuple[str, ...]
) -> None:
    """Lines of a recipe or protocol never change: a change is a new version."""

    def plain(rows: Any) -> set[tuple[object, ...]]:
        return {tuple(str(getattr(row, name)) for name in names) for row in rows}

    if plain(there) != plain(wanted):
        shelf.fault(path, f"{len(wanted)} lines", "catalogue_new_version")


def _line(found: Found, path: str, row: Mapping[str, Any]) -> RecipeLine | None:
    shelf = found.shelf
    shelf.known(path, row, {*names_of(RecipeLine), "part", "revision", "substitute"})
    given = shelf.values(RecipeLine, path, row)
    part = shelf.one_of(path, row, "part", found.parts)
    if part is None:
        return None
    revisions = found.revisions.get(part.code, {})
    revision = shelf.one_of(path, row, "revision", revisions)
    substitute = None
    if row.get("substitute") is not None:
        substitute = shelf.one_of(path, row, "substitute", revisions)
    if revision is None:
        return None
    return RecipeLine(part=part, revision=revision, substitute=substitute, **given)


def _bench(found: Found, path: str, row: Mapping[str, Any]) -> None:
    shelf = found.shelf
    shelf.known(path, row, {*names_of(Bench), "place"})
    given = shelf.values(Bench, path, row)
    place = shelf.one_of(path, row, "place", found.places)
    if place is not None:
        given["place"] = place
        shelf.place(path, Bench(**given), ("code",), given)


def _stock(found: Found, path: str, row: Mapping[str, Any]) -> None:
    """Label stock, by the rules by which a manager enters it."""
    shelf = found.shelf
    before = len(shelf.problems)
    shelf.known(path, row, names_of(Stock))
    given = shelf.values(Stock, path, row)
    if len(shelf.problems) > before:
        return
    stock = Stock(**given)
    try:
        trial(facts_of(stock))
    except LotwardError as error:
        shelf.fault(path, stock.code, error.code, **error.params)
        return
    shelf.place(path, stock, ("code",), given)


def _meter(found: Found, path: str, row: Mapping[str, Any]) -> None:
    shelf = found.shelf
    about = names_of(Calibration) - {"on"}
    shelf.known(path, row, {*names_of(Meter), *about, "calibrated"})
    given = shelf.values(Meter, path, row)
    meter = shelf.place(path, Meter(**given), ("serial",), given)
    if meter is None or "calibrated" not in row:
        return
    before = len(shelf.problems)
    renamed = {"on": row["calibrated"], **{n: row[n] for n in about if n in row}}
    values = shelf.values(Calibration, path, renamed)
    if len(shelf.problems) > before:
        return
    on, due = values["on"], values["due"]
    there = Calibration.objects.filter(meter=meter, on=on).first()
    if there is not None:
        shelf.same(path, there, values)
        return
    if due < on:
        shelf.fault(f"{path}.due", due, "calibration_dates", on=on, due=due)
    if on > found.today:
        here, today = f"{path}.calibrated", found.today
        shelf.fault(here, on, "calibration_in_future", on=on, today=today)
    for code in exposure.sanity(rel_u_ppm=values["rel_u_ppm"]):
        shelf.fault(f"{path}.rel_u_ppm", values["rel_u_ppm"], code)
    found.calibrations.append(Calibration(meter=meter, **values))


def _protocol(found: Found, path: str, row: Mapping[str, Any]) -> None:
    shelf = found.shelf
    before = len(shelf.problems)
    # A file signs nothing: what it brings is a draft until somebody signs it.
    shelf.known(path, row, {*names_of(Protocol), "loads"} - {"signed_by"})
    given = shelf.values(Protocol, path, row)
    loads = [
        _protocol_load(found, here, each)
        for here, each in shelf.rows(row, "loads", path)
    ]
    if len(shelf.problems) > before:
        return
    wanted = [load for load in loads if load is not None]
    key = {"code": given["code"], "version": given["version"]}
    known = Protocol.objects.filter(**key).first()
    protocol = shelf.place(path, Protocol(**given), ("code", "version"), given)
    if protocol is None:
        return
    if known is not None:
        _same_lines(shelf, f"{path}.loads", known.loads.all(), wanted, _LOAD)
        return
    for nth, load in enumerate(wanted, start=1):
        load.protocol = protocol
        key_of = ("protocol", "revision", "container")
        shelf.place(f"{path}.loads[{nth}]", load, key_of, {})


def _protocol_load(
    found: Found, path: str, row: Mapping[str, Any]
) -> ProtocolLoad | None:
    shelf = found.shelf
    shelf.known(path, row, {*names_of(ProtocolLoad), "part", "revision"})
    given = shelf.values(ProtocolLoad, path, row)
    part = shelf.one_of(path, row, "part", found.parts)
    if part is None:
        return None
    revisions = found.revisions.get(part.code, {})
    revision = shelf.one_of(path, row, "revision", revisions)
    if revision is None:
        return None
    return ProtocolLoad(part=part, revision=revision, **given)


SECTIONS: dict[str, Callable[[Found, str, Mapping[str, Any]], None]] = {
    "places": _place,
    "parts": _part,
    "yields": _yield,
    "defects": _defect,
    "products": _product,
    "methods": _method,
    "benches": _bench,
    "stocks": _stock,
    "meters": _meter,
    "protocols": _protocol,
    "consignees": _consignee,
}
"""What a catalogue may hold beside the workshop, in the order in which it is read."""
