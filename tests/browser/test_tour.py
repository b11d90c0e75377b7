"""One tour for each role: every page of inspection and disinfection that it may see."""

from __future__ import annotations

from itertools import takewhile

import pytest
from django.urls import resolve
from playwright.sync_api import Page

from kitting.ledger.setup import ensure_workshop
from tests import factories
from tests.browser.measuring import bring_axe, width
from tests.browser.touring import Pages, pages_of
from tests.browser.walking import DESK, HEAVIEST_PAGE, TABLET, Walker, enter
from tests.ledgers import make_history

pytestmark = pytest.mark.django_db(transaction=True)

TOURS = (("checker", DESK), ("line operator", TABLET), ("quality officer", DESK))


@pytest.fixture
def pages(transactional_db: None) -> Pages:
    ensure_workshop()
    return pages_of(make_history())


@pytest.mark.parametrize("every", [False, pytest.param(True, marks=pytest.mark.long)])
@pytest.mark.parametrize(("role", "size"), TOURS)
def test_a_role_sees_every_page_that_is_for_it(
    role: str, size, every: bool, page: Page, live_server, pages: Pages
) -> None:
    """In the gate only the first role that may see a page goes there, and once."""
    before = [] if every else list(takewhile(lambda known: known != role, dict(TOURS)))
    earlier = [factories.make_person(known) for known in before]
    person = factories.make_person(role)
    client = enter(page, person, live_server.url)
    page.set_viewport_size(size)
    bring_axe(page)
    walker = Walker(page, live_server.url)
    toured = set()
    for name, addresses in sorted(pages.items()):
        right = resolve(addresses[0].split("?")[0]).func.permission  # type: ignore[attr-defined]
        if not person.has_perm(right):
            assert client.get(addresses[0]).status_code == 403, name
            continue
        toured.add(name)
        if any(other.has_perm(right) for other in earlier):
            continue
        for nth, address in enumerate(addresses if every else addresses[:1]):
            answer = page.goto(live_server.url + address)
            assert answer is not None
            assert answer.status == 200, address
            walker.look(f"{name} {nth}")
            assert width(page) <= size["width"], f"{address} is wider than the screen"
    assert walker.complaints == []
    assert walker.refused == []
    assert walker.barriers == []
    heavy = {name: n for name, n in walker.weights.items() if n > HEAVIEST_PAGE}
    assert heavy == {}
    assert len(toured) >= 20
    assert walker.asked == {live_server.url.removeprefix("http://")}
