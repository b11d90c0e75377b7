"""A tablet is tied to a bench by a code, once; from then on it alone scans there."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client, override_settings
from django.urls import reverse

from kitting.domain.errors import LotwardError
from kitting.ledger import proof
from kitting.models import Bag, Bench, Link, Operation, RowSeal, Tablet
from kitting.packing.services import boxes
from kitting.packing.services.benches import change_bench
from kitting.packing.services.tablets import (
    code_of,
    give_code,
    giver_of,
    tie_tablet,
    token_of,
    untie_tablet,
)
from kitting.web.tablet import COOKIE
from tests import factories
from tests.assertions import assert_page, assert_problem, text_of

pytestmark = pytest.mark.django_db

TABLET = reverse("kitting:tablet")


def page(name: str, bench: Bench) -> str:
    return reverse(f"kitting:bench-{name}", args=[bench.code])


def sent(**entered: Any) -> dict[str, Any]:
    return {"op_key": str(uuid.uuid4()), **entered}


def given(bench: Bench, **changes: Any) -> str:
    sign = factories.sign(**changes)
    give_code(bench_id=bench.pk, sign=sign)
    return code_of(sign.key)


def tied(bench: Bench) -> Client:
    """A browser that took up a code of the bench, on the workshop's own clock."""
    code = given(bench, now=None)
    browser = Client()
    answer = browser.post(TABLET, sent(code=code))
    assert answer.status_code == 302, text_of(answer)
    return browser


def refused(act: Any) -> LotwardError:
    before = Operation.objects.count(), list(Tablet.objects.values())
    with pytest.raises(LotwardError) as caught:
        act()
    assert (Operation.objects.count(), list(Tablet.objects.values())) == before
    return caught.value


@pytest.fixture
def manager(make_user: Any, client_for: Any) -> Client:
    return client_for(make_user("manager", group="manager"))  # type: ignore[no-any-return]


@pytest.fixture
def bag() -> Bag:
    return factories.make_bag()


# -- The code --------------------------------------------------------------------------


def test_a_manager_has_a_code_shown_that_ties_one_tablet(manager: Client) -> None:
    bench = factories.make_bench()
    assert "No tablet is tied to it" in text_of(manager.get(page("change", bench)))
    assert_page(manager.get(page("tie", bench)))
    form = sent()
    answer = manager.post(page("tie", bench), form)
    assert answer.headers["Cache-Control"] == "private, no-store"
    code = code_of(uuid.UUID(form["op_key"]))
    in_groups = f"{code[:4]} {code[4:8]} {code[8:]}"
    assert in_groups in text_of(answer)

    browser = Client()
    assert_page(browser.get(TABLET))
    answer = browser.post(TABLET, sent(code=f" {in_groups}"))
    assert answer.headers["Location"] == reverse("sign-on")
    row = Tablet.objects.get(bench=bench)
    assert row.token_sha256 is not None
    assert row.code_by.username == "manager"
    names = list(Operation.objects.order_by("pk").values_list("name", "by_name"))
    assert names[-2:] == [("give_code", "manager"), ("tie_tablet", "manager")]
    assert "A tablet is tied to it since" in text_of(manager.get(page("change", bench)))
    assert proof.prove() == []


def test_the_cookie_is_for_this_site_alone_and_for_no_script() -> None:
    with override_settings(SESSION_COOKIE_SECURE=True):
        cookie = tied(factories.make_bench()).cookies[COOKIE]
    assert (cookie["httponly"], cookie["samesite"]) == (True, "Strict")
    assert (cookie["secure"], cookie["path"], cookie["domain"]) == (True, "/", "")
    assert int(cookie["max-age"]) > 365 * 24 * 60 * 60


def test_neither_code_nor_token_is_on_record() -> None:
    bench = factories.make_bench()
    sign = factories.sign(now=None)
    give_code(bench_id=bench.pk, sign=sign)
    code, browser = code_of(sign.key), Client()
    browser.post(TABLET, sent(code=code))
    token = browser.cookies[COOKIE].value
    kept = [
        *Tablet.objects.values_list("code_mark", "token_sha256"),
        *RowSeal.objects.filter(of="kitting_tablet").values_list("text"),
        *Link.objects.values_list("outcome"),
    ]
    assert len(kept) >= 4
    assert code not in str(kept)
    assert token not in str(kept)


