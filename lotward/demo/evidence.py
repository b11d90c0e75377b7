"""Evidence and signatures of the demo's protocols; counts, and pieces for tests."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Final

from kitting.disinfection.queries.protocols import mark_of, terms_of
from kitting.disinfection.services import evidence, protocols
from kitting.domain.entries import Report, Weighing
from kitting.domain.stages import BagStage
from kitting.lots.services import counts, samples
from kitting.models import Bag, Part, Protocol, Sample
from lotward.demo.clock import Clock
from lotward.demo.making import Floor

NOTHING_PROVED: Final = (
    "Invented for the demonstration: it proves nothing about any lamp, part or germ"
)
REPORTS: Final = (
    Report(
        code="EV-BAND",
        laboratory="Laboratory of Eskmoor General",
        surface="Printed headband, layers across",
        container="tote, one layer",
        measured="Test organism on coupons, before and after",
        result=NOTHING_PROVED,
        document="Demonstration sheet 1",
        on=date(2025, 11, 17),
    ),
    Report(
        code="EV-FILM",
        laboratory="Laboratory of Eskmoor General",
        surface="Visor sheet, both sides, film off",
        container="open tray, on edge in the comb",
        measured="Irradiance behind and between visors, by radiometer",
        result=NOTHING_PROVED,
        document="Demonstration sheet 2",
        on=date(2025, 12, 8),
    ),
    Report(
        code="EV-WARM",
        laboratory="Laboratory of Eskmoor General",
        surface="Woven elastic",
        container="open tray, laid out straight",
        measured="Temperature between the bands, by thermocouple",
        result=NOTHING_PROVED,
        document="Demonstration sheet 4",
        on=date(2025, 12, 15),
    ),
)
STANDS_ON: Final = {
    ("BELT", 1): ("EV-BAND",),
    ("BELT", 2): ("EV-BAND", "EV-FILM"),
    ("WARM", 1): ("EV-WARM",),
}
"""Evidence by code and version of the protocol."""
MEANING: Final = "Approved for the demonstration"
SUPERSEDED: Final = "Version 2 is in force: both sides are exposed"
COUNTED_ON: Final = 5
SAMPLED_ON: Final = 6
RESULT_ON: Final = 8
LIMIT_UJ_CM2: Final = 50_000_000
"""A figure for the demonstration: no maker and no test gave it."""


def sign_protocols(clock: Clock) -> None:
    """Record the reports, and sign each version on them; the first is then retired.

    Args:
        clock: For signing.
    """
    for report in REPORTS:
        moved = replace(report, on=clock.days.moved(report.on))
        evidence.record_evidence(report=moved, sign=clock.sign("quality", 120))
    for protocol in Protocol.objects.order_by("code", "version"):
        codes = STANDS_ON[protocol.code, protocol.version]
        terms = replace(terms_of(protocol), evidence=codes)
        protocols.edit_draft(
            protocol_id=protocol.pk, terms=terms, sign=clock.sign("deputy", 60)
        )
        protocol.refresh_from_db()
        protocols.sign_protocol(
            protocol_id=protocol.pk,
            meaning=MEANING,
            mark=mark_of(protocol, until=protocol.in_force_until).hex(),
            sign=clock.sign("quality", 60),
        )
    first = Protocol.objects.get(code="BELT", version=1)
    protocols.retire_protocol(
        protocol_id=first.pk, reason=SUPERSEDED, sign=clock.sign("quality", 60)
    )
    evidence.limit_dose(
        part_id=Part.objects.get(code="EL").pk,
        max_dose_uj_cm2=LIMIT_UJ_CM2,
        sign=clock.sign("quality", 60),
    )


def count_and_sample(floor: Floor) -> None:
    """What is counted again today, sent to a test, or comes back from one.

    Args:
        floor: The workshop.
    """
    if floor.today == COUNTED_ON:
        _count(floor)
    if floor.today == SAMPLED_ON:
        _sample(floor)
    if floor.today == RESULT_ON:
        first = _without_result()[0]
        samples.record_result(
            sample_id=first,
            result=f"No growth. {NOTHING_PROVED}",
            document="Demonstration sheet 3",
            sign=floor.clock.sign("quality", 120),
        )


def _count(floor: Floor) -> None:
    """One headband too few in a bag at a bench, and visors that agree by weight."""
    bag = _bag("HB")
    counts.count_again(
        bag_id=bag.pk,
        counted=bag.pieces - 1,
        counted_by="hand",
        reason="One had lost its clip and was thrown away without a note",
        sign=floor.clock.sign("checker", 300),
    )
    visors = _bag("VI")
    piece_mg = visors.lot.part.mass_mg or 10_000
    weighed = Weighing(
        gross_mg=410_000 + visors.pieces * piece_mg,
        tare_mg=410_000,
        reference_pieces=50,
        reference_mg=50 * piece_mg,
        spread_mg=piece_mg // 1000,
        scale_u_mg=50,
    )
    counts.count_by_weight(
        bag_id=visors.pk,
        weighed=weighed,
        reason="",
        sign=floor.clock.sign("checker", 240),
    )


def _bag(part: str) -> Bag:
    found = Bag.objects.filter(lot__part__code=part, stage=BagStage.CLEARED)
    return found.select_related("lot__part").filter(pieces__gte=20).order_by("pk")[0]


def _sample(floor: Floor) -> None:
    wanted = ((3, "HB", "Swabs of clip and band"), (5, "EL", "Tear of the band"))
    for pieces, part, what_for in wanted:
        samples.send_to_test(
            bag_id=_bag(part).pk,
            pieces=pieces,
            what_for=what_for,
            sent_to="Laboratory of Eskmoor General",
            sign=floor.clock.sign("quality", 180),
        )


def _without_result() -> list[int]:
    """Ids of the samples that wait for their result, oldest first."""
    found = Sample.objects.filter(result__isnull=True).order_by("pk")
    return list(found.values_list("pk", flat=True))
