"""Before the first box of a shift a tied tablet asks whether the bench is clear.

That a line is cleared of what was packed before, and that this is written down, is what
good manufacturing practice asks before packaging: 21 CFR 211.130(e), "inspection of the
packaging and labeling facilities immediately before use to assure that all drug products
have been removed from previous operations", with the result in the records.
"""

from __future__ import annotations

import json
import uuid
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from kitting.domain.errors import LotwardError
from kitting.models import Box, BoxSize, Link, Operation, Tablet, Workshop
from kitting.models.catalogue import PlaceKind
from kitting.packing.queries.shift import CLEAR_OF
from kitting.packing.services.shift import begin_shift
from tests import factories
from tests.assertions import assert_problem, text_of
from tests.benches import Packing, make_packing
from tests.databases import once_a_module
from tests.tablets import packer, refusal, sign_on, tied
from tests.weighed import weigh

pytestmark = pytest.mark.django_db

Scan = Callable[..., Any]


@once_a_module
def at() -> Packing:
    return make_packing()


@pytest.fixture
def tablet(at: Packing) -> Client:
    """The bench's tablet, with petra on."""
    browser = tied(at.bench)
    sign_on(browser, packer("petra")[1])
    return browser


@pytest.fixture
def scan(tablet: Client, at: Packing) -> Scan:
    """Scan with what the screen asked before, as it is sent along."""
    address = reverse("kitting:bench-scan", args=[at.bench.code])
    page = reverse("kitting:bench", args=[at.bench.code])
    last: list[Any] = []

    def sent(text: str, **more: str) -> Any:
        shown = (last or [tablet.get(page)])[-1].context
        said = {
            "scan": text,
            "purpose": str(shown["asked"]),
            "op_key": str(uuid.uuid4()),
        }
        said |= {"box": shown["screen"].newest, **more}
        last.append(tablet.post(address, said, headers={"HX-Request": "true"}))
        return last[-1]

    return sent


def question(answer: Any) -> str:
    context = answer.context
    return context["question"] if context["next"] == "shift" else ""


def begun() -> list[dict[str, Any]]:
    found = Link.objects.filter(operation__name="begin_shift").order_by("seq")
    return [json.loads(link.outcome)["answers"] for link in found]


@pytest.mark.smoke
def test_each_question_is_asked_and_the_answers_are_one_act(
    tablet: Client, at: Packing, scan: Scan
) -> None:
    page = tablet.get(reverse("kitting:bench", args=[at.bench.code]))
    assert question(page) == "bag"
    assert question(scan("ACT-YES")) == "box"
    assert question(scan("ACT-NO")) == "box"
    assert question(scan("ACT-NO")) == "box"
    assert begun() == []
    assert question(scan("ACT-YES")) == "label"
    assert question(scan("ACT-YES")) == ""
    assert begun() == [{"bag": "yes", "box": "no, then yes", "label": "yes"}]
    act = Operation.objects.get(name="begin_shift")
    assert (act.by_name, act.bench) == ("petra", at.bench)
    assert scan("ACT-BOX-6").context["screen"].box is not None
    assert factories.prove() == []


def test_what_the_workshop_asks_besides_comes_last_and_is_kept_in_its_words(
    tablet: Client, at: Packing, scan: Scan
) -> None:
    own = "Are the gloves new?\nIs the <floor> dry?"
    Workshop.objects.update(shift_questions=own)
    tablet.get(reverse("kitting:bench", args=[at.bench.code]))
    for _ in CLEAR_OF:
        asked = scan("ACT-YES")
    assert question(asked) == "Are the gloves new?"
    assert "Are the gloves new?" in text_of(asked)
    asked = scan("ACT-YES")
    assert "Is the &lt;floor&gt; dry?" in asked.content.decode()
    assert_problem(scan("ACT-BOX-6"), "shift_not_begun")
    assert "Do what is asked." in text_of(scan("ACT-NO"))
    assert question(scan("ACT-YES")) == ""
    kept = dict.fromkeys((*CLEAR_OF, "Are the gloves new?"), "yes")
    assert begun() == [kept | {"Is the <floor> dry?": "no, then yes"}]


@pytest.mark.smoke
def test_no_box_starts_before_they_are_answered(at: Packing, scan: Scan) -> None:
    refused = scan("ACT-BOX-6")
    assert_problem(refused, "shift_not_begun")
    assert not Box.objects.exists()
    assert question(scan("ACT-NEXT")) == "bag"


