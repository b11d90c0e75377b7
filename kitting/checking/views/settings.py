"""Setting how parts are checked, and the list of defects that are looked for."""

from __future__ import annotations

from django.http import HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _

from kitting.checking.forms import CheckPlanForm, KindForm
from kitting.checking.queries.settings import kinds_to_set, parts_to_set
from kitting.checking.services import settings as services
from kitting.models import DefectKind, Part
from kitting.web.acting import act_page
from kitting.web.http import LotwardRequest, allowed, get_or_404, render_part


def _list() -> str:
    return reverse("kitting:inspection-set")


@allowed("kitting.set_checks")
def inspection_set(request: LotwardRequest) -> HttpResponse:
    """How each part is checked, and for which defects."""
    parts, kinds = parts_to_set(), kinds_to_set()
    return render_part(
        request,
        "kitting/checking/inspection_set",
        "_inspection_set",
        {
            "parts": parts,
            "kinds": kinds,
            "sampled": sum(part.needs_check and part.sampled for part in parts),
            "looked_for": sum(kind.in_use for kind in kinds),
        },
    )


@allowed("kitting.set_checks", "GET", "POST")
def part_set(request: LotwardRequest, code: str) -> HttpResponse:
    """Set how one part is checked."""
    part = get_or_404(Part, code=code)
    way = "sample" if part.sampled else "all"
    initial = {
        "way": way if part.needs_check else "none",
        "level": part.check_level,
        "aql_major": str(part.aql_major),
        "aql_minor": str(part.aql_minor),
    }
    return act_page(
        request,
        "kitting/checking/inspection_part",
        CheckPlanForm(request.POST or None, initial=initial),
        lambda sign, **said: services.set_check_plan(
            part_id=part.pk, to=services.PartPlan(**said), sign=sign
        ),
        said=_("%(part)s is checked in this way from now on."),
        named={"part": part.name},
        to=_list(),
        of=part,
        act=_("Save this check"),
    )


@allowed("kitting.set_checks", "GET", "POST")
def kind_new(request: LotwardRequest) -> HttpResponse:
    """Put a kind of defect on the list."""
    return act_page(
        request,
        "kitting/checking/inspection_kind",
        KindForm(request.POST or None, initial={"grade": "major"}),
        lambda sign, code, **said: services.add_kind(
            code=code, to=services.Kind(**said), sign=sign
        ),
        said=_("“%(name)s” is added to the list."),
        to=_list(),
        kind=None,
        act=_("Add to the list"),
    )


@allowed("kitting.set_checks", "GET", "POST")
def kind_change(request: LotwardRequest, code: str) -> HttpResponse:
    """Change a kind of defect, or take it off the list."""
    kind = get_or_404(DefectKind, code=code)
    initial = {
        "name": kind.name,
        "grade": kind.grade,
        "part": kind.part_id,
        "in_use": kind.in_use,
    }
    return act_page(
        request,
        "kitting/checking/inspection_kind",
        KindForm(request.POST or None, kind=kind, initial=initial),
        lambda sign, **said: services.change_kind(
            kind_id=kind.pk, to=services.Kind(**said), sign=sign
        ),
        said=_("“%(name)s” is changed."),
        to=_list(),
        kind=kind,
        act=_("Save the change"),
    )
