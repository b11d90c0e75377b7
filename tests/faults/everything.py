"""Every kind of act there is, each at least once, through its service."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from io import StringIO
from typing import Any

from django.core.management import call_command

from dispatch.consignees.services import consignees
from dispatch.consignees.services import files as consignee_files
from dispatch.consignees.services.consignees import WhereTo
from dispatch.log import services as log
from dispatch.models import Consignee, LogView
from dispatch.requests import services as requests
from kitting.checking.services import checks, rejected, settings, switching
from kitting.day.services import confirm_clock
from kitting.disinfection.services import evidence, lamps, meters, protocols, runs
from kitting.disinfection.services.verdicts import give_up_run
from kitting.domain.commands import end_of
from kitting.domain.entries import Load, Terms
from kitting.domain.errors import Conflict, Refused
from kitting.domain.stages import PrintState
from kitting.ledger import holds, keys
from kitting.lots.services import counts, files, lots, yields
from kitting.lots.services.blanks import give_out_numbers
from kitting.lots.services.scrap import scrap
from kitting.management.commands import startkey
from kitting.models import (
    Badge,
    BoxSize,
    Carrier,
    DefectKind,
    Evidence,
    Lamp,
    Method,
    Part,
    PrintJob,
    Tablet,
    User,
    Yield,
)
from kitting.models.catalogue import Per, PlaceKind
from kitting.packing.queries.undo import acts_at
from kitting.packing.services import (
    aside,
    benches,
    boxes,
    hand_over,
    keep_going,
    miscounts,
    plan,
    scales,
    shift,
    tablets,
    undo,
    voiding,
)
from kitting.people.services import accounts as people
from kitting.people.services import badges, passwords, pins
from kitting.people.services.workshop import Particulars, change_workshop
from kitting.places.services import carriers, places, set_up
from kitting.printing.services import jobs, label_words, printers
from kitting.products.queries.methods import mark_of
from kitting.products.services import methods, recipes
from kitting.products.services import parts as products
from kitting.products.services import products as services
from lotward.catalogue.loading import load_catalogue
from tests import factories, ledgers
from tests.factories import make_lot, sign
from tests.kitting.ledger.ledger_inspection import SOURCE
from tests.kitting.lots.test_counts import FINE
from tests.ledgers import History

ELSEWHERE = {
    "restore": "killed at each of its steps by tests/commands/test_restore_files.py",
}
"""Acts that are no part of this history, and where they are killed."""


def do_everything() -> None:
    """A small workshop's history, and whatever that has not done."""
    history = ledgers.make_history()
    _set_up(history)
    _people()
    _checking()
    _bags(history)
    _lines(history)
    _packing(history)
    _printing()


