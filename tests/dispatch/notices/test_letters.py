"""What a letter about a recall says, and to whom it goes."""

from __future__ import annotations

import re
from io import BytesIO
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from pypdf import PdfReader

from dispatch.labels.letter_words import ENGLISH, GERMAN, written_in
from dispatch.labels.letters import letters
from dispatch.labels.sheets import A4
from dispatch.models import Case, Consignee, Letter, LetterBox
from dispatch.notices.queries.letters import addressees, notices_of
from dispatch.notices.queries.whom import told, whom
from dispatch.notices.services import letters as services
from dispatch.recall import services as recall
from dispatch.recall.links import link_of
from kitting.domain.errors import LotwardError
from kitting.ledger import holds
from kitting.models import Box, Hold, Link, Workshop
from tests import factories
from tests.dispatch.notices.calling import (
    TEXTS,
    There,
    a_case,
    box_at,
    call,
    came_back,
    named_workshop,
    write,
)
from tests.dispatch.notices.test_calls import passed
from tests.factories import sign, sign_by_another

pytestmark = pytest.mark.django_db


def text_of(*rows: Letter) -> str:
    """The text of letters as it stands in their PDF, without the blanks of numbers."""
    pdf = letters(notices_of(rows, Workshop.objects.get()), A4)
    pages = [page.extract_text() for page in PdfReader(BytesIO(pdf)).pages]
    return " ".join(re.sub(r"[\u2009\u202f]", "", "\n".join(pages)).split())


def spoken(consignee: Consignee, language: str) -> Consignee:
    consignee.language = language
    consignee.save()
    return consignee


def lot_of(box: Box) -> Any:
    return box.lines.select_related("lot__part", "lot__revision").get().lot


CONTENTS = {
    # 21 CFR 7.49(a): what a recall communication has to convey.
    "(a)(1) that the product is recalled": ("recall",),
    "(a)(2) stop further distribution or use immediately": ("stop",),
    "(a)(3) the direct account notifies its own customers": ("tell_on",),
    "(a)(4) what to do with the product": ("aside", "to_do"),
    # 21 CFR 7.49(c)(1): how it is written.
    "(c)(1)(ii) identifies product, size, lots, serials": (
        *("what", "product", "sets_per_box", "lots", "serial"),
    ),
    "(c)(1)(iii) the reason and the hazard": ("why",),
    "(c)(1)(iv) specific instructions": ("to_do", "aside"),
    "(c)(1)(v) a ready means to report what is on hand": (
        *("reply", "form", "unused", "used", "quarantine", "returned", "destroyed"),
        *("passed_on", "passed_whom", "receiver", "signature"),
    ),
    # FDA, Product Recalls, Including Removals and Corrections: dates and quantities sent.
    "quantities and dates of sending": ("total", "sets_inside", "boxes", "sent"),
    # Common practice: whom to call, and a piece that has left its box.
    "whom to call": ("call", "by_day", "at_night"),
    "a set out of its box": ("known", "slip", "marks", "part", "revision", "lot"),
}


@pytest.mark.parametrize("language", ["en", "de"])
def test_a_letter_says_what_is_published_that_it_has_to_say(
    language: str, there: There
) -> None:
    named_workshop()
    box, consignee = there
    spoken(consignee, language)
    case, lot = a_case(box), lot_of(box)
    [letter] = write(case, consignee)
    text = text_of(letter)
    words = {"en": ENGLISH, "de": GERMAN}[language]
    missing = {
        f"{content}: {name}"
        for content, names in CONTENTS.items()
        for name in names
        if " ".join(words[name].split()) not in text
    }
    assert missing == set()
    load = box.shipment_boxes.get(live=True)
    sent = load.shipment.sent_at
    assert sent is not None
    data = [
        # 7.49(c)(1)(ii): exactly which.
        *(box.size.product.name, str(box.serial), lot.number),
        *(lot.part.name, lot.revision.code, load.shipment.number),
        sent.date().isoformat(),
        # 7.49(c)(1)(iii) and (iv): in the consignee's language.
        *TEXTS[language],
        # 7.49(c)(1)(i): marked as urgent.
        words["urgent"],
        # Whom to call, from whom it is, to whom, and the head of the record.
        *("+44 1632 960123", "+44 1632 960199", "Harrow Lane Workshop"),
        *(consignee.name, "Ward Road", case.number),
    ]
    assert [each for each in data if each not in text] == []
    link = Link.objects.get(operation=letter.operation)
    assert f"{link.site}/{link.seq}:{bytes(link.hash).hex()[:16]}" in text
    other = {"en": GERMAN, "de": ENGLISH}[language]
    assert other["stop"] not in text


