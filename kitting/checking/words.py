"""Sentences for incoming checks, rejected lots, and how parts are checked.

Keep the codes in alphabetical order.
"""

from __future__ import annotations

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from kitting.web.messages import register

SENTENCES: dict[str, str | Promise] = {
    "aql_unknown": _("AQL %(read)s is not in the tables. Choose one of %(known)s."),
    "bag_held": _(
        "Bag %(bag)s is on hold. It stays here until the hold is lifted. Do not tick"
        " it."
    ),
    "bag_of_another_lot": _(
        "Bag %(bag)s is not of lot %(lot)s. Choose bags of this lot only."
    ),
    "bag_twice": _("Bag %(bag)s is in the list twice. Remove one of the two."),
    "chance_out_of_range": _(
        "A chance of %(read)s is not between 0 and 1. Enter one that is, such as 0.1."
    ),
    "check_comes_first": _(
        "Bag %(bag)s waits for the check of its lot %(lot)s. Check the lot: its bags are"
        " accepted with it."
    ),
    "check_way_unknown": _(
        "“%(read)s” is no way to check a part. Choose none, all pieces or a sample."
    ),
    "class_not_counted": _(
        "No figure was entered for %(read)s defects. Enter how many bad pieces were"
        " found, 0 if none."
    ),
    "class_unknown": _("“%(read)s” is not a class of defect. Use one of %(known)s."),
    "class_without_plan": _(
        "The check has no plan for %(read)s defects. Remove the figure, or plan the"
        " check with that class."
    ),
    "code_missing": _("No code was entered. Give the kind of defect a short one."),
    "critical_has_no_aql": _(
        "Critical defects are looked for in all pieces, so they have no AQL. Enter"
        " one for major and minor defects only."
    ),
    "defect_kind_exists": _(
        "There is a kind of defect with the code %(kind)s already. Choose another code,"
        " or change that one."
    ),
    "defect_kind_found": _(
        "“%(kind)s” was found in checks already, so its class and part cannot be"
        " changed. Remove it from the list and add a new kind."
    ),
    "defect_kind_not_looked_for": _(
        "A kind of defect is not on the list for %(part)s, or no longer. Load the page"
        " again and count with the list that it shows."
    ),
    "defect_kind_twice": _(
        "“%(kind)s” is twice among the defects. Add the two counts together."
    ),
    "defect_name_missing": _(
        "No name was entered. Call the kind of defect what the checkers call it."
    ),
    "defects_out_of_range": _(
        "%(read)s is not from 0 to %(most)s. Enter how many defects were found."
    ),
    "found_out_of_range": _(
        "%(read)s bad pieces (%(kind)s) is not from 0 to the sample's %(most)s."
        " Count each bad piece once."
    ),
    "inspection_not_reduced": _(
        "This class is not on reduced inspection, so there is nothing to end. Check its"
        " lots as planned."
    ),
    "inspection_not_stopped": _(
        "Inspection of this part from this source was not stopped, so there is"
        " nothing to allow again. Check it as planned."
    ),
    "inspection_stopped": _(
        "Too many lots of %(part)s from %(source)s were rejected on tightened"
        " inspection, so nothing more of it is accepted. The quality officer allows"
        " the source again, with a reason, when the source has corrected the cause."
    ),
    "level_unknown": _(
        "“%(read)s” is not an inspection level. Choose one of %(known)s."
    ),
    "lot_has_a_verdict": _(
        "Lot %(lot)s has its verdict: %(verdict)s. Load the page again."
    ),
    "lot_has_no_pieces": _(
        "Lot %(lot)s has no piece left that could be looked at, so it gets no verdict."
    ),
    "lot_needs_no_check": _(
        "Lot %(lot)s is of a part that needs no check. There is nothing to do."
    ),
    "lot_not_rejected": _(
        "Lot %(lot)s was not rejected, so there is nothing to sort, send back or"
        " accept under concession. Look the lot up."
    ),
    "lot_still_open": _(
        "Lot %(lot)s is still open. Close it first: a check is of the whole lot."
    ),
    "no_rejected_bag": _(
        "No bag of lot %(lot)s is rejected any more. Look the lot up to see what was"
        " done with them."
    ),
    "part_has_lots": _(
        "%(part)s has lots on record, and whether a part is checked at all cannot"
        " change after its first lot. Choose between all pieces and a sample, or make"
        " a new part."
    ),
    "part_not_sampled": _(
        "%(part)s is not checked by sample, so there is no inspection to switch. Have"
        " it checked by sample first."
    ),
    "plan_accepts": _(
        "By the plan lot %(lot)s is accepted (found %(found)s). Accept it; only the"
        " quality officer may reject it against its plan, with a reason."
    ),
    "plan_changed": _(
        "The plan of lot %(lot)s is another one than this page showed. Read the new"
        " plan, look at the pieces that it asks for, and send the counts again."
    ),
    "plan_missing": _("The lot has no plan to be judged by. Plan the check first."),
    "plan_rejects": _(
        "By the plan lot %(lot)s is rejected (found %(found)s). Reject it and say"
        " why. After that it can be sorted, sent back, or accepted under concession"
        " by the quality officer."
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
        "%(lots)s lots in a row were accepted on normal inspection, and %(needed)s"
        " are needed. Stay on normal inspection until then."
    ),
    "reduced_too_many_bad": _(
        "The samples of the last ten lots had %(found)s bad pieces in %(pieces)s, and"
        " the AQL allows %(most)s. Stay on normal inspection."
    ),
    "sample_more_than_lot": _(
        "A sample has more pieces than there are: %(wanted)s, not %(left)s. Count the"
        " bags again."
    ),
    "sampling_counts_pieces": _(
        "%(part)s is not counted in pieces, and a sample is. Have all of it checked."
    ),
    "severity_unknown": _(
        "“%(read)s” is not a severity of inspection. Choose one of %(known)s."
    ),
    "share_out_of_range": _(
        "A share of %(read)s is not from 0 to 1. Enter 0.01 for 1 %%."
    ),
    "sorting_does_not_add_up": _(
        "%(good)s good and %(bad)s bad pieces are not the %(pieces)s in bag %(bag)s."
        " Count again. If the bag holds another number, record a count of the bag"
        " first."
    ),
    "verdict_unknown": _(
        "“%(read)s” is nothing that switches inspection. Use accepted, between, rejected,"
        " resumed, reduced or restored."
    ),
}

register(SENTENCES)
