"""Pages of reduced inspection: what is met, who decides, what the check shows then.

Plans: MIL-STD-105E, Tables II-A and II-C, letter H at AQL 1.0: 50 pieces 1/2, reduced
20 pieces 0/2. Curves: the binomial distribution of scipy.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client
from scipy.stats import binom

from kitting.checking.queries.inspection import source_lines
from kitting.checking.queries.switching import states_of
from kitting.checking.services import checks
from kitting.lots.services.lots import NewBag
from kitting.models import Operation, Part, Switching, User
from tests import factories
from tests.assertions import (
    assert_page,
    assert_part,
    assert_problem,
    assert_sent_to_sign_in,
    text_of,
)
from tests.databases import once_a_module
from tests.kitting.checking.inspection_pages import OF, SOURCE, address, values

pytestmark = pytest.mark.django_db

ClientFor = Callable[[User], Client]

MAJOR = OF + "&grade=major"
ACTS = ["inspection-reduce", "inspection-restore"]


@pytest.fixture
def checker(client_for: ClientFor) -> Client:
    return client_for(factories.make_person("checker"))


@pytest.fixture
def officer(client_for: ClientFor) -> Client:
    return client_for(factories.make_person("quality officer"))


def accept(part: Part, lots: int, found: int = 0, number: str = "") -> None:
    revision = part.revisions.get()
    for at in range(lots):
        named = {"number": f"{number}-{at}"} if number else {}
        lot = factories.make_lot(revision, bags=(NewBag(500),), **named)
        checks.give_verdict(
            lot_id=lot.pk, accept=True, found=found, sign=factories.sign()
        )


@once_a_module
def part() -> Part:
    """Eleven lots accepted, one bad piece in the last, which the AQL lets pass."""
    revision = factories.sampled_revision(code="HB", name="Headband")
    accept(revision.part, 10)
    accept(revision.part, 1, found=1)
    return revision.part


def source_text(client: Client) -> str:
    return text_of(client.get(address("inspection", query=OF)))


@pytest.mark.parametrize("name", ACTS)
def test_pages_and_their_parts(name: str, officer: Client, part: Part) -> None:
    to = address(name, query=MAJOR)
    assert_page(officer.get(to))
    assert_part(officer.get(to, headers={"HX-Request": "true"}), name)


@pytest.mark.parametrize("name", ACTS)
def test_only_the_quality_officer_decides(
    name: str,
    client: Client,
    checker: Client,
    client_for: ClientFor,
    outsider: User,
    part: Part,
) -> None:
    to = address(name, query=MAJOR)
    assert_sent_to_sign_in(client.get(to))
    before = Operation.objects.count()
    for person in (checker, client_for(outsider)):
        assert person.get(to).status_code == 403
        sent = values(reason="Good", steady="on")
        assert person.post(to, sent).status_code == 403
    assert Operation.objects.count() == before


@pytest.mark.parametrize("name", ACTS)
@pytest.mark.parametrize(
    "query",
    ["", OF, OF + "&grade=critical", OF + "&grade=x", "?part=NO&source=x&grade=major"],
)
def test_what_is_not_named_is_not_found(
    name: str, query: str, officer: Client, part: Part
) -> None:
    assert officer.get(address(name, query=query)).status_code == 404


def test_the_page_of_a_source_tells_what_is_met_and_offers_it_to_the_officer(
    officer: Client, checker: Client, part: Part
) -> None:
    text = source_text(officer)
    assert "yes, 11" in text
    assert "yes, 1 bad in 500, at most 5" in text
    assert "the quality officer says so" in text
    assert "Reduce for major" in text
    seen = source_text(checker)
    assert "yes, 11" in seen
    assert "inspection-reduce" not in seen
    assert "Reduce for" not in seen


def test_the_page_tells_what_is_not_met(officer: Client) -> None:
    revision = factories.sampled_revision(code="HB", name="Headband")
    accept(revision.part, 4, found=1)
    text = source_text(officer)
    assert "4 so far" in text
    assert "no, 4 bad in 200, at most 2" in text
    assert "not yet" in text
    assert "Reduce for major" not in text
    to = address("inspection-reduce", query=MAJOR)
    assert "4 lots in a row were accepted" in officer.get(to).content.decode()
    response = officer.post(to, values(steady="on", reason="Hurry"))
    assert_problem(response, "reduced_needs_lots")
    for _ in range(2):
        factories.reject(factories.make_lot(revision), found=3)
    text = source_text(officer)
    assert "not on normal inspection" in text
    assert "4 so far" not in text
    assert "Not now." in officer.get(to).content.decode()


@pytest.mark.smoke
def test_reduced_inspection_begins_and_ends_on_its_pages(
    officer: Client, checker: Client, part: Part
) -> None:
    to = address("inspection-reduce", query=MAJOR)
    text = officer.get(to).content.decode()
    assert "11 lots in a row were accepted" in text
    assert "1 bad in 500\N{NO-BREAK SPACE}pieces, and the AQL allows 5" in text
    assert_problem(officer.post(to, values(reason="Good")), "production_not_steady")
    assert_problem(officer.post(to, values(steady="on", reason=" ")), "required")
    assert not Switching.objects.exists()
    sent = values(steady="on", reason="Good since the new nozzle")
    for _ in range(2):  # the same form sent again happens once
        assert officer.post(to, sent).status_code == 302
    assert Switching.objects.count() == 1
    text = source_text(officer)
    assert "Reduced: 11 lots in a row were accepted" in text
    assert "Good since the new nozzle" in text
    assert "End for major" in text
    assert "End for" not in source_text(checker)
    [line] = [line for line in source_lines() if line.part == part]
    assert line.reduced
    assert "1 on reduced" in officer.get(address("inspection")).content.decode()
    to = address("inspection-restore", query=MAJOR)
    assert_problem(officer.post(to, values(reason="")), "required")
    assert officer.post(to, values(reason="Printer moved")).status_code == 302
    text = source_text(officer)
    assert "the quality officer ended reduced inspection" in text
    assert "Printer moved" in text
    response = officer.post(to, values(reason="Again"))
    assert_problem(response, "inspection_not_reduced")


def test_the_check_shows_both_numbers_and_says_what_ends_it(
    officer: Client, checker: Client, part: Part
) -> None:
    for grade in ("major", "minor"):
        to = address("inspection-reduce", query=f"{OF}&grade={grade}")
        officer.post(to, values(steady="on", reason="Good"))
    lot = factories.make_lot(
        part.revisions.get(), number="HB-R", bags=(NewBag(300), NewBag(200))
    )
    text = text_of(checker.get(address("lot-check", "HB-R")))
    assert "draw 20 of 500\N{NO-BREAK SPACE}pieces" in text
    assert "A count between the two numbers accepts the lot" in text
    assert 'data-accept="0" data-reject="2"' in text
    sent = values(verdict="accepted", looked="on", found="1")
    response = checker.post(address("lot-check", "HB-R"), sent, follow=True)
    assert "Reduced inspection ends" in response.content.decode()
    lot.refresh_from_db()
    assert lot.verdict == "accepted"
    assert states_of(part.pk, SOURCE)["major"].severity == "normal"
    text = source_text(officer)
    assert "passed, with more bad" in text
    assert text.count('class="band band-reduced"') == 1
    assert "major 1/2" in text


@pytest.mark.smoke
def test_a_rejected_lot_names_the_number_of_its_plan(
    officer: Client, part: Part
) -> None:
    to = address("inspection-reduce", query=MAJOR)
    officer.post(to, values(steady="on", reason="Good"))
    lot = factories.make_lot(part.revisions.get(), number="HB-R", bags=(NewBag(500),))
    factories.reject(lot, found=2)
    text = officer.get(address("lot-rejected", "HB-R")).content.decode()
    assert "major: 2 bad in 20, rejected from 2" in text
    assert "a lot was rejected on reduced inspection" in source_text(officer)


def test_the_curve_counts_what_lies_between_as_accepted(officer: Client) -> None:
    query = "?pieces=1000&level=II&aql=1500&severity=reduced"
    response = officer.get(address("inspection-curve", query=query))
    # Letter J, AQL 1.5, reduced: 32 pieces, 1/4.
    risk = response.context["curve"].producers_risk
    assert risk == pytest.approx(1 - binom.cdf(3, 32, 0.015), abs=1e-12)
    text = response.content.decode()
    assert "accept to 1, reject from 4" in text
    assert "the curve counts that as accepted" in text
