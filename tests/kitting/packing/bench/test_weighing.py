"""A size that is weighed: its boxes close inside their window, and not outside."""

from __future__ import annotations

from decimal import Decimal
from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse

from kitting.domain.errors import LotwardError, Refused
from kitting.domain.weighing import window
from kitting.ledger import proof
from kitting.models import AllowedMass, Bench, Box, BoxSize, Operation, Part
from kitting.packing.queries.weighing import moves_of
from kitting.packing.services import boxes
from kitting.packing.services.hand_over import hand_over
from kitting.packing.services.practice import SAID, practise
from kitting.packing.services.weighing import allow_mass
from tests import factories
from tests.assertions import assert_refused, assert_sent_to_sign_in, text_of
from tests.benches import fill, packed_before, page_of, state, step, words
from tests.databases import guards_away, once_a_module
from tests.factories import sign
from tests.weighed import LESS_MG, MASSES, SCALE_U_G, STEP_G, WHOLE_G, weigh

pytestmark = pytest.mark.django_db

PASSWORD = "a pass phrase"


@once_a_module
def full(at):
    weigh(at)
    return packed_before(at, "ACT-BOX-6", *(bag.number for bag in at.bags))


def test_a_box_is_weighed_before_it_is_closed(client, scan, at, full) -> None:
    shown = client.get(page_of(at))
    assert step(shown) == "weigh"
    assert "Put the box on the scale" in words(shown)
    response = scan("ACT-CLOSE")
    assert state(response) == "wrong"
    assert "is not weighed yet" in words(response)
    response = scan(f"ACT-MASS-{WHOLE_G}")
    assert (state(response), step(response)) == ("right", "label")
    full.refresh_from_db()
    assert (full.stage, full.mass_mg) == ("closed", int(WHOLE_G * 1000))
    assert factories.prove() == []
    page = text_of(client.get(reverse("kitting:box-detail", args=[full.serial])))
    assert "844.5 g" in page
    assert "complete from" in page


# By the window itself: the edges pass, a mg beyond them does not.
@pytest.mark.parametrize("edge", ["low", "high"])
def test_the_edges_of_the_window_pass_and_nothing_beyond(at, full, edge) -> None:
    u = (
        (Decimal(STEP_G) ** 2 / 12 + SCALE_U_G**2)
        .sqrt()
        .quantize(Decimal("0.001"), "ROUND_CEILING")
    )
    of = {
        name: (Decimal(mass) / 1000, Decimal(sd) / 1000)
        for name, (mass, sd) in MASSES.items()
    }
    many = {"Headband": 6, "Visor": 12, "Manual": 1}
    whole = window(many, of, (180, 1), u)
    assert whole.expected_g == WHOLE_G
    mass = int((whole.low_g if edge == "low" else whole.high_g) * 1000)
    beyond = mass - 1 if edge == "low" else mass + 1
    with pytest.raises(Refused):
        boxes.close_box(box_id=full.pk, mass_mg=beyond, sign=sign())
    closed = boxes.close_box(box_id=full.pk, mass_mg=mass, sign=sign())
    assert closed.mass_mg == mass
    assert (closed.low_mg, closed.high_mg)[edge == "high"] == mass


@pytest.mark.parametrize(
    ("grams", "said"),
    [
        (WHOLE_G - 36, "Lighter by 36 g: one is missing of Headband, Visor."),
        (WHOLE_G + 37, "Heavier by 37 g: one too many of Visor, Headband."),
        (WHOLE_G - 73, "Lighter by 73 g: no single piece weighs that."),
        (WHOLE_G + 400, "Heavier by 400 g: no single piece weighs that."),
    ],
)
def test_outside_of_it_the_screen_says_which_single_piece_fits(
    scan, full, grams, said
) -> None:
    before = Operation.objects.count()
    response = scan(f"ACT-MASS-{grams}")
    assert state(response) == "wrong"
    assert said.rstrip(".") in words(response)
    assert Operation.objects.count() == before
    full.refresh_from_db()
    assert (full.stage, full.mass_mg) == ("open", None)
    assert step(scan("ACT-NEXT")) == "weigh"


def test_one_part_that_fits_alone_is_named_alone(scan, at, full) -> None:
    Part.objects.filter(name="Visor").update(mass_mg=25_000)
    less = WHOLE_G - 12 * 12 - 25
    said = words(scan(f"ACT-MASS-{less}"))
    assert "Lighter by 25 g: that is one Visor missing" in said
    said = words(scan(f"ACT-MASS-{less + 50}"))
    assert "Heavier by 25 g: that is one Visor too many" in said