def test_the_bench_is_cleared_meanwhile_and_no_answer_is_lost(
    at: Packing, scan: Scan
) -> None:
    scan("ACT-YES")
    scan("ACT-NO")
    assert question(scan(at.band_bag.number)) == "box"
    assert scan("ACT-CLEAR").context["menu"] == "clear"
    assert scan("ACT-1").context["menu"] == "put"
    assert question(scan(factories.make_place().code)) == "bag"  # after another menu
    for text in ("ACT-YES",) * 3:
        scan(text)
    assert len(begun()) == 1


def test_the_scale_is_asked_about_where_boxes_are_weighed_at_the_bench(
    at: Packing, scan: Scan
) -> None:
    weigh(at)
    BoxSize.objects.update(active=False)  # of those that are packed none is weighed
    assert [question(scan("ACT-YES")) for _ in range(2)] == ["box", "label"]
    BoxSize.objects.update(active=True)
    assert question(scan("ACT-YES")) == "scale"
    assert question(scan("ACT-YES")) == ""
    assert begun()[0]["scale"] == "yes"


def test_who_takes_over_answers_and_who_comes_back_to_their_own_does_not(
    tablet: Client, at: Packing, scan: Scan
) -> None:
    page = reverse("kitting:bench", args=[at.bench.code])
    petra, oskar = packer("petra2")[1], packer("oskar", "8352")[1]
    sign_on(tablet, petra)
    for _ in range(3):
        scan("ACT-YES")
    sign_on(tablet, petra)  # the badge signs out, and
    sign_on(tablet, petra)  # on again
    assert question(tablet.get(page)) == ""
    sign_on(tablet, oskar, "8352")
    assert question(tablet.get(page)) == "bag"
    Tablet.objects.update(shift_at=timezone.now() - timedelta(days=2))
    sign_on(tablet, petra)
    assert question(tablet.get(page)) == "bag"


def test_a_box_that_is_handed_over_is_packed_to_its_end_first(
    tablet: Client, at: Packing, scan: Scan
) -> None:
    for _ in range(3):
        scan("ACT-YES")
    scan("ACT-BOX-6")
    sign_on(tablet, packer("oskar", "8352")[1], "8352")
    answer = tablet.get(reverse("kitting:bench", args=[at.bench.code]))
    assert (question(answer), answer.context["next"]) == ("", "scan")
    assert question(scan("ACT-CANCEL-SIZE", purpose="cancel")) == ""
    assert question(scan("ACT-NEXT")) == "bag"


def test_the_box_that_was_finished_is_put_away_before_the_bench_is_clear(
    tablet: Client, at: Packing, scan: Scan
) -> None:
    ready = factories.make_place(PlaceKind.READY)
    for text in (*("ACT-YES",) * 3, "ACT-BOX-6", *(bag.number for bag in at.bags)):
        scan(text)
    sign_on(tablet, packer("oskar", "8352")[1], "8352")
    scan("ACT-CLOSE")
    box = Box.objects.get()
    asked = scan(str(box.serial))
    assert question(asked) == "bag"
    assert f"Put box {box.serial} away, and scan the place." in text_of(asked)
    assert question(done := scan(ready.code)) == "bag"
    assert "Look, then answer. No box starts before." in text_of(done)
    box.refresh_from_db()
    assert box.place == ready


def test_a_bench_without_a_tied_tablet_asks_nothing(client_for, make_user) -> None:
    at = make_packing()
    browser = client_for(make_user("petra", group="packer"))
    page = browser.get(reverse("kitting:bench", args=[at.bench.code]))
    assert page.context["next"] == "choose"


@pytest.mark.parametrize(
    "said", ["", "YY", "YYYY", "NYY", "YYN", "YNNYY", "XYY", "NNN"]
)
def test_answers_that_fit_no_questions_begin_nothing(said: str, at: Packing) -> None:
    tied(at.bench)
    token = Tablet.objects.get().token_sha256
    sign = factories.sign(bench_id=at.bench.pk, tablet=token, now=None)

    def begin() -> LotwardError:
        return refusal(lambda: begin_shift(bench_id=at.bench.pk, said=said, sign=sign))

    assert begin().code == "nothing_asked"
    assert begun() == []


@pytest.mark.smoke
def test_the_same_yes_sent_twice_is_one_act(
    tablet: Client, at: Packing, scan: Scan
) -> None:
    scan("ACT-YES")
    scan("ACT-YES")
    address = reverse("kitting:bench-scan", args=[at.bench.code])
    said = {"scan": "ACT-YES", "purpose": "shift::YY", "op_key": str(uuid.uuid4())}
    for _ in range(2):
        assert tablet.post(address, said).status_code == 302
    assert len(begun()) == 1
