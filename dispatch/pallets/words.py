"""Sentences for pallets, and for boxes that are to stand on one or go by themselves.

Keep the codes in alphabetical order.
"""

from __future__ import annotations

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from kitting.web.messages import register

SENTENCES: dict[str, str | Promise] = {
    "box_came_back": _(
        "Box %(box)s came back from where it was sent, so it is not sent again. Put it in"
        " quarantine."
    ),
    "box_held": _(
        "Box %(box)s is held: %(by)s placed a hold on %(on)s (%(reason)s). Put the"
        " box in quarantine."
    ),
    "box_in_shipment": _(
        "Box %(box)s is on shipment %(shipment)s for %(consignee)s. Put it with their"
        " boxes; or take it off that shipment first, then scan it here again."
    ),
    "box_left": _(
        "Box %(box)s left with shipment %(shipment)s for %(consignee)s. If it is"
        " here, put it in quarantine and tell a quality officer."
    ),
    "box_not_labelled": _(
        "Box %(box)s is %(stage)s, and only a labelled box may be sent. Bring it back to"
        " %(bench)s: there its own label is scanned on it."
    ),
    "box_not_on_pallet": _(
        "Box %(box)s is not on pallet %(pallet)s. Look at the list again."
    ),
    "box_on_another_pallet": _(
        "Box %(box)s is on pallet %(pallet)s. Leave it there; or take it off that pallet"
        " first, then scan it here again."
    ),
    "box_on_pallet": _(
        "Box %(box)s is on pallet %(pallet)s. Scan the label of that pallet; or take the"
        " box off it first, then scan it here again."
    ),
    "box_on_this_pallet": _(
        "Box %(box)s is on this pallet already. Scan the next one."
    ),
    "box_past_use_by": _(
        "Box %(box)s is past its use-by date, %(use_by)s. Put it in quarantine."
    ),
    "box_unknown": _(
        "Nothing has the number “%(read)s”. Scan the label of the box again. If it stays"
        " unknown, put the box in quarantine and tell a quality officer."
    ),
    "pallet_broken_up": _(
        "Pallet %(pallet)s was broken up, so its label is good for nothing. Take the label"
        " off and scan the boxes one by one."
    ),
    "pallet_changed": _(
        "Box %(box)s was put on pallet %(pallet)s or taken off it at the same moment, so"
        " nothing was changed. Look at the list again."
    ),
    "pallet_in_shipment": _(
        "Pallet %(pallet)s is on shipment %(shipment)s for %(consignee)s. Take it off that"
        " shipment first, then do this again."
    ),
    "pallet_left": _(
        "Pallet %(pallet)s left with shipment %(shipment)s for %(consignee)s, so it stays"
        " as it was sent. Begin another one."
    ),
    "scan_not_a_box": _(
        "“%(read)s” is a %(kind)s, not a box. Scan the label of a box."
    ),
}

register(SENTENCES)
