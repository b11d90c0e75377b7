"""The proof names every bend: of each column, and of rows taken away or slipped in.

Nobody lists what is bent: every table and every column of the models is. What is listed
is the few columns that nothing needs to find, each with the reason.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from django.apps import apps
from django.db import IntegrityError, connection, models, transaction

from dispatch.models import Consignee
from kitting.ledger import holds
from kitting.ledger.proof import CHECKS
from kitting.ledger.proof.faults import Fault, Tally
from kitting.ledger.seals import UNSEALED
from kitting.lots.services.yields import set_yield
from kitting.models import LabelWord, OpenBag, Part, User
from kitting.packing.services.boxes import bring_bag
from kitting.packing.services.plan import plan_day
from kitting.people.services.badges import issue_badges, revoke_badge
from tests import factories, printers
from tests.commands.tampering.bending import Bend, bends, link_of
from tests.databases import guards_away
from tests.factories import sign, sign_by_another
from tests.ledgers import History

pytestmark = pytest.mark.django_db

_WORKER = "what the print worker did, no act: the print log says what was asked of it"
_BENCH = (
    "which bag lies at which bench: what was taken from it the bag says, and a scan"
)
_NO_NAME = "nothing refers to the row by it, and its other columns are compared"
DECIDES_NOTHING = {
    "kitting_boxline.id": _NO_NAME,
    "dispatch_shipmentbox.id": _NO_NAME,
    "dispatch_palletbox.id": _NO_NAME,
    "kitting_journalhead.id": _NO_NAME,
    "kitting_openbag.id": _NO_NAME,
    "kitting_openbag.bench_id": _BENCH,
    "kitting_openbag.taken_from_id": _BENCH,
    "kitting_openbag removed": _BENCH,
    "kitting_openbag added": _BENCH,
    "kitting_user.last_login": "signing in is no act",
    **dict.fromkeys(
        ("kitting_badge.pin_tries", "kitting_badge.tried_at"),
        "a PIN is tried by no act",
    ),
    **dict.fromkeys(
        ("kitting_tablet.pin_tries", "kitting_tablet.tried_at"),
        "a PIN is tried by no act",
    ),
    **{
        f"kitting_scale.{name}": "what it shows at the moment: whatever takes it keeps it"
        for name in ("mass_mg", "read_at", "loaded_at")
    },
    "kitting_workshop.print_worker_at": "the print worker's beat",
    "kitting_workshop.backup_at": "the day tells it; each backup says when it was made",
    "kitting_workshop.checked_at": "the day tells when the newest acts were checked",
    "kitting_workshop.fault_at": "the day tells it; the next proof finds it again",
    **dict.fromkeys(
        ("kitting_workshop.guessed_at", "kitting_workshop.guessed_name"),
        "a password is tried by no act",
    ),
    "kitting_printer.asleep_until": "when the print worker tries again",
    **{
        f"kitting_printjob.{name}": _WORKER
        for name in (
            "state",
            "sent_at",
            "sent_to",
            "ended_at",
            "up_time",
            "ipp_job",
            "naps",
            "next_try",
            "worked_until",
            "trouble",
            "told",
            "unsure",
        )
    },
}
"""What nobody needs to find bent, and why."""
NOBODY_CAN_BEND = {
    "kitting_workshop.id": "there is one workshop, and it is the first",
    "kitting_workshop added": "there is one workshop",
    "kitting_workshop.ahead_s": "no clock but a demo's is ahead",
    **dict.fromkeys(
        ("kitting_workshop.proved_at", "kitting_workshop.proved_seq"),
        "they are told together: see test_prove_anchors.py",
    ),
    "kitting_checkedclass.defect_class": "a check has each of the three classes once",
    "dispatch_effectcheck.level": "one level alone has a share of its own",
    **dict.fromkeys(
        ("dispatch_replybox.consignee_id", "dispatch_replybox.whom"),
        "nobody is named but for sets that were passed on",
    ),
}
"""Columns that constraints keep to what they are, and how."""
NO_ROWS = {
    **UNSEALED,
    "kitting_touched": "any row is a fault: no act made it",
    "kitting_user_user_permissions": "any row is a fault: no role gives it",
}
"""Tables in which no row is bent, and why."""
QUICK = {"seals", "chain", "keyed links"}
"""The checks that find most."""
SAMPLE = 12 if connection.vendor == "sqlite" else 24
"""One bend in so many is made: what finds it is the same on either database."""


def fill(history: History) -> None:
    """Make a row of every table, and a value in every column, that it has not yet."""
    person = User.objects.get(username="tester")
    spools = Part.objects.get(unit="gram")
    band = history.band
    set_yield(
        part_id=band.part_id, material_id=spools.pk, pieces=1, amount=9, sign=sign()
    )
    recipe = history.size.product.recipes.get()
    factories.substitute(recipe, band.part, factories.make_revision(band.part, "Q"))
    factories.only_with(recipe, history.visor, band)
    factories.make_method()
    method = factories.make_method()
    for target, value in (
        ("lot", history.band_lot.pk),
        ("bag", history.band_lot.bags.latest("pk").pk),
        ("run", history.failed.pk),
        ("box", history.labelled.pk),
        ("revision", band.pk),
        ("method", method.pk),
        ("protocol", history.protocol.pk),
    ):
        placed = holds.place_hold(target=target, value=value, reason="a", sign=sign())
        holds.lift_hold(hold_id=placed.hold_id, reason="b", sign=sign_by_another())
    for _ in range(2):
        (badge,) = issue_badges(user_ids=[person.pk], sign=sign())
    revoke_badge(badge_id=badge.badge_id, sign=sign())
    Consignee.objects.create(code="EG", name="Eskmoor Hospice", country="GB")
    printers.make_stock(printers.A4_OF_BAGS)
    plan_day(day=factories.TODAY, wanted={history.size.pk: 3}, sign=sign())
    there, other = OpenBag.objects.latest("pk"), factories.make_bench()
    bring_bag(bench_id=other.pk, bag_id=there.bag_id, sign=sign())
    for word, text in (("sets", "σετ"), ("latex", "Περιέχει λάτεξ.")):
        LabelWord.objects.create(
            language="el", word=word, text=text, reviewed_by="Robin Fell"
        )
    factories.seal_set_up()


def faults_after(made: list[Bend]) -> tuple[list[Bend], list[Fault]]:
    """Make bends and prove; of the schema it is asked elsewhere.

    Returns:
        Those that were made: a constraint may let each through but not all together.
    """
    with bent_by(made) as bent:
        return bent, list(all_faults())


@contextmanager
def bent_by(made: list[Bend]) -> Iterator[list[Bend]]:
    """Those bends that could be made, as long as this lasts."""
    bent = []
    with transaction.atomic():
        for bend in made:
            try:
                with transaction.atomic():
                    bent += [bend] * bend.make()
            except IntegrityError:
                continue
        yield bent
        transaction.set_rollback(True)


def all_faults() -> Iterator[Fault]:
    """What the checks find, each asked when it is its turn: the quickest to tell first."""
    for name, of, check in sorted(CHECKS, key=lambda one: one[0] not in QUICK):
        tally = Tally(name, of)
        if name != "schema":
            check(tally)
        yield from tally.faults


def named(bend: Bend, faults: list[Fault]) -> bool:
    """Whether a fault names the very bend, whatever else is bent as well."""
    if bend.link is not None:
        link = ("kitting_link", bend.link)
        return link in {(fault.table, fault.pk) for fault in faults}
    row = ("seals", bend.table, bend.named)
    words = [f.words for f in faults if (f.check, f.table, f.pk) == row]
    if bend.whole:
        return bool(words)
    return any(
        one.startswith(f"Its {name} is") for one in words for name in bend.values
    )


def found_alone(bend: Bend) -> bool:
    """Whether a fault names its table, or its link, when nothing else is bent."""
    with bent_by([bend]):
        return any(
            named(bend, [fault]) or fault.table == bend.table for fault in all_faults()
        )


def missed(made: list[Bend]) -> Iterator[Bend]:
    """The bends that the proof does not find, many made together where it is clear."""
    listed = [bend for bend in made if bend.of in DECIDES_NOTHING]
    bent, faults = faults_after(listed)
    tables = {fault.table for fault in faults}
    unseen = [one for one in bent if one.table not in tables]
    yield from unseen
    left = [bend for bend in listed if bend not in unseen]
    rest = [bend for bend in made if bend not in listed]
    columns = grouped([bend for bend in rest if not bend.whole])
    for group in columns + grouped([bend for bend in rest if bend.whole]):
        bent, faults = faults_after(group)
        left += [one for one in group if one not in bent or not named(one, faults)]
    yield from (bend for bend in left if not found_alone(bend))


def grouped(made: list[Bend]) -> list[list[Bend]]:
    """Share bends out: no fault that one of a group brings could be another's."""
    groups: list[tuple[set[object], list[Bend]]] = []
    for bend in made:
        of = [] if bend.whole else [bend.pk, *bend.values]
        row = bend.link or (bend.table, *of)
        free = (both for both in groups if row not in both[0])
        rows, group = next(free, None) or (set(), [])
        if not group:
            groups.append((rows, group))
        rows.add(row)
        group.append(bend)
    return [group for _, group in groups]


