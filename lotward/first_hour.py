"""What a workshop needs before its first box, in order: what is there, what is missing.

Nothing here is asked by an act: each of them says itself what it lacks. This page says it
beforehand, and leads to where it is entered.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Count, Q, QuerySet, Value
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.functional import Promise
from django.utils.timezone import localdate
from django.utils.translation import gettext_lazy as _

from dispatch.models import Consignee
from kitting.ledger import clock
from kitting.ledger.clock import day_of
from kitting.ledger.covering import covered_revisions
from kitting.models import (
    Bench,
    BoxSize,
    Calibration,
    Lot,
    Part,
    Place,
    Printer,
    Product,
    Recipe,
    RecipeLine,
    Stock,
    User,
    Workshop,
)
from kitting.models.catalogue import PlaceKind
from kitting.people.catalogue import UNNAMED
from kitting.printing.queries.labels import label_words
from kitting.printing.queries.longest import newest_look
from kitting.web.http import LotwardRequest, allowed


@dataclass(frozen=True)
class Step:
    """One thing that a workshop needs."""

    what: str | Promise
    why: str | Promise
    there: int
    """How many there are; 0 while it is missing."""
    page: str
    """Name of the page where it is entered."""
    needed: bool = True
    """Whether boxes are packed without it."""

    @property
    def missing(self) -> bool:
        """Whether the work cannot begin for want of it."""
        return self.needed and not self.there

    @property
    def address(self) -> str:
        """Where it is entered."""
        return reverse(self.page)


def steps(workshop: Workshop, today: date) -> list[Step]:
    """Say what a workshop has and what it lacks.

    Args:
        workshop: The workshop.
        today: Its day.

    Returns:
        The steps in the order in which they are taken.
    """
    there = _counted(
        benches=Bench.objects.filter(active=True),
        parts=Part.objects.filter(revisions__isnull=False),
        products=Product.objects.all(),
        sizes=BoxSize.objects.filter(active=True),
        recipes=Recipe.objects.filter(in_force=True),
        calibrations=Calibration.objects.filter(on__lte=today, due__gte=today),
        stocks=Stock.objects.filter(active=True),
        printers=Printer.objects.filter(active=True),
        consignees=Consignee.objects.all(),
    )
    places = _places_by_kind()
    return [
        *_maker(workshop),
        *_places(places, there),
        *_made_and_packed(there),
        *_people(),
        *_disinfection(today, places, there),
        *_paper(there),
        _looked_at(),
    ]


def _counted(**which: QuerySet[Any]) -> dict[str, int]:
    """Count many things by one question."""
    counts = [
        rows.order_by().values_list(Value(name)).annotate(n=Count("pk", distinct=True))
        for name, rows in which.items()
    ]
    return dict.fromkeys(which, 0) | dict(counts[0].union(*counts[1:], all=True))


def _places_by_kind() -> dict[str, int]:
    found = Place.objects.filter(active=True).order_by().values_list("kind")
    return dict(found.annotate(Count("pk")))


def _maker(workshop: Workshop) -> list[Step]:
    named = workshop.name != UNNAMED and bool(workshop.address and workshop.country)
    return [
        Step(
            _("The maker’s name and address"),
            _("They are on every box label and packing list."),
            int(named),
            "kitting:workshop",
        ),
        Step(
            _("GS1 prefix"),
            _(
                "Boxes then carry numbers that other houses can scan. Boxes are packed without one, too."
            ),
            int(bool(workshop.gs1_prefix)),
            "kitting:workshop",
            needed=False,
        ),
    ]


def _places(found: dict[str, int], there: dict[str, int]) -> list[Step]:
    stored = found.get(PlaceKind.SHELF, 0) + found.get(PlaceKind.RACK, 0)
    new = "kitting:place-new"
    return [
        Step(
            _("Shelves and racks"),
            _("Bags are found where they were put away."),
            stored,
            new,
        ),
        Step(
            _("A place for quarantine"),
            _("What is held or rejected is put there, and nothing else."),
            found.get(PlaceKind.QUARANTINE, 0),
            new,
        ),
        Step(
            _("A place for boxes that are ready"),
            _("Labelled boxes wait there until they are sent."),
            found.get(PlaceKind.READY, 0),
            new,
            needed=False,
        ),
        Step(
            _("Benches"),
            _("Boxes are packed at a bench, each with a place of its own."),
            there["benches"],
            "kitting:bench-new",
        ),
    ]


def _made_and_packed(there: dict[str, int]) -> list[Step]:
    return [
        Step(
            _("Parts, each with a revision"),
            _("Lots are taken in of parts; recipes name their revisions."),
            there["parts"],
            "kitting:parts",
        ),
        Step(
            _("Products"),
            _("A product is what is packed, with its cautions in its language."),
            there["products"],
            "kitting:products",
        ),
        Step(
            _("Box sizes"),
            _("A box holds a number of sets, with a GTIN where it has one."),
            there["sizes"],
            "kitting:products",
        ),
        Step(
            _("A recipe in force"),
            _("It says what each set needs; without one no box is started."),
            there["recipes"],
            "kitting:products",
        ),
    ]


def _people() -> list[Step]:
    people = User.objects.filter(is_active=True)
    counted = people.aggregate(
        packers=Count("pk", filter=Q(groups__name__in=("packer", "manager"))),
        officers=Count("pk", filter=Q(groups__name="quality officer")),
    )
    return [
        Step(
            _("Somebody who packs"),
            _("Each act is signed by whoever did it."),
            counted["packers"],
            "kitting:person-new",
        ),
        Step(
            _("A quality officer"),
            _("Protocols are signed, methods released and holds lifted by one."),
            counted["officers"],
            "kitting:person-new",
        ),
    ]


def _disinfection(
    today: date, places: dict[str, int], there: dict[str, int]
) -> list[Step]:
    """Nothing where no recipe in force has a part that is disinfected."""
    lines = RecipeLine.objects.filter(
        recipe__in_force=True, part__needs_clearing=True
    ).values_list("revision", flat=True)
    wanted = set(lines)
    whole = len(wanted) if wanted <= covered_revisions(today) else 0
    needed = bool(wanted)
    return [
        Step(
            _("A line for disinfection"),
            _("Runs are opened there."),
            places.get(PlaceKind.LINE, 0),
            "kitting:place-new",
            needed=needed,
        ),
        Step(
            _("A meter with a calibration in force"),
            _("A run is released by what it measured."),
            there["calibrations"],
            "kitting:meters",
            needed=needed,
        ),
        Step(
            _("Signed protocols for every part that is disinfected"),
            _("Only a run under one clears a part for packing."),
            whole,
            "kitting:protocols",
            needed=needed,
        ),
    ]


def _paper(there: dict[str, int]) -> list[Step]:
    return [
        Step(
            _("Label stock"),
            _(
                "Labels are drawn to its size. Without any, each is a PDF of its own size."
            ),
            there["stocks"],
            "kitting:stocks",
            needed=False,
        ),
        Step(
            _("A label printer"),
            _("Without one, labels are printed from a PDF."),
            there["printers"],
            "kitting:printers",
            needed=False,
        ),
        Step(
            _("Consignees"),
            _("Shipments go to them, with their address in the order of its post."),
            there["consignees"],
            "dispatch:consignees",
        ),
    ]


def _looked_at() -> Step:
    """Who looked at every label last, or which of them could not be printed."""
    look = newest_look()
    what, page = _("A look at every label"), "kitting:labels-try"
    if look is None:
        why = _("With the longest names on record, before anything is packed.")
        return Step(what, why, 0, page, needed=False)
    if not look.unfit:
        by, on = look.by, localdate(look.at)
        why = _("%(by)s looked at them on %(on)s, and all can be printed.")
        return Step(what, why % {"by": by, "on": on}, len(look.labels), page)
    unfit = ", ".join(label_words(name) for name in look.unfit)
    why = _("These cannot be printed: %(unfit)s. Their pages say why.")
    return Step(what, why % {"unfit": unfit}, 0, page)


@allowed("kitting.set_up")
def first_hour(request: LotwardRequest) -> HttpResponse:
    """What is there, what is missing and why it matters, in order."""
    found = steps(request.workshop, day_of(request.workshop, clock.now()))
    missing = [step for step in found if step.missing]
    context = {
        "steps": found,
        "missing": missing,
        "next": next(iter(missing), None),
        "no_lot": not missing and not Lot.objects.exists(),
        "here": "kitting:workshop",
    }
    return render(request, "lotward/first_hour.html", context)
