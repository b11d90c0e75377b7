"""Pages of checks and of rejected lots: who may see them, what they show and refuse.

Figures of plans: MIL-STD-105E, Tables I and II-A.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from kitting.checking.queries.checks import check_page, plan_of
from kitting.checking.queries.switching import states_of
from kitting.checking.services import rejected
from kitting.models import DefectKind, Disposition, Operation, Part, User
from tests import factories
from tests.assertions import (
    assert_page,
    assert_part,
    assert_problem,
    assert_sent_to_sign_in,
    text_of,
)
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
def checker(client_for: ClientFor) -> Client:
    return client_for(factories.make_person("checker"))


@pytest.fixture
def officer(client_for: ClientFor) -> Client:
    return client_for(factories.make_person("quality officer"))


@once_a_module
def part() -> Part:
    return make_sampled_part()


SEEN = [  # page, arguments, query, part of it
    ("lot-check", ("HB-2",), "", "lot-check"),
    ("lot-rejected", ("HB-1",), "", "inspection-rejected"),
    ("lot-rejected", ("HB-2",), "", "inspection-rejected"),
    ("lot-send-back", ("HB-1",), "", "inspection-bags"),
    ("lot-scrap", ("HB-1",), "", "inspection-bags"),
    ("inspection", (), "", "inspection-sources"),
    ("inspection", (), OF, "inspection-source"),
    ("inspection", (), OF + "&since=2026-01-01&until=x", "inspection-source"),
    ("inspection-curve", (), "", "inspection-curve"),
]
TO_SOURCE = '?part=HB&amp;source=Print%20bench"'

OFFICERS = [
    ("lot-reject", ("HB-2",), "", "lot-check"),
    ("lot-concession", ("HB-1",), "", "inspection-bags"),
    ("inspection-resume", (), OF, "inspection-resume"),
    ("inspection-set", (), "", "inspection-set"),
    ("part-set", ("HB",), "", "inspection-part"),
    ("kind-new", (), "", "inspection-kind"),
    ("kind-change", ("SCR",), "", "inspection-kind"),
]


@pytest.mark.parametrize(("name", "args", "query", "of"), SEEN + OFFICERS)
def test_pages_and_their_parts(
    name: str, args: tuple[str], query: str, of: str, officer: Client, part: Part
) -> None:
    to = address(name, *args, query=query)
    assert_page(officer.get(to))
    assert_part(officer.get(to, headers={"HX-Request": "true"}), of)


@pytest.mark.parametrize(("name", "args", "query", "of"), SEEN + OFFICERS)
def test_strangers_sign_in_and_outsiders_are_refused(
    name: str,
    args: tuple[str],
    query: str,
    of: str,
    client: Client,
    client_for: ClientFor,
    outsider: User,
    part: Part,
) -> None:
    to = address(name, *args, query=query)
    assert_sent_to_sign_in(client.get(to))
    assert client_for(outsider).get(to).status_code == 403


@pytest.mark.parametrize(("name", "args", "query", "of"), OFFICERS)
def test_what_is_the_quality_officers_is_not_the_checkers(
    name: str, args: tuple[str], query: str, of: str, checker: Client, part: Part
) -> None:
    to = address(name, *args, query=query)
    assert checker.get(to).status_code == 403
    before = Operation.objects.count()
    assert checker.post(to, values(reason="x")).status_code == 403
    assert Operation.objects.count() == before


@pytest.mark.parametrize(
    ("name", "args", "query"),
    [
        ("lot-rejected", ("NO-1",), ""),
        ("lot-concession", ("NO-1",), ""),
        ("part-set", ("NO",), ""),
        ("kind-change", ("NO",), ""),
        ("inspection-resume", (), ""),
        ("inspection-resume", (), "?part=NO&source=x"),
        ("bag-sort", ("HB-1", "NO"), ""),
    ],
)
def test_what_is_not_there_is_not_found(
    name: str, args: tuple[str], query: str, officer: Client, part: Part
) -> None:
    assert officer.get(address(name, *args, query=query)).status_code == 404


# -- The page of a check ----------------------------------------------------------------


def test_the_page_says_how_many_to_draw_from_which_bags(
    checker: Client, part: Part
) -> None:
    page = check_page(lot_of("HB-2"))
    assert page is not None
    # 501 pieces, level II: letter J, 80 pieces, AQL 1.0: 2/3, AQL 2.5: 5/6.
    assert [line.pieces for line in page.draws] == [48, 32]
    text = checker.get(address("lot-check", "HB-2")).content.decode()
    assert (
        "draw 80 of 501\N{NO-BREAK SPACE}pieces, from 2\N{NO-BREAK SPACE}bags" in text
    )
    assert "Normal: inspection begins like this" in text
    assert "Reduced inspection never begins by itself" in text
    assert text.count("data-more=") == 2  # Scratched, and another defect
    assert text.count(TO_SOURCE) == 1


@pytest.mark.smoke
def test_taps_are_counted_and_the_verdict_follows(checker: Client, part: Part) -> None:
    kind, lot = DefectKind.objects.get(code="SCR"), lot_of("HB-2")
    plan = plan_of(lot)
    assert plan is not None
    counted = {f"kind_{kind.pk}": "3", "shown": plan.mark}
    to = address("lot-check", "HB-2")
    response = checker.post(to, values(verdict="accepted", looked="on", **counted))
    assert_problem(response, "plan_rejects")
    assert "found major: 3, rejected from 3" in response.content.decode()
    response = checker.post(to, values(verdict="rejected", reason="Bad", **counted))
    assert response.status_code == 302
    assert lot.checks.get().defects.get().pieces == 3


BAD_COUNTS = [("-1", "min_value"), ("two", "invalid"), ("1e3", "invalid"),
              ("9" * 40, "max_value"), ("81", "found_out_of_range")]  # fmt: skip


@pytest.mark.parametrize(("count", "code"), BAD_COUNTS)
def test_bad_counts_come_back_with_a_sentence_and_write_nothing(
    count: str, code: str, checker: Client, part: Part
) -> None:
    kind = DefectKind.objects.get(code="SCR")
    sent = values(verdict="rejected", reason="Bad", **{f"kind_{kind.pk}": count})
    assert_problem(checker.post(address("lot-check", "HB-2"), sent), code)
    assert not lot_of("HB-2").checks.exists()


@pytest.mark.smoke
def test_a_page_that_shows_an_old_plan_is_answered_with_the_new_one(
    checker: Client, part: Part, hx: dict[str, str]
) -> None:
    to = address("lot-check", "HB-2")
    sent = values(verdict="accepted", looked="on", shown="500-II-on/old")
    response = checker.post(to, sent, headers=hx)
    assert_problem(response, "plan_changed", status=409)
    plan = plan_of(lot_of("HB-2"))
    assert plan is not None
    assert plan.mark in response.content.decode()
    sent = values(verdict="accepted", looked="on", shown=plan.mark)
    assert "HX-Redirect" in checker.post(to, sent, headers=hx).headers


@pytest.mark.smoke
def test_rejecting_against_the_plan_is_an_act_of_its_own(
    officer: Client, part: Part
) -> None:
    to = address("lot-reject", "HB-2")
    assert_problem(officer.post(to, values(reason="")), "required")
    sent = values(reason="Smells")
    for _ in range(2):
        assert officer.post(to, sent).status_code == 302
    assert lot_of("HB-2").verdict == "rejected"
    assert lot_of("HB-2").checks.count() == 1


@pytest.mark.smoke
def test_where_sources_are_stopped_the_page_says_so_and_one_act_resumes_it(
    officer: Client, checker: Client, part: Part
) -> None:
    revision = part.revisions.get()
    for _ in range(6):
        factories.reject(factories.make_lot(revision))
    text = checker.get(address("lot-check", "HB-2")).content.decode()
    assert "inspection is stopped" in text
    assert "inspection-resume" not in text
    # How the source has been doing; and for an officer, to let it begin again.
    address_of_check = address("lot-check", "HB-2")
    assert officer.get(address_of_check).content.decode().count(TO_SOURCE) == 2
    sent = values(verdict="accepted", looked="on")
    response = checker.post(address("lot-check", "HB-2"), sent)
    assert_problem(response, "inspection_stopped")
    to = address("inspection-resume", query=OF)
    assert "Stopped: 5 lots were rejected" in officer.get(to).content.decode()
    assert_problem(officer.post(to, values(reason=" ")), "required")
    allowed = officer.post(to, values(reason="New nozzle"), follow=True)
    assert f"Headband from {SOURCE} may be accepted again." in text_of(allowed)
    assert not states_of(part.pk, SOURCE)["major"].stopped
    assert_problem(officer.post(to, values(reason="Again")), "inspection_not_stopped")
    text = officer.get(address("inspection", query=OF)).content.decode()
    assert "New nozzle" in text
    assert "the quality officer allowed it again" in text


# -- Rejected lots -------------------------------------------------------------------------


@pytest.mark.smoke
def test_a_bag_is_sorted_on_its_page(checker: Client, part: Part) -> None:
    lot = lot_of("HB-1")
    bag, kind = lot.bags.order_by("pk")[0], DefectKind.objects.get(code="SCR")
    to = address("bag-sort", "HB-1", bag.number)
    assert_page(checker.get(to))
    counted = {f"kind_{kind.pk}": "2"}
    response = checker.post(to, values(good="57", **counted))
    assert_problem(response, "sorting_does_not_add_up")
    assert_problem(checker.post(to, values(good="", **counted)), "required")
    assert_problem(checker.post(to, values(good="-1", **counted)), "min_value")
    assert not Disposition.objects.exists()
    sent = values(good="58", **counted)
    for _ in range(2):
        assert checker.post(to, sent).status_code == 302
    text = checker.get(address("lot-rejected", "HB-1")).content.decode()
    assert "1 bag with 40" in text
    assert "2 × Scratched" in text
    assert "not rejected any more" in checker.get(to).content.decode()


ENDS = pytest.mark.parametrize(
    ("name", "reason", "fate", "stage"),
    [
        ("lot-send-back", "Split", "sent_back", "used_up"),
        ("lot-concession", "Split", "concession", "accepted"),
        ("lot-scrap", "Damaged", "scrapped", "used_up"),
    ],
)


@pytest.mark.smoke
@ENDS
def test_what_is_done_to_bags_is_shown_in_figures_before_it_is_done(
    name: str, reason: str, fate: str, stage: str, officer: Client, part: Part
) -> None:
    bag, other = lot_of("HB-1").bags.order_by("pk")
    to = address(name, "HB-1")
    assert " checked" not in officer.get(to).content.decode()
    assert_problem(officer.post(to, values(reason=reason)), "required")
    sent = values(bags=[str(bag.pk), "0"], reason=reason)
    assert_problem(officer.post(to, sent), "invalid_choice")
    sent = values(bags=[str(bag.pk)], reason=reason)
    asked = officer.post(to, sent)
    assert asked.status_code == 200
    assert "1\N{NO-BREAK SPACE}bag with 60\N{NO-BREAK SPACE}pieces" in text_of(asked)
    assert not Disposition.objects.exists()
    sent |= {"pieces": "60"}
    assert officer.post(to, sent).status_code == 302
    bag.refresh_from_db()
    other.refresh_from_db()
    assert (bag.stage, other.stage) == (stage, "rejected")
    assert Disposition.objects.get().fate == fate
    # The same form sent again happens once; another one finds the bag decided about.
    assert officer.post(to, sent).status_code == 302
    again = values(bags=[str(bag.pk)], reason=reason, pieces="60")
    assert_problem(officer.post(to, again), "bag_wrong_stage", status=409)
    assert Disposition.objects.count() == 1


@ENDS
def test_all_bags_are_one_tick_and_go_along_one_by_one(
    name: str, reason: str, fate: str, stage: str, officer: Client, part: Part
) -> None:
    to = address(name, "HB-1")
    asked = officer.post(to, values(bags=["all"], reason=reason))
    form = asked.context["form"]
    assert "2\N{NO-BREAK SPACE}bags with 100" in text_of(asked)
    ids = form.data.getlist("bags")
    assert ids == [str(bag.pk) for bag in lot_of("HB-1").bags.order_by("pk")]
    for field in ("bags", "reason"):
        assert form[field].is_hidden
    sent = values(bags=ids, reason=reason, pieces=form.data["pieces"])
    assert officer.post(to, sent).status_code == 302
    assert Disposition.objects.filter(fate=fate).count() == 2
    assert {bag.stage for bag in lot_of("HB-1").bags.all()} == {stage}
    assert officer.post(to, sent).status_code == 302


@ENDS
def test_bags_that_changed_since_the_figures_were_shown_stay(
    name: str, reason: str, fate: str, stage: str, officer: Client, part: Part
) -> None:
    bag = lot_of("HB-1").bags.latest("pk")
    sent = values(bags=[str(bag.pk)], reason=reason, pieces="39")
    response = officer.post(address(name, "HB-1"), sent)
    assert_problem(response, "pieces_differ", status=409)
    assert not Disposition.objects.exists()


def test_the_balance_says_where_what_was_sent_back_is(
    client_for: ClientFor, part: Part
) -> None:
    lot = lot_of("HB-1")
    rejected.send_back(lot_id=lot.pk, reason="Split", sign=factories.sign())
    clerk = client_for(factories.make_person("clerk"))
    response = clerk.get(reverse("dispatch:recall"), {"q": "HB-1"})
    assert "sent back to its source counts as not received" in response.content.decode()