def sampled(bend: Bend, sample: int) -> bool:
    return zlib.crc32(bend.of.encode()) % sample == 0


def tables() -> list[type[models.Model]]:
    every = apps.get_models(include_auto_created=True)
    return [model for model in every if model._meta.db_table not in NO_ROWS]


@pytest.mark.parametrize("sample", [SAMPLE, pytest.param(1, marks=pytest.mark.long)])
def test_whatever_is_bent_is_named_or_listed(sample: int, history: History) -> None:
    """In the gate one bend in a few; every one in ``make check-long``."""
    fill(history)
    assert faults_after([]) == ([], [])
    every: list[Bend] = []
    refused: list[str] = []
    with guards_away():
        for model in tables():
            made, kept = bends(model)
            every += made
            refused += kept
        assert len(every) > 700
        chosen = [bend for bend in every if sampled(bend, sample)]
        for bend in chosen:
            bend.link = link_of(bend)
        not_found = list(missed(chosen))
    assert sorted(refused) == sorted(NOBODY_CAN_BEND)
    assert [bend.of for bend in not_found if bend.of not in DECIDES_NOTHING] == []
    if sample == 1:
        assert {bend.of for bend in not_found} == set(DECIDES_NOTHING)


def test_what_is_listed_is_there_and_has_a_reason() -> None:
    every = apps.get_models(include_auto_created=True)
    known = {model._meta.db_table for model in every}
    assert set(NO_ROWS) <= known
    assert all([*DECIDES_NOTHING.values(), *NOBODY_CAN_BEND.values()])
