"""Pictures of inspection and the tables beside them; how parts are checked, on pages.

Figures of plans: MIL-STD-105E, Tables I, II-A and II-B; of curves: the binomial
distribution of scipy.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client
from scipy.stats import binom

from kitting.checking.queries.inspection import pareto_of, source_lines, ticks
from kitting.models import DefectKind, Part, User
from tests import factories
from tests.assertions import assert_page, assert_problem
from tests.databases import once_a_module
from tests.kitting.checking.inspection_pages import (
    OF,
    SOURCE,
    address,
    lot_of,
    make_sampled_part,
    values,
)

pytestmark = pytest.mark.django_db

ClientFor = Callable[[User], Client]


@pytest.fixture
def officer(client_for: ClientFor) -> Client:
    return client_for(factories.make_person("quality officer"))


@once_a_module
def part() -> Part:
    return make_sampled_part()


# -- Pictures and their tables ----------------------------------------------------------------


def test_defects_by_kind_with_what_is_not_on_the_list(part: Part) -> None:
    lines = pareto_of(lot_of("HB-1").checks.all())
    told = [(line.name, line.pieces, line.together_ppm) for line in lines]
    assert told == [("Scratched", 3, 750_000), ("", 1, 1_000_000)]


def test_the_page_of_a_source_has_pictures_tables_and_files(
    officer: Client, part: Part
) -> None:
    to = address("inspection", query=OF)
    response = officer.get(to)
    text = response.content.decode()
    assert text.count("<svg class=") == 2 + text.count('<svg class="mark')
    assert text.count('class="band band-normal"') == 1
    assert text.count('class="curve-no"') == 1
    assert "Scratched" in text
    assert "75.0" in text
    csv = officer.get(to + "&as=csv").getvalue().decode()  # type: ignore[attr-defined]
    assert "HB-1" in csv
    none = officer.get(to + "&until=2020-01-01").content.decode()
    assert "No lot matches" in none


def test_a_name_that_is_markup_stays_text_in_a_picture(
    officer: Client, part: Part
) -> None:
    DefectKind.objects.update(name="<b>&")
    text = officer.get(address("inspection", query=OF)).content.decode()
    assert "<b>&" not in text
    assert "&lt;b&gt;&amp;" in text


@pytest.mark.smoke
def test_all_sources_stand_on_one_page(officer: Client, part: Part) -> None:
    factories.accept(factories.make_lot())
    lines = {line.part.code: line for line in source_lines()}
    assert (lines["HB"].lots, lines["HB"].rejected) == (1, 1)
    assert not lines["HB"].tightened
    factories.reject(factories.make_lot(part.revisions.get()))
    [line] = [line for line in source_lines() if line.part == part]
    assert line.tightened
    assert not line.stopped
    text = officer.get(address("inspection")).content.decode()
    assert "1 on tightened inspection, 0 on reduced, 0 stopped" in text


def test_a_source_of_which_all_is_looked_at_has_a_page(officer: Client) -> None:
    lot = factories.reject(factories.make_lot())
    query = f"?part={lot.part.code}&source={SOURCE}"
    text = officer.get(address("inspection", query=query)).content.decode()
    assert "nothing to switch" in text
    assert "band-all" in text


def test_the_curve_reads_its_risks_off_the_binomial(officer: Client) -> None:
    query = "?pieces=800&level=II&aql=1000&severity=normal"
    response = officer.get(address("inspection-curve", query=query))
    curve = response.context["curve"]
    assert curve.producers_risk == pytest.approx(1 - binom.cdf(2, 80, 0.01), abs=1e-12)
    consumers = curve.consumers.bad_ppm / 1_000_000
    assert binom.cdf(2, 80, consumers) == pytest.approx(0.1, abs=1e-4)
    for line in response.context["lines"]:
        wanted = binom.cdf(2, 80, line.bad_ppm / 1_000_000)
        assert line.chance == pytest.approx(wanted, abs=1e-12)
    letters = [line.letter for line in response.context["lines"] if line.letter]
    assert letters == ["A", "B"]
    text = response.content.decode()
    assert "rejected with a chance of 4.7" in text


@pytest.mark.parametrize(
    "query",
    [
        "?pieces=0&level=II&aql=1000&severity=normal",
        "?pieces=x&level=II&aql=1000&severity=normal",
        "?pieces=5&level=IV&aql=1000&severity=normal",
        "?pieces=5&level=II&aql=1001&severity=normal",
        "?pieces=5&level=II&aql=1000&severity=lenient",
        "?pieces=" + "9" * 40,
    ],
)
def test_no_plan_of_the_tables_has_no_curve(query: str, officer: Client) -> None:
    response = officer.get(address("inspection-curve", query=query))
    assert_page(response, status=422)
    assert "The tables have no such plan" in response.content.decode()


@pytest.mark.parametrize("severity", ["normal", "tightened", "reduced"])
@pytest.mark.parametrize("aql", ["65", "10000"])
@pytest.mark.parametrize("pieces", ["1", "5", "1000000"])
def test_any_plan_of_the_tables_has_a_curve(
    pieces: str, aql: str, severity: str, officer: Client
) -> None:
    query = f"?pieces={pieces}&level=II&aql={aql}&severity={severity}"
    response = officer.get(address("inspection-curve", query=query))
    assert_page(response)
    assert 'class="oc"' in response.content.decode()


def test_the_picture_of_verdicts_hatches_what_was_tightened(
    officer: Client, part: Part
) -> None:
    revision = part.revisions.get()
    for found in (1, 0, 0):
        lot = factories.make_lot(revision)
        if found:
            factories.reject(lot)
        else:
            factories.accept(lot)
    text = officer.get(address("inspection", query=OF)).content.decode()
    assert text.count('class="band band-normal"') == 2
    assert text.count('class="band band-tightened"') == 2
    assert text.count('class="curve-yes"') == 2


def test_arrows_are_told_and_classes_that_count_in_fewer_pieces(
    officer: Client, part: Part
) -> None:
    """100 pieces: letter F; AQL 1.0 E by the arrow up, AQL 2.5 F, 20 pieces, 1/2."""
    factories.make_lot(part.revisions.get(), number="HB-3")
    text = officer.get(address("lot-check", "HB-3")).content.decode()
    assert "draw 20 of 100\N{NO-BREAK SPACE}pieces" in text
    assert "1 arrow up from F" in text
    assert "it counts in the first of them only" in text


def test_where_all_is_looked_at_the_page_draws_nothing(officer: Client) -> None:
    lot = factories.make_lot(number="HB-4")
    text = officer.get(address("lot-check", lot.number)).content.decode()
    assert "look at all of it" in text
    assert "What to draw" not in text
    factories.accept(lot)
    text = officer.get(address("lot-check", lot.number)).content.decode()
    assert "It has its verdict" in text
    assert "data-counting" not in text


@pytest.mark.parametrize("end", [1, 6, 7, 59_999, 60_000, 60_001, 1_000_000])
def test_scales_have_round_steps_and_not_many(end: int) -> None:
    marks = ticks(end)
    assert 1 < len(marks) <= 7
    assert marks[0] == 0
    assert marks[-1] <= end < marks[-1] + marks.step
    assert str(marks.step).rstrip("0") in {"1", "2", "5"}


# -- Setting -----------------------------------------------------------------------------------


@pytest.mark.smoke
def test_the_plan_of_a_part_is_set_on_its_page(officer: Client, part: Part) -> None:
    to = address("part-set", "HB")
    sent = {"way": "sample", "level": "III", "aql_major": "650", "aql_minor": "4000"}
    assert officer.post(to, values(**sent)).status_code == 302
    part.refresh_from_db()
    assert (part.check_level, part.aql_major, part.aql_minor) == ("III", 650, 4_000)
    response = officer.post(to, values(**{**sent, "way": "none"}))
    assert_problem(response, "part_has_lots")
    for wrong in ({"level": "IV"}, {"aql_major": "651"}, {"way": "often"}):
        response = officer.post(to, values(**{**sent, **wrong}))
        assert_problem(response, "invalid_choice")
    part.refresh_from_db()
    assert part.needs_check


@pytest.mark.smoke
def test_kinds_of_defect_are_added_and_changed_on_their_pages(
    officer: Client, part: Part
) -> None:
    sent = values(code="edge", name="Rough edge", grade="minor", in_use="on")
    assert officer.post(address("kind-new"), sent).status_code == 302
    kind = DefectKind.objects.get(code="EDGE")
    response = officer.post(
        address("kind-new"), values(code="EDGE", name="x", grade="minor")
    )
    assert_problem(response, "defect_kind_exists", status=409)
    to = address("kind-change", "EDGE")
    sent = values(name="Edge", grade="major", part=str(part.pk))
    assert officer.post(to, sent).status_code == 302
    kind.refresh_from_db()
    assert (kind.name, kind.grade, kind.part, kind.in_use) == (
        "Edge",
        "major",
        part,
        False,
    )
    response = officer.post(
        address("kind-change", "SCR"), values(name="Scratched", grade="minor")
    )
    assert_problem(response, "defect_kind_found")
    text = officer.get(address("inspection-set")).content.decode()
    assert "no longer" in text
