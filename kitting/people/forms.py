"""Forms of the workshop, and of badges: who gets one on which paper, which is revoked."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from kitting.domain.errors import Refused
from kitting.labels.kinds import BADGE
from kitting.ledger.setup import ROLES
from kitting.models import User
from kitting.models.workshop import LONGEST_IDLE_MIN
from kitting.printing.queries.stocks import (
    Laid,
    laid_out,
    of_kind,
    stock_of,
    stocks_for,
)
from kitting.web.fields import IdField
from kitting.web.forms import KeyedForm, NamedForm
from kitting.web.messages import sentence


def _secret(label: Any) -> forms.CharField:
    return forms.CharField(
        label=label,
        strip=False,
        max_length=4096,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )


def _pin(label: Any, help_text: Any = "") -> forms.CharField:
    attrs = {"autocomplete": "off", "inputmode": "numeric"}
    widget = forms.PasswordInput(attrs=attrs)
    return forms.CharField(
        label=label, help_text=help_text, strip=False, max_length=100, widget=widget
    )


class WorkshopForm(KeyedForm):
    """Name, address, country, time zone and GS1 prefix of the workshop."""

    name = forms.CharField(label=_("Name"), max_length=80)
    address = forms.CharField(
        label=_("Address"),
        max_length=400,
        required=False,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text=_("It is printed on every label, line by line."),
    )
    contact = forms.CharField(
        label=_("Whom a ward asks"),
        max_length=60,
        required=False,
        help_text=_("A telephone number or an address, on every box and slip."),
    )
    night_contact = forms.CharField(
        label=_("Whom a ward asks at night"),
        max_length=60,
        required=False,
        help_text=_("A telephone number: letters about a recall name it."),
    )
    country = forms.CharField(
        label=_("Country"),
        max_length=2,
        required=False,
        help_text=_(
            "By its two letters in ISO 3166-1, such as PT. A shipment inside it has no"
            " country on its labels."
        ),
    )
    time_zone = forms.CharField(
        label=_("Time zone"),
        max_length=40,
        help_text=_("By its name in the time zone database, such as Europe/Lisbon."),
    )
    gs1_prefix = forms.CharField(
        label=_("GS1 company prefix"),
        max_length=12,
        required=False,
        help_text=_(
            "As licensed to the workshop. Without one, labels carry plain numbers and"
            " claim nothing."
        ),
    )

    two_people = forms.BooleanField(
        label=_("Some acts need two people"),
        required=False,
        help_text=_(
            "Whoever places a hold does not lift it, and whoever writes a protocol does"
            " not sign it. A workshop with too few people for that takes the tick away."
        ),
    )

    idle_min = forms.IntegerField(
        label=_("Signed out after"),
        min_value=0,
        max_value=LONGEST_IDLE_MIN,
        widget=forms.NumberInput(attrs={"data-unit": _("minutes")}),
        help_text=_(
            "Whoever does nothing for as long, at a bench or a desk, signs in again."
            " With 0 nobody is signed out."
        ),
    )

    scrap_reasons = forms.CharField(
        label=_("Why pieces are scrapped"),
        max_length=1000,
        widget=forms.Textarea(attrs={"rows": 6}),
        help_text=_(
            "A reason a line, the most frequent first. Whoever scraps pieces chooses"
            " one of them."
        ),
    )

    shift_questions = forms.CharField(
        label=_("What is asked at the start of a shift"),
        max_length=1000,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=_(
            "A question a line that is answered with yes, such as: Are the gloves new?"
            " A tied tablet asks it besides whether the bench is clear and, where boxes"
            " are weighed, whether the scale is checked."
        ),
    )

    def clean_country(self) -> str:
        return str(self.cleaned_data["country"]).upper()


ONE_A_PAGE = "one"


class PersonForm(KeyedForm):
    """A new person; they choose a password of their own."""

    things = {"name": _("the name to sign in with")}

    name = forms.CharField(
        label=_("Name to sign in with"),
        max_length=150,
        help_text=_(
            "Letters, digits and @ . + - _ only; the journal names them by it."
        ),
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    role = forms.ChoiceField(
        label=_("Role"),
        choices=lambda: [("", _("Choose a role")), *((role, role) for role in ROLES)],
        help_text=_("It says what they may do. Each person has one."),
    )


class OwnPasswordForm(NamedForm):
    """A password that somebody chooses, on the word of the one before.

    Args:
        *args: As for any form.
        given: Whether a manager gave them the one before.
        **kwargs: As for any form.
    """

    things = {
        "new_password": _("the new password"),
        "same": _("the new password again"),
    }

    new_password = _secret(_("New password"))
    same = _secret(_("The new password again"))

    def __init__(self, *args: Any, given: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["password"].label = (
            _("The password that you were given")
            if given
            else _("The password that you have")
        )

    def clean(self) -> dict[str, Any]:
        """Compare the two."""
        data = super().clean() or self.cleaned_data
        if data.get("same") and data["same"] != data.get("new_password", data["same"]):
            error = ValidationError(sentence(Refused("passwords_differ")))
            self.add_error("same", error)
        return data

    @property
    def entries(self) -> dict[str, Any]:
        """The one password."""
        return {"password": super().entries["new_password"]}


class RoleForm(NamedForm):
    """Another role of a person."""

    role = forms.ChoiceField(
        label=_("Role"),
        choices=lambda: [(role, role) for role in ROLES],
        help_text=_("It says what they may do, from the next page that they ask for."),
    )


class PinForm(NamedForm):
    """A PIN that somebody chooses, on the word of their password."""

    things = {"pin": _("the PIN"), "same_pin": _("the same PIN again")}

    pin = _pin(_("PIN"), _("It is entered at a bench, after the badge was scanned."))
    same_pin = _pin(_("The same PIN again"))

    def clean(self) -> dict[str, Any]:
        """Compare the two."""
        data = super().clean() or self.cleaned_data
        if data.get("same_pin") and data["same_pin"] != data.get("pin"):
            error = ValidationError(sentence(Refused("pins_differ")))
            self.add_error("same_pin", error)
        return data

    @property
    def entries(self) -> dict[str, Any]:
        """The one PIN."""
        return {"pin": super().entries["pin"]}


class IssueBadgesForm(KeyedForm):
    """People who get a badge, and the paper for the labels.

    Args:
        *args: As for any form.
        people: Everybody who may be ticked.
        **kwargs: As for any form.
    """

    things = {"people": _("who gets a badge")}

    people = forms.TypedMultipleChoiceField(
        coerce=int, error_messages={"required": sentence(Refused("badge_for_nobody"))}
    )
    paper = forms.ChoiceField(label=_("Where the labels come out"))
    start = forms.IntegerField(
        label=_("First position on the sheet"),
        min_value=1,
        max_value=500,
        required=False,
        help_text=_("Counted along the rows; for a sheet that is partly used."),
    )

    def __init__(self, *args: Any, people: Sequence[User], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.offer("people", [(who.pk, str(who)) for who in people if who.is_active])
        stocks = stocks_for(BADGE)
        sheets = ((f"stock {s.code}", _("A PDF for %s") % s.name) for s in stocks)
        self.offer("paper", [(ONE_A_PAGE, _("A PDF, one label a page")), *sheets])
        if not any(stock.sheet for stock in stocks):
            del self.fields["start"]

    @property
    def entries(self) -> dict[str, Any]:
        """Who gets a badge, and what tells the paper."""
        return {"user_ids": self.cleaned_data["people"], "laid": self._laid}

    def _laid(self) -> Laid:
        """The paper of a valid form.

        Raises:
            LotwardError: If there is no such stock any more, or no such position.
        """
        paper: str = self.cleaned_data["paper"]
        if paper == ONE_A_PAGE:
            return of_kind(BADGE)
        stock = stock_of(paper.removeprefix("stock "))
        start = self.cleaned_data.get("start") or 1
        return laid_out(stock, start=start if stock.sheet else 1)


class RevokeBadgeForm(KeyedForm):
    """A badge that is revoked."""

    badge = IdField()
