"""Badges issued and revoked: what is kept of them, and who may."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Sequence
from datetime import timedelta
from uuid import uuid4

import pypdfium2
import pytest
import zxingcpp
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse

from kitting.domain import badges
from kitting.domain.errors import LotwardError
from kitting.ledger.operations import fingerprint
from kitting.models import Badge, Link, Operation, Print, Stock, User, Workshop
from kitting.people.queries import NOBODY, name_behind
from kitting.people.services.badges import (
    MOST_AT_ONCE,
    NewBadge,
    issue_badges,
    revoke_badge,
)
from kitting.printing.services.prints import document_pdf
from tests import factories
from tests.assertions import (
    assert_page,
    assert_problem,
    assert_refused,
    text_of,
)

pytestmark = pytest.mark.django_db

PAGE = reverse("kitting:badges")
REVOKE = reverse("kitting:badge-revoke")


def issue(*people: User, **options) -> list[NewBadge]:
    options.setdefault("sign", factories.sign())
    return issue_badges(user_ids=[each.pk for each in people], **options)


def refusal(act: Callable[[], object]) -> LotwardError:
    with pytest.raises(LotwardError) as caught:
        act()
    return caught.value


# -- Issuing ---------------------------------------------------------------------------


def test_each_person_gets_a_badge_of_their_own() -> None:
    packer = factories.make_person("packer", name="petra")
    clerk = factories.make_person("clerk", name="carl")
    new = issue(packer, clerk)
    assert [(each.name, each.role) for each in new] == [
        ("petra", "packer"),
        ("carl", "clerk"),
    ]
    assert [name_behind(each.token) for each in new] == ["petra", "carl"]
    assert list(Badge.objects.order_by("pk").values_list("pk", flat=True)) == [
        each.badge_id for each in new
    ]
    assert len({each.token for each in new}) == 2


def test_only_the_hash_of_a_token_is_kept_and_the_journal_has_neither() -> None:
    (new,) = issue(factories.make_person("packer", name="petra"))
    badge = Badge.objects.get()
    assert bytes(badge.token_sha256) == badges.token_hash(new.token)
    link = Link.objects.get(operation=badge.issue)
    assert json.loads(link.outcome) == {"badges": [badge.pk], "names": ["petra"]}
    assert new.token not in repr(new)
    # What was sent is hashed into the act: the person alone, which anybody may know.
    sent = {"users": [badge.user_id]}
    assert bytes(badge.issue.mark) == fingerprint("issue_badges", sent)


def test_an_older_badge_stays_valid_beside_a_new_one() -> None:
    packer = factories.make_person("packer", name="petra")
    tokens = [issue(packer)[0].token for _ in range(2)]
    assert [name_behind(token) for token in tokens] == ["petra", "petra"]


def test_a_person_named_twice_gets_one_badge() -> None:
    packer = factories.make_person("packer")
    assert len(issue(packer, packer)) == 1


def test_a_badge_is_shown_once_however_often_the_act_is_sent() -> None:
    packer = factories.make_person("packer")
    sign = factories.sign()
    issue(packer, sign=sign)
    drawn: list[Sequence[NewBadge]] = []
    again = refusal(lambda: issue(packer, sign=sign, draw=drawn.append))
    assert_refused(again, "badge_made_already")
    assert (Badge.objects.count(), drawn) == (1, [])
    other = refusal(lambda: issue(factories.make_person("clerk"), sign=sign))
    assert_refused(other, "operation_key_reused")


def test_a_badge_whose_label_cannot_be_drawn_is_not_made() -> None:
    def refuse(new: Sequence[NewBadge]) -> None:
        assert badges.is_badge(new[0].token)
        raise LotwardError("label_unreadable", number=new[0].name)

    packer = factories.make_person("packer")
    assert refusal(lambda: issue(packer, draw=refuse)).code == "label_unreadable"
    assert not Badge.objects.exists()
    assert not Operation.objects.filter(name="issue_badges").exists()


def test_nobody_too_many_strangers_and_closed_accounts_get_none() -> None:
    closed = factories.make_person("packer", name="gone")
    User.objects.filter(pk=closed.pk).update(is_active=False)
    assert_refused(refusal(issue), "badge_for_nobody")
    assert_refused(refusal(lambda: issue(closed)), "badge_for_closed_account")
    many = range(1, MOST_AT_ONCE + 2)
    act = lambda: issue_badges(user_ids=many, sign=factories.sign())  # noqa: E731
    assert_refused(refusal(act), "badges_too_many", most=MOST_AT_ONCE)
    act = lambda: issue_badges(user_ids=[1], sign=factories.sign())  # noqa: E731
    assert_refused(refusal(act), "row_missing", what="person")
    assert not Badge.objects.exists()


# -- Revoking --------------------------------------------------------------------------


def test_a_revoked_badge_stands_for_nobody() -> None:
    (new,) = issue(factories.make_person("packer", name="petra"))
    later = factories.NOW + timedelta(hours=1)
    sign = factories.sign(now=later)
    done = [revoke_badge(badge_id=new.badge_id, sign=sign) for _ in range(2)]
    assert done[0] == done[1]
    assert done[0].name == "petra"
    badge = Badge.objects.get()
    assert badge.revoked_at == later
    assert badge.revocation == Operation.objects.get(name="revoke_badge")
    assert name_behind(new.token) == NOBODY


def test_a_badge_is_revoked_once_and_an_unknown_one_never() -> None:
    (new,) = issue(factories.make_person("packer"))
    revoke_badge(badge_id=new.badge_id, sign=factories.sign())
    for badge_id, code in ((new.badge_id, "badge_revoked_before"), (1, "row_missing")):
        act = lambda pk=badge_id: revoke_badge(badge_id=pk, sign=factories.sign())  # noqa: E731
        assert_refused(refusal(act), code)


def test_the_database_knows_no_revocation_without_its_act() -> None:
    (new,) = issue(factories.make_person("packer"))
    with pytest.raises(IntegrityError), transaction.atomic():
        Badge.objects.filter(pk=new.badge_id).update(revoked_at=factories.NOW)


# -- Whose it is -----------------------------------------------------------------------


def test_only_a_whole_known_badge_stands_for_somebody() -> None:
    (new,) = issue(factories.make_person("packer", name="petra"))
    unknown = badges.make_token(bytes(16))
    assert name_behind(f"]d1{new.token.lower()} ") == "petra"
    for text in (unknown, new.token[:-1], new.token + "B", f"petra{new.token}", ""):
        assert name_behind(text) == NOBODY


def test_nobody_can_be_called_what_stands_for_an_unknown_badge() -> None:
    validators = User._meta.get_field("username").validators
    with pytest.raises(Exception, match="valid username"):
        validators[0](NOBODY)


# -- The page --------------------------------------------------------------------------


@pytest.fixture
def manager(client_for) -> Client:
    return client_for(factories.make_person("manager", name="manager"))


def post(client: Client, *people: User, **data):
    return client.post(
        PAGE,
        {
            "op_key": str(uuid4()),
            "people": [p.pk for p in people],
            "paper": "one",
            **data,
        },
    )


def test_the_page_is_for_who_may_set_up(client: Client, client_for, outsider) -> None:
    assert client.get(PAGE).status_code == 302
    assert client_for(outsider).get(PAGE).status_code == 403
    packer = client_for(factories.make_person("packer"))
    assert packer.post(PAGE).status_code == 403
    assert packer.post(REVOKE).status_code == 403


@pytest.mark.smoke
def test_labels_are_the_answer_once_and_no_cache_keeps_them(manager: Client) -> None:
    packer = factories.make_person("packer", name="petra")
    clerk = factories.make_person("clerk", name="carl")
    key = str(uuid4())
    answer = post(manager, packer, clerk, op_key=key)
    assert answer.status_code == 200
    assert answer.content.startswith(b"%PDF-")
    assert answer["Content-Type"] == "application/pdf"
    assert answer["Cache-Control"] == "no-store"
    assert Badge.objects.count() == 2
    again = post(manager, packer, clerk, op_key=key)
    assert_problem(again, "badge_made_already", status=409)
    assert Badge.objects.count() == 2


def test_the_labels_carry_the_badges_and_not_in_clear_text(manager: Client) -> None:
    packer = factories.make_person("packer", name="petra")
    Workshop.objects.update(demo=True)
    document = pypdfium2.PdfDocument(post(manager, packer).content)
    page = document[0]
    read = {code.text for code in zxingcpp.read_barcodes(page.render(scale=6).to_pil())}
    assert [name_behind(text) for text in read] == ["petra"]
    shown = page.get_textpage().get_text_bounded()
    assert "petra" in shown
    assert "packer" in shown
    assert "DEMONSTRATION" in shown
    assert not badges.holds_badge(shown)
    page.close()
    document.close()


@pytest.mark.parametrize(
    ("data", "code"),
    [
        ({"people": []}, "required"),
        ({"people": ["1"]}, "invalid_choice"),
        ({"people": ["one"]}, "invalid_choice"),
        ({"paper": "PAPYRUS"}, "invalid_choice"),
        ({"op_key": "none"}, "invalid"),
    ],
)
def test_what_makes_no_sense_is_refused_and_nothing_is_made(
    manager: Client, data: dict[str, object], code: str
) -> None:
    packer = factories.make_person("packer")
    answer = post(manager, packer, **data)
    assert_problem(answer, code)
    assert_page(answer, status=422)
    assert not Badge.objects.exists()


def test_badges_come_on_a_sheet_that_was_begun(manager: Client) -> None:
    Stock.objects.create(
        code="A4-21",
        name="A4 with 21 labels",
        width_um=70_000,
        height_um=40_000,
        page_width_um=210_000,
        page_height_um=297_000,
        top_um=8_500,
        columns=3,
        rows=7,
    )
    people = [factories.make_person("packer") for _ in range(3)]
    beyond = post(manager, *people, paper="stock A4-21", start=22)
    assert_problem(beyond, "start_out_of_range")
    assert not Badge.objects.exists()
    answer = post(manager, *people, paper="stock A4-21", start=20)
    document = pypdfium2.PdfDocument(answer.content)
    assert [document.get_page_size(n) for n in range(len(document))] == [
        pytest.approx((210 / 25.4 * 72, 297 / 25.4 * 72), abs=0.5)
    ] * 2
    document.close()
    Stock.objects.update(active=False)
    assert_problem(post(manager, *people, paper="stock A4-21"), "invalid_choice")


def test_a_name_that_no_label_can_carry_gets_no_badge(manager: Client) -> None:
    packer = factories.make_person("packer", name="petra")
    User.objects.filter(pk=packer.pk).update(first_name="\u4e2d")
    assert_problem(post(manager, packer), "missing_glyph")
    assert not Badge.objects.exists()


def test_the_page_tells_who_issued_and_revoked_and_when(manager: Client) -> None:
    packer = factories.make_person("packer", name="petra")
    lead = factories.make_person("manager", name="lena")
    (new,) = issue(packer, sign=factories.sign(by=lead))
    text = text_of(manager.get(PAGE))
    assert "1 badge is valid; 1 of 4 people have one." in text
    assert "by lena" in text
    data = {"op_key": str(uuid4()), "badge": new.badge_id}
    for _ in range(2):
        assert manager.post(REVOKE, data)["Location"] == PAGE
    text = text_of(manager.get(PAGE))
    assert "Nobody has a valid badge yet." in text
    assert "by manager" in text
    again = manager.post(REVOKE, {**data, "op_key": str(uuid4())})
    assert_problem(again, "badge_revoked_before", status=409)
    for badge in ("1", "none", str(2**70)):
        answer = manager.post(REVOKE, {"op_key": str(uuid4()), "badge": badge})
        assert answer.status_code in (404, 422)


@pytest.mark.smoke
def test_a_closed_account_is_listed_and_cannot_be_ticked(manager: Client) -> None:
    gone = factories.make_person("packer", name="gone")
    User.objects.filter(pk=gone.pk).update(is_active=False)
    assert "gone, account closed" in manager.get(PAGE).content.decode()
    assert_problem(post(manager, gone), "invalid_choice")


def test_the_page_asks_no_more_for_more_people(
    manager: Client, django_assert_max_num_queries
) -> None:
    for _ in range(5):
        issue(factories.make_person("packer"))
    with django_assert_max_num_queries(14):
        manager.get(PAGE)


def test_new_badges_stand_in_the_print_log_and_are_never_made_again(
    manager: Client,
) -> None:
    """What the label said is kept as a hash: 128 random bits are in it."""
    packer = factories.make_person("packer", name="petra")
    answer = post(manager, packer)
    row = Print.objects.get()
    badge = Badge.objects.get()
    assert (row.kind, row.number, row.copy) == ("badge", f"petra {badge.pk}", 1)
    assert row.operation == badge.issue
    assert bytes(row.pdf_sha) == hashlib.sha256(answer.content).digest()
    log = manager.get(reverse("kitting:label-log"))
    assert_page(log)
    assert "shown once" in log.content.decode()
    with pytest.raises(LotwardError) as error:
        document_pdf(bytes(row.pdf_sha))
    assert_refused(error.value, "row_missing")