@pytest.mark.parametrize(
    "typed", ["844.5", "844,5", " 844.500 g", "  844.5g", "0844.5"]
)
def test_a_scale_may_type_its_reading_with_blanks_and_its_unit(
    scan, full, typed
) -> None:
    assert state(scan(f"act-mass-{typed}")) == "right"


@pytest.mark.parametrize(
    "typed", ["", "-1", "844.5 kg", "844.5 lb", "1e3", "844.5001", "12345678", "٣"]
)
def test_what_is_no_mass_closes_nothing(scan, full, typed) -> None:
    assert state(scan(f"ACT-MASS-{typed}")) == "wrong"
    full.refresh_from_db()
    assert full.stage == "open"


@pytest.mark.parametrize("figures", ["844.5", "844", "0844"])
def test_bare_figures_are_no_mass(scan, full, figures) -> None:
    """They could be of anything: a number, or a count."""
    assert state(scan(figures)) == "wrong"
    full.refresh_from_db()
    assert full.stage == "open"


@pytest.mark.parametrize(
    ("mass_mg", "code"),
    [
        (None, "box_not_weighed"),
        (0, "mass_out_of_range"),
        (-1, "mass_out_of_range"),
        (30_000_001, "scale_overloaded"),
    ],
)
def test_a_mass_that_no_scale_shows_is_refused(full, mass_mg, code) -> None:
    with pytest.raises(LotwardError) as caught:
        boxes.close_box(box_id=full.pk, mass_mg=mass_mg, sign=sign())
    assert_refused(caught.value, code)


def test_the_same_mass_sent_twice_closes_once_and_another_is_a_conflict(full) -> None:
    once = sign()
    mass = int(WHOLE_G * 1000)
    first = boxes.close_box(box_id=full.pk, mass_mg=mass, sign=once)
    assert boxes.close_box(box_id=full.pk, mass_mg=mass, sign=once) == first
    with pytest.raises(LotwardError) as caught:
        boxes.close_box(box_id=full.pk, mass_mg=mass + 1, sign=once)
    assert_refused(caught.value, "operation_key_reused")


def test_a_box_of_another_size_takes_no_mass(scan, at) -> None:
    scan("ACT-BOX-6")
    fill(scan, at)
    response = scan("ACT-MASS-844.5")
    assert "are not weighed" in words(response)
    assert state(scan("ACT-CLOSE")) == "right"
    assert Box.objects.get().mass_mg is None


def test_at_a_bench_without_a_scale_no_such_box_is_started(scan, at) -> None:
    weigh(at)
    scale = dict.fromkeys(("scale_step_mg", "scale_u_mg", "scale_most_mg"))
    Bench.objects.filter(pk=at.bench.pk).update(**scale)
    assert "has no scale on record" in words(scan("ACT-BOX-6"))
    assert not Box.objects.exists()


def test_no_such_box_is_handed_over_to_a_bench_without_a_scale(at, full) -> None:
    which = {"bench_id": at.bench.pk, "box_id": full.pk}
    other = factories.make_bench()
    error = refused(hand_over, **which, to_id=other.pk, sign=sign())
    assert_refused(error, "bench_without_scale", bench=other.name)


def test_a_part_that_lost_its_mass_lets_no_box_close(scan, full) -> None:
    Part.objects.filter(name="Manual").update(mass_mg=None)
    assert "Manual has no mass" in words(scan(f"ACT-MASS-{WHOLE_G}"))
    full.refresh_from_db()
    assert full.stage == "open"


def test_a_reading_that_waited_for_the_network_is_taken_with_its_mass(
    client, at, full, hx
) -> None:
    data = {
        "scan": f"ACT-MASS-{WHOLE_G}",
        "op_key": str(sign().key),
        "box": full.number,
        "waited": "yes",
    }
    address = reverse("kitting:bench-scan", args=[at.bench.code])
    assert state(client.post(address, data, headers=hx)) == "right"
    full.refresh_from_db()
    assert full.mass_mg == int(WHOLE_G * 1000)


def test_a_mass_is_kept_as_it_was_when_the_box_was_closed(scan, full) -> None:
    scan(f"ACT-MASS-{WHOLE_G}")
    for value in (1, None):
        with pytest.raises(IntegrityError), transaction.atomic():
            Box.objects.filter(pk=full.pk).update(mass_mg=value)


