"""Every page from inspection to disinfection, with something on it to show."""

from __future__ import annotations

from urllib.parse import urlencode

from django.urls import URLPattern, reverse

from kitting import urls
from kitting.disinfection.services import protocols
from kitting.lots.services import samples
from kitting.models import (
    Bag,
    Cover,
    DefectKind,
    Lamp,
    Lot,
    Meter,
    Method,
    Protocol,
    Run,
    Sample,
)
from kitting.models.lots import Verdict
from tests import factories
from tests.factories import sign
from tests.kitting.ledger import ledger_runs
from tests.ledgers import History

ROOMS = (
    *(
        "bag",
        "carrier",
        "cover",
        "evidence",
        "inspection",
        "kind",
        "lamp",
        "lot",
        "lots",
    ),
    *("meter", "meters", "part", "place", "places", "planning", "protocol", "put"),
    *("protocols", "run", "runs", "sample", "yields", "carriers", "lamps"),
    *("method", "methods", "parts", "product", "products", "recipe", "revision"),
    *("size", "scanner"),
)
"""First words of the names of the pages that are toured."""

NO_PAGES = {"bag-number-labels", "run-early", "run-scan"}
"""Labels, which are walked through elsewhere, and what only takes what a page sends."""

Pages = dict[str, list[str]]
"""Addresses by the name of their page; one page may be worth seeing twice."""


def rooms() -> set[str]:
    """Names of all pages of these rooms; a new page is asked for by the tour."""
    names = {
        pattern.name or ""
        for pattern in urls.urlpatterns
        if isinstance(pattern, URLPattern)
    }
    return {name for name in names if name.split("-")[0] in ROOMS} - NO_PAGES


def pages_of(history: History) -> Pages:
    """Addresses with which every page has something to show.

    Args:
        history: A small workshop's history, in a database that keeps what is added.
    """
    found: Pages = {}

    def add(name: str, *args: object, **query: str) -> None:
        asked = f"?{urlencode(query)}" if query else ""
        address = reverse(f"kitting:{name}", args=args) + asked
        found.setdefault(name, []).append(address)

    for name in rooms():
        if "<" not in path_of(name):
            add(name)
    _lots(history, add)
    _bags(history, add)
    _protocols(history, add)
    _lines(history, add)
    part = history.band.part
    add("inspection", part=part.code, source="Print bench")
    for name in rooms():
        if name.startswith("inspection-re"):
            found[name] = []
            add(name, part=part.code, source="Print bench", grade="major")
    add("part-set", part.code)
    for name in ("part-detail", "part-change", "revision-new"):
        add(name, part.code)
    product = history.size.product.code
    for name in ("product-detail", "product-change", "size-new", "recipe-new"):
        add(name, product)
    add("size-change", product, history.size.sets)
    add("recipe", product, 1)
    for name in ("revision-detail", "revision-change"):
        add(name, part.code, history.band.code)
    add("cover-new", part.code, history.band.code)
    add("cover-new", part.code, "NEW")
    add("revision-detail", part.code, "NEW")
    add("cover-withdraw", Cover.objects.latest("pk").pk)
    add("part-dose", part.code)
    tried = Method.objects.filter(release__isnull=True).latest("pk")
    for name in ("method-detail", "method-change", "method-release"):
        add(name, tried.code)
    add("kind-change", DefectKind.objects.latest("pk").code)
    return found


def path_of(name: str) -> str:
    """The path of a page as it stands in the list of addresses."""
    [path] = {str(p.pattern) for p in urls.urlpatterns if p.name == name}
    return path


def _lots(history: History, add: object) -> None:
    assert callable(add)
    waiting = factories.make_lot(factories.sampled_revision(name="Chin piece"))
    growing = factories.make_lot(history.band, close=False)
    rejected = Lot.objects.get(part=history.band.part, verdict=Verdict.REJECTED)
    bag = rejected.bags.filter(stage="rejected").latest("pk")
    add("lot-detail", history.band_lot.number)
    add("lot-detail", rejected.number)
    for name in ("lot-check", "lot-reject"):
        add(name, waiting.number)
    for name in ("lot-close", "lot-cancel", "bag-new"):
        add(name, growing.number)
    for name in ("lot-rejected", "lot-send-back", "lot-scrap", "lot-concession"):
        add(name, rejected.number)
    add("bag-sort", rejected.number, bag.number)


def _bags(history: History, add: object) -> None:
    assert callable(add)
    bag = history.visor_lot.bags.get()
    sent = samples.send_to_test(
        bag_id=bag.pk,
        pieces=1,
        what_for="Swab",
        sent_to="Eskmoor laboratory",
        sign=sign(),
    )
    assert Sample.objects.filter(pk=sent.sample_id).exists()
    for name in (
        "bag-detail",
        "bag-count",
        "bag-weigh",
        "bag-sample",
        "bag-scrap",
        "bag-repack",
        "bag-set-back",
        "bag-accept",
    ):
        add(name, bag.number)
    add("sample-result", sent.sample_id)
    hung = Bag.objects.filter(carrier__isnull=False).latest("pk")
    assert hung.carrier is not None
    add("carrier-detail", hung.carrier.number)
    add("bag-detail", hung.number)
    assert hung.place is not None
    add("place-detail", hung.place.code)
    add("place-change", hung.place.code)
    add("place-detail", history.line.code)


def _protocols(history: History, add: object) -> None:
    assert callable(add)
    drafted = protocols.draft_version(code=history.retired.code, sign=sign())
    heat = Protocol.objects.filter(process="heat").latest("pk")
    for signed in (history.protocol, history.retired, heat):
        add("protocol-detail", signed.code, signed.version)
    for name in ("retire", "version"):
        add(f"protocol-{name}", history.protocol.code, history.protocol.version)
    for name in ("edit", "sign", "discard"):
        add(f"protocol-{name}", drafted.code, drafted.version)


def _lines(history: History, add: object) -> None:
    assert callable(add)
    heat = Run.objects.get(protocol__process="heat", stage="released")
    opened = Run.objects.get(stage="open")
    for run in (history.released, history.failed, heat, opened):
        add("run-detail", run.number)
    for name in ("run-close", "run-give-up", "run-stop"):
        add(name, opened.number)
    oven = ledger_runs.open_oven(ledger_runs.make_heat_protocol(history.band))
    for name in ("run-values", "run-close", "run-detail"):
        add(name, oven.number)
    for meter in (history.meter, Meter.objects.get(faults__isnull=False)):
        add("meter-detail", meter.serial)
    add("meter-wrong", history.meter.serial)
    lamp = Lamp.objects.latest("pk")
    for name in ("lamp-hours", "lamp-change"):
        add(name, lamp.pk)
