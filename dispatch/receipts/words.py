"""Sentences for what became of a shipment, and the words of how it is known.

Keep the codes in alphabetical order.
"""

from __future__ import annotations

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from dispatch.domain.receipts import Found, Told
from kitting.web.messages import register

WAYS: dict[str, str | Promise] = {
    Told.NOTE: _("delivery note"),
    Told.CALL: _("telephone"),
    Told.PAGE: _("page of the consignee, taken over"),
    Told.LINK: _("page of the consignee"),
}

FOUND: dict[str, str | Promise] = {
    Found.WHOLE: _("as sent"),
    Found.SHORT: _("short"),
    Found.DAMAGED: _("damaged"),
    Found.ABSENT: _("not received"),
}

SENTENCES: dict[str, str | Promise] = {
    "answered_too_often": _(
        "This link took as many answers as it may. Call the workshop."
    ),
    "box_is_not_short": _(
        "Box %(box)s is to hold %(sets)s sets. Write how many fewer were counted, or"
        " say that it is as sent."
    ),
    "box_named_twice": _("Box %(box)s is named twice. Say all of it on one line."),
    "box_not_gone": _(
        "Box %(box)s is %(stage)s: only what is with a consignee comes back or is"
        " passed on."
    ),
    "box_not_received": _(
        "A box that is named did not leave with %(shipment)s. Choose one of its boxes."
    ),
    "box_voided_since": _(
        "Box %(box)s was voided since, and its pieces are scrapped: its return cannot be"
        " undone any more."
    ),
    "boxes_missing": _("Choose at least one box."),
    "boxes_not_named": _(
        "%(sent)s boxes left with %(shipment)s, %(boxes)s were counted, and %(absent)s"
        " are named as not received. Name each box that did not arrive."
    ),
    "delivery_by_link": _(
        "What a consignee says on its page records no delivery of %(shipment)s. Take it"
        " over as yours."
    ),
    "delivery_on_record": _(
        "Somebody recorded the delivery of %(shipment)s already. Look at it, and"
        " correct it where it is wrong."
    ),
    "delivery_settled": _("Somebody settled this for %(shipment)s already."),
    "link_days": _("A link is good for 1 to %(most)s days. Write how many."),
    "link_is_over": _("This link is not good any more. Ask the workshop for another."),
    "moved_since": _(
        "Box %(box)s was put to %(place)s after it came back, so it is here. Look at its"
        " label."
    ),
    "no_link": _("%(shipment)s has no link that could be ended."),
    "nothing_received": _(
        "No box of %(shipment)s was received, so it is not delivered. Record its"
        " boxes when they are there, or as returned."
    ),
    "nothing_to_settle": _(
        "Nothing that is said of %(shipment)s differs from what was sent, so nothing is"
        " to be settled."
    ),
    "passed_on_day": _(
        "A box of %(shipment)s is passed on between the day it was sent and today. Look"
        " at the date again."
    ),
    "passed_to_itself": _("%(name)s has box %(box)s already. Choose who has it now."),
    "received_before_sent": _(
        "%(shipment)s was sent later than that. Look at the date and the time on the"
        " note again."
    ),
    "received_later": _(
        "That is later than now. Look at the date and the time on the note again."
    ),
    "return_undone": _(
        "It is on record already that this return of box %(box)s was none."
    ),
    "returned_since": _(
        "More of box %(box)s came back later: %(sets)s sets. Undo that return first, if"
        " it was wrong as well."
    ),
    "sets_not_in_box": _(
        "%(sets)s sets left in box %(box)s, and %(before)s of them came back before."
        " Count the sets again."
    ),
    "shipment_cancelled": _(
        "Shipment %(shipment)s is cancelled: nothing of it arrives anywhere."
    ),
    "shipment_not_delivered": _(
        "No delivery of %(shipment)s is recorded yet. Record it first."
    ),
    "shipment_not_sent": _(
        "Shipment %(shipment)s is %(stage)s: only what was sent can be received."
    ),
}

register(SENTENCES)
