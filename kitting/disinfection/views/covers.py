"""Pages on which covers are signed and withdrawn."""

from __future__ import annotations

from functools import partial

from django.http import HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _

from kitting.disinfection.forms.covers import CoverForm, WithdrawForm
from kitting.disinfection.queries.covers import measured_besides, worth_signing
from kitting.disinfection.services import covers
from kitting.domain.errors import Refused
from kitting.ledger import clock
from kitting.ledger.coded import mark_of
from kitting.ledger.needs import is_own
from kitting.ledger.seals import touched_by
from kitting.models import Cover, Revision
from kitting.web.acting import act_page
from kitting.web.http import LotwardRequest, allowed, get_or_404
from kitting.web.messages import sentence


def _address(revision: Revision) -> str:
    at = [revision.part.code, revision.code]
    return reverse("kitting:revision-detail", args=at)


@allowed("kitting.sign_protocols", "GET", "POST")
def cover_new(request: LotwardRequest, code: str, revision: str) -> HttpResponse:
    """Sign that a revision is covered like an earlier one."""
    rows = Revision.objects.select_related("part")
    row = get_or_404(rows, part__code=code, code=revision)
    measured = worth_signing(row, clock.today())
    own = is_own(request.workshop, request.user, touched_by(row))
    named = {"revision": row.code, "part": row.part.name}
    return act_page(
        request,
        "kitting/disinfection/cover_new",
        CoverForm(
            request.POST or None,
            initial={"seen": mark_of(row)},
            # Sent again, it is on record by now and no longer worth signing.
            measured=measured_besides(row) if request.POST else measured,
            by=str(request.user),
        ),
        partial(covers.cover_revision, revision_id=row.pk),
        said=_("%(protocol)s covers revision %(revision)s like revision %(like)s."),
        to=_address(row),
        act=_("Sign that revision %(revision)s is covered") % named,
        revision=row,
        measured=measured,
        own=sentence(Refused("cover_own", **named)) if own else "",
    )


@allowed("kitting.sign_protocols", "GET", "POST")
def cover_withdraw(request: LotwardRequest, pk: int) -> HttpResponse:
    """End a cover."""
    beside = ("protocol", "revision__part", "like", "operation")
    cover = get_or_404(Cover.objects.select_related(*beside), pk=pk)
    return act_page(
        request,
        "kitting/disinfection/cover_withdraw",
        WithdrawForm(request.POST or None, by=str(request.user)),
        partial(covers.withdraw_cover, cover_id=cover.pk),
        said=_("%(protocol)s no longer covers revision %(revision)s."),
        named={"protocol": cover.protocol, "revision": cover.revision.code},
        to=_address(cover.revision),
        act=_("Withdraw the cover"),
        stop=True,
        cover=cover,
    )
