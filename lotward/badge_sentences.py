"""Sentences for badges.

Those for other acts stand in ``lotward/messages.py``. Keep the codes in alphabetical
order.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext_lazy as _

if TYPE_CHECKING:
    from django.utils.functional import Promise

SENTENCES: dict[str, str | Promise] = {
    "badge_for_closed_account": _(
        "The account of %(name)s is closed. Open it first, or leave this person out."
    ),
    "badge_for_nobody": _("Nobody was chosen. Tick the people who get a badge."),
    "badge_made_already": _(
        "These badges were made already, and a badge is shown once. If the labels did"
        " not come out, load the page again, revoke these badges and issue new ones."
    ),
    "badge_malformed": _("This is no badge that can be read. Scan it again."),
    "badge_not_here": _(
        "That is a badge. It was not taken and nothing was done. A badge is scanned"
        " where the name is entered to sign in; here, scan what is asked for."
    ),
    "badge_revoked_before": _(
        "This badge of %(name)s was revoked before, so nothing was changed."
    ),
    "badges_too_many": _(
        "More than %(most)s people were chosen. Issue their badges in several goes."
    ),
}