def test_it_bears_the_link_of_its_consignee_alone(
    settings: Any, there: There, there_too: There
) -> None:
    named_workshop()
    (box, first), (other, second) = there, there_too
    case = a_case(box, other)
    one, two = write(case, first, second)
    assert ENGLISH["read_and_say"] not in text_of(one)
    settings.CONSIGNEE_URL = "https://boxes.example"
    for letter, mine, others in ((one, first, second), (two, second, first)):
        text = text_of(letter).replace(" ", "")
        assert ENGLISH["read_and_say"].replace(" ", "") in text
        assert link_of(case, mine) in text
        assert link_of(case, others) not in text


def test_as_much_is_asked_for_any_number_of_letters(settings: Any) -> None:
    settings.CONSIGNEE_URL = "https://boxes.example"
    named_workshop()
    at = [box_at() for _ in range(3)]
    case = a_case(*(box for box, _whom in at))
    rows = write(case, *(whom for _box, whom in at))
    workshop = Workshop.objects.get()
    asked = []
    for some in (rows[:1], rows):
        with CaptureQueriesContext(connection) as queries:
            assert len({each.address for each in notices_of(some, workshop)}) == len(
                some
            )
        asked.append(len(queries))
    assert asked[0] == asked[1]


def test_it_is_urgent_only_where_the_officer_says_so(there: There) -> None:
    named_workshop()
    box, consignee = there
    [letter] = write(a_case(box), consignee, urgent=False)
    assert ENGLISH["urgent"] not in text_of(letter)


def test_it_names_the_boxes_of_its_consignee_alone(
    there: There, there_too: There
) -> None:
    # FDA guidance: only to those that got what is recalled, and exactly what they got.
    named_workshop()
    (box, first), (other, second) = there, there_too
    strange, _third = box_at()
    case = a_case(box, other)
    one, two = write(case, first, second)
    assert str(box.serial) in text_of(one)
    assert str(other.serial) not in text_of(one)
    assert str(strange.serial) not in text_of(one, two)
    assert [each.consignee for each in addressees(case)] == sorted(
        [first, second], key=lambda one: one.name
    )


def test_what_was_passed_on_is_told_to_both(there: There) -> None:
    named_workshop()
    box, first = there
    other = factories.make_consignee("Lodebridge Hospice")
    case = a_case(box)
    passed(box, other)
    one, two = write(case, first, other)
    assert "passed on to Lodebridge Hospice, as we were told" in text_of(one)
    assert "as we were told" not in text_of(two)
    assert str(box.serial) in text_of(two)
    assert LetterBox.objects.get(letter=one).passed_to == other


def gone(letter: Letter) -> None:
    said = {"way": "paper", "by": "Driver 2"}
    services.send_letter(letter_id=letter.pk, **said, sign=sign())


