"""Sentences for benches and boxes.

Keep the codes in alphabetical order.
"""

from __future__ import annotations

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from kitting.web.messages import register

SENTENCES: dict[str, str | Promise] = {
    "act_stays": _(
        "What was done last cannot be undone: what is closed, printed, put away or"
        " scrapped stays so. Go on, or have the box voided on its page."
    ),
    "bag_is_empty": _(
        "Bag %(bag)s is empty on record as well, and nothing of it is in an open box"
        " here. So nothing is missing."
    ),
    "bag_not_at_bench": _(
        "Bag %(bag)s is not at %(bench)s. Scan it here first, or count it where it is, on"
        " its page."
    ),
    "bag_not_in_box": _(
        "Nothing in this box is out of bag %(bag)s. Scan the bag that the damaged pieces"
        " came from."
    ),
    "bag_not_open_here": _(
        "Bag %(bag)s is not an open bag at %(bench)s. Scan it there first."
    ),
    "bags_held_here": _(
        "More than one bag that is open here is on hold: %(bags)s. Clear the bench: scan"
        " one, then the place, and so the others."
    ),
    "bench_closed": _(
        "%(bench)s is closed. Go to another bench, or ask a manager to open it again."
    ),
    "bench_has_a_box": _(
        "%(bench)s has a box that is not labelled yet. Finish that box first."
    ),
    "bench_has_another_box": _(
        "This was scanned for an earlier box, and the bench has another one now, so"
        " nothing was done. Look at the box that is shown, and scan again if it is"
        " meant for that one."
    ),
    "bench_has_bags": _(
        "%(bench)s has open bags: %(bags)s. Take them off the bench first, then close it."
    ),
    "bench_has_no_box": _(
        "There is no open box at this bench. Choose a box size first."
    ),
    "bench_has_no_closed_box": _(
        "There is no closed box at this bench, so there is no label to print. Close"
        " the box first."
    ),
    "bench_place_kind": _(
        "%(place)s is a place of the kind %(kind)s. A bench needs a place of the kind"
        " bench: choose one, or add it on the page Places."
    ),
    "bench_place_taken": _(
        "%(bench)s works at %(place)s already. Choose another place, or add one on the"
        " page Places."
    ),
    "bench_tied_elsewhere": _(
        "Nothing was done: %(bench)s has a tablet of its own, and this is another. Scan"
        " at that tablet, or ask a manager to tie this one."
    ),
    "bench_without_scale": _(
        "Boxes of this size are weighed, and %(bench)s has no scale on record. Pack them at"
        " another bench, or ask a manager to enter its scale."
    ),
    "box_heavy": _(
        "Heavier by %(by)s g: no single piece weighs that. Look into the box, then weigh"
        " it again. If it is right like that, somebody who may let it close does so on the"
        " page of box %(box)s."
    ),
    "box_heavy_one": _(
        "Heavier by %(by)s g: that is one %(parts)s too many. Look into the box, then weigh"
        " it again. If it is right like that, somebody who may let it close does so on the"
        " page of box %(box)s."
    ),
    "box_heavy_some": _(
        "Heavier by %(by)s g: one too many of %(parts)s. Look into the box, at the first"
        " of them first, then weigh"
        " it again. If it is right like that, somebody who may let it close does so on the"
        " page of box %(box)s."
    ),
    "box_is_not_weighed": _(
        "Boxes of this size are not weighed, so box %(box)s was not closed. Close it"
        " without a mass."
    ),
    "box_is_put_away": _(
        "Box %(box)s is put away. Scan its number at its bench to go on with it."
    ),
    "box_light": _(
        "Lighter by %(by)s g: no single piece weighs that. Look into the box, then weigh"
        " it again. If it is right like that, somebody who may let it close does so on the"
        " page of box %(box)s."
    ),
    "box_light_one": _(
        "Lighter by %(by)s g: that is one %(parts)s missing. Look into the box, then weigh"
        " it again. If it is right like that, somebody who may let it close does so on the"
        " page of box %(box)s."
    ),
    "box_light_some": _(
        "Lighter by %(by)s g: one is missing of %(parts)s. Look into the box, for the"
        " first of them first, then weigh"
        " it again. If it is right like that, somebody who may let it close does so on the"
        " page of box %(box)s."
    ),
    "box_not_at_bench": _(
        "Box %(box)s is labelled or put away, so the bench does not stop after it. Look"
        " at the screen."
    ),
    "box_not_complete": _(
        "Box %(box)s still needs %(missing)s of %(part)s. Add them, then close the box."
    ),
    "box_not_put_away": _(
        "Box %(box)s is %(stage)s and was not put away, so it cannot be brought back."
        " Scan a bag, or the label of the box that is shown."
    ),
    "box_not_stopped": _(
        "Nothing in box %(box)s has to come out of it any more, so nothing was taken out."
        " Go on with it."
    ),
    "box_not_weighed": _(
        "Box %(box)s is not weighed yet. Put it on the scale, and wait until it shows the"
        " mass here, or type it."
    ),
    "box_of_another_bench": _(
        "Box %(box)s was begun at %(bench)s. Take it there to go on with it."
    ),
    "box_put_away_before": _(
        "Box %(box)s, which was labelled last here, is put away at %(place)s already, so"
        " nothing was done. A box is put away once its own label is scanned."
    ),
    "box_waits_for_label": _(
        "Box %(box)s is closed already. Stick its label on and scan it."
    ),
    "cautions_unreviewed": _(
        "Nobody is named who looked at the cautions of %(product)s, and outside a demo"
        " none is printed before. Enter who did, beside the cautions."
    ),
    "closed_box_not_cancelled": _(
        "Box %(box)s is closed, so it cannot be cancelled. Label it, or have it"
        " voided on its page."
    ),
    "command_unknown": _(
        "“%(read)s” is no command that is known here. Scan one of the command labels,"
        " or touch the screen."
    ),
    "fewer_in_box": _(
        "%(read)s pieces were named as missing, and on record %(inside)s of bag %(bag)s"
        " are in the open box. Name no more than these."
    ),
    "finished_box_meanwhile": _(
        "Box %(box)s is finished already, and box %(here)s is open here. Put box %(box)s"
        " with the boxes that go out, and go on with box %(here)s."
    ),
    "gtin_names_no_box": _(
        "“%(read)s” is the GTIN of %(product)s in boxes of %(sets)s; each of them has it,"
        " so it names none. Scan a bag, or the code of the box’s own label."
    ),
    "hand_over_in_practice": _(
        "In practice there is one bench only, so no box goes to another. Go on with this"
        " one."
    ),
    "hand_over_to_itself": _(
        "The box is at this bench already. Choose the bench that is to finish it."
    ),
    "hand_over_waited": _(
        "A hand-over was scanned without network, so nobody saw which benches are free,"
        " and the box is here still. Choose “Hand over” again if it is meant."
    ),
    "held_among_others": _(
        "Box %(box)s has %(out)s in it, on hold by %(by)s: %(reason)s. They cannot be"
        " told apart from others in the box, so put the whole box in quarantine."
    ),
    "held_in_box": _(
        "Take %(out)s out of box %(box)s; on hold by %(by)s: %(reason)s. Put them back"
        " into their bag, or put the whole box in quarantine."
    ),
    "label_not_printed": _(
        "The label of box %(box)s was not printed yet. Print it, stick it on, then"
        " scan it."
    ),
    "label_of_another_bench": _(
        "“%(read)s” is the label of box %(box)s, which waits for it at %(bench)s. Take the"
        " label there."
    ),
    "label_was_seen": _(
        "The label of box %(box)s was scanned before, and that box is finished."
        " Choose the size of the next box."
    ),
    "lots_undecided": _(
        "Box %(box)s has lots of one part in it: %(out)s. Say whether they can be told"
        " apart: if not, they are scrapped."
    ),
    "mass_is_inside": _(
        "%(read)s g is inside the window of box %(box)s, so nobody has to let it close."
        " Let its packer weigh it at the bench."
    ),
    "may_not_pack": _(
        "%(name)s packs no boxes. Somebody else signs on, or a manager gives %(name)s"
        " another role."
    ),
    "no_bench_free": _(
        "No other bench is free: each is closed, or has a box that is not labelled yet."
        " Label that one first, or finish this box here."
    ),
    "no_box_to_put_away": _(
        "No box of this bench is labelled yet, so none was put away. Label the box first,"
        " then scan the place where it goes."
    ),
    "no_label_awaited": _(
        "“%(read)s” is the label of a box, and no box waits for its label here. Scan"
        " a bag, or close the box first."
    ),
    "no_open_bag": _("No bag is open at this bench. There is none to take off."),
    "no_quarantine": _(
        "There is no place for quarantine. Ask a manager to add one on the page Places."
    ),
    "no_recipe_in_force": _(
        "%(product)s has no recipe in force. Ask a manager to put one in force in the"
        " catalogue."
    ),
    "not_for_the_bench": _(
        "“%(read)s” is the number of a %(what)s. Scan the label of a bag, of the box,"
        " or a command."
    ),
    "not_the_last_act": _(
        "Something else was done at this bench since, so nothing was undone. Look at the"
        " screen, and choose “Undo” again."
    ),
    "nothing_asked": _(
        "That answers nothing that the screen asks, so nothing was done. Scan a bag, or"
        " touch what the screen shows."
    ),
    "nothing_to_practise": _(
        "No recipe is in force with a box size, so there is no box to practise with. Set"
        " up a product first."
    ),
    "old_label_is_another": _(
        "What was scanned is not the label of box %(box)s. Scan that one, or say that"
        " there is none to scan."
    ),
    "old_label_stays": _(
        "Box %(box)s has a label, and a voided box must not keep one that can be used."
        " Scan it and destroy it, or say that there is none to scan."
    ),
    "old_label_twice": _(
        "A label was scanned, and the tick says that there is none to scan. Take the"
        " tick away, or empty the field."
    ),
    "only_open_box_handed_over": _(
        "Box %(box)s is not open any more, so it stays at its bench. Stick its label on"
        " and scan it."
    ),
    "other_label": _(
        "“%(read)s” is not the label of box %(box)s. Scan the label that was printed"
        " for this box."
    ),
    "overdue_among_others": _(
        "Box %(box)s has %(out)s in it, out of bags that were open for too long. They"
        " cannot be told apart from others in the box, so cancel it."
    ),
    "overdue_in_box": _(
        "Box %(box)s has %(out)s in it. Take that out of the box and put it into the bag,"
        " then set the bag back."
    ),
    "part_not_in_recipe": _(
        "Bag %(bag)s holds %(part)s, which this recipe does not need. Take the bag"
        " off the bench."
    ),
    "place_is_no_bench": _(
        "%(place)s is no bench’s place, so the box is here still. Scan the place of the"
        " bench that is to finish it, or touch a bench on the screen."
    ),
    "plan_day_over": _(
        "%(day)s is over, so its plan stays as it was. Choose today or a later day."
    ),
    "plan_out_of_range": _(
        "%(read)s boxes cannot be wanted on one day. Enter from 0 to %(most)s."
    ),
    "reading_negative": _(
        "The scale shows %(read)s g below 0, so the reading was not taken. Set it to 0"
        " while it is empty."
    ),
    "reading_too_often": _(
        "Readings come too often, so this one was not taken. Send at most ten in two"
        " seconds."
    ),
    "reading_unreadable": _(
        "The reading is no figure in g, so it was not taken. Send it as g, and whether it"
        " is stable."
    ),
    "rests_on_act": _(
        "That cannot be undone: since then it was used, moved or counted elsewhere."
        " Bags: %(bag)s. Look at their pages, and count them if they are wrong."
    ),
    "scale_incomplete": _(
        "Of the scale of %(bench)s all three figures are needed, or none. Enter what is"
        " missing, or empty the other ones."
    ),
    "scale_not_emptied": _(
        "What is on the scale was there before box %(box)s. Take everything off the"
        " scale, then put box %(box)s on it."
    ),
    "scale_not_on_record": _(
        "%(bench)s has no scale on record, so none can send readings. Enter the scale on"
        " the page of the bench first."
    ),
    "scale_overloaded": _(
        "%(read)s g is more than this scale weighs, %(most)s g. Read it again, and type"
        " grams."
    ),
    "scale_sends_nothing": _(
        "The scale of %(bench)s has no token, so it sends nothing already. Look at the page"
        " of the bench."
    ),
    "scale_wrong": _(
        "The scale of %(bench)s cannot be like that. Its step is above 0, step and"
        " uncertainty are less than the most it weighs, and that is a tonne at most."
    ),
    "shift_not_begun": _(
        "No box was started: first answer what the screen asks at the start of a shift."
        " Go on, look at the bench, and answer."
    ),
    "size_not_packed": _(
        "No product with a recipe in force has boxes of this size, in sets: %(sets)s."
        " Choose one of the sizes on the screen."
    ),
    "size_of_two_products": _(
        "More than one product has boxes of this size, in sets: %(sets)s. Scan the"
        " command that names the product, or touch the size."
    ),
    "tablet_not_tied": _(
        "No tablet is tied to %(bench)s, and no code waits for one. Nothing was changed."
    ),
    "tie_code_wrong": _(
        "This code ties no tablet. It is another one, it was taken up before, or it is too"
        " old. Compare it, or ask a manager to have a new one shown."
    ),
    "undo_held": _(
        "Nothing was undone: bag %(bag)s is on hold by %(by)s: %(reason)s. It stays as it"
        " is; put the bag in quarantine."
    ),
    "undo_waited": _(
        "An “Undo” was scanned without network, so nobody saw what it would undo, and"
        " nothing was undone. Look at the screen, and choose “Undo” again if it is meant."
    ),
    "undone_already": _(
        "That was undone already, so nothing more was done. Look at the screen, and"
        " choose “Undo” again if more is to be undone."
    ),
}

register(SENTENCES)
