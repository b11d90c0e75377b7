"""The page on which a consignee answers for its boxes: for whom it opens, what it takes."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from django.core.signing import Signer
from django.db import connection
from django.test import Client, override_settings
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from dispatch.consignees.services.consignees import merge_consignees
from dispatch.domain.replies import Line
from dispatch.models import Case, Consignee, PassedOn, Reply, ReplyBox
from dispatch.recall import links
from dispatch.receipts.services.links import consignee as the_consignee
from dispatch.receipts.tokens import LONGEST_TOKEN
from dispatch.replies import services
from dispatch.replies.queries.accounts import unaccounted
from dispatch.replies.spoken import ENGLISH, GERMAN, words_for
from kitting.domain.errors import LotwardError
from kitting.models import Box, Operation, User
from lotward.logs import LineFormatter
from tests import factories
from tests.assertions import text_of
from tests.databases import once_a_module
from tests.dispatch.replies.replying import case_on, closed, lines, reply, sent_to
from tests.factories import sign

pytestmark = pytest.mark.django_db

WORDS = words_for("en")


@once_a_module
def whom() -> Consignee:
    return factories.make_consignee()


@once_a_module
def box(whom: Consignee) -> Box:
    [box] = sent_to(whom)
    return box


@once_a_module
def case(box: Box) -> Case:
    return case_on(box)


def said(**changes: object) -> dict[str, object]:
    who = {"by": "M. Ward", "remark": "", "whom": ""}
    return {"op_key": str(uuid.uuid4()), "seen": 0, **who, **changes}


def used(box: Box, **changes: object) -> dict[str, object]:
    return said(**{f"how-{box.pk}": "used"}, **changes)


def opens(client: Client, address: str) -> bool:
    answer = client.get(address)
    assert answer.status_code in {200, 404}
    if answer.status_code == 404:
        assert WORDS["no_link"] in text_of(answer)
    return answer.status_code == 200


def words_of(answer: Any) -> str:
    return " ".join(text_of(answer).split())


# -- For whom it opens -----------------------------------------------------------------


@pytest.mark.smoke
def test_a_consignee_answers_on_its_page(
    client: Client, case: Case, whom: Consignee, box: Box
) -> None:
    address = links.path_of(case, whom)
    with CaptureQueriesContext(connection) as queries:
        shown = words_of(client.get(address))
    assert not [
        q
        for q in queries
        if not q["sql"].startswith(
            ("SELECT", "SAVE", "REL", "WITH", "BEGIN", "PRAGMA", "ROLLBACK", "SET")
        )
    ]
    assert str(box) in shown
    assert case.hazard in shown
    before = Operation.objects.count()
    form = used(box)
    assert client.post(address, form)["Location"] == address
    assert client.post(address, form)["Location"] == address  # sent again: once
    assert Operation.objects.count() == before + 1
    row = Reply.objects.get()
    assert (row.way, row.nth, row.told_by) == ("link", 1, "M. Ward")
    assert row.operation.by == the_consignee()
    assert unaccounted(case) == ()
    assert ENGLISH["nothing_left"] in words_of(client.get(address))
    assert "6 used" in words_of(client.get(address))
    assert factories.prove() == []


def test_what_is_sent_again_gets_its_first_answer(
    client: Client, whom: Consignee
) -> None:
    first, second = sent_to(whom, 2)
    address = links.path_of(case_on(first, second), whom)
    fields = {f"how-{box.pk}": "" for box in (first, second)}
    form = said(all="used", **fields)
    for _ in range(2):
        assert client.post(address, form)["Location"] == address
    assert Reply.objects.count() == 1
    other = client.post(address, {**form, "all": "destroyed"})
    assert other.status_code == 409
    assert Reply.objects.count() == 1


@pytest.mark.smoke
def test_a_forged_token_opens_nothing(
    client: Client, case: Case, whom: Consignee, box: Box
) -> None:
    token = links.path_of(case, whom).split("/")[2]
    about = token.rpartition(":")[0]
    with_another_key = Signer(key="no secret", salt=links.SALT)
    guessed = [
        token.replace(f".{whom.pk}.", f".{whom.pk + 1}."),
        *(f"{case.number}.{whom.pk}.{nth}:{'A' * 43}" for nth in (0, 1, 2, -1)),
    ]
    for forged in (
        about,
        f"{about}:",
        token[:-1] + ("A" if token[-1] != "A" else "B"),
        token.replace(".1:", ".2:"),
        Signer(salt="dispatch.receipts.link").sign(about),
        with_another_key.sign(about),
        "x" * (LONGEST_TOKEN + 1),
        *guessed,
    ):
        address = reverse("dispatch:recalled", args=[forged])
        with CaptureQueriesContext(connection) as queries:
            assert not opens(client, address)
        assert not any(
            "dispatch_" in q["sql"] for q in queries
        )  # guessing costs little
        assert client.post(address, used(box)).status_code == 404
    assert not Reply.objects.exists()


def test_a_link_opens_its_own_boxes_alone(
    client: Client, case: Case, whom: Consignee, box: Box
) -> None:
    other, alien = factories.make_consignee(), factories.make_consignee()
    [theirs] = sent_to(other)
    both = case_on(theirs)
    page = words_of(client.get(links.path_of(case, whom)))
    assert str(theirs) not in page
    assert other.name not in page
    # Another's box, put into the form, is none that is asked about.
    sent = said(**{f"how-{theirs.pk}": "used"})
    assert client.post(links.path_of(case, whom), sent).status_code == 422
    for strange in ((both, whom), (case, other), (case, alien)):
        page = words_of(client.get(links.path_of(*strange)))
        assert ENGLISH["nothing_here"] in page
        assert str(box) not in page
        assert str(theirs) not in page
        with pytest.raises(LotwardError) as caught:
            services.reply_by_link(
                number=strange[0].number,
                consignee_id=strange[1].pk,
                nth=1,
                told_by="X",
                note="",
                lines=lines(box if strange[0] == case else theirs, used=6),
                seen=0,
                sign=replace(sign(), by=the_consignee()),
            )
        assert caught.value.code == "box_not_theirs"
    assert not Reply.objects.exists()


def test_a_link_of_receipts_is_none_of_a_case(client: Client, case: Case) -> None:
    token = links.path_of(case, Consignee.objects.latest("pk")).split("/")[2]
    assert client.get(reverse("dispatch:received", args=[token])).status_code == 404


def test_a_link_that_was_ended_opens_nothing_and_the_next_one_does(
    client: Client,
    client_for: Callable[[User], Client],
    case: Case,
    whom: Consignee,
    box: Box,
) -> None:
    first = links.path_of(case, whom)
    clerk = client_for(factories.make_person("clerk"))
    page = reverse("dispatch:case-link", args=[case.number, whom.code])
    assert first in clerk.get(page).content.decode()
    form = {"op_key": str(uuid.uuid4()), "nth": 1}
    for _ in range(2):  # sent again, since the answer was lost: ended once
        assert clerk.post(page, form)["Location"] == page
    assert not opens(client, first)
    assert client.post(first, used(box)).status_code == 404
    assert not Reply.objects.exists()
    second = links.path_of(case, whom)
    assert second in clerk.get(page).content.decode()
    assert opens(client, second)
    late = clerk.post(page, {"op_key": str(uuid.uuid4()), "nth": 1})
    assert late.status_code == 409
    packer = client_for(factories.make_person("packer"))
    assert packer.post(page, form).status_code == 403
    assert Client().post(page, form)["Location"].startswith("/sign-in/")


def test_after_the_case_is_closed_nothing_opens(
    client: Client,
    client_for: Callable[[User], Client],
    case: Case,
    whom: Consignee,
    box: Box,
) -> None:
    address = links.path_of(case, whom)
    closed(case, box)
    assert not opens(client, address)
    assert client.post(address, used(box)).status_code == 404
    assert links.link_of(case, whom) == ""
    clerk = client_for(factories.make_person("clerk"))
    page = reverse("dispatch:case-link", args=[case.number, whom.code])
    assert clerk.get(page).status_code == 404
    with pytest.raises(LotwardError) as caught:
        services.reply_by_link(
            number=case.number,
            consignee_id=whom.pk,
            nth=1,
            told_by="M. Ward",
            note="",
            lines=lines(box, used=6),
            seen=0,
            sign=replace(sign(), by=the_consignee()),
        )
    assert caught.value.code == "link_is_over"


def test_the_link_of_one_that_was_merged_shows_what_both_have(
    client: Client, case: Case, whom: Consignee, box: Box
) -> None:
    old = links.path_of(case, whom)
    stays = factories.make_consignee()
    merge_consignees(code=whom.code, into_id=stays.pk, reason="one", sign=sign())
    whom.refresh_from_db()
    assert links.path_of(case, whom) == links.path_of(case, stays)
    page = words_of(client.get(old))
    assert stays.name in page
    assert str(box) in page
    client.post(old, used(box))
    assert Reply.objects.get().consignee == stays
    assert factories.prove() == []


def test_letters_bear_the_link_where_consignees_reach_the_server(
    case: Case, whom: Consignee
) -> None:
    assert links.link_of(case, whom) == ""
    with override_settings(CONSIGNEE_URL="https://boxes.example"):
        address = links.link_of(case, whom)
    assert address == f"https://boxes.example{links.path_of(case, whom)}"
    with override_settings(SECRET_KEY="another secret of this server, made up here"):
        assert links.path_of(case, whom) not in address


# -- What it tells ---------------------------------------------------------------------


def test_the_page_keeps_to_itself(client: Client, case: Case, whom: Consignee) -> None:
    """No cache keeps it, no search finds it, nothing runs on it, nothing leads on."""
    address = links.path_of(case, whom)
    for path in (address, f"{address[:-2]}x/"):
        answer = client.get(path)
        assert answer["Cache-Control"] == "private, no-store"
        assert answer["X-Robots-Tag"].startswith("noindex")
        assert answer["Content-Security-Policy"].startswith("default-src 'none';")
        html = answer.content.decode()
        assert "<script" not in html
        assert "<a " not in html
        assert "sessionid" not in answer.cookies


def test_both_languages_have_the_same_words() -> None:
    assert ENGLISH.keys() == GERMAN.keys()
    assert all(ENGLISH.values())
    assert all(GERMAN.values())


def test_a_german_consignee_reads_german(
    client: Client, case: Case, whom: Consignee, box: Box
) -> None:
    Consignee.objects.filter(pk=whom.pk).update(language="de")
    address = links.path_of(case, whom)
    answer = client.get(address)
    assert '<html lang="de"' in answer.content.decode()
    assert GERMAN["title"] in words_of(answer)
    wrong = client.post(address, used(box, by="", **{f"used-{box.pk}": "x"}))
    assert wrong.status_code == 422
    assert GERMAN["look"] in words_of(wrong)
    assert "Please" not in words_of(wrong)
    assert "Write" not in words_of(wrong)
    client.post(address, used(box))
    assert f"6 {GERMAN['used']}" in words_of(client.get(address))


# -- What it takes ---------------------------------------------------------------------


def test_a_box_of_which_some_were_used_and_some_went_on(
    client: Client, case: Case, whom: Consignee, box: Box
) -> None:
    sent = said(
        whom="Ward 7, next door",
        **{f"how-{box.pk}": "quarantine", f"used-{box.pk}": 2, f"passed-{box.pk}": 1},
    )
    address = links.path_of(case, whom)
    assert client.post(address, sent).status_code == 302
    rows = ReplyBox.objects.order_by("answer").values_list("answer", "sets", "whom")
    assert list(rows) == [
        ("passed", 1, "Ward 7, next door"),
        ("quarantine", 3, ""),
        ("used", 2, ""),
    ]
    assert "1 passed on to somebody else (Ward 7, next door)" in words_of(
        client.get(address)
    )


def test_a_consignee_cannot_put_a_box_into_another_ones_hands(
    client: Client, case: Case, whom: Consignee, box: Box
) -> None:
    """Whom it names stands in words; the workshop decides who that is."""
    other = factories.make_consignee()
    sent = said(to=other.code, whom=other.name, **{f"how-{box.pk}": "passed"})
    client.post(links.path_of(case, whom), sent)
    services.reply_by_link(
        number=case.number,
        consignee_id=whom.pk,
        nth=1,
        told_by="M. Ward",
        note="",
        lines=[Line(box.pk, "passed", 6, "Next door", other.pk)],
        seen=Reply.objects.latest("pk").pk,
        sign=replace(sign(), by=the_consignee()),
    )
    assert not PassedOn.objects.exists()
    assert set(ReplyBox.objects.values_list("consignee", flat=True)) == {None}


@pytest.mark.parametrize(
    ("wrong", "named"),
    [
        ({"by": ""}, "by"),
        ({"by": "x" * 81}, "by"),
        ({"by": "M. Ward\u202e.oN"}, "by"),
        ({"remark": "x" * 201}, "remark"),
        ({"remark": "a\x07b"}, "remark"),
        ({"how-{pk}": "passed"}, "whom"),
        ({"how-{pk}": "", "used-{pk}": "2"}, "how"),
        ({"used-{pk}": "7"}, "how"),
        ({"used-{pk}": "-1"}, "used"),
        ({"how-{pk}": ""}, "how"),
        ({"how-{pk}": "lost"}, "how"),
        ({"op_key": "odd"}, "page_old"),
        ({"seen": "odd"}, "page_old"),
    ],
)
def test_what_cannot_be_is_named_and_nothing_is_written(
    client: Client,
    case: Case,
    whom: Consignee,
    box: Box,
    wrong: dict[str, str],
    named: str,
) -> None:
    sent = used(box)
    sent.update({name.format(pk=box.pk): value for name, value in wrong.items()})
    before = Operation.objects.count()
    answer = client.post(links.path_of(case, whom), sent)
    assert answer.status_code == 422
    assert f"<li>{WORDS[named]}</li>" in answer.content.decode()
    assert Operation.objects.count() == before


def test_what_a_clerk_wrote_meanwhile_is_shown_first(
    client: Client, case: Case, whom: Consignee, box: Box
) -> None:
    address = links.path_of(case, whom)
    reply(case, whom, *lines(box, unknown=6), told_by="N. Desk")
    answer = client.post(address, used(box))
    assert answer.status_code == 409
    page = answer.content.decode()
    assert ENGLISH["answered_since"] in words_of(answer)
    assert "N. Desk" in page
    newest = Reply.objects.get().pk
    assert f'name="seen" value="{newest}"' in page
    assert client.post(address, used(box, seen=newest)).status_code == 302
    assert unaccounted(case) == ()


def test_a_page_takes_so_many_answers_in_a_day_and_no_more(
    client: Client,
    case: Case,
    whom: Consignee,
    box: Box,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(services, "MOST_ANSWERS", 2)
    address = links.path_of(case, whom)
    for _ in range(2):
        seen = max(Reply.objects.values_list("pk", flat=True), default=0)
        assert client.post(address, used(box, seen=seen)).status_code == 302
    answer = client.post(address, used(box, seen=Reply.objects.latest("pk").pk))
    assert answer.status_code == 422
    assert WORDS["too_often"] in words_of(answer)
    assert Reply.objects.count() == 2
    # What a clerk hears by telephone is taken all the same.
    reply(case, whom, *lines(box, used=6))


def test_an_answer_is_no_longer_than_a_page_and_no_log_has_the_link(
    client: Client, case: Case, whom: Consignee, caplog: pytest.LogCaptureFixture
) -> None:
    address = links.path_of(case, whom)
    caplog.handler.setFormatter(LineFormatter())
    answer = client.post(address, said(remark="x" * 300_000))
    assert answer.status_code == 413
    assert "/recalled/(link)/" in caplog.text
    assert address.split("/")[2] not in caplog.text
    many = {f"used-{n}": "1" for n in range(2_100)}
    assert client.post(address, said(**many)).status_code == 400
    assert not Reply.objects.exists()


def test_a_page_of_another_site_cannot_answer(
    case: Case, whom: Consignee, box: Box
) -> None:
    client = Client(enforce_csrf_checks=True)
    assert client.post(links.path_of(case, whom), used(box)).status_code == 403
    assert not Reply.objects.exists()
