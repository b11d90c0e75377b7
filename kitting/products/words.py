"""Sentences for what is made and packed.

Keep the codes in alphabetical order.
"""

from __future__ import annotations

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from kitting.web.messages import register

SENTENCES: dict[str, str | Promise] = {
    "method_closed": _(
        "Method %(method)s is not used any more. Choose the one that is used now, or"
        " set this one to be in use again."
    ),
    "method_is_released": _("Method %(method)s is released already."),
    "method_of_other_part": _(
        "%(part)s is not made with method %(method)s. Choose a method of this part, or"
        " add its settings on the page Methods."
    ),
    "method_own": _(
        "You added or changed method %(method)s, so somebody else releases it: here it"
        " takes two people."
    ),
    "method_stays": _(
        "Method %(method)s stays as it is: lots were made with it, or it is released."
        " Add other settings as a method of their own."
    ),
    "method_there": _(
        "Version %(version)s of the settings of %(machines)s is on record already, as"
        " method %(method)s. Use that one, or enter another version."
    ),
}

register(SENTENCES)
