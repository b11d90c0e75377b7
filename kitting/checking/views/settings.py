"""Setting how parts are checked, and the list of defects that are looked for."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from kitting.checking.forms.inspection import CheckPlanForm, KindForm
from kitting.checking.queries.inspection import kinds_to_set, parts_to_set
from kitting.checking.services import inspection as services
from kitting.models import DefectKind, Part
from kitting.web.acting import OK, attempt
from kitting.web.http import allowed, get_or_404, go, render_part

if TYPE_CHECKING:
    from django.http import HttpResponse

    from kitting.web.http import LotwardRequest


def _list() -> str:
    return reverse("kitting:inspection-set")


@allowed("kitting.set_checks")
@require_GET
def inspection_set(request: LotwardRequest) -> HttpResponse:
    """How each part is checked, and for which defects."""
    parts, kinds = parts_to_set(), kinds_to_set()
    return render_part(
        request,
        page="kitting/checking/inspection_set.html",
        part="kitting/checking/_inspection_set.html",
        context={
            "parts": parts,
            "kinds": kinds,
            "sampled": sum(part.needs_check and part.sampled for part in parts),
            "looked_for": sum(kind.in_use for kind in kinds),
            "here": "kitting:lots",
        },
    )


@allowed("kitting.set_checks")
@require_http_methods(["GET", "POST"])
def part_set(request: LotwardRequest, code: str) -> HttpResponse:
    """Set how one part is checked."""
    part = get_or_404(Part, code=code)
    form = CheckPlanForm(request.POST or None, initial=_as_it_is(part))
    status = OK
    if request.method == "POST":
        done, status = attempt(
            request,
            form,
            lambda sign: services.set_check_plan(
                part_id=part.pk, to=_plan(form), sign=sign
            ),
        )
        if done is not None:
            said = _("%(part)s is checked in this way from now on.")
            messages.success(request, said % {"part": part.name})
            return go(request, _list())
    return _page(request, "inspection_part", status, form=form, of=part,
                 act=_("Save this check"))  # fmt: skip


def _as_it_is(part: Part) -> dict[str, Any]:
    way = "sample" if part.sampled else "all"
    return {
        "way": way if part.needs_check else "none",
        "level": part.check_level,
        "aql_major": str(part.aql_major),
        "aql_minor": str(part.aql_minor),
    }


def _plan(form: CheckPlanForm) -> services.PartPlan:
    data = form.cleaned_data
    return services.PartPlan(
        way=data["way"],
        level=data["level"],
        aql_major=int(data["aql_major"]),
        aql_minor=int(data["aql_minor"]),
    )


@allowed("kitting.set_checks")
@require_http_methods(["GET", "POST"])
def kind_new(request: LotwardRequest) -> HttpResponse:
    """Put a kind of defect on the list."""
    form = KindForm(request.POST or None, initial={"grade": "major"})
    status = OK
    if request.method == "POST":
        done, status = attempt(
            request,
            form,
            lambda sign: services.add_kind(
                code=form.cleaned_data["code"], to=_kind(form), sign=sign
            ),
        )
        if done is not None:
            said = _("“%(kind)s” is added to the list.")
            messages.success(request, said % {"kind": done.name})
            return go(request, _list())
    return _page(request, "inspection_kind", status, form=form, kind=None,
                 act=_("Add to the list"))  # fmt: skip


@allowed("kitting.set_checks")
@require_http_methods(["GET", "POST"])
def kind_change(request: LotwardRequest, code: str) -> HttpResponse:
    """Change a kind of defect, or take it off the list."""
    kind = get_or_404(DefectKind, code=code)
    initial = {
        "name": kind.name,
        "grade": kind.grade,
        "part": kind.part_id,
        "in_use": kind.in_use,
    }
    form = KindForm(request.POST or None, kind=kind, initial=initial)
    status = OK
    if request.method == "POST":
        done, status = attempt(
            request,
            form,
            lambda sign: services.change_kind(
                kind_id=kind.pk, to=_kind(form), sign=sign
            ),
        )
        if done is not None:
            said = _("“%(kind)s” is changed.")
            messages.success(request, said % {"kind": done.name})
            return go(request, _list())
    return _page(request, "inspection_kind", status, form=form, kind=kind,
                 act=_("Save the change"))  # fmt: skip


def _kind(form: KindForm) -> services.Kind:
    data = form.cleaned_data
    return services.Kind(
        name=data["name"],
        grade=data["grade"],
        part_id=data["part"].pk if data["part"] else None,
        in_use=data["in_use"],
    )


def _page(
    request: LotwardRequest, name: str, status: int, **context: Any
) -> HttpResponse:
    return render_part(
        request,
        page=f"kitting/checking/{name}.html",
        part="_form.html",
        context={
            "part": name.replace("_", "-"),
            "back": _list(),
            "here": "kitting:lots",
            **context,
        },
        status=status,
    )
