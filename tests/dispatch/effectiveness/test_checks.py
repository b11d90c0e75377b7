"""Effectiveness checks of a case: whom they are drawn among, and what these say."""

from __future__ import annotations

import uuid
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from dispatch.consignees.services import consignees
from dispatch.consignees.services.consignees import merge_consignees
from dispatch.domain.effectiveness import in_order
from dispatch.effectiveness import services
from dispatch.effectiveness.queries import checks_of, consignees_of
from dispatch.models import (
    Case,
    Consignee,
    EffectAnswer,
    EffectCheck,
    EffectConsignee,
    Shipment,
)
from dispatch.recall import services as recall
from dispatch.receipts.services import passing, returns
from kitting.domain.errors import LotwardError, Missing, OperationKeyReused
from kitting.ledger import holds
from kitting.models import Box, BoxSize, Hold, Operation, User
from kitting.models.catalogue import PlaceKind
from tests import factories
from tests.assertions import text_of
from tests.factories import sign, sign_by_another
from tests.kitting.ledger.ledger_cases import close

pytestmark = pytest.mark.django_db


def case_of(*boxes: Box) -> Case:
    scope = [("box", box.pk) for box in boxes]
    said = {"hazard": "A visor cracks", "reason": "A ward called"}
    done = recall.open_case(scope=scope, **said, sign=sign())
    return Case.objects.get(number=done.case)


def send_one(consignee: Consignee, size: BoxSize | None = None) -> Box:
    box = factories.make_labelled_box(size)
    factories.send(factories.make_shipment(box, consignee=consignee))
    return box


def a_case(consignees: int) -> Case:
    """A case that reaches boxes at so many consignees."""
    boxes: list[Box] = []
    for _ in range(consignees):
        size = boxes[0].size if boxes else None
        boxes.append(send_one(factories.make_consignee(), size))
    return case_of(*boxes)


def draw(case: Case, level: str = "A", share: int | None = None) -> services.Draw:
    return services.draw_check(
        number=case.number, level=level, share=share, sign=sign()
    )


def answer(row: EffectConsignee, *yes: bool, **changes: object) -> None:
    got, understood, acted = yes
    said = {"said_by": "Ward 3", "note": "", "sign": sign(), **changes}
    services.note_answer(
        of_id=row.pk, got=got, understood=understood, acted=acted, **said
    )


@pytest.mark.smoke
def test_a_check_is_drawn_by_its_seed() -> None:
    case = a_case(5)
    done = draw(case, "B", 41)
    assert (done.share, done.drawn, done.consignees) == (41, 3, 5)
    check = EffectCheck.objects.get()
    codes = [each.code for each in consignees_of(case)]
    asked = check.consignees.filter(drawn=True).order_by("nth")
    names = list(asked.values_list("consignee__code", flat=True))
    assert names == in_order(check.seed, codes)[:3]
    assert len(check.seed) == 32
    assert factories.prove() == []


def test_to_draw_again_is_a_new_draw_and_the_old_stays() -> None:
    case = a_case(2)
    draw(case, "E")
    answer_to = draw(case, "A")
    assert answer_to.drawn == 2
    newest, old = checks_of(case)
    assert (newest.check.level, old.check.level) == ("A", "E")
    assert newest.check.seed != old.check.seed
    assert (len(old.drawn), len(old.everybody)) == (0, 2)
    assert factories.prove() == []


def test_it_is_drawn_among_all_who_have_or_had_a_box() -> None:
    first, other, onward, never = [factories.make_consignee() for _ in range(4)]
    stays, back = send_one(first), send_one(other)
    here = factories.make_labelled_box(stays.size)
    case = case_of(stays, back, here)
    returns.record_return(
        box_id=back.pk,
        sets=back.size.sets,
        opened=True,
        place_id=factories.make_place(PlaceKind.QUARANTINE).pk,
        note="Not needed",
        sign=sign(),
    )
    shipment = Shipment.objects.get(shipment_boxes__box=stays)
    assert shipment.sent_at is not None
    passing.pass_on(
        shipment_id=shipment.pk,
        box_ids=[stays.pk],
        consignee_id=onward.pk,
        point="",
        told_by="Ward 3",
        on=shipment.sent_at.date(),
        note="",
        sign=sign(),
    )
    assert {each.pk for each in consignees_of(case)} == {
        first.pk,
        other.pk,
        onward.pk,
    }
    assert never.pk not in {each.pk for each in consignees_of(case)}
    draw(case)
    assert factories.prove() == []


