"""What every test may ask for: people, clients, a browser; and what no test forgets."""

from __future__ import annotations

import copy
import gc
import json
import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from django.conf import settings
from django.contrib import auth
from django.core.management import call_command
from django.db import connection
from django.test import Client, TransactionTestCase, override_settings

from kitting.ledger import keys
from kitting.web import idle
from tests import databases, searching
from tests.demo import (
    NAME,
    Demo,
    build_and_serve,
    copy_of,
    own_on_the_server,
    pointed_at,
    working_on,
)
from tests.patience import PATIENCE_S

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page
    from pytest_django import DjangoDbBlocker

    from kitting.models import User
    from tests.ledgers import History
    from tests.pages import Shown

# Playwright's synchronous driver runs an event loop in the thread of the test.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")

CHROMIUM = (
    os.environ.get("LOTWARD_TEST_CHROMIUM")
    or shutil.which("chromium-headless-shell", path="/usr/bin")
    or "/usr/bin/chromium"
)
CHROMIUM_SWITCHES = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    # A page opens a quarter cheaper in a process that is there; no test needs its own.
    "--renderer-process-limit=1",
    # No page is there long enough to win back what it costs to compile its scripts well.
    "--js-flags=--no-opt,--no-maglev",
]
searching.choose()

# Whatever takes longest goes first, or one worker ends long after the others.
LONGEST = (
    "test_ledger_machine.py",
    "test_tour.py",
    "test_every_page.py",
    "test_walk.py",
    "test_every_act.py",
    "test_demo.py",
    "test_every_column.py",
    "test_fuzz.py",
    "test_restore_files.py",
)

DATABASE_FIXTURES = {"db", "transactional_db", "live_server", "django_db_setup"}
CLIENT_FIXTURES = {"client", "client_for", "everybody", "tablet"}
CLIENTS = {"Client", "tied"}


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark each test by what it goes through: see the markers in pyproject.toml."""
    for item in items:
        fixtures = set(getattr(item, "fixturenames", ()))
        code = getattr(getattr(item, "function", None), "__code__", None)
        if "browser" in fixtures:
            item.add_marker("browser")
        elif fixtures & CLIENT_FIXTURES or (
            code and CLIENTS.intersection(code.co_names)
        ):
            item.add_marker("page")
        if (
            not item.get_closest_marker("django_db")
            and not fixtures & DATABASE_FIXTURES
        ):
            item.add_marker("pure")
    items[:] = databases.side_by_side(items)
    items.sort(key=lambda item: item.path.name not in LONGEST)


def pytest_collection_finish() -> None:
    """What was collected stays to the end: nobody need look for garbage in it.

    Nor need it be looked for each time that 700 things were made: a tenth of the time.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(20_000, 20, 20)


def _with_room(run: Callable[[], object]) -> object:
    return run()


# Python keeps the frames of calls in pieces of 16 kB, and gets and frees one each time
# that a call crosses its end: a tenth of the time, deep down in a test. One frame that
# asks for a big piece leaves room in it for all that it calls.
_with_room.__code__ = _with_room.__code__.replace(co_stacksize=33_000)
_running: list[pytest.Session] = []


@pytest.hookimpl(tryfirst=True)
def pytest_runtestloop(session: pytest.Session) -> object:
    """Run the tests where calls have room."""
    if session in _running:
        return None
    _running.append(session)
    return _with_room(partial(session.config.hook.pytest_runtestloop, session=session))


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_setup(item: pytest.Item) -> None:
    databases.leave_scenes(item)


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_teardown(nextitem: pytest.Item | None) -> None:
    databases.goes_on(nextitem)


# -- One migrated database for the whole run; every worker and process has a copy ------


