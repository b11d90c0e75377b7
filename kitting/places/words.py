"""Sentences for places and carriers.

Keep the codes in alphabetical order.
"""

from __future__ import annotations

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from kitting.web.messages import register

SENTENCES: dict[str, str | Promise] = {
    "bag_is_used_up": _(
        "Bag %(bag)s is used up: it is empty that could be put away. Scan another."
    ),
    "bag_on_the_line": _(
        "Bag %(bag)s is on the line. Scan it off its run first, then put it away."
    ),
    "box_at_its_bench": _(
        "Box %(box)s is %(stage)s and is still at its bench. Finish it there: when its"
        " label is scanned, it can be put away."
    ),
    "box_has_left": _(
        "Box %(box)s is %(stage)s, so it has no place here. If it is here, put it in"
        " quarantine and tell a quality officer."
    ),
    "box_voided": _(
        "Box %(box)s is voided: its pieces are scrapped and none may leave."
        " Put it in quarantine."
    ),
    "carrier_mixes": _(
        "What is on carrier %(carrier)s and bag %(bag)s are not alike: one is held or"
        " rejected and the other is not. Put what is stopped into quarantine by itself."
    ),
    "carrier_name_missing": _(
        "The carrier has no name. Enter what people call it, such as Blue trolley."
    ),
    "carrier_on_the_line": _(
        "Carrier %(carrier)s has %(bags)s of its bags on the line. Scan it off the run"
        " first, then put it away."
    ),
    "carrier_takes_bags": _(
        "“%(read)s” is a box, and only bags go on a carrier. Scan a bag, or the place"
        " where the thing in hand goes."
    ),
    "not_put_away": _(
        "“%(read)s” is the number of a %(what)s, which is not put away. Scan a bag, a"
        " box, a carrier or a place."
    ),
    "place_has_bench": _("%(bench)s works at %(place)s, so this place stays open."),
    "place_has_run": _("Run %(run)s is open at %(place)s. Close the run first."),
    "place_kind_stays": _(
        "%(place)s stays a %(kind)s: something is there, or is on record as having been"
        " there. Add another place, and close this one when it is empty."
    ),
    "place_not_empty": _(
        "%(place)s is not empty. Bags there: %(bags)s, boxes: %(boxes)s, carriers:"
        " %(carriers)s. Put them away at other places first, then close it."
    ),
    "quarantine_only": _(
        "%(thing)s is held, rejected, returned or voided, so it goes into quarantine"
        " only, not to %(place)s. Scan a place for quarantine; where there is none, ask"
        " a manager to add one."
    ),
    "quarantine_why": _(
        "%(place)s is for what is held. Say why %(thing)s goes there: a hold is placed on"
        " it."
    ),
}

register(SENTENCES)
