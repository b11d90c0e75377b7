"""The form of signing in."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib.auth.forms import AuthenticationForm, UsernameField
from django.core.exceptions import ValidationError
from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _

from kitting.ledger import clock
from kitting.web.forms import SpokenForm


class _Unechoed(forms.PasswordInput):
    """A field for text that never shows what came in."""

    input_type = "text"


class SignInForm(SpokenForm, AuthenticationForm):
    """Name and password; a name longer than any there is never reaches the lockout.

    Django only tells the browser how long a name may be, and what is entered goes
    into the lockout's table, where PostgreSQL refuses it.

    A badge may be scanned in place of the name. The name behind it stands in what was
    sent by then, and is not shown: whoever found a badge would learn it.
    """

    error_messages = {
        "invalid_login": _(
            "Name and password do not belong together. Enter both again; capitals count."
        ),
        "inactive": _("This account is closed. Ask a manager to open it again."),
        "password_over": _(
            "A manager gave you this password, and it is no longer good. Ask for another."
        ),
    }
    things = {"username": _("your name"), "password": _("your password")}

    username = UsernameField(
        label=_("Name"),
        max_length=150,
        widget=forms.TextInput(
            attrs={"autofocus": True, "data-badge-read": _("Badge read")}
        ),
        help_text=_("Type it, or scan your badge."),
    )

    def __init__(
        self, request: HttpRequest | None = None, *args: Any, **kwargs: Any
    ) -> None:
        super().__init__(request, *args, **kwargs)
        if getattr(request, "by_badge", False):
            name = self.fields["username"]
            name.widget = _Unechoed(attrs=name.widget.attrs)

    def confirm_login_allowed(self, user: Any) -> None:
        """Let nobody in whose password a manager gave too long ago."""
        super().confirm_login_allowed(user)
        until = user.password_until
        if until is not None and clock.now() > until:
            said = self.error_messages["password_over"]
            raise ValidationError(said, code="password_over")


class PinForm(SpokenForm):
    """The PIN that belongs to the badge that was scanned."""

    things = {"pin": _("your PIN")}

    pin = forms.CharField(label=_("PIN"), max_length=100, strip=False)