def test_no_open_box_has_a_mass(full) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        Box.objects.filter(pk=full.pk).update(mass_mg=844_500)


def test_a_proof_finds_a_mass_that_was_bent_or_taken_away(scan, at, full) -> None:
    scan(f"ACT-MASS-{WHOLE_G}")
    for mass, words_ in (
        (900_000, "It was closed at a mass outside of its window, and nobody let it."),
        (None, "It was closed without a mass, while its size was weighed."),
    ):
        with guards_away():
            Box.objects.filter(pk=full.pk).update(mass_mg=mass)
        found = {fault.words for fault in proof.prove()}
        assert {words_, "It was closed at another mass."} <= found


def test_boxes_closed_before_their_size_was_weighed_have_no_mass(scan, at) -> None:
    scan("ACT-BOX-6")
    fill(scan, at)
    assert state(scan("ACT-CLOSE")) == "right"
    weigh(at)
    assert proof.prove() == []


# -- Outside of its window, and allowed -------------------------------------------------


def allow(box: Box, mass_mg: int = LESS_MG, **more: object):
    said = {"reason": "Lighter cartons", "seen": moves_of(box), "sign": sign(), **more}
    return allow_mass(box_id=box.pk, mass_mg=mass_mg, **said)


def refused(call, *args, **values) -> LotwardError:
    before = Operation.objects.count()
    with pytest.raises(LotwardError) as caught:
        call(*args, **values)
    assert Operation.objects.count() == before
    return caught.value


@pytest.mark.parametrize("role", ["checker", "quality officer", "manager"])
def test_somebody_else_lets_it_close_and_its_packer_closes_it(
    client, scan, at, full, role, make_user, client_for
) -> None:
    address = reverse("kitting:box-mass", args=[full.number])
    other = client_for(make_user("robin", group=role))
    asked = text_of(other.get(address))
    assert f"it should weigh {WHOLE_G} g" in asked
    assert "6 Headband" in asked
    seen = client.get(page_of(at)).context["screen"].seen
    entered = {
        "op_key": str(uuid4()),
        "seen": str(moves_of(full)),
        "mass_mg": str(WHOLE_G - 36),
        "reason": "Lighter cartons",
        "password": PASSWORD,
    }
    for _ in range(2):
        assert other.post(address, entered).status_code == 302
    assert AllowedMass.objects.count() == 1
    poll = reverse("kitting:bench-holds", args=[at.bench.code])
    shown = client.get(poll, {"seen": seen})
    assert "robin lets it close at 808.5 g" in words(shown)
    again = shown.context["screen"].seen
    assert client.get(poll, {"seen": again}).status_code == 204
    response = scan(f"ACT-MASS-{WHOLE_G - 36 - 2}")
    assert (state(response), step(response)) == ("right", "label")
    full.refresh_from_db()
    assert full.mass_mg == LESS_MG - 2_000
    assert factories.prove() == []
    page = text_of(other.get(reverse("kitting:box-detail", args=[full.serial])))
    assert "806.5 g" in page
    assert "robin: Lighter cartons" in page


def test_a_packer_lets_no_box_close(client, client_for, outsider, full) -> None:
    address = reverse("kitting:box-mass", args=[full.number])
    for each in (client, client_for(outsider)):
        assert each.get(address).status_code == 403
        assert each.post(address).status_code == 403
    assert_sent_to_sign_in(Client().get(address))
    page = text_of(client.get(reverse("kitting:box-detail", args=[full.number])))
    assert "Let it close" not in page


def test_without_the_password_or_a_reason_nobody_lets_it(
    full, make_user, client_for
) -> None:
    address = reverse("kitting:box-mass", args=[full.number])
    other = client_for(make_user("robin", group="checker"))
    entered = {"op_key": str(uuid4()), "seen": moves_of(full), "mass_mg": "808.5"}
    for wrong in ({"password": "wrong", "reason": "x"}, {"password": PASSWORD}):
        assert other.post(address, {**entered, **wrong}).status_code == 422
    assert not AllowedMass.objects.exists()


# Two readings of one mass on a scale of u = 1.041 g: 3 × √2 × u is 4.417 g.
@pytest.mark.parametrize(("off", "passes"), [(4_417, True), (4_418, False)])
@pytest.mark.parametrize("way", [-1, 1])
def test_another_reading_of_the_same_box_may_be_off_by_the_scale(
    full, off, passes, way
) -> None:
    allow(full)
    mass = LESS_MG + way * off
    if passes:
        assert boxes.close_box(box_id=full.pk, mass_mg=mass, sign=sign()).allowed
    else:
        error = refused(boxes.close_box, box_id=full.pk, mass_mg=mass, sign=sign())
        assert_refused(error, "box_light_some")


