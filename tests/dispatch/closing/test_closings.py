"""Closing cases: every box has its end or a reason, and nobody's page was older."""

from __future__ import annotations

import pytest

from dispatch.closing.queries.closings import mark_of_scope
from dispatch.closing.services import close_case, reopen_case
from dispatch.models import Case, CaseBox, Closing, ClosingBox
from dispatch.recall import services
from kitting.domain.errors import Conflict, LotwardError, Refused, WrongStage
from kitting.ledger import holds
from kitting.models import Box, Hold, Operation, Workshop
from kitting.models.catalogue import PlaceKind
from kitting.places.services.places import put_box
from tests import factories
from tests.databases import guards_away
from tests.factories import sign, sign_by_another

pytestmark = pytest.mark.django_db

DECIDED = {
    "cause": "A knife was blunt",
    "done": "All who had one were called",
    "prevention": "Knives are changed each day",
}


def a_case(*boxes: Box) -> str:
    scope = [("box", box.pk) for box in boxes]
    said = {"hazard": "A visor cracks", "reason": "A ward called"}
    return services.open_case(scope=scope, **said, sign=sign()).case


def sent_box() -> Box:
    box = factories.make_labelled_box()
    factories.send(factories.make_shipment(box))
    return box


def in_quarantine(box: Box) -> None:
    place = factories.make_place(PlaceKind.QUARANTINE)
    put_box(box_id=box.pk, place_id=place.pk, sign=sign())


def mark(case: str) -> str:
    return mark_of_scope(Case.objects.get(number=case))


def close(case: str, *reasons: tuple[int, str], seen: str = "", **said: str) -> int:
    decided = {**DECIDED, **said}
    seen = seen or mark(case)
    return close_case(
        number=case, seen=seen, reasons=reasons, **decided, sign=sign_by_another()
    ).without


def refused(case: str, *reasons: tuple[int, str], **said: str) -> LotwardError:
    with pytest.raises(LotwardError) as raised:
        close(case, *reasons, **said)
    assert not Closing.objects.exists()
    return raised.value


def test_what_is_in_quarantine_needs_no_reason(box: Box) -> None:
    case = a_case(box)
    error = refused(case)
    assert (error.code, error.params) == ("box_unaccounted", {"box": str(box)})
    in_quarantine(box)
    assert close(case) == 0
    closing = Closing.objects.get()
    assert (closing.cause, closing.nth) == (DECIDED["cause"], 1)
    assert Operation.objects.get(name="close_case").pk == closing.operation_id
    assert factories.prove() == []


def test_every_box_without_an_end_is_named_at_once() -> None:
    boxes = [sent_box(), sent_box(), sent_box()]
    case = a_case(*boxes)
    error = refused(case, (boxes[1].pk, "burnt"))
    named = [each.params["box"] for each in (error, *error.besides)]
    assert named == [str(boxes[0]), str(boxes[2])]
    assert close(case, *((box.pk, "burnt") for box in boxes)) == 3
    assert {row.reason for row in ClosingBox.objects.all()} == {"burnt"}
    assert factories.prove() == []


def test_a_box_that_the_case_holds_no_more_has_its_end(
    recalled: tuple[Box, str],
) -> None:
    box, case = recalled
    hold = Hold.objects.get(box=box)
    holds.lift_hold(hold_id=hold.pk, reason="it is not", sign=sign_by_another())
    assert close(case) == 0


def test_a_reason_for_what_has_its_end_by_now_is_not_written(box: Box) -> None:
    case = a_case(box)
    in_quarantine(box)
    assert close(case, (box.pk, "lost")) == 0
    assert not ClosingBox.objects.exists()


@pytest.mark.parametrize("lacking", DECIDED)
def test_a_decision_is_said_in_words(lacking: str) -> None:
    case = a_case(sent_box())
    assert refused(case, **{lacking: "  "}).code == "decision_missing"


def test_who_opened_a_case_does_not_close_it_where_two_are_asked_for(box: Box) -> None:
    case = a_case(box)
    said = {"number": case, "seen": mark(case), **DECIDED}
    reasons = [(Case.objects.get().boxes.get().box_id, "lost")]
    Workshop.objects.update(two_people=True)
    with pytest.raises(Refused) as raised:
        close_case(**said, reasons=reasons, sign=sign())  # type: ignore[arg-type]
    assert raised.value.code == "closing_own"
    Workshop.objects.update(two_people=False)
    close_case(**said, reasons=reasons, sign=sign())  # type: ignore[arg-type]


def test_what_changed_since_it_was_read_is_read_again() -> None:
    box, other = sent_box(), sent_box()
    case = a_case(box)
    lost = (box.pk, "lost")
    before = mark(case)
    services.look_again(number=case, sign=sign())
    assert refused(case, lost, seen=before).code == "case_changed"
    before = mark(case)
    more = {"scope": [("box", other.pk)], "reason": "the same bench"}
    services.widen_case(number=case, **more, sign=sign())  # type: ignore[arg-type]
    assert refused(case, lost, seen=before).code == "case_changed"
    before = mark(case)
    hold = Hold.objects.get(box=other)
    holds.lift_hold(hold_id=hold.pk, reason="it is not", sign=sign_by_another())
    error = refused(case, lost, seen=before)
    assert isinstance(error, Conflict)
    assert error.code == "case_changed"
    assert close(case, lost) == 1


def test_what_came_into_reach_is_looked_for_first(box: Box) -> None:
    bag = box.lines.get().bag
    scope = [("bag", bag.pk)]
    said = {"hazard": "Cracks", "reason": "A ward called"}
    case = services.open_case(scope=scope, **said, sign=sign()).case  # type: ignore[arg-type]
    with guards_away():  # as if it were packed since
        CaseBox.objects.all()._raw_delete("default")
    error = refused(case)
    assert (error.code, error.params["boxes"]) == ("case_reaches_more", 1)


def test_a_closed_case_stays_as_it_is_until_it_is_reopened() -> None:
    box, other = sent_box(), factories.make_labelled_box()
    case = a_case(box)
    close(case, (box.pk, "lost"))
    more = {"scope": [("box", other.pk)], "reason": "the same bench"}
    with pytest.raises(WrongStage, match="case_closed"):
        services.widen_case(number=case, **more, sign=sign())  # type: ignore[arg-type]
    with pytest.raises(WrongStage, match="case_closed"):
        services.look_again(number=case, sign=sign())
    with pytest.raises(WrongStage, match="case_closed"):
        close(case, (box.pk, "lost"))
    assert Hold.objects.filter(lift=None).count() == 1  # which stays
    reopen_case(number=case, reason="a second ward called", sign=sign())
    with pytest.raises(WrongStage, match="case_is_open"):
        reopen_case(number=case, reason="a second ward called", sign=sign())
    services.look_again(number=case, sign=sign())
    close(case, (box.pk, "lost"))
    assert Closing.objects.latest("pk").nth == 2
    assert factories.prove() == []


def test_the_scope_of_a_closed_case_may_come_into_another(
    recalled: tuple[Box, str],
) -> None:
    box, case = recalled
    with pytest.raises(Conflict, match="case_has_it"):
        a_case(box)
    close(case, (box.pk, "lost"))
    other = a_case(box)
    with pytest.raises(Conflict) as raised:
        reopen_case(number=case, reason="a second ward called", sign=sign())
    assert (raised.value.code, raised.value.params["case"]) == ("case_has_it", other)
    assert factories.prove() == []
