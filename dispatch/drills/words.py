"""Sentences for recall drills.

Keep the codes in alphabetical order.
"""

from __future__ import annotations

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from kitting.web.messages import register

SENTENCES: dict[str, str | Promise] = {
    "drill_calls_nobody": _("In this drill nobody is called."),
    "drill_list_first": _("First say that the list is complete, then call."),
    "drill_listed": _("The list of this drill is complete already; %(by)s said so."),
    "drill_no_lot": _("No box has left yet, so there is no lot to draw."),
    "drill_not_reached": _("No box with the lot of this drill is at %(name)s."),
    "drill_over": _("This drill is over; %(by)s ended it."),
    "drill_running": _("%(by)s began a drill that is not over. End it first."),
}

register(SENTENCES)
