"""Set-up: the workshop and its catalogue; people and their badges, shown once as labels."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import Any

from django.contrib.auth import update_session_auth_hash
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _

from kitting.domain.pins import BADGE_TRIES
from kitting.labels.cards import BadgeLabel
from kitting.labels.copies import data_sha
from kitting.labels.kinds import BADGE
from kitting.labels.press import press
from kitting.ledger.operations import Sign
from kitting.models import User
from kitting.people import queries
from kitting.people.forms import (
    IssueBadgesForm,
    OwnPasswordForm,
    PersonForm,
    PinForm,
    RevokeBadgeForm,
    RoleForm,
    WorkshopForm,
)
from kitting.people.queries import people, person_of, role_of
from kitting.people.services.accounts import (
    Person,
    change_role,
    open_account,
    sign_out_everywhere,
)
from kitting.people.services.badges import Drawn, NewBadge, issue_badges, revoke_badge
from kitting.people.services.passwords import (
    GIVEN_H,
    add_with_password,
    choose_password,
    give_password,
    given_password,
)
from kitting.people.services.pins import allow_pin, set_pin
from kitting.people.services.workshop import Particulars, change_workshop
from kitting.printing.queries.labels import mark_of
from kitting.printing.queries.stocks import Laid
from kitting.web.acting import act_page, attempt, form_page, say_and_go
from kitting.web.forms import KeyedForm, NamedForm
from kitting.web.http import LotwardRequest, allowed, get_or_404, pdf_response

FIELDS = (
    *("name", "address", "country", "time_zone", "gs1_prefix", "two_people"),
    *("scrap_reasons", "contact", "night_contact", "idle_min", "shift_questions"),
)


@allowed("kitting.set_up", "GET", "POST")
def workshop(request: LotwardRequest) -> HttpResponse:
    """Show the set-up, and change the workshop's particulars."""
    row = request.workshop
    initial = {name: getattr(row, name) for name in FIELDS}
    form = WorkshopForm(request.POST or None, initial=initial)
    done, status = attempt(
        request,
        form,
        lambda sign, **said: change_workshop(to=Particulars(**said), sign=sign),
    )
    if done is not None:
        to = reverse("kitting:workshop")
        return say_and_go(request, _("The workshop's data are changed."), to)
    context = {"form": form, **queries.catalogue()}
    return render(request, "kitting/people/workshop.html", context, status=status)


@allowed("kitting.set_up", "GET", "POST")
def badges(request: LotwardRequest) -> HttpResponse:
    """Show who has badges, and issue new ones: the answer is their labels, once."""
    form = IssueBadgesForm(request.POST or None, people=people())
    pdf, status = attempt(request, form, _issue)
    if pdf is None:
        return _show(request, form, RevokeBadgeForm(), status)
    response = pdf_response(pdf, "badges")
    response.headers["Cache-Control"] = "no-store"
    return response


def _issue(*, user_ids: list[int], laid: Callable[[], Laid], sign: Sign) -> bytes:
    """Issue badges once their labels are drawn and read back; give the labels.

    They go to no print job: its document would keep the tokens.
    """
    mark = mark_of()
    documents: list[bytes] = []

    def draw(new: Sequence[NewBadge]) -> Drawn:
        paper = laid()
        labels = [
            BadgeLabel(name=each.name, role=each.role, token=each.token, mark=mark)
            for each in new
        ]
        pressed = press(BADGE, labels, paper.on, start=paper.start)
        documents.append(pressed.pdf)
        shas = tuple(data_sha([label]) for label in labels)
        return Drawn(pressed.sha, shas, paper.text)

    issue_badges(user_ids=user_ids, sign=sign, draw=draw)
    return documents[0]


@allowed("kitting.set_up", "GET", "POST")
def person_new(request: LotwardRequest) -> HttpResponse:
    """Add a person who may sign in, and show the password to begin with."""
    form = PersonForm(request.POST or None)
    return _give(
        request,
        "kitting/people/person_new.html",
        form,
        add_with_password,
        act=_("Add the person"),
        back=reverse("kitting:badges"),
    )


def _give(
    request: LotwardRequest,
    page: str,
    form: KeyedForm,
    act_of: Callable[..., Any],
    **context: Any,
) -> HttpResponse:
    """Do an act that gives somebody a password; the answer shows it, once."""
    given, status = attempt(request, form, act_of)
    context |= {"form": form, "given": given, "hours": GIVEN_H}
    if given:
        context["shown"] = given_password(form.key)
    return render(request, page, context, status=status)


@allowed("kitting.set_up")
def person_detail(request: LotwardRequest, pk: int) -> HttpResponse:
    """Show what somebody may do here, and what can be changed of it."""
    person = get_or_404(person_of(pk))
    valid = person.badges.filter(revoked_at=None)
    context = {
        "person": person,
        "role": role_of(person),
        "badges": valid.count(),
        "may_give": person.is_active and person != request.user,
        "blocked": valid.filter(pin_tries__gte=BADGE_TRIES).exists(),
    }
    return render(request, "kitting/people/person.html", context)


@allowed("kitting.set_up", "GET", "POST")
def person_role(request: LotwardRequest, pk: int) -> HttpResponse:
    """Give somebody another role."""
    person = get_or_404(person_of(pk))
    sent, by, now = request.POST or None, str(request.user), role_of(person)
    return _change_person(
        request,
        person,
        RoleForm(sent, by=by, initial={"role": now}),
        change_role,
        said=_("%(name)s works here as %(role)s from now on."),
        act=_("Give the role"),
    )