def test_who_has_nothing_that_is_still_recalled_is_not_asked() -> None:
    bad, sound = factories.make_consignee(), factories.make_consignee()
    box = send_one(sound)
    case = case_of(box, send_one(bad, box.size))
    draw(case)
    hold = Hold.objects.get(box=box)
    holds.lift_hold(hold_id=hold.pk, reason="Sound", sign=sign_by_another())
    assert consignees_of(case) == [bad]
    draw(case)
    assert [len(each.everybody) for each in checks_of(case)] == [1, 2]
    more = send_one(factories.make_consignee(), box.size)
    scope = [("box", more.pk)]
    recall.widen_case(number=case.number, scope=scope, reason="too", sign=sign())
    draw(case)
    assert [len(each.everybody) for each in checks_of(case)] == [2, 1, 2]
    assert factories.prove() == []


def test_one_that_was_merged_is_asked_once() -> None:
    one, two = factories.make_consignee(), factories.make_consignee()
    size = send_one(one)
    case = case_of(size, send_one(two, size.size))
    assert len(consignees_of(case)) == 2
    draw(case)
    merge_consignees(code=one.code, into_id=two.pk, reason="twice", sign=sign())
    assert consignees_of(case) == [two]
    draw(case)
    assert [len(each.everybody) for each in checks_of(case)] == [1, 2]
    assert factories.prove() == []
    again = consignees.WhereTo(one.name, "DE", "1 Ward Road", "Eskmoor")
    consignees.change_consignee(code=one.code, to=again, sign=sign())
    assert consignees_of(case) == sorted([one, two], key=lambda each: each.code)
    draw(case)
    assert factories.prove() == []


def test_what_is_said_later_counts_and_both_stay() -> None:
    case = a_case(2)
    draw(case)
    first, other = EffectConsignee.objects.order_by("nth")
    answer(first, True, True, False, note="still on a shelf")
    [checked] = checks_of(case)
    assert checked.result.share == 0
    answer(first, True, True, True)
    [checked] = checks_of(case)
    assert (checked.result.share, checked.result.open) == (100, 1)
    assert EffectAnswer.objects.filter(of=first).count() == 2
    answer(other, False, False, False)
    [checked] = checks_of(case)
    assert (checked.result.share, checked.result.open) == (50, 0)
    assert factories.prove() == []


def test_a_case_that_reached_nobody_has_nobody_to_ask() -> None:
    case = case_of(factories.make_labelled_box())
    with pytest.raises(LotwardError) as caught:
        draw(case)
    assert caught.value.code == "effect_nobody"
    assert not EffectCheck.objects.exists()
    with pytest.raises(Missing):
        services.draw_check(number="V1", level="A", share=None, sign=sign())


def test_a_closed_case_asks_nobody_any_more() -> None:
    case = a_case(1)
    draw(case)
    row = EffectConsignee.objects.get()
    [box] = case.boxes.values_list("box", flat=True)
    close(case.number, (box, "the ward is closed"))
    for act in (lambda: draw(case), lambda: answer(row, True, True, True)):
        with pytest.raises(LotwardError) as caught:
            act()
        assert caught.value.code == "case_closed"


def test_who_was_not_drawn_has_no_answer() -> None:
    case = a_case(2)
    draw(case, "D")
    [row] = EffectConsignee.objects.filter(drawn=False)
    with pytest.raises(LotwardError) as caught:
        answer(row, True, True, True)
    assert caught.value.code == "effect_not_drawn"
    [asked] = EffectConsignee.objects.filter(drawn=True)
    with pytest.raises(LotwardError) as caught:
        answer(asked, True, True, True, said_by=" ")
    assert caught.value.code == "entry_missing"
    assert not EffectAnswer.objects.exists()


def test_the_same_act_is_done_once() -> None:
    case = a_case(1)
    signed = sign()
    said = {"number": case.number, "level": "A", "share": None}
    once = services.draw_check(**said, sign=signed)
    assert services.draw_check(**said, sign=signed) == once
    assert EffectCheck.objects.count() == 1
    with pytest.raises(OperationKeyReused):
        services.draw_check(**{**said, "level": "E"}, sign=signed)


@pytest.fixture
def quality(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("quality officer"))


def draw_page(case: Case) -> str:
    return reverse("dispatch:effect-new", args=[case.number])


def case_page(case: Case) -> str:
    return reverse("dispatch:case-detail", args=[case.number])


def words_of(response: object) -> str:
    return " ".join(text_of(response).split())


