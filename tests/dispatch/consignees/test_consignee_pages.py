"""Consignees are added and changed on pages, each an act."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from dispatch.consignees.labels import LISTS
from dispatch.consignees.services.consignees import (
    WhereTo,
    add_consignee,
    change_consignee,
)
from dispatch.domain.needs import Asked, Tier, Way
from dispatch.models import Consignee
from dispatch.requests.services import take_request
from kitting.domain.errors import LotwardError, Missing, NotFit
from kitting.ledger.coded import mark_of
from kitting.models import Operation
from kitting.printing.services.label_words import keep_words
from lotward.catalogue.loading import load_catalogue
from tests import factories
from tests.assertions import (
    assert_page,
    assert_refused,
    assert_sent_to_sign_in,
    text_of,
)
from tests.factories import sign

pytestmark = pytest.mark.django_db

LIST, NEW = reverse("dispatch:consignees"), reverse("dispatch:consignee-new")
EAST = {
    "name": "Klinik Ost",
    "street": "Tor 2\nSchreinerweg 6",
    "postcode": "38126",
    "city": "Braunschweig",
    "country": "DE",
    "language": "en",
}


def at(act: str, code: str = "KO") -> str:
    return reverse(f"dispatch:consignee-{act}", args=[code])


def sent(**entered: Any) -> dict[str, Any]:
    return {"op_key": str(uuid.uuid4()), **entered}


def east(**changes: Any) -> Consignee:
    add_consignee(code="KO", to=WhereTo(**{**EAST, **changes}), sign=sign())
    return Consignee.objects.get(code="KO")


@pytest.fixture
def clerk(make_user: Any, client_for: Any) -> Client:
    return client_for(make_user("clerk", group="clerk"))  # type: ignore[no-any-return]


@pytest.mark.parametrize("role", ["packer", "checker", "quality officer"])
def test_only_who_sends_keeps_consignees(
    role: str, make_user: Any, client_for: Any, outsider: Any
) -> None:
    east()
    other = client_for(make_user("other", group=role))
    for path in (NEW, at("change")):
        assert_sent_to_sign_in(Client().get(path))
        assert client_for(outsider).get(path).status_code == 403
        assert other.get(path).status_code == 403
        assert other.post(path, sent(code="A", **EAST)).status_code == 403
    for path in (LIST, at("detail")):
        assert client_for(outsider).get(path).status_code == 403
        shown = text_of(other.get(path))
        assert "Klinik Ost" in shown
        assert "Add a consignee" not in shown
        assert "Change name" not in shown
    assert Consignee.objects.count() == 1


def test_a_consignee_that_is_not_there_is_404(clerk: Client) -> None:
    for act in ("detail", "change"):
        assert clerk.get(at(act, "NONE")).status_code == 404
    with pytest.raises(Missing):
        change_consignee(code="NONE", to=WhereTo(**EAST), sign=sign())


@pytest.mark.smoke
def test_a_consignee_is_added_and_shown_as_it_is_printed(
    clerk: Client, django_assert_max_num_queries: Any
) -> None:
    assert "Add a consignee" in text_of(clerk.get(LIST))
    assert_page(clerk.get(NEW))
    once = sent(code="ko", **{**EAST, "country": "de", "postcode": "381"})
    for _ in range(2):  # the same key: once
        assert clerk.post(NEW, once)["Location"] == at("detail")
    [row] = Consignee.objects.all()
    assert (row.code, row.street, row.country) == ("KO", EAST["street"], "DE")
    assert Operation.objects.filter(name="add_consignee").count() == 1
    with django_assert_max_num_queries(15):
        shown = text_of(clerk.get(at("detail")))
    assert "Schreinerweg 6" in shown
    assert "381 BRAUNSCHWEIG" in shown
    assert "GERMANY" in shown
    assert "does not look like a postcode" in shown
    begin = text_of(clerk.get(reverse("dispatch:shipment-new")))
    assert "Klinik Ost" in begin
    assert factories.prove() == []


@pytest.mark.smoke
@pytest.mark.parametrize("name", ["می\u200cرود", "میرود"])
def test_one_is_found_with_and_without_a_joiner(clerk: Client, name: str) -> None:
    """Persian is written with U+200C, which many keyboards lack; nobody sees it."""
    east(name=name)
    for asked in ("می\u200cرود", "میرود"):
        assert at("detail") in clerk.get(LIST, {"q": asked}).content.decode()
    assert at("detail") not in clerk.get(LIST, {"q": "مرود"}).content.decode()


def test_what_cannot_be_a_consignee_is_said(clerk: Client) -> None:
    Consignee.objects.create(code="there", name="Other")
    for changes, words in (
        ({"code": ""}, "code"),
        ({"code": "A CODE"}, "is no code"),
        ({"code": "THERE"}, "Code THERE is in use already"),
        ({"name": " "}, "name"),
        ({"name": "N" * 81}, "80"),
        ({"street": " \n "}, "street"),
        ({"city": ""}, "city"),
        ({"country": ""}, "country"),
        ({"country": "XX"}, "is no country"),
        ({"contact": "N" * 121}, "120"),
    ):
        answer = clerk.post(NEW, sent(**{"code": "KO", **EAST, **changes}))
        assert answer.status_code in (409, 422), changes
        assert words.lower() in text_of(answer).lower(), changes
    assert Consignee.objects.count() == 1
    for changes in ({"street": " "}, {"city": ""}, {"name": ""}, {"country": ""}):
        with pytest.raises(LotwardError):
            east(**changes)


def test_a_consignee_moves_unless_somebody_was_faster(clerk: Client) -> None:
    row = east()
    said = {"seen": mark_of(row), **EAST}
    assert "Tor 2" in text_of(clerk.get(at("change")))
    moved = sent(**{**said, "street": "Am Markt 1"})
    assert clerk.post(at("change"), moved)["Location"] == at("detail")
    row.refresh_from_db()
    assert (row.street, row.search) == ("Am Markt 1", "ko klinik ost")
    late = clerk.post(at("change"), sent(**said))
    assert late.status_code == 409
    assert "has changed since this page was loaded" in text_of(late)
    assert factories.prove() == []


def test_a_consignee_has_a_language_once_packing_lists_have_its_words(
    clerk: Client,
) -> None:
    east(language="de")
    assert "German" in text_of(clerk.get(at("detail")))
    to_greek = sent(**{**EAST, "language": "el"})
    answer = clerk.post(at("change"), to_greek)
    assert answer.status_code == 422
    assert "There is no word for “Boxes” in the language el." in text_of(answer)
    assert Consignee.objects.get().language == "de"
    words = dict(LISTS.english)
    keep_words(language="el", words=words, reviewed_by="", sign=sign())
    assert clerk.post(at("change"), to_greek)["Location"] == at("detail")
    assert Consignee.objects.get().language == "el"
    with pytest.raises(NotFit) as caught:  # it is in use now
        keep_words(language="el", words={"boxes": ""}, reviewed_by="", sign=sign())
    assert_refused(caught.value, "label_word_missing", word="Boxes", language="el")
    assert factories.prove() == []


def test_the_file_says_the_same_of_what_the_page_made() -> None:
    east()
    row = {"code": "KO", **EAST, "street": EAST["street"].splitlines()}
    assert load_catalogue(data={"consignees": [row]}, sign=sign()).consignees == 0


def ask(whom: Consignee) -> str:
    product = factories.make_labelled_box().size.product_id
    asked = Asked(sets=6, tier=Tier.STOCK, way=Way.TELEPHONE)
    done = take_request(
        consignee_id=whom.pk, product_id=product, asked=asked, sign=sign()
    )
    return done.request


def test_one_with_something_open_is_closed_only_with_a_reason(clerk: Client) -> None:
    row = east()
    asked = ask(row)
    begun = factories.make_shipment(consignee=row)
    form = sent(seen=mark_of(row), **EAST)  # without its tick it is closed
    answer = clerk.post(at("change"), form)
    assert answer.status_code == 422
    assert f"{asked}, {begun.number}" in text_of(answer)
    assert Consignee.objects.get().active
    answer = clerk.post(at("change"), {**form, "sure": "Moved in with another"})
    assert answer.status_code == 302
    row = Consignee.objects.get()
    assert not row.active
    # Who changes its name meanwhile is not asked again, and neither is who opens it.
    assert clerk.post(at("change"), sent(**EAST)).status_code == 302
    assert clerk.post(at("change"), sent(active="on", **EAST)).status_code == 302


def test_one_for_which_nothing_is_open_is_closed_without_a_question(
    clerk: Client,
) -> None:
    ask(factories.make_consignee())
    row = east()
    assert clerk.post(at("change"), sent(seen=mark_of(row), **EAST)).status_code == 302
    assert not Consignee.objects.get(code="KO").active
