"""Which passwords are too weak: the framework's rules, in sentences of our own."""

from __future__ import annotations

from django.contrib.auth import password_validation as rules
from django.utils.translation import gettext as _


class LongEnough(rules.MinimumLengthValidator):
    """At least eight characters."""

    def get_error_message(self) -> str:
        return _("The password has fewer than %(min_length)s characters.")


class NotTheName(rules.UserAttributeSimilarityValidator):
    """Not much like the name to sign in with."""

    def get_error_message(self) -> str:
        return _("The password is much like the name.")


class NotCommon(rules.CommonPasswordValidator):
    """None of those that are tried first."""

    def get_error_message(self) -> str:
        return _("Many people use this password, so it is tried first.")


class NotDigitsAlone(rules.NumericPasswordValidator):
    """Not a number."""

    def get_error_message(self) -> str:
        return _("The password is digits alone.")
