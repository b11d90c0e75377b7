"""A revision goes on the line like one that was measured, by a signature."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import pytest

from kitting.disinfection.queries.covers import worth_signing
from kitting.disinfection.services import covers, protocols
from kitting.disinfection.steps import lines
from kitting.domain.errors import Conflict, Missing, NotFit, OnHold, Refused, WrongStage
from kitting.ledger import holds
from kitting.ledger.coded import mark_of
from kitting.ledger.covering import covered_revisions
from kitting.ledger.operations import Sign
from kitting.lots.services.counts import count_again
from kitting.lots.services.repack import repack
from kitting.models import (
    Cover,
    Product,
    Protocol,
    ProtocolLoad,
    Revision,
    Run,
    RunBag,
    User,
    Withdrawal,
)
from kitting.models.catalogue import Per
from kitting.products.services.parts import (
    RevisionNote,
    add_revision,
    change_revision,
)
from tests import factories
from tests.databases import once_a_module
from tests.factories import NOW, TODAY, sign, sign_by_another
from tests.kitting.disinfection.run_acts import (
    accepted_bags,
    assert_refuses,
    fresh,
    put_on,
    take_off,
)

pytestmark = pytest.mark.django_db

WHY = "Same film, same thickness"


@dataclass
class Two:
    """A protocol that names the old revision of a part, and a new one of it."""

    protocol: Protocol
    old: Revision
    new: Revision


@once_a_module
def two() -> Two:
    part = factories.make_part(name="Visor")
    old, new = (factories.make_revision(part, code) for code in "AB")
    return Two(factories.make_protocol(old), old, new)


def cover(two: Two, by: Sign | None = None, **changes: Any) -> covers.Covered:
    values = {
        "protocol_id": two.protocol.pk,
        "revision_id": two.new.pk,
        "like_id": two.old.pk,
        "reason": WHY,
        "seen": mark_of(two.new),
        **changes,
    }
    return covers.cover_revision(**values, sign=by or sign_by_another())


def withdraw(done: covers.Covered) -> None:
    what = {"cover_id": done.cover_id, "reason": "It shades itself"}
    covers.withdraw_cover(**what, sign=sign())


# -- What goes on by it ---------------------------------------------------------------


def test_what_is_covered_goes_on_and_is_cleared(two: Two) -> None:
    (bag,) = accepted_bags(1, two.new)
    run = factories.open_run(two.protocol)
    assert_refuses("not_covered", Refused, put_on, run=run, bag=bag)
    done = cover(two)
    assert (done.revision, done.like, done.protocol) == ("B", "A", str(two.protocol))
    factories.expose(run, bag)
    assert RunBag.objects.get().cover_id == done.cover_id
    factories.close_run(run)
    assert fresh(bag).stage == "cleared"
    assert factories.prove() == []


def test_only_as_the_measured_one_was(two: Two) -> None:
    """Its containers and its pieces, and nothing of the rest of the protocol."""
    cover(two)
    run = factories.open_run(two.protocol)
    (tray,) = accepted_bags(1, two.new, container="open tray")
    assert_refuses("not_covered", Refused, put_on, run=run, bag=tray)
    (bag,) = accepted_bags(1, two.new)
    two.protocol.loads.update(max_pieces=99)
    assert_refuses("too_many_pieces", Refused, put_on, run=run, bag=bag)
    other = factories.make_revision(two.new.part, "C")
    (third,) = accepted_bags(1, other)
    assert_refuses("not_covered", Refused, put_on, run=run, bag=third)
    elsewhere = factories.open_run(factories.make_protocol(two.old))
    assert_refuses("not_covered", Refused, put_on, run=elsewhere, bag=bag)


def test_what_the_protocol_names_itself_goes_before(two: Two) -> None:
    tray = ProtocolLoad(protocol=two.protocol, part=two.old.part, revision=two.old)
    tray.container, tray.max_pieces = "open tray", 500
    tray.save()
    own = ProtocolLoad(protocol=two.protocol, part=two.old.part, revision=two.new)
    own.container, own.max_pieces = "tote", 100
    own.save()
    cover(two)  # for the tray
    own_load = accepted_bags(1, two.new)[0]
    like_load = accepted_bags(1, two.new, container="open tray")[0]
    run = factories.open_run(two.protocol)
    for bag in (own_load, like_load):
        put_on(run, bag)
    by = dict(RunBag.objects.values_list("bag", "cover__like"))
    assert by == {own_load.pk: None, like_load.pk: two.old.pk}


def test_what_was_repacked_or_counted_since_rests_on_the_same(two: Two) -> None:
    done = cover(two)
    (bag,) = accepted_bags(1, two.new)
    run = factories.open_run(two.protocol)
    two.protocol.loads.update(max_pieces=100)
    factories.expose(run, bag)
    withdraw(done)
    more = {"counted": 101, "counted_by": "hand", "reason": "Nested"}
    assert count_again(bag_id=bag.pk, **more, sign=sign()).most == 100
    factories.close_run(run)
    moved = repack(bag_id=bag.pk, pieces=2, sign=sign())
    stay = RunBag.objects.get(bag__number=moved.into[0])
    assert stay.cover_id == done.cover_id


# -- What cannot be signed ------------------------------------------------------------


def test_what_cannot_be_signed_is_refused(two: Two) -> None:
    visor = two.new.part.name
    other = factories.make_revision()
    ProtocolLoad.objects.create(
        protocol=two.protocol,
        part=other.part,
        revision=other,
        container="tote",
        max_pieces=5,
    )
    third = factories.make_revision(two.new.part, "C")
    for code, changes in (
        ("cover_of_other_part", {"like_id": other.pk}),
        ("cover_not_measured", {"like_id": third.pk}),
        ("reason_missing", {"reason": " "}),
        ("entry_too_long", {"reason": "x" * 201}),
    ):
        assert_refuses(code, Refused, cover, two=two, **changes)
    assert_refuses("page_is_old", Conflict, cover, two=two, seen="0" * 64)
    assert_refuses("row_missing", Missing, cover, two=two, like_id=9)
    itself = {"revision_id": two.old.pk, "seen": mark_of(two.old)}
    assert_refuses("cover_needless", Refused, cover, two=two, **itself)
    cover(two)
    # One that is itself only covered is measured by nobody.
    on = {"revision_id": third.pk, "seen": mark_of(third), "like_id": two.new.pk}
    assert_refuses("cover_not_measured", Refused, cover, two=two, **on)
    again = assert_refuses("cover_there", WrongStage, cover, two=two)
    assert (again.params["like"], again.params["part"]) == ("A", visor)
    assert Cover.objects.count() == 1


def test_the_same_signature_sent_twice_is_one(two: Two) -> None:
    by = sign_by_another()
    assert cover(two, by) == cover(two, by)
    assert Cover.objects.count() == 1


def test_nothing_is_signed_under_a_draft_or_what_has_ended(two: Two) -> None:
    draft = factories.make_protocol(two.old, signed_by="")
    of = {"protocol_id": draft.pk}
    assert_refuses("protocol_not_signed", Refused, cover, two=two, **of)
    later = factories.make_protocol(two.old, in_force_from=TODAY + timedelta(days=3))
    cover(two, protocol_id=later.pk)
    protocols.retire_protocol(protocol_id=two.protocol.pk, reason="Old", sign=sign())
    cover(two)  # in force until midnight
    tomorrow = sign(now=NOW + timedelta(days=1))
    assert_refuses(
        *("protocol_not_in_force", Refused, covers.cover_revision),
        protocol_id=two.protocol.pk,
        revision_id=factories.make_revision(two.old.part, "C").pk,
        like_id=two.old.pk,
        reason=WHY,
        seen=mark_of(Revision.objects.get(part=two.old.part, code="C")),
        sign=tomorrow,
    )


def test_what_is_covered_ends_with_its_protocol(two: Two) -> None:
    cover(two)
    run = factories.open_run(two.protocol)
    (bag,) = accepted_bags(1, two.new)
    protocols.retire_protocol(protocol_id=two.protocol.pk, reason="Old", sign=sign())
    tomorrow = {"now": NOW + timedelta(days=1)}
    assert_refuses(
        "protocol_not_in_force", Refused, put_on, run=run, bag=bag, **tomorrow
    )
    assert worth_signing(two.new, TODAY + timedelta(days=1)) == []


@pytest.mark.parametrize("target", ["protocol", "new", "old"])
def test_a_hold_keeps_it_from_being_signed(target: str, two: Two) -> None:
    row = getattr(two, target)
    kind = "protocol" if target == "protocol" else "revision"
    of = {"target": kind, "value": row.pk, "reason": "Crack"}
    held = holds.place_hold(**of, sign=sign())
    error = assert_refuses(f"{kind}_on_hold", OnHold, cover, two=two)
    assert error.params["reason"] == "Crack"
    other = sign(factories.make_person("quality officer"))
    holds.lift_hold(hold_id=held.hold_id, reason="Measured", sign=other)
    cover(two)


def test_a_hold_on_the_new_revision_stops_it_though_it_is_covered(two: Two) -> None:
    cover(two)
    (bag,) = accepted_bags(1, two.new)
    run = factories.open_run(two.protocol)
    of = {"target": "revision", "value": two.new.pk, "reason": "Crack"}
    holds.place_hold(**of, sign=sign())
    assert_refuses("bag_on_hold", OnHold, put_on, run=run, bag=bag)


def test_no_words_come_on_a_label_that_it_cannot_carry(two: Two) -> None:
    """The product's language has no words for those of the protocol."""
    recipe = factories.make_recipe([(two.new, 1, Per.SET)])
    Product.objects.filter(pk=recipe.product_id).update(language="de")
    strange = factories.make_protocol(two.old, label_words="Treated by UV-C")
    with pytest.raises(NotFit) as caught:
        cover(two, protocol_id=strange.pk)
    assert caught.value.code == "label_word_missing"
    assert not Cover.objects.exists()