def _set_up(history: History) -> None:
    part, material = history.band.part, history.visor.part
    workshop = Particulars(
        name="Harrow Lane Workshop",
        address="1 Harrow Lane",
        time_zone="UTC",
        gs1_prefix="9521234",
        country="GB",
    )
    change_workshop(to=workshop, sign=sign())
    confirm_clock(sign=sign())
    which = {"part_id": part.pk, "material_id": material.pk}
    yields.set_yield(**which, pieces=1, amount=1, sign=sign())
    known = Yield.objects.get(**which)
    yields.drop_yield(yield_id=known.pk, sign=sign())
    evidence.limit_dose(part_id=part.pk, max_dose_uj_cm2=10**9, sign=sign())
    shelf = {"code": "SH-NEW", "name": "New shelf", "kind": "shelf"}
    load_catalogue(data={"places": [shelf]}, sign=sign())
    ready = {"name": "Boxes ready", "kind": PlaceKind.READY}
    set_up.add_place(code="READY", **ready, sign=sign())
    set_up.change_place(code="READY", name="Boxes", active=False, sign=sign())
    ward = WhereTo(name="Ward", country="GB", street="1 Road", city="Eskmoor")
    consignees.add_consignee(code="WARD", to=ward, sign=sign())
    consignees.change_consignee(code="WARD", to=ward, sign=sign())
    facts = products.PartFacts(name="Tie")
    products.add_part(code="TIE", revision="A", to=facts, sign=sign())
    products.change_part(code="TIE", to=facts, sign=sign())
    note = products.RevisionNote("Longer", "Quality officer", "", "Used up first")
    products.add_revision(part="TIE", code="B", note=note, sign=sign())
    products.change_revision(part="TIE", code="B", active=False, sign=sign())
    carton = Part.objects.get(code="TIE")
    shield = services.ProductFacts(
        name="New shield", cautions="A splash barrier.", cautions_reviewed_by="Ada"
    )
    services.add_product(code="NEW", to=shield, sign=sign())
    services.change_product(code="NEW", to=shield, sign=sign())
    of = {"product": "NEW", "sets": 6, "to": services.SizeFacts(carton_id=carton.pk)}
    services.add_size(**of, sign=sign())
    services.change_size(**of, active=True, sign=sign())
    band, visor, tie = (
        history.band.pk,
        history.visor.pk,
        carton.revisions.get(code="A").pk,
    )
    lines = [
        recipes.LineFacts(band, 1, substitute_ids=(tie,)),
        recipes.LineFacts(visor, 1),
    ]
    pairs = [recipes.PairFacts(visor, each) for each in (band, tie)]
    recipes.add_recipe(product="NEW", lines=lines, pairs=pairs, sign=sign())
    recipes.put_in_force(product="NEW", version=1, seen=None, sign=sign())
    settings = {"machine_group": "Printers", "part_ids": [part.pk]}
    methods.add_method(code="PRINT-S1", settings_version="1", **settings, sign=sign())
    methods.change_method(code="PRINT-S1", active=True, sign=sign())
    made = Method.objects.get(code="PRINT-S1")
    other = factories.sign_by_another()
    methods.release_method(code="PRINT-S1", seen=mark_of(made), sign=other)
    keys.path().unlink()
    call_command(startkey.Command(), stdout=StringIO())


def _people() -> None:
    password = "four lamps at dusk"
    people.add_person(name="mira", role="checker", password=password, sign=sign())
    mira = User.objects.get(username="mira")
    people.set_password(name="mira", password=password[::-1], sign=sign())
    with suppress(Conflict):  # it was made by a process that is gone
        badges.issue_badges(user_ids=[mira.pk], sign=sign())
    passwords.give_password(user_id=mira.pk, sign=factories.sign_by_another())
    passwords.choose_password(user_id=mira.pk, password=password, sign=sign())
    badge = Badge.objects.filter(user=mira).latest("pk")
    badges.revoke_badge(badge_id=badge.pk, sign=sign())
    pins.set_pin(user_id=mira.pk, pin="4071", sign=sign())
    pins.allow_pin(user_id=mira.pk, sign=sign())
    people.sign_out_everywhere(user_id=mira.pk, sign=sign())
    people.change_role(name="mira", role="clerk", sign=sign())
    people.open_account(name="mira", open=False, sign=sign())


def _checking() -> None:
    kind = settings.Kind(name="Scratched by tools")
    settings.add_kind(code="SCR", to=kind, sign=sign())
    scratch = DefectKind.objects.get(code="SCR")
    kind = replace(kind, grade="minor")
    settings.change_kind(kind_id=scratch.pk, to=kind, sign=sign())
    whole = settings.PartPlan(settings.Way.ALL)
    settings.set_check_plan(part_id=factories.make_part().pk, to=whole, sign=sign())
    steady = factories.sampled_revision()
    for _ in range(10):
        factories.accept(make_lot(steady, bags=(lots.NewBag(500),)))
    of = switching.Target(steady.part_id, SOURCE, "major")
    switching.reduce_inspection(of=of, steady=True, reason="Good", sign=sign())
    switching.restore_inspection(of=of, reason="Printer moved", sign=sign())
    smelly = make_lot(steady, bags=(lots.NewBag(500),))
    checks.reject_against_plan(lot_id=smelly.pk, reason="Smell of solvent", sign=sign())
    bad = factories.sampled_revision()
    for _ in range(7):
        refused = factories.reject(make_lot(bad, bags=(lots.NewBag(500),)), 20)
    rejected.scrap_rejected(lot_id=refused.pk, reason="Damaged", sign=sign())
    switching.resume_source(
        part_id=bad.part_id, source=SOURCE, reason="New nozzle", sign=sign()
    )