def test_an_answer_that_was_lost_is_given_again_under_the_same_key() -> None:
    bench = factories.make_bench()
    form = sent(code=given(bench, now=None))
    lost, again, other = Client(), Client(), Client()
    lost.post(TABLET, form)
    assert again.post(TABLET, form).status_code == 302
    assert again.cookies[COOKIE].value == lost.cookies[COOKIE].value
    assert Operation.objects.filter(name="tie_tablet").count() == 1
    # Whoever sends it under another key has seen the code and is too late.
    assert_problem(other.post(TABLET, sent(code=form["code"])), "tie_code_wrong")
    assert COOKIE not in other.cookies


@pytest.mark.parametrize("late_s", [-1, 1])
def test_a_code_is_good_for_ten_minutes(late_s: int) -> None:
    code = given(factories.make_bench())
    now = factories.NOW + timedelta(minutes=10, seconds=late_s)
    sign = factories.sign(now=now)
    if late_s > 0:
        assert (
            refused(lambda: tie_tablet(code=code, sign=sign)).code == "tie_code_wrong"
        )
    else:
        tie_tablet(code=code, sign=sign)


def test_only_the_newest_code_of_a_bench_is_good() -> None:
    bench = factories.make_bench()
    old, new = given(bench), given(bench)
    assert old != new
    wrong = refused(lambda: tie_tablet(code=old, sign=factories.sign()))
    assert wrong.code == "tie_code_wrong"
    tie_tablet(code=new, sign=factories.sign())


def test_wrong_codes_do_a_code_no_harm() -> None:
    """Else anybody on the network could keep tablets from being tied.

    10¹² codes, and 200 tries a second for ten minutes: one in eight million.
    """
    code, stranger = given(factories.make_bench(), now=None), Client()
    assert len(code) == 12
    for nth in range(30):
        wrong = str(nth).zfill(12)
        assert_problem(stranger.post(TABLET, sent(code=wrong)), "tie_code_wrong")
    assert stranger.post(TABLET, sent(code=code)).status_code == 302


def test_the_manager_sees_that_a_code_waits(manager) -> None:
    bench = factories.make_bench()

    def shown() -> str:
        return text_of(manager.get(page("change", bench)))

    assert "A code waits" not in shown()
    code = given(bench, now=None)
    assert "A code waits to be entered on a tablet, until" in shown()
    Client().post(TABLET, sent(code=code))
    assert "A code waits" not in shown()
    assert "End the code" not in shown()


def test_a_code_that_somebody_saw_is_taken_back(manager) -> None:
    bench = factories.make_bench()
    change = page("change", bench)
    assert page("untie", bench) not in text_of(manager.get(change))
    code = given(bench, now=None)
    shown = text_of(manager.get(change))
    assert "End the code" in shown
    assert page("untie", bench) in shown
    assert manager.post(page("untie", bench), sent()).status_code == 302
    assert_problem(Client().post(TABLET, sent(code=code)), "tie_code_wrong")


@pytest.mark.parametrize("code", ["", "x" * 21, "१२३४५६७८", "\0", "1234"])
def test_what_is_no_code_ties_nothing(code: str) -> None:
    given(factories.make_bench(), now=None)
    answer = Client().post(TABLET, sent(code=code))
    assert answer.status_code == 422
    assert COOKIE not in answer.cookies
    assert not Tablet.objects.filter(token_sha256__isnull=False).exists()


def test_a_form_of_another_site_ties_nothing() -> None:
    code = given(factories.make_bench(), now=None)
    strict = Client(enforce_csrf_checks=True)
    assert strict.post(TABLET, sent(code=code)).status_code == 403
    assert strict.get(f"{TABLET}?code={code}").status_code == 200
    assert not Tablet.objects.filter(token_sha256__isnull=False).exists()


def test_whoever_was_signed_in_on_the_tablet_is_out(manager: Client) -> None:
    code = given(factories.make_bench(), now=None)
    manager.post(TABLET, sent(code=code))
    assert manager.get(reverse("kitting:day")).status_code == 302


def test_a_closed_bench_gets_no_tablet() -> None:
    bench = factories.make_bench()
    code = given(bench)
    change_bench(code=bench.code, name="B", active=False, sign=factories.sign())
    for act in (
        lambda: give_code(bench_id=bench.pk, sign=factories.sign()),
        lambda: tie_tablet(code=code, sign=factories.sign()),
    ):
        assert refused(act).code == "bench_closed"


