"""Covers on pages: signed, withdrawn, and said wherever something rests on one."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from dispatch.trace.queries import trace
from kitting.disinfection.services import protocols
from kitting.ledger.coded import mark_of
from kitting.models import Cover, Operation, User
from kitting.models.catalogue import Per
from kitting.packing.services import boxes
from tests import factories
from tests.assertions import (
    assert_page,
    assert_problem,
    assert_sent_to_sign_in,
    text_of,
)
from tests.factories import sign
from tests.kitting.disinfection.test_covers import (
    WHY,
    Two,
    cleared,
    cover,
    revised,
    two,
    withdraw,
)

pytestmark = pytest.mark.django_db

__all__ = ["two"]


@pytest.fixture
def officer(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("quality officer"))


def at(two: Two) -> str:
    where = [two.new.part.code, two.new.code]
    return reverse("kitting:cover-new", args=where)


def entered(two: Two, **changes: str) -> dict[str, str]:
    return {
        "op_key": str(uuid.uuid4()),
        "like": f"{two.protocol.pk}-{two.old.pk}",
        "reason": WHY,
        "seen": mark_of(two.new),
        "password": "pass",
        **changes,
    }


def revision_page(two: Two) -> str:
    return reverse("kitting:revision-detail", args=[two.new.part.code, two.new.code])


@pytest.mark.smoke
def test_it_is_signed_and_withdrawn_on_pages(two: Two, officer: Client) -> None:
    shown = text_of(officer.get(revision_page(two)))
    assert "No protocol in force covers it" in shown
    assert at(two) in officer.get(revision_page(two)).content.decode()
    page = officer.get(at(two))
    assert_page(page)
    assert f"revision A by {two.protocol}: tote, at most 500" in text_of(page)
    sent = entered(two)
    for _ in range(2):
        assert officer.post(at(two), sent)["Location"] == revision_page(two)
    (signed,) = Cover.objects.all()
    protocol_page = reverse("kitting:protocol-detail", args=[two.protocol.code, 1])
    for address in (revision_page(two), protocol_page):
        shown = text_of(officer.get(address))
        assert WHY in shown
        assert signed.operation.by_name in shown
    assert "No protocol in force covers it" not in text_of(
        officer.get(revision_page(two))
    )
    assert "There is nothing to sign" in text_of(officer.get(at(two)))
    end = reverse("kitting:cover-withdraw", args=[signed.pk])
    assert_page(officer.get(end))
    why = {"op_key": str(uuid.uuid4()), "reason": "It shades", "password": "pass"}
    assert officer.post(end, why)["Location"] == revision_page(two)
    shown = text_of(officer.get(revision_page(two)))
    assert "No protocol in force covers it" in shown
    assert "It shades" in shown


def test_run_bag_box_and_trace_say_by_what_it_went_on(
    two: Two, officer: Client
) -> None:
    done = cover(two)
    run, stay = cleared(two)
    bench = factories.make_bench()
    size = factories.make_size(factories.make_recipe([(two.new, 1, Per.SET)]))
    box = factories.make_open_box(size, bench, stay.bag)
    boxes.close_box(box_id=box.pk, sign=sign())
    box.refresh_from_db()
    withdraw(done)
    for name, number, said in (
        ("run", run.number, "like revision A"),
        ("bag", stay.bag.number, "like revision A"),
        ("box", box.serial, "like revision A"),
    ):
        page = officer.get(reverse(f"kitting:{name}-detail", args=[number]))
        assert said in text_of(page), name
    assert trace(str(box.serial)).bags[0].like == "A"


def test_who_signs_the_next_version_is_told_what_it_leaves_out(
    two: Two, officer: Client
) -> None:
    """A cover is of one version: its reasons are read again under the next."""
    done = cover(two)
    drafted = protocols.draft_version(code=two.protocol.code, sign=sign())
    at = reverse("kitting:protocol-sign", args=[drafted.code, drafted.version])
    said = "only once that is signed again: Visor B."
    assert said in text_of(officer.get(at))
    withdraw(done)
    assert said not in text_of(officer.get(at))


def test_only_who_signs_protocols_may(
    two: Two, make_user: Any, client_for: Any, outsider: User
) -> None:
    done = cover(two)
    end = reverse("kitting:cover-withdraw", args=[done.cover_id])
    manager = client_for(make_user("manager", group="manager"))
    before = Operation.objects.count()
    for path in (at(two), end):
        assert_sent_to_sign_in(Client().get(path))
        for other in (manager, client_for(outsider)):
            assert other.get(path).status_code == 403
            assert other.post(path, entered(two)).status_code == 403
    assert end not in manager.get(revision_page(two)).content.decode()
    assert Operation.objects.count() == before


@pytest.mark.smoke
def test_what_is_entered_wrong_is_said_and_nothing_is_signed(
    two: Two, officer: Client
) -> None:
    for changes, code in (
        ({"like": ""}, "required"),
        ({"like": "1-2"}, "invalid_choice"),
        ({"reason": ""}, "required"),
        ({"seen": "0" * 64}, "page_is_old"),
        ({"password": "other"}, "password_wrong"),
    ):
        status = 409 if code == "page_is_old" else 422
        answer = officer.post(at(two), entered(two, **changes))
        assert_problem(answer, code, status=status)
    assert not Cover.objects.exists()
    for path in (
        reverse("kitting:cover-new", args=["NONE", "A"]),
        reverse("kitting:cover-withdraw", args=[7]),
    ):
        assert officer.get(path).status_code == 404


def test_who_wrote_it_is_told_so_on_the_page(
    two: Two, client_for: Callable[[User], Client]
) -> None:
    robin = factories.make_person("quality officer")
    row = revised(robin)
    page = client_for(robin).get(
        reverse("kitting:cover-new", args=[row.part.code, row.code])
    )
    assert "somebody else signs" in text_of(page)
    assert 'name="password"' not in page.content.decode()
