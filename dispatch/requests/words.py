"""Sentences for requests, and the words for what they may be.

Keep the codes in alphabetical order.
"""

from __future__ import annotations

from typing import Final

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from dispatch.domain.needs import Tier, Way
from kitting.web.messages import register

SENTENCES: dict[str, str | Promise] = {
    "box_promised": _(
        "Box %(box)s is not free. Ready boxes of %(sets)s: %(ready)s, all promised to"
        " %(whom)s. Leave it where it is, or release a promise on the page of allotment"
        " %(allotment)s."
    ),
    "product_unknown": _("No product has the code “%(value)s”. Correct it."),
    "product_without_sizes": _(
        "%(product)s has no box size in use, so no boxes of it can be sent. Set one up"
        " on its page first."
    ),
    "request_cancelled": _(
        "Request %(request)s is cancelled, so nothing of it can be changed. Take a new"
        " one."
    ),
    "request_day_over": _("%(day)s is over. Write a day from today on, or none."),
    "request_loaded": _(
        "Boxes with %(sets)s sets for request %(request)s are on shipment %(shipment)s,"
        " which has not left. Take them off or send it first."
    ),
    "request_not_open": _(
        "Request %(request)s is %(stage)s, so there is nothing to cancel."
    ),
    "request_on_record": _(
        "%(value)s is the number of a request that was taken down before. Remove the row,"
        " or the number to take it down once more."
    ),
    "request_repeated": _(
        "This row repeats line %(first_line)s exactly, so the same would be asked for"
        " twice. Remove one of the two, or say why both are right."
    ),
    "request_sets": _("Write how many sets, from 1 to %(most)s."),
    "request_tier": _("“%(read)s” is no tier of need. Choose one of those shown."),
    "request_way": _(
        "“%(read)s” is no way in which requests come in. Write one of: %(ways)s."
    ),
}

TIERS: Final[dict[int, str | Promise]] = {
    Tier.NONE_LEFT: _("They have none left"),
    Tier.RUNS_OUT: _("They run out within three days"),
    Tier.STOCK: _("For their stock"),
}

WAYS: Final[dict[str, str | Promise]] = {
    Way.TELEPHONE: _("by telephone"),
    Way.MAIL: _("by e-mail"),
    Way.LETTER: _("by letter"),
    Way.VISIT: _("in person"),
    Way.FILE: _("in a file"),
}

register(SENTENCES)