def test_a_code_of_somebody_whose_account_is_closed_ties_nothing() -> None:
    owner = factories.make_person("manager")
    code = given(factories.make_bench(), by=owner)
    owner.is_active = False
    owner.save(update_fields=["is_active"])
    by = giver_of(code)
    assert by is not None
    sign = factories.sign(by=by, now=None)
    assert refused(lambda: tie_tablet(code=code, sign=sign)).code == "account_closed"


# -- Who scans -------------------------------------------------------------------------


def scan(browser: Client, bench: Bench, bag: Bag, **more: Any) -> Any:
    return browser.post(page("scan", bench), sent(scan=bag.number, **more))


@pytest.fixture
def packer(make_user: Any) -> Any:
    return make_user("packer", group="packer")


def test_a_tied_tablet_alone_scans_for_its_bench(
    packer: Any, client_for: Any, bag: Bag
) -> None:
    bench, other = factories.make_bench(), factories.make_bench()
    tablet, elsewhere = tied(bench), client_for(packer)
    tablet.force_login(packer)
    before = Operation.objects.count()
    assert_problem(scan(elsewhere, bench, bag), "bench_tied_elsewhere")
    forged = client_for(packer)
    row = Tablet.objects.get(bench=bench)
    for value in ("", "x", row.token_sha256, row.code_mark, "\xff", "a" * 4000):
        forged.cookies[COOKIE] = value
        assert_problem(scan(forged, bench, bag), "bench_tied_elsewhere")
    assert Operation.objects.count() == before
    assert scan(tablet, bench, bag).status_code == 302
    assert scan(elsewhere, other, bag).status_code == 302  # one that is not tied


def test_another_tablet_and_untying_put_an_end_to_the_old_one_at_once(
    packer: Any, manager: Client, bag: Bag, client_for: Any
) -> None:
    bench = factories.make_bench()
    first, second = tied(bench), tied(bench)
    for tablet in (first, second):
        tablet.force_login(packer)
    assert_problem(scan(first, bench, bag), "bench_tied_elsewhere")
    assert scan(second, bench, bag).status_code == 302
    code = given(bench, now=None)
    answer = manager.post(page("untie", bench), sent(), follow=True)
    assert "is untied" in text_of(answer)
    assert_problem(Client().post(TABLET, sent(code=code)), "tie_code_wrong")
    # Not tied any more, the bench is as any: whoever is signed in scans.
    assert scan(client_for(packer), bench, bag).status_code == 302
    again = refused(lambda: untie_tablet(bench_id=bench.pk, sign=factories.sign()))
    assert again.code == "tablet_not_tied"


@pytest.mark.smoke
def test_a_scan_that_was_taken_is_answered_as_before_when_it_is_sent_again(
    packer: Any, bag: Bag
) -> None:
    bench = factories.make_bench()
    old = tied(bench)
    old.force_login(packer)
    form = sent(scan=bag.number)
    assert old.post(page("scan", bench), form).status_code == 302
    tied(bench)
    count = Operation.objects.count()
    assert old.post(page("scan", bench), form).status_code == 302
    assert Operation.objects.count() == count


def test_an_act_at_a_tied_bench_is_refused_without_any_page(bag: Bag) -> None:
    bench, form = factories.make_bench(), factories.sign(now=None)
    code = given(bench, now=None)
    tie_tablet(code=code, sign=form)
    row = Tablet.objects.get(bench=bench)
    at = {"bench_id": bench.pk, "bag_id": bag.pk}
    sign = factories.sign(bench_id=bench.pk)
    wrong = refused(lambda: boxes.bring_bag(**at, sign=sign))
    assert wrong.code == "bench_tied_elsewhere"
    assert token_of(form.key, code) not in str(vars(row))
    sign = factories.sign(bench_id=bench.pk, tablet=row.token_sha256)
    boxes.bring_bag(**at, sign=sign)


@pytest.mark.parametrize("name", ["tie", "untie"])
def test_only_managers_tie_and_untie(
    name: str, packer: Any, client_for: Any, outsider: Any
) -> None:
    bench = factories.make_bench()
    tied(bench)
    for who in (client_for(packer), client_for(outsider)):
        assert who.get(page(name, bench)).status_code == 403
        assert who.post(page(name, bench), sent()).status_code == 403
    assert Tablet.objects.get(bench=bench).token_sha256


def test_a_bench_that_is_not_there_is_404(manager: Client) -> None:
    for name in ("tie", "untie"):
        path = reverse(f"kitting:bench-{name}", args=["NONE"])
        assert manager.get(path).status_code == 404
