"""Sentences for shipments.

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
    "box_came_off": _(
        "Box %(box)s was taken off shipment %(shipment)s after this page was loaded,"
        " so nothing was changed. Look at the list again."
    ),
    "box_came_on": _(
        "Box %(box)s was added to shipment %(shipment)s after this page was loaded, so"
        " nothing was changed. Look at the list again."
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
    "box_not_in_shipment": _(
        "Box %(box)s is not in shipment %(shipment)s. Scan a box that is in it."
    ),
    "box_not_labelled": _(
        "Box %(box)s is %(stage)s, and only a labelled box may be sent. Bring it back to"
        " %(bench)s: there its own label is scanned on it."
    ),
    "box_on_already": _("Box %(box)s is on this shipment already. Scan the next one."),
    "box_past_use_by": _(
        "Box %(box)s is past its use-by date, %(use_by)s. Put it in quarantine."
    ),
    "box_unknown": _(
        "Nothing has the number “%(read)s”. Scan the label of the box again. If it stays"
        " unknown, put the box in quarantine and tell a quality officer."
    ),
    "driver_missing": _(
        "Nobody is named who takes shipment %(shipment)s away. Write the haulier or the"
        " driver."
    ),
    "labels_lacking": _(
        "%(boxes)s of the boxes on %(shipment)s have no label with today’s date for it."
        " Print the labels first, or write why it goes without them."
    ),
    "scan_not_a_box": _(
        "“%(read)s” is a %(kind)s, not a box. Scan the label of a box."
    ),
    "shipment_empty": _(
        "Shipment %(shipment)s has no box. Scan its boxes before it is sent."
    ),
    "shipment_not_open": _(
        "Shipment %(shipment)s is %(stage)s, so nothing can be changed. Begin another"
        " one."
    ),
}

CAME: dict[str, str | Promise] = {
    "": _("Box %(box)s is on the shipment."),
    "not_asked": _(
        "Box %(box)s is on the shipment, but they did not ask for %(product)s. If it is"
        " not meant for them, take it off and put it away."
    ),
    "not_listed": _(
        "Box %(box)s is on the shipment. The list names another box, but it serves"
        " request %(request)s as well."
    ),
    "too_many": _(
        "Box %(box)s is on the shipment, more than they asked for. If it is not meant for"
        " them, take it off and put it away."
    ),
}
"""What is said of a box that was loaded, by whether it was expected."""

register(SENTENCES)