# -- Who signs ------------------------------------------------------------------------


def revised(by: User, code: str = "C") -> Revision:
    """A revision that somebody adds on the page."""
    old = Revision.objects.earliest("pk")
    note = RevisionNote(changed="Wider", approved_by="Ada", old_stock="Used up")
    at = {"part": old.part.code, "code": code}
    add_revision(**at, note=note, sign=sign(by))
    return Revision.objects.get(part=old.part, code=code)


def test_who_wrote_the_revision_does_not_sign(two: Two) -> None:
    robin, alex = (factories.make_person("quality officer") for _ in range(2))
    row = revised(robin)
    of = {"revision_id": row.pk, "seen": mark_of(row)}
    assert_refuses("cover_own", Refused, cover, two=two, by=sign(robin), **of)
    cover(two, sign(alex), **of)
    # What alex has read stays as it was read.
    note = RevisionNote(changed="Narrower", approved_by="Ada", old_stock="Used up")
    at = {"part": row.part.code, "code": row.code, "active": True, "note": note}
    assert_refuses("revision_stays", Refused, change_revision, **at, sign=sign(robin))


def test_proof_names_who_signed_for_themselves(
    two: Two, monkeypatch: pytest.MonkeyPatch
) -> None:
    robin = factories.make_person("quality officer", "robin")
    factories.seal_set_up()
    row = revised(robin)
    monkeypatch.setattr(covers, "need_another", lambda *_, **__: None)
    cover(two, sign(robin), revision_id=row.pk, seen=mark_of(row))
    (fault,) = factories.prove()
    assert (fault.check, fault.table, fault.found) == (
        "two people",
        "kitting_cover",
        "robin",
    )


