"""Views of the shipping log: kept under a name, for everybody, and dropped."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from dispatch.log import services
from dispatch.log.services import drop_view, keep_view
from dispatch.models import LogView
from kitting.domain.errors import Missing, Refused
from kitting.models import Operation, User
from tests import factories
from tests.assertions import assert_sent_to_sign_in, text_of
from tests.factories import sign

pytestmark = pytest.mark.django_db

LOG, KEEP = reverse("dispatch:log"), reverse("dispatch:log-keep")


@pytest.fixture
def clerk(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("clerk"))


def sent(**entered: Any) -> dict[str, Any]:
    return {"op_key": str(uuid.uuid4()), **entered}


def drop_page(view: LogView) -> str:
    return reverse("dispatch:log-drop", args=[view.pk])


def test_what_is_asked_is_kept_under_a_name_for_everybody(
    clerk: Client, client_for: Callable[[User], Client]
) -> None:
    shown = clerk.get(LOG, {"q": "order 1", "stage": "sent", "lot": ""})
    assert f"{KEEP}?q=order+1&amp;stage=sent" in shown.content.decode()
    form = sent(name=" Orders ", asked="lot=&stage=sent&q=order+1&older=S1")
    for _ in range(2):
        answer = clerk.post(KEEP, form)
        assert answer["Location"] == f"{LOG}?q=order+1&stage=sent"
    assert Operation.objects.filter(name="keep_view").count() == 1
    packer = client_for(factories.make_person("packer"))
    page = packer.get(LOG).content.decode()
    assert f'<a href="{LOG}?q=order+1&amp;stage=sent">Orders</a>' in page
    assert "Keep this view" not in packer.get(LOG, {"q": "x"}).content.decode()
    there = packer.get(LOG, {"q": "order 1", "stage": "sent"}).content.decode()
    assert "<b>Orders</b>" in there
    assert "Drop this view" not in there
    assert factories.prove() == []


def test_one_of_the_same_name_is_replaced(clerk: Client) -> None:
    for asked in ("q=one", "q=two"):
        clerk.post(KEEP, sent(name="Mine", asked=asked))
    assert [*LogView.objects.values_list("name", "asked")] == [("Mine", "q=two")]


@pytest.mark.parametrize(
    "asked", ["", "q=", "page=2", "from=no+day", "lot=NOTHING-1", "q=%00", "x" * 601]
)
def test_what_the_log_cannot_read_is_no_view(clerk: Client, asked: str) -> None:
    answer = clerk.post(KEEP, sent(name="Mine", asked=asked))
    assert answer.status_code == 422
    assert not LogView.objects.exists()


def test_a_view_is_dropped_once(clerk: Client) -> None:
    keep_view(name="Mine", asked="q=one", sign=sign())
    view = LogView.objects.get()
    shown = clerk.get(LOG, {"q": "one"}).content.decode()
    assert "Keep this view" not in shown
    assert "Drop this view" in clerk.get(LOG, {"q": "one"}).content.decode()
    assert "goes for everybody" in text_of(clerk.get(drop_page(view)))
    form = sent()
    for _ in range(2):
        assert clerk.post(drop_page(view), form)["Location"] == LOG
    assert not LogView.objects.exists()
    assert clerk.get(drop_page(view)).status_code == 404
    assert clerk.post(drop_page(view), sent()).status_code == 404
    with pytest.raises(Missing):
        drop_view(view_id=view.pk, sign=sign())
    assert factories.prove() == []


def test_there_are_no_more_than_a_page_names(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(services, "MOST", 1)
    keep_view(name="Mine", asked="q=one", sign=sign())
    keep_view(name="Mine", asked="q=two", sign=sign())
    with pytest.raises(Refused) as caught:
        keep_view(name="Other", asked="q=two", sign=sign())
    assert caught.value.code == "too_many_views"


def test_only_who_sends_keeps_and_drops(
    client_for: Callable[[User], Client], outsider: User
) -> None:
    keep_view(name="Mine", asked="q=one", sign=sign())
    packer = client_for(factories.make_person("packer"))
    for page in (KEEP, drop_page(LogView.objects.get())):
        assert_sent_to_sign_in(Client().get(page))
        assert client_for(outsider).get(page).status_code == 403
        assert packer.get(page).status_code == 403
        assert packer.post(page, sent(name="A", asked="q=b")).status_code == 403


def test_nobody_gives_another_one_s_view_another_meaning(clerk: Client) -> None:
    """It is refused with the name of who keeps it; one's own is another from now on."""
    other = factories.make_person("manager", name="Deputy")
    keep_view(name="Mine", asked="q=one", sign=replace(sign(), by=other))
    form = {"op_key": str(uuid.uuid4()), "name": "Mine", "asked": "q=two"}
    answer = clerk.post(KEEP, form)
    assert answer.status_code == 409
    assert f"a view that {other} keeps, for everybody" in text_of(answer)
    assert LogView.objects.get().asked == "q=one"
    keep_view(name="Mine", asked="q=three", sign=replace(sign(), by=other))
    view = LogView.objects.get()
    assert view.asked == "q=three"
    assert f"which {other} keeps" in text_of(clerk.get(drop_page(view)))
    page = text_of(clerk.get(reverse("dispatch:log")))
    assert "Views, for everybody:" in page
    assert factories.prove() == []
