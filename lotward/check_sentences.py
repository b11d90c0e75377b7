"""Sentences for incoming checks, rejected lots, and how parts are checked.

Those for other acts stand in ``lotward/messages.py``. Keep the codes in alphabetical
order.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext_lazy as _

if TYPE_CHECKING:
    from django.utils.functional import Promise

SENTENCES: dict[str, str | Promise] = {
    "bag_held": _(
        "Bag %(bag)s is on hold. It stays here until the hold is lifted; leave it out"
        " of what goes back."
    ),
    "bag_of_another_lot": _(
        "Bag %(bag)s is not of lot %(lot)s. Choose bags of this lot only."
    ),
    "check_way_unknown": _(
        "“%(read)s” is no way to check a part. Choose none, all pieces or a sample."
    ),
    "code_missing": _("No code was entered. Give the kind of defect a short one."),
    "defect_kind_exists": _(
        "There is a kind of defect with the code %(kind)s already. Choose another code,"
        " or change that one."
    ),
    "defect_kind_found": _(
        "“%(kind)s” was found in checks already, so its class and part stay as they"
        " are. Take it off the list and add a new kind."
    ),
    "defect_kind_not_looked_for": _(
        "A kind of defect is not on the list for %(part)s, or no longer. Load the page"
        " again and count with the list that it shows."
    ),
    "defect_kind_twice": _(
        "“%(kind)s” stands twice among the defects. Add the two counts up."
    ),
    "defect_name_missing": _(
        "No name was entered. Call the kind of defect what the checkers call it."
    ),
    "inspection_not_reduced": _(
        "This class is not on reduced inspection, so there is nothing to end. Check its"
        " lots as planned."
    ),
    "inspection_stopped": _(
        "Too many lots of %(part)s from %(source)s were rejected on tightened"
        " inspection, so nothing more of it is accepted. The quality officer lets it"
        " begin again, with a reason, once the source has put it right."
    ),
    "lot_has_no_pieces": _(
        "Lot %(lot)s has no piece left that could be looked at, so it gets no verdict."
    ),
    "lot_not_rejected": _(
        "Lot %(lot)s was not rejected, so there is nothing to sort, send back or"
        " concede. Look the lot up."
    ),
    "no_rejected_bag": _(
        "No bag of lot %(lot)s is rejected any more. Look the lot up to see what became"
        " of them."
    ),
    "part_has_lots": _(
        "Lots of %(part)s are on record under the other rule, so a check cannot begin"
        " or end now. Choose between all pieces and a sample, or make a new part."
    ),
    "part_not_sampled": _(
        "%(part)s is not checked by sample, so there is no inspection to switch. Have"
        " it checked by sample first."
    ),
    "plan_accepts": _(
        "By the plan lot %(lot)s is accepted (found %(found)s). Accept it; only the"
        " quality officer may reject it all the same, with a reason."
    ),
    "plan_changed": _(
        "The plan of lot %(lot)s is another one than this page showed. Read the new"
        " plan, look at the pieces that it asks for, and send the counts again."
    ),
    "plan_rejects": _(
        "By the plan lot %(lot)s is rejected (found %(found)s). Reject it and say why;"
        " it can be sorted, sent back, or conceded by the quality officer."
    ),
    "production_not_steady": _(
        "Reduced inspection is for production at a steady rate only. Tick that it is"
        " steady, or stay on normal inspection."
    ),
    "reduced_from_normal_only": _(
        "This class is not on normal inspection, and reduced inspection begins only"
        " from there. Wait until normal inspection is back."
    ),
    "reduced_needs_lots": _(
        "%(lots)s lots in a row were accepted on normal inspection, and it takes"
        " %(needed)s. Stay on normal inspection until then."
    ),
    "reduced_too_many_bad": _(
        "The samples of the last ten lots had %(found)s bad pieces in %(pieces)s, and"
        " the AQL lets %(most)s pass. Stay on normal inspection."
    ),
    "sampling_counts_pieces": _(
        "%(part)s is not counted in pieces, and a sample is. Have all of it checked."
    ),
    "sorting_does_not_add_up": _(
        "%(good)s good and %(bad)s bad pieces do not make up the %(pieces)s in bag"
        " %(bag)s. Count again; if the bag holds another number, count the bag anew"
        " first."
    ),
}