def sent(**said: str) -> dict[str, str]:
    return {"op_key": str(uuid.uuid4()), **said}


@pytest.mark.smoke
def test_the_page_of_a_case_leads_through_a_check(
    quality: Client, client_for: Callable[[User], Client]
) -> None:
    case = a_case(3)
    text = words_of(quality.get(case_page(case)))
    assert "No effectiveness check is drawn yet." in text
    shown = words_of(quality.get(draw_page(case)))
    assert "3 consignees have or had a box of this case." in shown
    done = quality.post(draw_page(case), sent(level="B", share="50"), follow=True)
    assert "2 of 3 consignees are to be asked." in words_of(done)
    text = words_of(done)
    assert "Level B, 50 %: 2 of 3 drawn." in text
    assert "2 to be asked." in text
    check = EffectCheck.objects.get()
    assert check.seed in text
    row = check.consignees.get(nth=1)
    clerk = client_for(factories.make_person("clerk"))
    page = reverse("dispatch:effect-answer", args=[row.pk])
    assert f'href="{page}"' in clerk.get(case_page(case)).content.decode()
    assert (
        f'href="{draw_page(case)}"' not in clerk.get(case_page(case)).content.decode()
    )
    yes = sent(got="yes", understood="yes", acted="yes", said_by="Ward 3")
    answered = words_of(clerk.post(page, yes, follow=True))
    assert f"What {row.consignee.name} said is on record." in answered
    assert "reached 1 of 1 asked as it should: 100 %." in answered
    assert "1 to be asked." in answered
    again = words_of(quality.post(draw_page(case), sent(level="E"), follow=True))
    assert "Level E, 0 %: 0 of 3 drawn." in again
    assert "An earlier draw" in again
    assert "reached 1 of 1 asked as it should: 100 %." in again


def test_who_was_merged_since_is_called_at_the_number_of_the_other(
    quality: Client,
) -> None:
    case = a_case(1)
    draw(case)
    [row] = EffectConsignee.objects.select_related("consignee")
    other = factories.make_consignee("Eskmoor General")
    Consignee.objects.filter(pk=other.pk).update(contact="0100 555 0142")
    said = {"code": row.consignee.code, "into_id": other.pk, "reason": "twice"}
    merge_consignees(**said, sign=sign())
    for page in (case_page(case), reverse("dispatch:effect-answer", args=[row.pk])):
        text = words_of(quality.get(page))
        assert ("Eskmoor General" in text, "0100 555 0142" in text) == (True, True)


def test_what_is_missing_is_asked_for(quality: Client) -> None:
    case = a_case(1)
    for said in (sent(), sent(level="B"), sent(level="B", share="x"), sent(level="Q")):
        answer = quality.post(draw_page(case), said)
        assert answer.status_code == 422, said
    assert not EffectCheck.objects.exists()
    draw(case)
    page = reverse("dispatch:effect-answer", args=[EffectConsignee.objects.get().pk])
    assert quality.post(page, sent(got="yes", said_by="Ward")).status_code == 422
    part = quality.post(page, sent(got="yes"), HTTP_HX_REQUEST="true")
    assert part.status_code == 422
    assert "<html" not in part.content.decode()
    assert not EffectAnswer.objects.exists()


def test_only_who_may_draws_and_answers(
    client: Client, outsider: User, client_for: Callable[[User], Client]
) -> None:
    case = a_case(2)
    draw(case, "D")
    row = EffectConsignee.objects.get(drawn=True)
    left = EffectConsignee.objects.get(drawn=False)
    pages = [draw_page(case), reverse("dispatch:effect-answer", args=[row.pk])]
    clerk = client_for(factories.make_person("clerk"))
    for page in pages:
        assert client.get(page).status_code == 302
        assert client_for(outsider).get(page).status_code == 403
    assert clerk.get(pages[0]).status_code == 403
    assert clerk.get(pages[1]).status_code == 200
    unknown = reverse("dispatch:effect-answer", args=[left.pk])
    assert clerk.get(unknown).status_code == 404
    assert Operation.objects.filter(name="note_answer").count() == 0


def test_the_journal_finds_them_by_the_case(quality: Client) -> None:
    case = a_case(1)
    draw(case)
    answer(EffectConsignee.objects.get(), True, True, True)
    found = words_of(quality.get(reverse("dispatch:journal"), {"about": case.number}))
    assert "Consignees drawn for an effectiveness check" in found
    assert "Answer to an effectiveness check noted" in found