@pytest.fixture(scope="session")
def shared(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Path:
    """A folder that all workers of this run see."""
    own = tmp_path_factory.getbasetemp()
    return own.parent if hasattr(request.config, "workerinput") else own


@pytest.fixture(scope="session")
def migrated(shared: Path, django_db_blocker: DjangoDbBlocker) -> Path:
    """An SQLite file in which all migrations have run, for copying."""
    folder = shared / "migrated"
    with databases.once(shared, "migrated") as mine:
        if mine:
            folder.mkdir()
            with django_db_blocker.unblock(), working_on(folder):
                call_command("migrate", verbosity=0)
                databases.spread_ids()
    return folder / NAME


# -- One built demo for the whole run -------------------------------------------------


@pytest.fixture(scope="session")
def built(shared: Path) -> Demo:
    """The demo as ``make demo`` builds and serves it; nobody changes this one."""
    with databases.once(shared, "demo") as mine:
        if mine:
            build_and_serve(shared)
    return Demo.in_folder(shared)


@contextmanager
def at_a_copy(built: Demo, beside: Path, blocker: DjangoDbBlocker) -> Iterator[Demo]:
    """Work on a copy of the demo for as long as this lasts."""
    folder = beside / built.file.parent.name
    copy_of(built.file, folder)
    at_home = override_settings(
        DATA_DIR=folder, ALLOWED_HOSTS=["localhost", "127.0.0.1"]
    )
    with blocker.unblock(), at_home, working_on(folder) as file:
        yield replace(built, file=file)


@pytest.fixture
def demo(
    built: Demo, tmp_path: Path, django_db_blocker: DjangoDbBlocker
) -> Iterator[Demo]:
    """A copy of the demo, as the database of this test."""
    with at_a_copy(built, tmp_path, django_db_blocker) as copied:
        yield copied


@pytest.fixture(scope="session")
def every_page(
    built: Demo,
    shared: Path,
    tmp_path_factory: pytest.TempPathFactory,
    django_db_blocker: DjangoDbBlocker,
) -> list[Shown]:
    """Every page of the demo, as those see it who may do most; asked for once."""
    from tests.pages import Shown, pages_for

    kept = shared / "pages.json"
    with databases.once(shared, "pages") as mine:
        if mine:
            beside = tmp_path_factory.mktemp("pages")
            with at_a_copy(built, beside, django_db_blocker):
                found = list(pages_for(("manager", "quality")))
            kept.write_text(json.dumps([(at, html.decode()) for at, html in found]))
    return [Shown(at, html.encode()) for at, html in json.loads(kept.read_text())]


@pytest.fixture(scope="session")
def django_db_setup(
    request: pytest.FixtureRequest,
    django_test_environment: None,
    django_db_blocker: DjangoDbBlocker,
) -> Iterator[None]:
    """Give this worker a migrated database of its own."""
    file = None
    with django_db_blocker.unblock():
        connection.close()
        if connection.vendor == "sqlite":
            file = request.getfixturevalue("migrated")
            copy_of(file, settings.TEST_DIR)
        else:
            databases.copy_on_the_server(
                request.getfixturevalue("shared"),
                os.environ.get("PYTEST_XDIST_WORKER", "alone"),
            )
        as_it_was = databases.AsItWas(file)
    with pytest.MonkeyPatch.context() as patch:
        again = lambda _test: as_it_was.again()  # noqa: E731
        patch.setattr(TransactionTestCase, "_fixture_teardown", again)
        yield
    with django_db_blocker.unblock():
        connection.close()


@pytest.fixture
def own(
    request: pytest.FixtureRequest,
    tmp_path: Path,
    django_db_setup: None,
    django_db_blocker: DjangoDbBlocker,
) -> Iterator[Path]:
    """A data folder and a migrated database that are this test's alone, to be lost."""
    folder = tmp_path / "own"
    folder.mkdir()
    with django_db_blocker.unblock(), override_settings(DATA_DIR=folder):
        if connection.vendor == "sqlite":
            copy_of(request.getfixturevalue("migrated"), folder)
            with working_on(folder):
                yield folder
        else:
            with own_on_the_server():
                yield folder


@pytest.fixture(autouse=True)
def _data_folder_as_it_was() -> Iterator[None]:
    """A newest link on record is this test's alone; the key is that of shared histories."""
    key = keys.key()
    yield
    (settings.TEST_DIR / "heads.txt").write_bytes(b"")
    assert key in (None, keys.key()), "Give this test a data folder of its own."


# -- A history that the tests of a module share ---------------------------------------


@pytest.fixture(scope="session")
def _history_kept(
    request: pytest.FixtureRequest,
    tmp_path_factory: pytest.TempPathFactory,
    django_db_setup: None,
    django_db_blocker: DjangoDbBlocker,
) -> tuple[Path | None, History]:
    """A history made once by this worker, in an SQLite file or on the server."""
    from tests.ledgers import make_history

    if connection.vendor != "sqlite":
        with django_db_blocker.unblock(), pointed_at(databases.of_a_history()):
            return None, make_history()
    folder = tmp_path_factory.mktemp("history")
    copy_of(request.getfixturevalue("migrated"), folder)
    with django_db_blocker.unblock(), working_on(folder) as file:
        return file, make_history()


@pytest.fixture(scope="class")
def _history_of_the_module(
    request: pytest.FixtureRequest,
    tmp_path_factory: pytest.TempPathFactory,
    django_db_setup: None,
    django_db_blocker: DjangoDbBlocker,
) -> History:
    file, made = request.getfixturevalue("_history_kept")

    @contextmanager
    def at_a_copy_of_it() -> Iterator[History]:
        at = pointed_at(databases.of_a_history())
        if file:
            folder = tmp_path_factory.mktemp("history")
            copy_of(file, folder)
            at = working_on(folder)
        with django_db_blocker.unblock(), at, django_db_blocker.block():
            yield made

    return databases.stand(request, at_a_copy_of_it())


databases.SHARED.add(_history_of_the_module.__name__)


@pytest.fixture
def history(_history_of_the_module: History, db: None) -> History:
    """A history that only this test sees; what it does to it is rolled back."""
    return copy.deepcopy(_history_of_the_module)


# -- People -------------------------------------------------------------------------


@pytest.fixture
def make_user(db: None) -> Callable[..., User]:
    """Give a function that makes a user with the named permissions or groups."""
    from django.contrib.auth.models import Group, Permission

    from kitting.models import User

    def make(name: str, *, permissions: tuple[str, ...] = (), group: str = "") -> User:
        user = User.objects.create_user(username=name, password="a pass phrase")
        for permission in permissions:
            app, codename = permission.split(".")
            user.user_permissions.add(
                Permission.objects.get(content_type__app_label=app, codename=codename)
            )
        if group:
            user.groups.add(Group.objects.get(name=group))
        return user

    return make


@pytest.fixture
def outsider(make_user: Callable[..., User]) -> User:
    """Somebody who may sign in and nothing else."""
    return make_user("outsider")


@pytest.fixture
def client_for() -> Callable[[User], Client]:
    """Give a function that returns a client signed in as a user."""

    def signed_in(user: User) -> Client:
        """Sign in as ``force_login`` would, without the receivers: a quarter of it."""
        client = Client()
        session = client.session
        session[auth.SESSION_KEY] = str(user.pk)
        session[auth.BACKEND_SESSION_KEY] = "lotward.rights.RightsBackend"
        session[auth.HASH_SESSION_KEY] = user.get_session_auth_hash()
        session[idle.SEEN] = idle.moment()
        session.save()
        return client

    return signed_in


@pytest.fixture
def everybody(
    make_user: Callable[..., User], client_for: Callable[[User], Client]
) -> Client:
    """The browser of somebody with every right, so that no page is closed."""
    from kitting.ledger.setup import ROLES

    rights = {f"kitting.{right}" for of_role in ROLES.values() for right in of_role}
    return client_for(make_user("everybody", permissions=tuple(rights)))


@pytest.fixture
def hx() -> dict[str, str]:
    """The header by which htmx tells that it asks for a part."""
    return {"HX-Request": "true"}


# -- The browser --------------------------------------------------------------------


@pytest.fixture(scope="session")
def browser_type_launch_args(
    browser_type_launch_args: dict[str, Any],
) -> dict[str, Any]:
    return {
        **browser_type_launch_args,
        "executable_path": CHROMIUM,
        "args": CHROMIUM_SWITCHES,
    }


@pytest.fixture(scope="session")
def browser(browser: Browser) -> Browser:
    """Chromium, whose pages are waited for as long as it takes."""
    from playwright.sync_api import expect

    expect.set_options(timeout=PATIENCE_S * 1_000)
    plain = browser.new_context

    def patient(**options: Any) -> BrowserContext:
        context = plain(**options)
        context.set_default_timeout(PATIENCE_S * 1_000)
        return context

    browser.new_context = patient  # type: ignore[method-assign]
    return browser


@pytest.fixture(scope="session")
def base_url() -> None:
    """Stand in for a fixture of a plugin that pytest 9 warns of; nothing here uses it."""


@pytest.fixture
def console_errors(page: Page) -> list[str]:
    """Collect what the browser complains of; a test asserts that it stays empty."""
    errors: list[str] = []
    page.on(
        "console",
        lambda message: (
            errors.append(message.text) if message.type == "error" else None
        ),
    )
    page.on("pageerror", lambda error: errors.append(str(error)))
    return errors