def _bags(history: History) -> None:
    growing = make_lot(history.visor, close=False)
    lots.close_lot(lot_id=growing.pk, sign=sign())
    bag = factories.make_bag(pieces=41)
    counts.count_by_weight(bag_id=bag.pk, weighed=FINE, reason="One short", sign=sign())
    scrap(bag_id=bag.pk, pieces=3, reason="Dropped", sign=sign())
    give_out_numbers(count=2, sign=sign())
    places.put_bag(bag_id=bag.pk, place_id=factories.make_place().pk, sign=sign())
    part = history.visor.part
    row = f"{part.code};{history.visor.code};2026-01-14;{SOURCE};100 50"
    data = f"part;revision;made on;source;counts\n{row}\n".encode()
    files.take_in_file(data=data, date_order=None, sign=sign())
    rows = b"code;name;street;city;country\nWARD;Ward 2\nWING;Wing;2 Road;Eskmoor;GB\n"
    consignee_files.take_in_consignees(data=rows, sign=sign())
    there = WhereTo(name="Ward", country="GB", street="1 Road", city="Eskmoor")
    wing = Consignee.objects.get(code="WING")
    consignees.add_consignee(code="WING-2", to=there, sign=sign())
    twice = {"code": "WING-2", "into_id": wing.pk, "reason": "the same door"}
    consignees.merge_consignees(**twice, sign=sign())
    log.keep_view(name="By hand", asked="taken=Driver", sign=sign())
    log.drop_view(view_id=LogView.objects.get(name="By hand").pk, sign=sign())
    product = BoxSize.objects.filter(active=True)[0].product.code
    asked = f"consignee;product;sets\nWARD;{product};6\n".encode()
    requests.take_in_requests(data=asked, date_order=None, sign=sign())


def _lines(history: History) -> None:
    meters.add_meter(serial="UV-NEW", name="Radiometer", sign=sign())
    lamp = Lamp.objects.latest("pk")
    lamps.change_lamp(
        lamp_id=lamp.pk, on=factories.TODAY, rated_hours=9_000, sign=sign()
    )
    drafted = protocols.draft_version(code=history.retired.code, sign=sign())
    terms = Terms(
        name="Belt, tried again",
        process="uvc_belt",
        in_force_from=factories.TODAY,
        required_top_uj_cm2=100_000,
        loads=(Load(history.band.pk, "tote", 100),),
        evidence=(Evidence.objects.latest("pk").code,),
    )
    draft = {"protocol_id": drafted.protocol_id}
    protocols.edit_draft(**draft, terms=terms, sign=sign())
    protocols.discard_draft(**draft, sign=sign())
    bags = (lots.NewBag(10),) * 3
    lot = factories.accept(make_lot(history.band, bags=bags))
    first, *hung = lot.bags.order_by("pk")
    made = carriers.make_carrier(name="Rack", sign=sign())
    rack = Carrier.objects.get(number=made.carrier)
    for bag in hung:
        carriers.load_bag(carrier_id=rack.pk, bag_id=bag.pk, sign=sign())
    run = factories.open_run(history.protocol)
    runs.scan_carrier(run_id=run.pk, carrier_id=rack.pk, sign=sign())
    runs.scan_bag(run_id=run.pk, bag_id=first.pk, sign=sign())
    late = factories.after_passes(run)
    runs.scan_bag(run_id=run.pk, bag_id=first.pk, sign=sign(now=late))
    runs.scan_carrier(run_id=run.pk, carrier_id=rack.pk, sign=sign(now=late))
    give_up_run(run_id=run.pk, reason="the meter fell", sign=sign(now=late))