# -- Withdrawing it -------------------------------------------------------------------


def test_what_went_on_keeps_what_it_rested_on(two: Two) -> None:
    done = cover(two)
    early, late = accepted_bags(2, two.new)
    run = factories.open_run(two.protocol)
    put_on(run, early)
    withdraw(done)
    assert_refuses("not_covered", Refused, put_on, run=run, bag=late)
    take_off(run, early)
    factories.close_run(run)
    assert fresh(early).stage == "cleared"
    assert factories.prove() == []
    assert_refuses("cover_withdrawn", WrongStage, withdraw, done=done)
    cover(two)  # it may be signed again
    assert (Cover.objects.count(), Withdrawal.objects.count()) == (2, 1)
    assert factories.prove() == []


def test_what_is_covered_is_told_where_it_is_asked(two: Two) -> None:
    """The page of a revision and the first hour ask what protocols in force cover."""
    later = TODAY + timedelta(days=1)
    assert covered_revisions(TODAY) == {two.old.pk}
    done = cover(two)
    assert covered_revisions(TODAY) == {two.old.pk, two.new.pk}
    protocols.retire_protocol(protocol_id=two.protocol.pk, reason="Old", sign=sign())
    assert covered_revisions(TODAY) == {two.old.pk, two.new.pk}
    assert covered_revisions(later) == set()
    withdraw(done)
    assert covered_revisions(TODAY) == {two.old.pk}


