"""The form of signing in."""

from __future__ import annotations

from django import forms
from django.contrib.auth.forms import AuthenticationForm, UsernameField


class SignInForm(AuthenticationForm):
    """Name and password; a name longer than any there is never reaches the lockout.

    Django only tells the browser how long a name may be, and what is entered goes
    into the lockout's table, where PostgreSQL refuses it.
    """

    username = UsernameField(
        max_length=150, widget=forms.TextInput(attrs={"autofocus": True})
    )