def _packing(history: History) -> None:
    box = factories.make_labelled_box()
    bench = factories.make_bench()
    there = factories.make_place(PlaceKind.BENCH)
    benches.add_bench(code="B-NEW", name="New", place_id=there.pk, sign=sign())
    benches.change_bench(code="B-NEW", name="Old", active=False, sign=sign())
    tied, key = {"bench_id": bench.pk}, sign()
    tablets.give_code(**tied, sign=key)
    tablets.tie_tablet(code=tablets.code_of(key.key), sign=sign())
    token = Tablet.objects.get(**tied).token_sha256
    here = sign(bench_id=bench.pk, tablet=token)
    shift.begin_shift(**tied, said="YNYY", sign=here)
    tablets.untie_tablet(**tied, sign=sign())
    own = benches.ScaleFacts(1_000, 500, 15_000_000)
    benches.change_bench(
        code=bench.code, name=bench.name, active=True, scale=own, sign=sign()
    )
    scales.give_token(**tied, sign=sign())
    scales.end_token(**tied, sign=sign())
    bag = factories.make_bag(history.visor)
    plan.plan_day(day=factories.TODAY, wanted={box.size_id: 3}, sign=sign())
    boxes.bring_bag(bench_id=bench.pk, bag_id=bag.pk, sign=sign())
    there = sign(bench_id=bench.pk)
    boxes.take_off_bench(bench_id=bench.pk, bag_id=bag.pk, sign=there)
    at = {"bench_id": bench.pk, "bag_id": bag.pk}
    taken_off = acts_at(bench.pk).last
    assert taken_off is not None
    there = sign(bench_id=bench.pk)
    undo.undo(bench_id=bench.pk, act_id=taken_off.pk, sign=there)
    miscounts.scrap_bad(**at, end=end_of("Dropped"), sign=sign())
    miscounts.find_pieces(**at, pieces=1, sign=sign())
    miscounts.miss_pieces(**at, inside=0, sign=sign())
    assert box.stage == "labelled"
    _stop_a_box()


def _stop_a_box() -> None:
    """What is held comes out of a box; held itself, it goes away and comes back."""
    bags = [factories.make_bag() for _ in range(2)]
    lines = [(bag.lot.revision, 1, Per.SET) for bag in bags]
    size = factories.make_size(factories.make_recipe(lines))
    box = factories.make_open_box(size, None, *bags)
    assert box.bench is not None
    what = {"reason": "Torn", "sign": sign()}
    holds.place_hold(target="bag", value=bags[0].pk, **what)
    voiding.take_out(box_id=box.pk, sign=sign())
    held = holds.place_hold(target="box", value=box.pk, **what | {"sign": sign()})
    cage = factories.make_place(PlaceKind.QUARANTINE)
    places.put_box(box_id=box.pk, place_id=cage.pk, sign=sign())
    other = factories.sign_by_another()
    holds.lift_hold(hold_id=held.hold_id, reason="Whole", sign=other)
    aside.bring_box(bench_id=box.bench.pk, box_id=box.pk, sign=sign())
    keep_going.stop_after(box_id=box.pk, sign=sign(bench_id=box.bench.pk))
    there = {"bench_id": box.bench.pk, "to_id": factories.make_bench().pk}
    hand_over.hand_over(**there, box_id=box.pk, sign=sign())


def _off(address: str) -> Any:
    raise Refused("printer_away")


def _printing() -> None:
    job = PrintJob.objects.filter(state=PrintState.QUEUED).latest("pk")
    assert job.printer is not None
    printer = job.printer.pk
    printers.ask_printer(printer_id=printer, connect=_off, sign=sign())
    printers.print_test_page(printer_id=printer, sign=sign())
    printers.try_label(name="place", printer_id=printer, sign=sign())
    printers.look_at_labels(sign=sign())
    greek = {"language": "el", "words": {"packed": "Συσκευάστηκε"}}
    label_words.keep_words(**greek, reviewed_by="Eleni", sign=sign())
    _fail(job)
    jobs.send_again(job_id=job.pk, nothing_out=True, sign=sign())
    _fail(job)
    jobs.settle_job(job_id=job.pk, sign=sign())
    waiting = PrintJob.objects.filter(state=PrintState.QUEUED).latest("pk")
    jobs.cancel_job(job_id=waiting.pk, sign=sign())


def _fail(job: PrintJob) -> None:
    """As the print worker writes it."""
    PrintJob.objects.filter(pk=job.pk).update(
        state=PrintState.FAILED, unsure=True, trouble="printer_away"
    )