@allowed("kitting.set_up", "GET", "POST")
def person_close(request: LotwardRequest, pk: int) -> HttpResponse:
    """Close somebody's account."""
    return _change_person(
        request,
        get_or_404(person_of(pk)),
        NamedForm(request.POST or None, by=str(request.user)),
        partial(open_account, open=False),
        said=_("The account of %(name)s is closed."),
        act=_("Close the account"),
        stop=True,
    )


@allowed("kitting.set_up", "GET", "POST")
def person_open(request: LotwardRequest, pk: int) -> HttpResponse:
    """Open somebody's account again."""
    return _change_person(
        request,
        get_or_404(person_of(pk)),
        NamedForm(request.POST or None, by=str(request.user)),
        partial(open_account, open=True),
        said=_("%(name)s may sign in again, as %(role)s."),
        act=_("Open the account"),
    )


def _change_person(
    request: LotwardRequest,
    person: User,
    form: NamedForm,
    act_of: Callable[..., Person],
    *,
    said: str,
    **context: Any,
) -> HttpResponse:
    return act_page(
        request,
        "kitting/people/person_change",
        form,
        partial(act_of, name=person.username),
        said=said,
        to=reverse("kitting:person-detail", args=[person.pk]),
        person=person,
        role=role_of(person),
        **context,
    )


@allowed("kitting.set_up", "POST")
def badge_revoke(request: LotwardRequest) -> HttpResponse:
    """Revoke a badge."""
    form = RevokeBadgeForm(request.POST)
    done, status = attempt(
        request,
        form,
        lambda sign, badge: revoke_badge(badge_id=badge, sign=sign),
    )
    if done is None:
        return _show(request, IssueBadgesForm(people=people()), form, status)
    said = _("The badge of %(name)s is revoked.") % {"name": done.name}
    return say_and_go(request, said, reverse("kitting:badges"))


def _show(
    request: LotwardRequest,
    form: IssueBadgesForm,
    revoke: RevokeBadgeForm,
    status: int,
) -> HttpResponse:
    everybody = people()
    valid = [
        badge
        for person in everybody
        for badge in person.badges.all()
        if badge.revoked_at is None
    ]
    context = {
        "form": form,
        "revoke": revoke,
        "people": everybody,
        "chosen": form["people"].value() or [],
        "valid": len(valid),
        "carriers": len({badge.user_id for badge in valid}),
    }
    return render(request, "kitting/people/badges.html", context, status=status)


@allowed("kitting.see_work", "GET", "POST")
def account(request: LotwardRequest) -> HttpResponse:
    """Show who is signed in, and sign them out everywhere."""
    said = _("You are signed out everywhere.")
    return _sign_out_page(request, request.user, said, reverse("sign-in"))


@allowed("kitting.see_work", "GET", "POST", unchosen=True)
def account_password(request: LotwardRequest) -> HttpResponse:
    """Choose one's own password."""
    given = request.user.password_until is not None
    form = OwnPasswordForm(request.POST or None, by=str(request.user), given=given)
    done, status = attempt(
        request, form, partial(choose_password, user_id=request.user.pk)
    )
    if done is not None:
        request.user.refresh_from_db()
        update_session_auth_hash(request, request.user)
        to = reverse("home" if given else "kitting:account")
        return say_and_go(request, _("Your new password is set."), to)
    return form_page(
        request,
        "kitting/people/own_password",
        form,
        status,
        given=given,
        act=_("Set the password"),
        back="" if given else reverse("kitting:account"),
    )


@allowed("kitting.see_work", "GET", "POST")
def account_pin(request: LotwardRequest) -> HttpResponse:
    """Set one's own PIN."""
    return act_page(
        request,
        "kitting/people/pin",
        PinForm(request.POST or None, by=str(request.user)),
        partial(set_pin, user_id=request.user.pk),
        said=_("Your PIN is set. Enter it at the bench, after your badge."),
        to=reverse("kitting:account"),
        act=_("Set the PIN"),
    )


@allowed("kitting.set_up", "GET", "POST")
def person_pin(request: LotwardRequest, pk: int) -> HttpResponse:
    """Allow somebody's PIN again that was wrong too often."""
    person = get_or_404(person_of(pk))
    return act_page(
        request,
        "kitting/people/person_pin",
        KeyedForm(request.POST or None),
        partial(allow_pin, user_id=person.pk),
        said=_("The PIN of %(name)s may be tried again."),
        to=reverse("kitting:person-detail", args=[pk]),
        person=person,
        act=_("Allow the PIN again"),
    )


@allowed("kitting.set_up", "GET", "POST")
def person_password(request: LotwardRequest, pk: int) -> HttpResponse:
    """Give somebody who lost their password another one."""
    person = get_or_404(person_of(pk))
    return _give(
        request,
        "kitting/people/person_password.html",
        NamedForm(request.POST or None, by=str(request.user)),
        partial(give_password, user_id=pk),
        person=person,
        act=_("Give a password"),
        back=reverse("kitting:person-detail", args=[pk]),
    )


@allowed("kitting.set_up", "GET", "POST")
def person_sign_out(request: LotwardRequest, pk: int) -> HttpResponse:
    """Sign somebody out everywhere."""
    person = get_or_404(person_of(pk))
    said = _("%(name)s is signed out everywhere.")
    to = reverse("kitting:person-detail", args=[pk])
    return _sign_out_page(request, person, said, to)


def _sign_out_page(
    request: LotwardRequest, person: User, said: str, to: str
) -> HttpResponse:
    return act_page(
        request,
        "kitting/people/sign_out",
        KeyedForm(request.POST or None),
        partial(sign_out_everywhere, user_id=person.pk),
        said=said,
        to=to,
        person=person,
        role=role_of(person),
        act=_("Sign out everywhere"),
        back=reverse("home") if person == request.user else to,
        stop=True,
    )
