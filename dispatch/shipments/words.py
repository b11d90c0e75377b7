"""Sentences for shipments.

Keep the codes in alphabetical order.
"""

from __future__ import annotations

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from kitting.web.messages import register

SENTENCES: dict[str, str | Promise] = {
    "box_came_off": _(
        "Box %(box)s was taken off shipment %(shipment)s after this page was loaded,"
        " so nothing was changed. Look at the list again."
    ),
    "box_came_on": _(
        "Box %(box)s was added to shipment %(shipment)s after this page was loaded, so"
        " nothing was changed. Look at the list again."
    ),
    "box_not_asked": _(
        "Box %(box)s is %(product)s, and %(consignee)s did not ask for it. Take it off the"
        " pallet and put it away; if it is meant for them, scan it by itself."
    ),
    "box_not_in_shipment": _(
        "Box %(box)s is not in shipment %(shipment)s. Scan a box that is in it."
    ),
    "box_on_already": _("Box %(box)s is on this shipment already. Scan the next one."),
    "driver_missing": _(
        "Nobody is named who takes shipment %(shipment)s away. Write the haulier or the"
        " driver."
    ),
    "labels_lacking": _(
        "Labels with today’s date that boxes and pallets on %(shipment)s lack: %(lacking)s."
        " Print the labels first, or write why it goes without them."
    ),
    "pallet_empty": _(
        "Pallet %(pallet)s has no box on it. Scan boxes onto it on its page first."
    ),
    "pallet_not_in_shipment": _(
        "Pallet %(pallet)s is not on shipment %(shipment)s. Look at the list again."
    ),
    "pallet_on_already": _(
        "Pallet %(pallet)s is on this shipment already, with all of its boxes. Scan the"
        " next one."
    ),
    "pallet_stays": _(
        "Pallet %(pallet)s stays here, and none of its boxes was put on the shipment."
        " Boxes that may not go: %(boxes)s. Take them off the pallet, then scan it again."
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
