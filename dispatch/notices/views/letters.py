"""Letters about a case: made, shown as PDF, sent."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from functools import partial
from uuid import uuid5

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from dispatch.labels import letters as drawing
from dispatch.labels.sheets import paper_of
from dispatch.models import Case, Letter, LetterSent
from dispatch.notices.forms.letters import BackForm, LettersForm, SendForm
from dispatch.notices.queries import letters as queries
from dispatch.notices.queries.whom import letters_of, moved
from dispatch.notices.services import letters as services
from dispatch.recall.queries.cases import due_on
from kitting.domain.errors import NotFit, Refused
from kitting.ledger import clock
from kitting.ledger.locking import snapshot
from kitting.ledger.operations import Sign
from kitting.web.acting import act_page, attempt, form_page, say_and_go
from kitting.web.figures import pieces
from kitting.web.http import LotwardRequest, allowed, get_or_404, pdf_response
from kitting.web.messages import sentence


def whom_to_tell(number: str) -> str:
    """Give the address of the part of a case's page that says whom to tell.

    Args:
        number: The case.
    """
    return f"{reverse('dispatch:case-detail', args=[number])}#whom"


@allowed("kitting.place_holds", "GET", "POST")
def case_write(request: LotwardRequest, number: str) -> HttpResponse:
    """Make letters about a case, for those who got boxes of it."""
    case = get_or_404(Case, number=number)
    with snapshot():
        to, due = queries.addressees(case), due_on(case)
    callable_ = request.workshop.contact and request.workshop.night_contact
    return act_page(
        request,
        "dispatch/notices/case_write",
        LettersForm(
            request.POST or None,
            to=to,
            hazard=case.hazard,
            initial={"answer_by": due if due and due >= clock.today() else None},
        ),
        partial(services.make_letters, number=number),
        said=_made,
        to=whom_to_tell(number),
        act=_("Make the letters"),
        case=case,
        addressees=to,
        nobody="" if callable_ else sentence(Refused("nobody_to_call")),
    )


def _made(done: services.Made) -> str:
    words = ngettext(
        "%(count)s letter is made. It is sent once you say so: print it, or send it.",
        "%(count)s letters are made. They are sent once you say so: print or send them.",
        len(done.letters),
    )
    return words % {"count": pieces(len(done.letters))}


@allowed("kitting.recall")
def case_letters(request: LotwardRequest, number: str) -> HttpResponse:
    """All letters of a case as one PDF, or those that are still to be sent."""
    case = get_or_404(Case, number=number)
    rows = list(letters_of(case))
    if "all" not in request.GET:
        rows = queries.to_send(case, rows)
    if not rows:
        raise Http404("There is no such letter.")
    return _pdf(request, rows, f"letters-{number}")


@allowed("kitting.recall")
def letter(request: LotwardRequest, pk: int) -> HttpResponse:
    """One letter as PDF."""
    beside = ("operation", "case", "consignee__merged_into")
    row = get_or_404(Letter.objects.select_related(*beside), pk=pk)
    name = f"{row.case.number}-{row.consignee.code}-{row.nth}"
    return _pdf(request, [row], name)


def _pdf(request: LotwardRequest, rows: list[Letter], name: str) -> HttpResponse:
    try:
        notices = queries.notices_of(rows, request.workshop)
        pdf = drawing.letters(notices, paper_of(request.workshop.country))
    except NotFit as error:
        messages.error(request, sentence(error))
        return redirect(whom_to_tell(rows[0].case.number))
    return pdf_response(pdf, name)


@allowed("kitting.recall", "GET", "POST")
def case_send(request: LotwardRequest, number: str) -> HttpResponse:
    """Send letters by e-mail, or say that they went on paper; each is an act."""
    case = get_or_404(Case, number=number)
    rows = list(letters_of(case))
    if not rows:
        raise Http404("There are no letters.")

    def send(
        letter_ids: Collection[int], way: str, by: str, sign: Sign
    ) -> list[services.Sent]:
        done: list[services.Sent] = []
        for pk in letter_ids:
            own = replace(sign, key=uuid5(sign.key, str(pk)))
            done.append(services.send_letter(letter_id=pk, way=way, by=by, sign=own))
            if done[-1].away:  # and would be for every other
                break
        return done

    form = SendForm(
        request.POST or None,
        rows=rows,
        moved=moved(rows),
        recalling=queries.recalling(case, rows),
        to_send=queries.to_send(case, rows),
    )
    done, status = attempt(request, form, send)
    if done is not None:
        failed = [each for each in done if each.fault]
        level = messages.ERROR if failed else messages.SUCCESS
        return say_and_go(request, _sent(done), whom_to_tell(number), level=level)
    refused = "" if settings.EMAIL_HOST else sentence(Refused("email_not_set_up"))
    return form_page(
        request,
        "dispatch/notices/case_send",
        form,
        status,
        back=whom_to_tell(number),
        act=_("Send them"),
        case=case,
        no_email=refused,
    )


def _sent(done: Collection[services.Sent]) -> str:
    went = sum(not each.fault for each in done)
    words = ngettext("%(count)s letter is sent.", "%(count)s letters are sent.", went)
    said = [words % {"count": pieces(went)}]
    said += [
        _("That to %(consignee)s was not sent: %(fault)s. Send it again, or on paper.")
        % {"consignee": each.consignee, "fault": each.fault}
        for each in done
        if each.fault
    ]
    return " ".join(said)


@allowed("kitting.recall", "GET", "POST")
def letter_back(request: LotwardRequest, pk: int) -> HttpResponse:
    """Say that a letter did not arrive."""
    beside = ("operation", "letter__case", "letter__consignee__merged_into")
    sending = get_or_404(LetterSent.objects.select_related(*beside), pk=pk)
    named = sending.letter.boxes.order_by("listed__box__serial")
    serials = named.values_list("listed__box__serial", flat=True)
    return act_page(
        request,
        "dispatch/notices/letter_back",
        BackForm(request.POST or None),
        partial(services.note_letter_back, sending_id=pk),
        said=_("%(consignee)s is not told by that letter. Call, or send it again."),
        to=whom_to_tell(sending.letter.case.number),
        act=_("It did not arrive"),
        stop=True,
        sending=sending,
        serials=list(serials),
    )
