"""Parts, raw materials and revisions are set up on pages, each an act."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from kitting.domain.errors import LotwardError, Missing
from kitting.ledger.coded import mark_of
from kitting.models import Operation, Part, Revision
from kitting.models.catalogue import Per, Unit
from kitting.products.services.parts import (
    PartFacts,
    RevisionNote,
    add_part,
    add_revision,
    change_part,
    change_revision,
)
from lotward.catalogue.loading import CatalogueRefused, load_catalogue
from tests import factories
from tests.assertions import (
    assert_page,
    assert_refused,
    assert_sent_to_sign_in,
    text_of,
)
from tests.factories import sign

pytestmark = pytest.mark.django_db

LIST, NEW = reverse("kitting:parts"), reverse("kitting:part-new")
BAND = {"code": "HB", "name": "Headband", "unit": "piece", "revision": "A"}
NOTE = {
    "changed": "Wider clip",
    "approved_by": "Quality officer",
    "old_stock": "Used up first",
}


def at(act: str, *args: str) -> str:
    return reverse(f"kitting:{act}", args=args)


def sent(**entered: Any) -> dict[str, Any]:
    return {"op_key": str(uuid.uuid4()), **entered}


def part(code: str = "HB", **facts: Any) -> Part:
    to = PartFacts(**{"name": "Headband", **facts})
    add_part(code=code, revision="A", to=to, sign=sign())
    return Part.objects.get(code=code)


def refused(call: Any, **values: Any) -> LotwardError:
    def state() -> list[Any]:
        rows = (Part.objects.values(), Revision.objects.values())
        return [Operation.objects.count(), *map(list, rows)]

    before = state()
    with pytest.raises(LotwardError) as caught:
        call(**values, sign=sign())
    assert state() == before
    return caught.value


@pytest.fixture
def manager(make_user: Any, client_for: Any) -> Client:
    return client_for(make_user("manager", group="manager"))  # type: ignore[no-any-return]


# -- Who may --------------------------------------------------------------------------


@pytest.mark.parametrize("role", ["packer", "checker", "clerk", "quality officer"])
def test_only_managers_set_parts_up(
    role: str, make_user: Any, client_for: Any, outsider: Any
) -> None:
    part()
    other = client_for(make_user("other", group=role))
    acts = (NEW, at("part-change", "HB"), at("revision-new", "HB"))
    for path in (*acts, at("revision-change", "HB", "A")):
        assert_sent_to_sign_in(Client().get(path))
        assert other.get(path).status_code == 403
        assert other.post(path, sent(**BAND)).status_code == 403
    for path in (LIST, at("part-detail", "HB"), at("revision-detail", "HB", "A")):
        assert client_for(outsider).get(path).status_code == 403
        shown = text_of(other.get(path))
        assert "Headband" in shown
        for act in ("Add a part", "Change the part", "Add a revision", "close it"):
            assert act not in shown


def test_what_is_not_there_is_404(manager: Client) -> None:
    part()
    for path in (
        *(at(f"part-{act}", "NONE") for act in ("detail", "change")),
        at("revision-new", "NONE"),
        *(at(f"revision-{act}", "HB", "Z") for act in ("detail", "change")),
    ):
        assert manager.get(path).status_code == 404
    with pytest.raises(Missing):
        change_part(code="NONE", to=PartFacts(name="None"), sign=sign())
    with pytest.raises(Missing):
        change_revision(part="HB", code="Z", active=True, sign=sign())


# -- Parts ----------------------------------------------------------------------------


@pytest.mark.smoke
@pytest.mark.parametrize("unit", list(Unit))
def test_a_part_of_every_unit_is_added(unit: str, manager: Client) -> None:
    assert "Add a part" in text_of(manager.get(LIST))
    assert_page(manager.get(NEW))
    mass = {"mass_mg": "36.5", "spread_mg": "0.7"} if unit == Unit.PIECE else {}
    more = {"open_hours": "8", "needs_clearing": "on", "latex": "on", **mass}
    once = sent(**{**BAND, "code": "hb", "unit": unit}, **more)
    for _ in range(2):  # the same key: once
        answer = manager.post(NEW, once)
        assert answer["Location"] == at("part-detail", "HB")
    [row] = Part.objects.all()
    assert (row.name, row.unit, row.open_hours) == ("Headband", unit, 8)
    assert (row.mass_mg, row.spread_mg) == ((36_500, 700) if mass else (None, None))
    assert (row.needs_check, row.needs_clearing, row.latex) == (False, True, True)
    assert [each.code for each in row.revisions.all()] == ["A"]
    assert Operation.objects.filter(name="add_part").count() == 1
    shown = text_of(manager.get(answer["Location"]))
    assert "Headband is added." in shown
    assert "8 h" in shown
    assert factories.prove() == []


def test_what_cannot_be_a_part_is_said_and_nothing_is_kept(manager: Client) -> None:
    Part.objects.create(code="hb-1", name="Other")
    for changes, words in (
        ({"code": ""}, "code"),
        ({"code": "A PART"}, "is no code"),
        ({"code": "A" * 13}, "12"),
        ({"code": "HB-1"}, "Code HB-1 is in use already"),
        ({"name": " "}, "name"),
        ({"name": "N" * 61}, "60"),
        ({"unit": "barrel"}, "the unit"),
        ({"revision": ""}, "first revision"),
        ({"revision": "one two"}, "is no revision"),
        ({"mass_mg": "0"}, "mass"),
        ({"mass_mg": "heavy"}, "mass of one piece"),
        ({"mass_mg": "2", "spread_mg": "3"}, "spread"),
        ({"spread_mg": "3"}, "spread"),
        ({"unit": "gram", "mass_mg": "3"}, "counted in pieces"),
        ({"open_hours": "0"}, "hours"),
        ({"open_hours": "9999"}, "hours"),
    ):
        answer = manager.post(NEW, sent(**{**BAND, **changes}))
        assert answer.status_code in (409, 422), changes
        assert words.lower() in text_of(answer).lower(), changes
    for facts, code in (
        ({"open_hours": 0}, "open_hours_out_of_range"),
        ({"mass_mg": 2, "spread_mg": 2}, "part_spread_too_large"),
    ):
        to = PartFacts(name="Headband", **facts)
        error = refused(add_part, code="HB", revision="A", to=to)
        assert error.code == code
    assert Part.objects.count() == 1
    assert (
        manager.post(
            NEW, sent(**{**BAND, "name": ("Nine " * 12)[:59] + "s"})
        ).status_code
        == 302
    )


def test_unit_and_disinfection_stay_once_there_are_lots(
    manager: Client, django_assert_max_num_queries: Any
) -> None:
    row = part()
    page = at("part-change", "HB")
    said = {"seen": mark_of(row), "name": "Band", "unit": "gram"}
    assert manager.post(page, sent(**said))["Location"] == at("part-detail", "HB")
    late = manager.post(page, sent(**said, needs_clearing="on"))
    assert late.status_code == 409
    assert "has changed since this page was loaded" in text_of(late)
    row.refresh_from_db()
    assert (row.name, row.unit, row.needs_clearing) == ("Band", "gram", False)
    assert row.needs_check  # set on the page of its checks
    factories.make_lot(row.revisions.get())
    for changes in ({"unit": "mm"}, {"unit": "gram", "needs_clearing": True}):
        to = PartFacts(name="B", **{"needs_clearing": False, **changes})
        assert_refused(
            refused(change_part, code="HB", to=to), "part_stays", part="Band"
        )
    with django_assert_max_num_queries(15):
        assert "so its unit stays" in text_of(manager.get(page))
    manager.post(page, sent(name="Band", unit="mm", needs_clearing="on", latex="on"))
    row.refresh_from_db()
    assert (row.unit, row.needs_clearing, row.latex) == ("gram", False, True)
    assert factories.prove() == []


# -- Revisions ------------------------------------------------------------------------


@pytest.mark.smoke
def test_a_revision_says_what_changed_and_what_it_lacks(manager: Client) -> None:
    row = part(needs_check=False)
    page = at("revision-new", "HB")
    assert "The newest one is A." in text_of(manager.get(page))
    once = sent(code="b", **NOTE, from_lot="HB-17")
    for _ in range(2):
        answer = manager.post(page, once)
        assert answer["Location"] == at("revision-detail", "HB", "B")
    revision = Revision.objects.get(part=row, code="B")
    assert (revision.changed, revision.from_lot) == ("Wider clip", "HB-17")
    shown = text_of(manager.get(answer["Location"]))
    lacking = (
        "No recipe in force takes it",
        "No protocol in force covers it",
        "The mass of a piece is not known",
    )
    for words in (*NOTE.values(), "HB-17", *lacking):
        assert words in shown
    factories.make_recipe([(revision, 1, Per.SET)])
    factories.make_protocol(revision)
    to = PartFacts(name="Headband", mass_mg=36_000)
    change_part(code="HB", to=to, sign=sign())
    shown = text_of(manager.get(answer["Location"], {"labels": "1"}))
    assert "Nothing: it can be taken in and packed." in shown
    for words in lacking:
        assert words not in shown
    assert "Wider clip" in text_of(manager.get(at("part-detail", "HB")))


def test_what_cannot_be_a_revision_is_said(manager: Client) -> None:
    part()
    page = at("revision-new", "HB")
    for changes, words in (
        ({"code": ""}, "revision"),
        ({"code": "A/B"}, "is no revision"),
        ({"code": "a"}, "Headband has a revision A already"),
        ({"changed": ""}, "what is new in it"),
        ({"changed": "N" * 201}, "200"),
        ({"approved_by": " "}, "who approved it"),
        ({"old_stock": ""}, "what is done with the old stock"),
    ):
        answer = manager.post(page, sent(**{"code": "B", **NOTE, **changes}))
        assert answer.status_code in (409, 422), changes
        assert words.lower() in text_of(answer).lower(), changes
    assert Revision.objects.count() == 1
    error = refused(add_revision, part="HB", code="B", note=RevisionNote())
    assert_refused(error, "revision_note_missing", revision="B")


def test_a_closed_revision_is_taken_in_no_more(manager: Client) -> None:
    row = part()
    add_revision(part="HB", code="B", note=RevisionNote(**NOTE), sign=sign())
    first, second = row.revisions.order_by("pk")
    page = at("revision-change", "HB", "A")
    said = {"seen": mark_of(first)}
    open_lot = factories.make_lot(first, close=False)
    assert "so what was said of it stays" in text_of(manager.get(page))
    assert manager.post(page, sent(**said)).status_code == 302
    late = manager.post(page, sent(**said, active="on"))
    assert late.status_code == 409
    error = refused(lambda sign: factories.make_lot(first))
    assert_refused(error, "revision_closed", part="Headband", revision="A")
    shown = text_of(manager.get(reverse("kitting:lot-new")))
    assert "Headband, revision B" in shown
    assert "Headband, revision A" not in shown
    # What is open of it goes on.
    factories.make_lot(first, lot_id=open_lot.pk, close=False)
    factories.make_lot(second)
    for revision, note in ((first, RevisionNote(changed="Else")), (second, None)):
        values = {"part": "HB", "code": revision.code, "active": True, "note": note}
        if note is None:
            change_revision(**values, sign=sign())
        else:
            assert refused(change_revision, **values).code == "revision_stays"
    assert factories.prove() == []


def test_what_is_said_is_corrected_while_there_are_no_lots(manager: Client) -> None:
    part()
    add_revision(part="HB", code="B", note=RevisionNote(**NOTE), sign=sign())
    page = at("revision-change", "HB", "B")
    assert_page(manager.get(page))
    right = sent(**{**NOTE, "changed": "Rounder clip"}, active="on")
    assert manager.post(page, right).status_code == 302
    assert Revision.objects.get(code="B").changed == "Rounder clip"
    wrong = manager.post(page, sent(**{**NOTE, "changed": ""}, active="on"))
    assert wrong.status_code == 422
    # Nothing needs to be said of the first one.
    first = at("revision-change", "HB", "A")
    assert manager.post(first, sent(active="on")).status_code == 302


# -- The file -------------------------------------------------------------------------


def test_the_file_makes_what_the_pages_make() -> None:
    row = part(mass_mg=36_000)
    add_revision(part="HB", code="B", note=RevisionNote(**NOTE), sign=sign())
    said = {"code": "HB", "name": "Headband", "mass_mg": 36_000}
    revisions = ["A", {"code": "B", **NOTE}]
    same = {"parts": [{**said, "revisions": revisions}]}
    done = load_catalogue(data=same, sign=sign())
    assert (done.parts, done.revisions) == (0, 0)
    new = {"parts": [{**said, "code": "CH", "revisions": revisions}]}
    done = load_catalogue(data=new, sign=sign())
    assert (done.parts, done.revisions) == (1, 2)
    notes = [("changed", "approved_by", "old_stock", "from_lot")]
    [made, known] = (
        Revision.objects.filter(part__code=code, code="B").values_list(*notes[0]).get()
        for code in ("CH", "HB")
    )
    assert made == known
    for wrong, path, code in (
        (
            {"revisions": [{"code": "B", "changed": "Else"}]},
            "parts[1].revisions[1].changed",
            "catalogue_differs",
        ),
        ({"revisions": [7]}, "parts[1].revisions[1]", "catalogue_kind"),
        ({"revisions": ["C/D"]}, "parts[1].revisions[1]", "revision_malformed"),
        ({"code": "hb2"}, "parts[1].code", "code_malformed"),
        ({"code": "FI", "unit": "gram"}, "parts[1]", "part_mass_of_pieces"),
    ):
        with pytest.raises(CatalogueRefused) as caught:
            load_catalogue(data={"parts": [{**said, **wrong}]}, sign=sign())
        assert [(p.path, p.code) for p in caught.value.problems] == [(path, code)]
    assert Part.objects.filter(pk=row.pk, revisions__code="B").exists()