def test_a_later_letter_is_an_addition_and_says_what_is_new(there: There) -> None:
    named_workshop()
    box, consignee = there
    more, _same = box_at(consignee)
    case = a_case(box)
    [first] = write(case, consignee)
    assert ENGLISH["addition"] not in text_of(first)
    gone(first)
    recall.widen_case(
        number=case.number, scope=[("box", more.pk)], reason="another", sign=sign()
    )
    [again] = addressees(case)
    assert (len(again.boxes), again.new) == (2, 1)
    [later] = write(case, consignee)
    assert later.nth == 2
    text = text_of(later)
    assert ENGLISH["addition"] in text
    assert text.index(ENGLISH["new"]) < text.index(str(more.serial))
    assert text.index(str(more.serial)) < text.index(ENGLISH["before"])
    assert text.index(ENGLISH["before"]) < text.index(str(box.serial))
    assert str(more.serial) not in text_of(first)
    gone(later)
    [third] = write(case, consignee)
    assert ENGLISH["repeated_help"] in text_of(third)
    assert factories.prove() == []


def test_what_a_letter_says_stays_as_it_was(there: There) -> None:
    named_workshop()
    box, consignee = there
    [letter] = write(a_case(box), consignee)
    before = text_of(letter)
    consignee.name, consignee.language = "Another name", "de"
    consignee.save()
    Workshop.objects.update(contact="0", night_contact="1")
    passed(box, factories.make_consignee())
    letter = Letter.objects.select_related("operation", "case", "consignee").get()
    assert text_of(letter) == before


def test_what_is_out_of_the_scope_is_in_no_letter(
    there: There, there_too: There
) -> None:
    named_workshop()
    (box, consignee), (other, _same) = there, there_too
    case = a_case(box, other)
    hold = Hold.objects.get(box=box)
    holds.lift_hold(hold_id=hold.pk, reason="It is whole", sign=sign_by_another())
    assert consignee not in [each.consignee for each in addressees(case)]
    refused("letter_without_boxes", case, consignee)


def test_what_came_back_is_in_no_new_letter(there: There) -> None:
    named_workshop()
    box, consignee = there
    more, _same = box_at(consignee)
    case = a_case(box, more)
    came_back(box, opened=True)
    [letter] = write(case, consignee)
    assert str(box.serial) not in text_of(letter)
    assert str(more.serial) in text_of(letter)
    came_back(more, opened=False)
    assert addressees(case) == []


def refused(code: str, case: Case, *to: Consignee, **changes: Any) -> None:
    said = {"texts": TEXTS, "urgent": True, **changes}
    with pytest.raises(LotwardError) as caught:
        services.make_letters(
            number=case.number,
            consignee_ids=[one.pk for one in to],
            sign=sign(),
            **said,
        )
    assert caught.value.code == code
    assert not Letter.objects.exists()


def test_what_cannot_be_is_refused(there: There) -> None:
    box, consignee = there
    case, other = a_case(box), factories.make_consignee()
    Workshop.objects.update(contact="+44 1632 960123", night_contact="")
    refused("nobody_to_call", case, consignee)
    named_workshop()
    refused("letters_to_nobody", case)
    refused("letter_without_boxes", case, other)
    refused("letter_without_boxes", case, consignee, other)
    spoken(consignee, "de")
    refused("letter_says_nothing", case, consignee, texts={"en": TEXTS["en"]})
    refused("letter_says_nothing", case, consignee, texts={"de": ("Riss", " ")})
    refused("entry_too_long", case, consignee, texts={"de": ("x" * 501, "y")})
    refused("row_missing", Case(number="K9"), consignee)
    assert factories.prove() == []


def test_another_language_is_written_in_english() -> None:
    assert [written_in(each) for each in ("en", "de-AT", "DE", "fr", "")] == [
        *("en", "de", "de", "en", "en")
    ]


def test_whoever_got_a_letter_or_was_reached_was_told() -> None:
    named_workshop()
    boxes, people = zip(*(box_at() for _ in range(4)), strict=True)
    case = a_case(*boxes)
    called, written, made, _nobody = people
    call(case, called)
    letter, _other = write(case, written, made)
    assert told(case) == [called]
    services.send_letter(letter_id=letter.pk, way="paper", by="Driver 2", sign=sign())
    assert told(case) == sorted([called, written], key=lambda one: one.name)
    assert next(one for one in whom(case) if one.consignee == written).written
    assert factories.prove() == []