def test_it_holds_no_more_once_anything_went_in_or_out(scan, undone, at, full) -> None:
    allow(full)
    undone()
    scan(at.manual_bag.number)
    error = refused(boxes.close_box, box_id=full.pk, mass_mg=LESS_MG, sign=sign())
    assert_refused(error, "box_light_some")
    error = refused(allow, full, seen=moves_of(full) - 1)
    assert_refused(error, "page_is_old")
    allow(full)
    assert boxes.close_box(box_id=full.pk, mass_mg=LESS_MG, sign=sign()).allowed


def test_one_box_allowed_lets_no_other_close(scan, at, full) -> None:
    allow(full)
    boxes.close_box(box_id=full.pk, mass_mg=LESS_MG, sign=sign())
    scan("ACT-PRINT")
    full.refresh_from_db()
    scan(full.serial)
    scan("ACT-BOX-6")
    other = Box.objects.latest("pk")
    assert other != full
    error = refused(boxes.close_box, box_id=other.pk, mass_mg=LESS_MG, sign=sign())
    assert_refused(error, "box_light_some")


@pytest.mark.parametrize(
    ("mass_mg", "changes", "code"),
    [
        (int(WHOLE_G * 1000), {}, "mass_is_inside"),
        (LESS_MG, {"reason": " "}, "reason_missing"),
        (LESS_MG, {"reason": "x" * 201}, "entry_too_long"),
        (LESS_MG, {"seen": 0}, "page_is_old"),
        (0, {}, "mass_out_of_range"),
        (30_000_001, {}, "scale_overloaded"),
    ],
)
def test_what_cannot_be_allowed_is_refused(full, mass_mg, changes, code) -> None:
    assert_refused(refused(allow, full, mass_mg, **changes), code)


def test_only_an_open_box_that_is_weighed_and_complete_is_let_close(
    scan, at, full
) -> None:
    BoxSize.objects.filter(pk=at.size.pk).update(weigh=False)
    assert_refused(refused(allow, full), "box_is_not_weighed")
    BoxSize.objects.filter(pk=at.size.pk).update(weigh=True)
    boxes.close_box(box_id=full.pk, mass_mg=int(WHOLE_G * 1000), sign=sign())
    assert_refused(refused(allow, full), "box_wrong_stage")


def test_a_box_that_lacks_pieces_is_not_let_close(scan, at) -> None:
    weigh(at)
    scan("ACT-BOX-6")
    scan(at.band_bag.number)
    error = refused(allow, Box.objects.get())
    assert_refused(error, "box_not_complete")


def test_a_proof_finds_who_let_it_close_for_another_box_or_mass(full) -> None:
    allow(full)
    boxes.close_box(box_id=full.pk, mass_mg=LESS_MG, sign=sign())
    factories.seal_set_up()
    for bent in (
        {"mass_mg": LESS_MG + 9_000},
        {"within_mg": 0, "mass_mg": 1},
        {"moves": 9},
    ):
        kept = AllowedMass.objects.values(*bent).get()
        with guards_away():
            AllowedMass.objects.update(**bent)
            found = {fault.words for fault in proof.prove()}
            AllowedMass.objects.update(**kept)
        words_ = "It was closed at a mass outside of its window, and nobody let it."
        assert words_ in found
    assert proof.prove() == []


def test_a_weighed_box_is_practised(at, packer) -> None:
    weigh(at)
    scans, steps = ["ACT-BOX-6", SAID, SAID, SAID, SAID, SAID], []
    for many in range(1, len(scans) + 1):
        done = practise(by=packer, scans=scans[:many], key=uuid4())
        assert done.refusal is None
        steps.append(done.screen.step)
    assert steps == ["fill", "fill", "fill", "weigh", "label", "choose"]
    assert not Box.objects.exists()


def test_a_stranger_to_the_bench_closes_nothing(outsider, client_for, full, at) -> None:
    address = reverse("kitting:bench-scan", args=[at.bench.code])
    said = {"scan": f"ACT-MASS-{WHOLE_G}", "box": full.number}
    assert client_for(outsider).post(address, said).status_code == 403
    assert Client().post(address, said).status_code == 302
    full.refresh_from_db()
    assert full.stage == "open"
