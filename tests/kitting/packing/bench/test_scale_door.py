"""Who sends readings for a bench: whoever has its token, and nobody else."""

from __future__ import annotations

from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse

from kitting.domain.errors import LotwardError
from kitting.ledger import proof
from kitting.models import Bench, Link, Operation, RowSeal, Scale
from kitting.packing.services.scales import end_token, give_token, token_of
from tests import factories
from tests.assertions import (
    assert_page,
    assert_refused,
    assert_sent_to_sign_in,
    text_of,
)
from tests.factories import sign
from tests.scales import door, showing
from tests.weighed import weigh

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    "told",
    [
        {},
        {"Authorization": ""},
        {"Authorization": "Bearer"},
        {"Authorization": "Bearer "},
        {"Authorization": "Bearer wrong"},
        {"Authorization": "bearer {token}"},
        {"Authorization": "Basic {token}"},
        {"Authorization": "{token}"},
        {"Authorization": "Bearer {token}x"},
        {"Authorization": "Bearer \udcff"},
    ],
)
def test_without_its_token_nothing_is_taken(send, told) -> None:
    headers = {name: text.format(token=send.token) for name, text in told.items()}
    values = {"g": "844.5", "stable": "true"}
    answer = Client().post(door(send.at.bench), values, headers=headers)
    assert answer.status_code == 401
    assert answer.headers["WWW-Authenticate"] == "Bearer"
    assert "no-store" in answer.headers["Cache-Control"]
    assert showing() == (None, False)


def test_the_hash_that_is_kept_is_no_token(send) -> None:
    send.token = str(Scale.objects.get().token_sha256)
    assert send(844.5).status_code == 401


def test_the_token_of_one_bench_is_none_of_another(at, send) -> None:
    other = factories.make_bench()
    Bench.objects.filter(pk=other.pk).update(
        scale_step_mg=1, scale_u_mg=1, scale_most_mg=9_000_000
    )
    by = sign()
    give_token(bench_id=other.pk, sign=by)
    send.token = token_of(by.key)
    assert send(844.5).status_code == 401
    assert not Scale.objects.filter(mass_mg__isnull=False).exists()
    headers = {"Authorization": f"Bearer {send.token}"}
    values = {"g": "844.5", "stable": "true"}
    assert (
        Client().post("/bench/NONE/scale/", values, headers=headers).status_code == 401
    )


def test_no_session_opens_the_door(client, client_for, make_user, send) -> None:
    values = {"g": "844.5", "stable": "true"}
    for browser in (client, client_for(make_user("boss", group="manager"))):
        assert browser.post(door(send.at.bench), values).status_code == 401
        assert browser.get(door(send.at.bench)).status_code == 405


def test_a_closed_bench_takes_no_reading(send) -> None:
    Bench.objects.filter(pk=send.at.bench.pk).update(active=False)
    assert send(844.5).status_code == 401


def test_a_large_body_is_refused(send) -> None:
    headers = {"Authorization": f"Bearer {send.token}"}
    for kind in ("application/json", "application/x-www-form-urlencoded"):
        body = "g=" + "1" * 1_000
        answer = send.client.post(door(send.at.bench), body, kind, headers=headers)
        assert answer.status_code == 413


def test_a_new_token_ends_the_old_one_and_an_ended_one_is_good_for_nothing(
    at, send
) -> None:
    old, by = send.token, sign()
    send(844.5)
    give_token(bench_id=at.bench.pk, sign=by)
    assert showing() == (None, False)
    assert send(844.5).status_code == 401
    send.token = token_of(by.key)
    assert send(844.5).status_code == 204
    end_token(bench_id=at.bench.pk, sign=sign())
    assert send(844.5).status_code == 401
    assert showing() == (None, False)
    with pytest.raises(LotwardError) as caught:
        end_token(bench_id=at.bench.pk, sign=sign())
    assert_refused(caught.value, "scale_sends_nothing")
    assert old != send.token


def test_a_manager_makes_a_token_sees_it_once_and_ends_it(
    at, clock, client, make_user, client_for, outsider
) -> None:
    weigh(at)
    make = reverse("kitting:scale-token", args=[at.bench.code])
    end = reverse("kitting:scale-end", args=[at.bench.code])
    for address in (make, end):
        for other in (client, client_for(outsider)):
            assert other.get(address).status_code == 403
            assert other.post(address).status_code == 403
        assert_sent_to_sign_in(Client().get(address))
    manager = client_for(make_user("boss", group="manager"))
    asked = manager.get(make)
    assert_page(asked)
    key = str(uuid4())
    once = manager.post(make, {"op_key": key})
    token = once.context["token"]
    assert token in once.content.decode()
    assert "no-store" in once.headers["Cache-Control"]
    assert manager.post(make, {"op_key": key}).context["token"] == token
    assert Operation.objects.filter(name="give_token").count() == 1
    change = reverse("kitting:bench-change", args=[at.bench.code])
    assert token not in manager.get(make).content.decode()
    assert token not in manager.get(change).content.decode()
    assert "behind which it sends" in text_of(manager.get(change))
    kept = [*Link.objects.values_list("outcome"), *RowSeal.objects.values_list("text")]
    assert not [text for (text,) in kept if token in text]
    assert manager.post(end, {"op_key": str(uuid4())}).status_code == 302
    assert "it can send" in text_of(manager.get(change))
    factories.seal_set_up()
    assert proof.prove() == []


def test_a_bench_without_a_scale_on_record_gets_no_token(at) -> None:
    with pytest.raises(LotwardError) as caught:
        give_token(bench_id=at.bench.pk, sign=sign())
    assert_refused(caught.value, "scale_not_on_record")
