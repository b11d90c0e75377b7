"""Sentences for putting away, for carriers, and for what a material gives.

Those for other acts stand in ``lotward/messages.py``. Keep the codes in alphabetical
order.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext_lazy as _

if TYPE_CHECKING:
    from django.utils.functional import Promise

SENTENCES: dict[str, str | Promise] = {
    "bag_is_used_up": _(
        "Bag %(bag)s is used up: nothing is in it that could be put away. Scan another."
    ),
    "bag_on_the_line": _(
        "Bag %(bag)s is on the line. Scan it off its run first, then put it away."
    ),
    "box_at_its_bench": _(
        "Box %(box)s is %(stage)s and stands at its bench. Finish it there: once its"
        " label is scanned, it can be put away."
    ),
    "box_has_left": _(
        "Box %(box)s is %(stage)s, so it has no place here. If it stands before you,"
        " put it aside and tell a quality officer."
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
    "yield_impossible": _(
        "%(pieces)s pieces would come in, and %(amount)s of %(material)s give at most"
        " %(possible)s. Correct the counts or what was used; if both are right, say"
        " why in “sure”."
    ),
    "yield_of_itself": _(
        "%(part)s cannot be made from itself. Choose the material that it is made from."
    ),
    "yield_out_of_range": _(
        "%(read)s is not from 1 to %(most)s. Enter how many pieces an amount of the"
        " material gives."
    ),
}
