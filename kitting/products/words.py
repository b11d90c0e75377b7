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
    "open_hours_out_of_range": _(
        "%(read)s hours cannot be right. Enter 1 to %(most)s whole hours, or leave it"
        " empty."
    ),
    "part_mass_of_pieces": _(
        "%(part)s is not counted in pieces, so a piece of it has no mass. Leave the mass"
        " empty."
    ),
    "part_mass_out_of_range": _(
        "A piece of %(part)s cannot have this mass. Enter more than 0 g and at most"
        " 100 kg, or leave it empty."
    ),
    "part_spread_too_large": _(
        "The spread of %(part)s is not smaller than its mass. Enter both, or leave the"
        " spread empty."
    ),
    "part_stays": _(
        "Lots of %(part)s are on record, so its unit stays, and whether it is"
        " disinfected. Add another part for what is different."
    ),
    "revision_closed": _(
        "Revision %(revision)s of %(part)s is closed: no new lot of it is taken in."
        " Choose the revision that is made now, or ask a manager to open it again."
    ),
    "revision_malformed": _(
        "“%(read)s” is no revision. Use 1 to 12 capitals, digits, hyphens and full"
        " stops."
    ),
    "revision_note_missing": _(
        "Say of revision %(revision)s what is new in it, who approved it, and what is"
        " done with the old stock."
    ),
    "revision_stays": _(
        "Lots of revision %(revision)s of %(part)s are on record, so what was said of it"
        " stays. Add another revision for what is different."
    ),
    "revision_taken": _(
        "%(part)s has a revision %(revision)s already. Choose another code."
    ),
}

register(SENTENCES)