# -- The proof ------------------------------------------------------------------------


def cleared(two: Two) -> tuple[Run, RunBag]:
    (bag,) = accepted_bags(1, two.new)
    run = factories.open_run(two.protocol)
    factories.expose(run, bag)
    return factories.close_run(run), RunBag.objects.get(bag=bag)


def test_proof_replays_by_what_each_bag_went_on(
    two: Two, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = cover(two)
    _run, stay = cleared(two)
    factories.seal_set_up()

    def bent(**values: Any) -> list[tuple[str, str, int | None]]:
        before = {name: getattr(stay, name) for name in values}
        if values:
            RunBag.objects.filter(pk=stay.pk).update(**values)
        faults = factories.prove()
        if values:
            RunBag.objects.filter(pk=stay.pk).update(**before)
        found = [(f.check, f.table, f.pk) for f in faults]
        return [each for each in found if each[0] == "covers"]

    named = [("covers", "kitting_runbag", stay.pk)]
    assert bent(cover_id=None) == named
    withdraw(first)
    again = cover(two)  # signed only after the bag went on
    assert bent(cover_id=again.cover_id) == named
    third = factories.make_revision(two.new.part, "C")
    other = cover(two, revision_id=third.pk, seen=mark_of(third))
    assert bent(cover_id=other.cover_id) == named
    assert bent(cover_id=first.cover_id) == []
    # Somebody changes the program so that a withdrawn one counts as well.
    withdraw(again)
    load = ProtocolLoad.objects.get(protocol=two.protocol)
    old = Cover.objects.get(pk=first.cover_id)
    monkeypatch.setattr(lines, "load_of", lambda *_: (load, old))
    _run, late = cleared(two)
    assert bent() == [("covers", "kitting_runbag", late.pk)]


def test_proof_names_a_cover_of_nothing_and_a_second_one(
    two: Two, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(covers, "_need_measured", lambda *_: None)
    third = factories.make_revision(two.new.part, "C")
    other = factories.make_revision()
    factories.seal_set_up()
    cover(two)
    second = cover(two)
    unmeasured = cover(
        two, revision_id=third.pk, like_id=two.new.pk, seen=mark_of(third)
    )
    foreign = cover(two, revision_id=other.pk, seen=mark_of(other))
    found = [(f.check, f.pk) for f in factories.prove()]
    wrong = (unmeasured.cover_id, foreign.cover_id, second.cover_id)
    assert found == [("covers", pk) for pk in wrong]
