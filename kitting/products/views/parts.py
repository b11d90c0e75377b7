"""Pages of parts and revisions: a table, one of them, new ones, changes."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.http.response import HttpResponseBase
from django.urls import reverse
from django.utils.translation import gettext as _

from kitting.domain.figures import written
from kitting.ledger import clock
from kitting.ledger.clock import day_of
from kitting.ledger.coded import mark_of
from kitting.ledger.operations import Sign
from kitting.models import Part, Revision
from kitting.products.forms.parts import (
    PartChangeForm,
    PartNewForm,
    RevisionChangeForm,
    RevisionForm,
)
from kitting.products.queries import parts as queries
from kitting.products.services import parts as services
from kitting.products.services.parts import (
    KeptPart,
    KeptRevision,
    PartFacts,
    RevisionNote,
)
from kitting.web.acting import act_page
from kitting.web.http import LotwardRequest, allowed, get_or_404, render_part
from kitting.web.messages import sentence
from kitting.web.tables import Column, file_response

PARTS: list[Column[Part]] = [
    Column("part", "code"),
    Column("name", "name"),
    Column("counted in", "unit"),
    Column("mass in mg", "mass_mg"),
    Column("check", lambda part: "needed" if part.needs_check else ""),
    Column("disinfection", lambda part: "needed" if part.needs_clearing else ""),
    Column("revisions", lambda part: " ".join(r.code for r in part.revisions.all())),
    Column("lots", "lot_count"),
]


@allowed("kitting.see_work")
def part_list(request: LotwardRequest) -> HttpResponseBase:
    """Every part and raw material."""
    rows = queries.all_parts()
    if file := file_response(request, "parts", PARTS, list(rows)):
        return file
    context = {"rows": list(rows)}
    return render_part(request, "kitting/products/parts", "_part_table", context)


@allowed("kitting.see_work")
def part_detail(request: LotwardRequest, code: str) -> HttpResponse:
    """One part, its revisions, methods and recipes."""
    page = queries.part_page(get_or_404(Part, code=code))
    context = {"page": page, "part": page.part}
    return render_part(request, "kitting/products/part_detail", "", context)


def _part_address(done: KeptPart) -> str:
    return reverse("kitting:part-detail", args=[done.code])


@allowed("kitting.set_up", "GET", "POST")
def part_new(request: LotwardRequest) -> HttpResponse:
    """Add a part or a raw material with its first revision."""

    def add(sign: Sign, code: str, revision: str, **facts: Any) -> KeptPart:
        to = PartFacts(**facts)
        return services.add_part(code=code, revision=revision, to=to, sign=sign)

    return act_page(
        request,
        "kitting/products/part_set",
        PartNewForm(request.POST or None),
        add,
        said=_("%(name)s is added."),
        to=_part_address,
        act=_("Add the part"),
        back=reverse("kitting:parts"),
    )


@allowed("kitting.set_up", "GET", "POST")
def part_change(request: LotwardRequest, code: str) -> HttpResponse:
    """Change a part."""
    part = get_or_404(Part, code=code)
    fixed = part.lots.exists()
    stays = {"unit": part.unit, "needs_clearing": part.needs_clearing}
    initial = {
        **stays,
        "seen": mark_of(part),
        "name": part.name,
        "mass_mg": _grams(part.mass_mg),
        "spread_mg": _grams(part.spread_mg),
        "open_hours": part.open_hours,
        "latex": part.latex,
        "manual": part.manual,
    }

    def change(sign: Sign, seen: str, **facts: Any) -> KeptPart:
        to = PartFacts(**{**(stays if fixed else {}), **facts})
        return services.change_part(code=code, to=to, seen=seen, sign=sign)

    return act_page(
        request,
        "kitting/products/part_set",
        PartChangeForm(request.POST or None, fixed=fixed, initial=initial),
        change,
        said=_("%(name)s is changed."),
        to=reverse("kitting:part-detail", args=[code]),
        act=_("Change the part"),
        part_now=part,
        fixed=fixed,
    )


def _grams(mass_mg: int | None) -> str:
    return "" if mass_mg is None else written(mass_mg, 1_000)


@allowed("kitting.see_work")
def revision_detail(request: LotwardRequest, code: str, revision: str) -> HttpResponse:
    """One revision: what is said of it, where it is used, what it lacks."""
    row = _revision(code, revision)
    today = day_of(request.workshop, clock.now())
    page = queries.revision_page(row, today)
    context = {"page": page, "revision": row}
    if "labels" in request.GET:  # drawing them takes longer than all the rest
        faults = queries.misfits(page)
        context |= {"drawn": True, "misfits": [sentence(each) for each in faults]}
    return render_part(
        request, "kitting/products/revision_detail", "_revision_lacks", context
    )


def _revision(part: str, code: str) -> Revision:
    rows = Revision.objects.select_related("part")
    return get_or_404(rows, part__code=part, code=code)


def _revision_address(done: KeptRevision) -> str:
    return reverse("kitting:revision-detail", args=[done.part, done.revision])


@allowed("kitting.set_up", "GET", "POST")
def revision_new(request: LotwardRequest, code: str) -> HttpResponse:
    """Add a revision of a part."""
    part = get_or_404(Part, code=code)
    newest = part.revisions.order_by("-pk").first()

    def add(sign: Sign, code: str, **note: Any) -> KeptRevision:
        of = {"part": part.code, "code": code, "note": RevisionNote(**note)}
        return services.add_revision(**of, sign=sign)  # type: ignore[arg-type]

    return act_page(
        request,
        "kitting/products/revision_set",
        RevisionForm(request.POST or None, first=newest is None),
        add,
        said=_("Revision %(revision)s of %(name)s is added. See what it still lacks."),
        to=_revision_address,
        act=_("Add the revision"),
        back=reverse("kitting:part-detail", args=[code]),
        of=part,
        newest=newest,
    )


@allowed("kitting.set_up", "GET", "POST")
def revision_change(request: LotwardRequest, code: str, revision: str) -> HttpResponse:
    """Correct what is said of a revision, close it or open it again."""
    row = _revision(code, revision)
    fixed = queries.rests_on(row)
    first = not Revision.objects.filter(part=row.part, pk__lt=row.pk).exists()
    initial = {
        "seen": mark_of(row),
        "changed": row.changed,
        "approved_by": row.approved_by,
        "old_stock": row.old_stock,
        "from_lot": row.from_lot,
        "manual_changes": row.manual_changes,
        "active": row.active,
    }

    def change(sign: Sign, seen: str, *, active: bool, **note: Any) -> KeptRevision:
        said = None if fixed else RevisionNote(**note)
        of = {"part": code, "code": revision, "note": said, "seen": seen}
        return services.change_revision(**of, active=active, sign=sign)  # type: ignore[arg-type]

    form = RevisionChangeForm(
        request.POST or None, first=first, fixed=fixed, initial=initial
    )
    return act_page(
        request,
        "kitting/products/revision_set",
        form,
        change,
        said=_("Revision %(revision)s of %(name)s is changed."),
        to=reverse("kitting:revision-detail", args=[code, revision]),
        act=_("Change the revision"),
        of=row.part,
        revision=row,
        fixed=fixed,
    )
