"""The sentences for the codes of refusals: what was read, what is wrong, what to do.

``kitting.domain.errors`` carries codes and values; people read these. Every placeholder
is named and is a value that the error carries. Keep the codes in alphabetical order;
those of numbers, codes, figures and labels stand in ``lotward/sentences.py``, those of
files in ``lotward/file_sentences.py``, those of counts, samples and protocols in
``lotward/evidence_sentences.py``.
"""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING

from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from lotward import (
    badge_sentences,
    check_sentences,
    evidence_sentences,
    file_sentences,
    label_sentences,
    place_sentences,
    printer_sentences,
    printing_sentences,
    run_sentences,
    sentences,
)

if TYPE_CHECKING:
    from django.utils.functional import Promise

    from kitting.domain.errors import LotwardError

LONGEST_VALUE = 60

SENTENCES: dict[str, str | Promise] = {
    "bag_came_off": _(
        "Bag %(bag)s came off run %(run)s before. It waits for the verdict on the"
        " run; leave it where it is."
    ),
    "bag_exists": _(
        "Bag number %(bag)s is on a bag already. Scan another blank number."
    ),
    "bag_in_other_run": _(
        "Bag %(bag)s is in run %(run)s, which is still open. Scan it off there, or"
        " take another bag."
    ),
    "bag_not_cleared": _(
        "Bag %(bag)s is not cleared; it is %(stage)s. Take a cleared bag."
    ),
    "bag_not_on": _("Bag %(bag)s is not on run %(run)s. Scan a bag that is on it."),
    "bag_not_open_here": _(
        "Bag %(bag)s is not the open bag at %(bench)s. Scan it onto the bench first."
    ),
    "bag_off_too_early": _(
        "Bag %(bag)s has not had its passes: they take %(seconds)s s more. Leave it"
        " on the line; if it must come off now, say so beside its number."
    ),
    "bag_on_hold": _(
        "Bag %(bag)s is on hold by %(by)s: %(reason)s. Put it aside and take another."
    ),
    "bag_open_too_long": _(
        "Bag %(bag)s was opened more than %(hours)s hours ago. Put it aside and take"
        " another."
    ),
    "bag_twice": _("Bag %(bag)s stands twice in the list. Take one of the two out."),
    "bag_was_on": _(
        "Bag %(bag)s was on run %(run)s before and came off. It cannot go on the same"
        " run again."
    ),
    "bag_wrong_stage": _(
        "Bag %(bag)s is %(stage)s, and this act needs another stage. Look the bag up,"
        " or take another."
    ),
    "bags_on_the_line": _(
        "Run %(run)s still has bags on the line: %(bags)s. Take them off, then close"
        " the run."
    ),
    "belt_half_given": _(
        "A belt needs both the length of the lit zone and its speed. Enter both, or"
        " the time of one pass where nothing moves."
    ),
    "belt_or_time": _(
        "Both a belt and a time per pass were entered. Enter zone and speed for a"
        " belt, or the time where nothing moves."
    ),
    "belt_too_fast": _("The belt is faster than %(most)s m/s. Check the unit, mm/s."),
    "bench_has_a_box": _(
        "%(bench)s has a box that is not labelled yet. Finish that box first."
    ),
    "bench_has_another_box": _(
        "This was scanned for an earlier box, and the bench has another one now, so"
        " nothing was done. Look at the box that is shown, and scan again if it is"
        " meant for that one."
    ),
    "bench_has_no_box": _(
        "There is no box in work at this bench. Choose a box size first."
    ),
    "bench_has_no_closed_box": _(
        "There is no closed box at this bench, so there is no label to print. Close"
        " the box first."
    ),
    "box_came_off": _(
        "Box %(box)s came off shipment %(shipment)s since this page was loaded, so"
        " nothing was changed. Look at the list again."
    ),
    "box_came_on": _(
        "Box %(box)s came onto shipment %(shipment)s since this page was loaded, so"
        " nothing was changed. Look at the list again."
    ),
    "box_held": _(
        "Box %(box)s is held: a hold by %(by)s stands on %(on)s (%(reason)s). Put the"
        " box aside."
    ),
    "box_in_shipment": _(
        "Box %(box)s is in shipment %(shipment)s already, for %(consignee)s. Take it"
        " off there first, or put it aside."
    ),
    "box_left": _(
        "Box %(box)s left with shipment %(shipment)s for %(consignee)s. If it stands"
        " before you, put it aside and tell a quality officer."
    ),
    "box_not_complete": _(
        "Box %(box)s lacks %(missing)s of %(part)s. Add them, then close the box."
    ),
    "box_not_in_shipment": _(
        "Box %(box)s is not in shipment %(shipment)s. Scan a box that is in it."
    ),
    "box_not_labelled": _(
        "Box %(box)s is %(stage)s, and only a labelled box may go. Finish it at its"
        " bench first."
    ),
    "box_on_already": _("Box %(box)s is on this shipment already. Scan the next one."),
    "box_on_hold": _(
        "Box %(box)s, or something in it, is on hold by %(by)s: %(reason)s. Put it"
        " aside."
    ),
    "box_past_use_by": _(
        "Box %(box)s is past its use-by date, %(use_by)s. Put it aside."
    ),
    "box_voided": _(
        "Box %(box)s is voided: its pieces are scrapped and none may go. Put it aside."
    ),
    "box_waits_for_label": _(
        "Box %(box)s is closed already. Stick its label on and scan it."
    ),
    "box_wrong_stage": _(
        "Box %(box)s is %(stage)s, so it cannot be %(wanted)s. Look the box up."
    ),
    "calibration_dates": _(
        "The calibration of %(on)s would be due on %(due)s, before it was made. Check"
        " both dates."
    ),
    "calibration_in_future": _(
        "The calibration is dated %(on)s, and today is %(today)s. Check the date."
    ),
    "clock_behind": _(
        "By this computer's clock, this comes before what is recorded of run %(run)s."
        " Set the clock right, then scan again."
    ),
    "closed_box_not_called_off": _(
        "Box %(box)s is closed, so it cannot be called off. Label it, or have it"
        " voided on its page."
    ),
    "command_unknown": _(
        "“%(read)s” is no command that is known here. Scan one of the command labels,"
        " or touch the screen."
    ),
    "conditions_changed": _(
        "Lot %(lot)s was made of another part, revision, method or material. Start a"
        " new lot for what is made from now on."
    ),
    "container_unknown": _(
        "There is no container “%(read)s”. Choose one from the list."
    ),
    "count_out_of_range": _(
        "%(read)s is not from 1 to %(most)s. Ask for that many numbers at a time."
    ),
    "defects_out_of_range": _(
        "%(read)s is not from 0 to %(most)s. Enter how many defects were found."
    ),
    "entry_too_long": _("The %(what)s is longer than %(most)s characters. Shorten it."),
    "hold_lifted": _("This hold was lifted before. Load the page again."),
    "hold_target_unknown": _(
        "A hold cannot be put on “%(target)s”. Choose a lot, bag, run, box, revision,"
        " method, source or protocol."
    ),
    "label_not_printed": _(
        "The label of box %(box)s was not printed yet. Print it, stick it on, then"
        " scan it."
    ),
    "label_was_seen": _(
        "The label of box %(box)s was scanned before, and that box is finished."
        " Choose the size of the next box."
    ),
    "line_has_a_run": _("%(line)s has an open run. Close that run first."),
    "lot_closed": _(
        "Lot %(lot)s is closed, so nothing can be added to it. Start a new lot."
    ),
    "lot_empty": _("Lot %(lot)s has no bag yet. Add its bags before you close it."),
    "lot_exists": _(
        "Lot number %(lot)s is taken. Choose another number, or add bags to that lot."
    ),
    "lot_has_a_verdict": _(
        "Lot %(lot)s has its verdict: %(verdict)s. Load the page again."
    ),
    "lot_needs_no_check": _(
        "Lot %(lot)s is of a part that needs no check. There is nothing to do."
    ),
    "lot_number_ahead": _(
        "Lotward will assign lot number %(lot)s itself later. Leave the number empty, or"
        " choose another."
    ),
    "lot_past_use_by": _(
        "Bag %(bag)s is past its use-by date, %(use_by)s. Put it aside and take"
        " another."
    ),
    "lot_still_open": _(
        "Lot %(lot)s is still open. Close it first: a check is of the whole lot."
    ),
    "made_on_future": _(
        "Made on %(made_on)s lies after today, %(today)s. Check the date."
    ),
    "material_past_use_by": _(
        "Material %(lot)s was past its use-by date, %(use_by)s, when this lot was made"
        " on %(made_on)s. Use another lot of material, or correct the date."
    ),
    "material_twice": _(
        "The same lot is named twice as material. Name it once, with the whole amount."
    ),
    "meter_not_calibrated": _(
        "This meter has no calibration on record. Enter one on its page, or use"
        " another meter."
    ),
    "meter_out_of_calibration": _(
        "The meter's calibration was due on %(due)s, and the reading is of %(on)s."
        " Use a meter in calibration."
    ),
    "name_missing": _(
        "The workshop needs a name: it stands on every label. Enter one."
    ),
    "no_label_awaited": _(
        "“%(read)s” is the label of a box, and no box waits for its label here. Scan"
        " a bag, or close the box first."
    ),
    "no_open_bag": _("No bag is open at this bench. There is nothing to lay aside."),
    "no_recipe_in_force": _(
        "%(product)s has no recipe in force. Put one in force in the set-up."
    ),
    "not_a_bag_number": _("“%(read)s” is not a bag number. Scan the label of a bag."),
    "not_covered": _(
        "Protocol %(protocol)s does not cover bag %(bag)s: %(part)s, revision"
        " %(revision)s, in a %(container)s. Use a run whose protocol covers it."
    ),
    "not_enough_material": _(
        "Lot %(lot)s is short of %(short)s of the %(wanted)s that were asked for."
        " Enter less, or name another lot."
    ),
    "not_enough_pieces": _(
        "Bag %(bag)s holds %(left)s pieces and %(wanted)s were asked for. Count the"
        " bag, or take the rest from another."
    ),
    "not_for_the_bench": _(
        "“%(read)s” is the number of a %(what)s. Scan the label of a bag, of the box,"
        " or a command."
    ),
    "not_traced": _(
        "“%(read)s” is the number of something that holds no pieces, so there is no"
        " trace. Scan a lot, bag, run, box or shipment."
    ),
    "nothing_has_number": _(
        "Nothing has the number “%(read)s”. Scan the label again, or check the number."
    ),
    "number_not_given_out": _(
        "Bag number %(read)s was never given out here. Scan a blank label that was"
        " printed in this workshop."
    ),
    "op_key_unreadable": _(
        "This form came without its operation key, so it cannot be told from one that"
        " was sent before. Load the page again and repeat the act."
    ),
    "operation_key_reused": _(
        "This form was sent before with other contents, and that act stands. Load the"
        " page again before you send something else."
    ),
    "other_label": _(
        "“%(read)s” is not the label of box %(box)s. Scan the label that was printed"
        " for this box."
    ),
    "page_is_old": _(
        "The record has changed since this page was loaded. Load the page again."
    ),
    "part_needs_no_clearing": _(
        "Bag %(bag)s holds %(part)s, which needs no disinfection. Leave it off the"
        " line."
    ),
    "part_not_in_recipe": _(
        "Bag %(bag)s holds %(part)s, which this recipe does not need. Take the bag"
        " off the bench."
    ),
    "pass_too_long": _(
        "One pass would take more than %(hours)s hours. Check the time, or zone and"
        " speed."
    ),
    "passes_too_many": _("%(passes)s passes are more than %(most)s. Check the number."),
    "password_weak": _("This password is too weak. %(why)s Choose another."),
    "person_exists": _(
        "There is a person “%(name)s” already. Choose another name; a forgotten"
        " password is set anew with manage.py changepassword."
    ),
    "person_name_wrong": _(
        "“%(read)s” is no name to sign in with. %(why)s Choose another."
    ),
    "person_unknown": _("There is no person “%(name)s”. Check how the name is spelt."),
    "pieces_negative": _("%(value)s pieces is below 0. Enter 0 or more."),
    "pieces_not_positive": _("%(value)s pieces is not above 0. Enter 1 or more."),
    "pieces_out_of_range": _(
        "%(read)s is not from 1 to %(most)s. Count again and enter that number."
    ),
    "protocol_not_in_force": _(
        "Protocol %(protocol)s is not in force on %(on)s. Choose one that is."
    ),
    "protocol_not_signed": _(
        "Protocol %(protocol)s is not signed off. Have it signed off, or choose"
        " another."
    ),
    "protocol_on_hold": _(
        "Protocol %(protocol)s is on hold by %(by)s: %(reason)s. Choose another, or"
        " have the hold lifted."
    ),
    "reading_elsewhere": _(
        "Point %(point)s of the %(side)s side was not read at opening. Close the run"
        " with readings at the opening's points."
    ),
    "reading_place": _(
        "Point %(point)s on the %(side)s side is no place of a reading. Use the top"
        " or bottom side and points 1 to %(most)s."
    ),
    "reading_twice": _(
        "One point was read twice on the same side. Keep one reading for each point"
        " and side."
    ),
    "readings_missing": _(
        "The %(moment)s readings are missing. Read the meter at every point first."
    ),
    "reason_missing": _("No reason was entered. Write one: the record keeps it."),
    "revision_not_of_part": _(
        "This revision belongs to another part. Choose one of the part's own revisions."
    ),
    "revision_not_pinned": _(
        "Bag %(bag)s is of revision %(revision)s, and the recipe asks for %(wanted)s."
        " Take a bag of that revision."
    ),
    "role_unknown": _("“%(read)s” is no role. The roles are: %(roles)s."),
    "row_missing": _("This %(what)s is not there, or no longer. Load the page again."),
    "run_closed": _("Run %(run)s is closed; it was %(stage)s. Use an open run."),
    "run_on_hold": _(
        "Run %(run)s is on hold by %(by)s: %(reason)s. Nothing goes on until the hold"
        " is lifted."
    ),
    "scan_gs1_wrong": _(
        "“%(read)s” breaks a GS1 rule (%(problem)s). Scan the label again, or type"
        " the number."
    ),
    "scan_not_a_box": _(
        "“%(read)s” is a %(kind)s, not a box. Scan the label of a box."
    ),
    "scan_not_a_lot": _(
        "“%(read)s” is not the number of a lot. Enter the number of one."
    ),
    "scan_separator_lost": _(
        "“%(read)s” came without its separators and is the label of no box here. Scan"
        " the label again, or scan the bars below."
    ),
    "scan_unreadable": _(
        "“%(read)s” holds characters that no number has. Scan the label again."
    ),
    "shipment_empty": _(
        "Shipment %(shipment)s has no box. Scan its boxes before it is sent."
    ),
    "shipment_not_open": _(
        "Shipment %(shipment)s is %(stage)s, so nothing can be changed. Begin another"
        " one."
    ),
    "size_not_packed": _(
        "No product with a recipe in force has boxes of %(sets)s sets. Choose one of"
        " the sizes on the screen."
    ),
    "size_of_two_products": _(
        "More than one product has boxes of %(sets)s sets. Scan the command that"
        " names the product, or touch the size."
    ),
    "source_missing": _(
        "No source was entered. Write where the pieces come from: a recall needs it."
    ),
    "time_zone_unknown": _(
        "%(read)s is no time zone. Enter one by its name, such as Europe/Lisbon."
    ),
    "too_many_pieces": _(
        "Bag %(bag)s holds %(pieces)s pieces, and the protocol covers at most"
        " %(most)s. Split the bag."
    ),
    "use_by_before_made_on": _(
        "The use-by date lies before the day the lot was made. Check both dates."
    ),
    "use_by_too_far": _(
        "A label cannot carry the use-by date %(use_by)s: it gives the year two digits."
        " Enter a date up to the end of %(year)s."
    ),
    "zone_too_long": _("The lit zone is longer than %(most)s m. Check the unit, mm."),
}
ALL: dict[str, str | Promise] = {
    **badge_sentences.SENTENCES,
    **check_sentences.SENTENCES,
    **evidence_sentences.SENTENCES,
    **file_sentences.SENTENCES,
    **label_sentences.SENTENCES,
    **place_sentences.SENTENCES,
    **printer_sentences.SENTENCES,
    **printing_sentences.SENTENCES,
    **run_sentences.SENTENCES,
    **sentences.SENTENCES,
    **SENTENCES,
}


def sentence(error: LotwardError) -> str:
    """Say a refusal in a sentence; one without a sentence still names its code."""
    known = ALL.get(error.code)
    if known is not None:
        with suppress(KeyError):  # A value that the sentence names was not given.
            return str(known) % {n: _shown(value) for n, value in error.params.items()}
    return gettext(
        "This was refused, and nothing was written (%(code)s). Check what was entered"
        " and try again; if it is refused again, pass the code on."
    ) % {"code": error.code}


def _shown(value: object) -> str:
    """Write a value so that a scan of any length and content can stand in a sentence."""
    text = str(value)
    clean = "".join(char if char.isprintable() else "�" for char in text)
    return clean if len(clean) <= LONGEST_VALUE else f"{clean[:LONGEST_VALUE]}…"
