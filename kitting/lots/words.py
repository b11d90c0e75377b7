"""Sentences for lots, bags, counts, samples, yields and files of lots.

Keep the codes in alphabetical order.
"""

from __future__ import annotations

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from kitting.web.messages import register

SENTENCES: dict[str, str | Promise] = {
    "amount_missing": _(
        "An amount of every lot that this one was made from is needed. Enter the"
        " amounts in the same order."
    ),
    "amount_twice": _(
        "The amount is written here and beside the lot that this one was made from."
        " Keep one of the two."
    ),
    "bag_exists": _(
        "Bag number %(bag)s is on a bag already. Scan another blank number."
    ),
    "bag_moved_since": _(
        "Bag %(bag)s has changed since it was shown; on record it holds %(pieces)s now."
        " Look at it again, and count what is in it."
    ),
    "bag_not_open_too_long": _(
        "Bag %(bag)s was not open for longer than its part allows, so it is not set back."
        " Repack its pieces where they are to be disinfected again."
    ),
    "bag_wrong_stage": _(
        "Bag %(bag)s is in stage %(stage)s, so this cannot be done with it now. Look"
        " the bag up, or use another."
    ),
    "bags_out_of_range": _(
        "%(read)s is not from 1 to %(most)s. Repack into that many bags at a time."
    ),
    "box_empty": _(
        "The box holds no pieces, so it has no mass to compare. Enter its parts."
    ),
    "cell_error": _(
        "The cell shows an error of the spreadsheet program. Correct its formula, or"
        " write the value."
    ),
    "cell_not_worked_out": _(
        "The cell has a formula whose value is not in the file, and no formula is worked"
        " out here. Open the file in a spreadsheet program and save it."
    ),
    "cell_too_long": _(
        "The cell holds %(length)s characters and may hold %(limit)s. Shorten it."
    ),
    "cells_too_many": _(
        "The row has more cells than the %(columns)s headings. Check the separators"
        " of the row."
    ),
    "character_unprintable": _(
        "The cell holds a character that cannot be printed (%(character)s). Type the"
        " cell again."
    ),
    "conditions_changed": _(
        "Lot %(lot)s is on record with “%(was)s”, and this is “%(now)s”. Start a new lot"
        " for what is made from now on."
    ),
    "container_unknown": _(
        "There is no container “%(read)s”. Choose tote, film pack, bundle, open tray"
        " or roll."
    ),
    "count_not_trusted": _(
        "A count of %(pieces)s cannot be trusted to the piece: with this scale and"
        " reference that holds up to %(most)s. Weigh fewer at a time, or use a larger"
        " reference, or tick that you keep the count and say why."
    ),
    "count_out_of_range": _(
        "%(read)s is not from 1 to %(most)s. Ask for that many numbers at a time."
    ),
    "count_unusual": _(
        "%(pieces)s in one bag is far from what a bag of this part usually holds:"
        " %(usual)s. Correct the count; if it is right, say why in “sure”."
    ),
    "counted_out_of_range": _(
        "%(read)s is not from 0 to %(most)s. Count again and enter that number."
    ),
    "counting_way_unknown": _(
        "“%(read)s” is no way of counting. Choose hand, machine, weight or stack."
    ),
    "counts_ambiguous": _(
        "These counts can be read as one number or as several. Put a plus sign"
        " between the counts of two bags."
    ),
    "coverage_out_of_range": _(
        "%(read)s standard deviations is not above 0 and at most 10. Enter 3 if in"
        " doubt."
    ),
    "date_not_real": _("There is no such day in the calendar. Correct the date."),
    "date_order_unclear": _(
        "Day and month could be swapped in this date. Write it as 2026-03-01, or say"
        " which comes first when you send the file."
    ),
    "date_two_digit_year": _("The year of this date has two digits. Write all four."),
    "date_unreadable": _("This is not a date. Write it as 2026-03-01."),
    "date_year_out_of_range": _(
        "The year of this date is not from %(first)s to %(last)s. Correct the date."
    ),
    "entry_missing": _("The %(what)s is missing. Write it: the record needs it."),
    "exposed_bag_emptied": _(
        "Bag %(bag)s is in a run that has not ended, so it cannot be emptied now. Close"
        " the run, then record this."
    ),
    "file_empty": _(
        "The file has no row. Send a file with a heading and at least one row."
    ),
    "file_encoding_broken": _(
        "The line holds bytes that are no text in UTF-8. Save the file as CSV in UTF-8."
    ),
    "file_has_problems": _(
        "Nothing of the file was taken in. Faults in it: %(count)s. Correct them and"
        " choose the file again."
    ),
    "file_has_questions": _(
        "Nothing of the file was taken in yet. To be confirmed: %(count)s, listed below."
        " Correct the file; if all of it is right, say why in “sure”."
    ),
    "file_not_text": _(
        "The file is no table that can be read. Save it as XLSX, or as CSV in UTF-8."
    ),
    "found_needs_a_checker": _(
        "Only somebody who checks lots confirms what was found in cleared bag %(bag)s."
        " Choose a checker, or scrap what was found."
    ),
    "found_own": _(
        "Another person confirms what was found in bag %(bag)s than whoever counted it."
        " Ask a checker, or scrap what was found."
    ),
    "found_undecided": _(
        "Bag %(bag)s is cleared and holds %(pieces)s more than on record: counting"
        " clears nothing. Scrap them, or let a checker confirm that they stay."
    ),
    "gross_below_tare": _(
        "The full container weighs %(gross)s g and the empty one %(tare)s g. Weigh"
        " both again."
    ),
    "heading_blank": _(
        "This cell is in a column without a heading. Give the column a heading, or"
        " empty it."
    ),
    "heading_missing": _(
        "This column is needed and the file has no heading for it. Add the column."
    ),
    "heading_twice": _("Two columns have this heading. Remove one of them."),
    "heading_unknown": _(
        "This heading is not known. Correct it, or remove the column."
    ),
    "intake_in_quarantine": _(
        "%(place)s is for what is held, and nothing is taken in there. Choose another"
        " place, then put the bags away in quarantine and say why."
    ),
    "lot_cancelled": _(
        "Lot %(lot)s is cancelled: it was taken in by mistake. What is there belongs to"
        " another lot; look its label up."
    ),
    "lot_closed": _(
        "Lot %(lot)s is closed, so nothing can be added to it. Start a new lot."
    ),
    "lot_differs": _(
        "Lot %(lot)s is on record with “%(known)s” here. Write the same, or give the"
        " other pieces a new lot number."
    ),
    "lot_empty": _("Lot %(lot)s has no bag yet. Add its bags before you close it."),
    "lot_exists": _(
        "Lot number %(lot)s is used already. Choose another number, or add bags to"
        " that lot."
    ),
    "lot_held": _(
        "Lot %(lot)s or a bag of it is on hold, so it stays. Cancel it when the hold is"
        " lifted."
    ),
    "lot_is_used": _(
        "Something of lot %(lot)s was used or changed since it came in (%(what)s), so it"
        " cannot be cancelled. Scrap its pieces, or count its bags again."
    ),
    "lot_number_ahead": _(
        "Lotward will assign lot number %(lot)s itself later. Leave the number empty, or"
        " choose another."
    ),
    "lot_rows_differ": _(
        "The rows of one lot differ here: line %(first_line)s says “%(first_value)s”."
        " Make them agree, or give the rows two lot numbers."
    ),
    "lot_was_checked": _(
        "Lot %(lot)s was checked, so it cannot be cancelled. Scrap its pieces, or count"
        " its bags again."
    ),
    "made_from_itself": _("A lot cannot be made from itself. Correct the number."),
    "made_from_missing": _(
        "An amount is given and no lot that this one was made from. Enter the lot, or"
        " remove the amount."
    ),
    "made_from_twice": _(
        "The same lot is named twice. Name it once, with the whole amount."
    ),
    "made_on_future": _(
        "Made on %(made_on)s is after today, %(today)s. Check the date."
    ),
    "mass_missing": _(
        "Part %(part)s has no mass, so the box cannot be weighed. Ask a manager to"
        " add its mass on the page Parts."
    ),
    "mass_out_of_range": _(
        "A mass of %(read)s g is not above 0 and at most a tonne. Check the figure"
        " and its unit."
    ),
    "material_moved_on": _(
        "Bag %(bag)s, from which lot %(lot)s was made, was disinfected or opened since,"
        " so nothing can go back into it. Scrap the pieces of the lot instead."
    ),
    "material_past_use_by": _(
        "Material %(lot)s was past its use-by date, %(use_by)s, when this lot was made"
        " on %(made_on)s. Use another lot of material, or correct the date."
    ),
    "material_twice": _(
        "The same lot is named twice as material. Name it once, with the whole amount."
    ),
    "material_unknown": _(
        "There is no lot of this number to be made from. Take the material in first, or"
        " correct the number."
    ),
    "method_unknown": _(
        "There is no method of this name. Correct it, or add its settings on the page"
        " Methods."
    ),
    "not_a_bag_number": _("“%(read)s” is not a bag number. Scan the label of a bag."),
    "not_enough_material": _(
        "Lot %(lot)s is short of %(short)s of the %(wanted)s that were asked for."
        " Enter less, or name another lot."
    ),
    "not_enough_pieces": _(
        "Bag %(bag)s holds fewer pieces than were asked for: %(left)s, not %(wanted)s."
        " Count the bag, or use the rest from another bag."
    ),
    "not_in_pieces": _(
        "Bag %(bag)s holds %(part)s, which is counted in %(unit)s, not in pieces."
        " Enter its amount under “Count again”."
    ),
    "nothing_to_set_back": _(
        "What is in bag %(bag)s was cleared without a run, so it is not disinfected"
        " again. Leave the tick out."
    ),
    "number_ambiguous": _(
        "This can be read as thousands or as a fraction. Write the number without a"
        " comma or point."
    ),
    "number_not_positive": _("This number is not above 0. Enter 1 or more."),
    "number_not_whole": _(
        "This number is not whole. Enter whole pieces, grams or millimetres."
    ),
    "number_too_large": _("This number is above %(limit)s. Check it."),
    "number_unreadable": _("This is not a number. Enter digits only."),
    "pack_in_open_box": _(
        "Pieces of bag %(bag)s are in box %(box)s, which is open. Close or cancel that"
        " box first, then open the pack."
    ),
    "part_unknown": _(
        "There is no part of this code. Correct it, or ask a manager to add it on the"
        " page Parts."
    ),
    "piece_mass_differs": _(
        "One piece of the reference weighs %(read)s g. %(part)s weighs %(known)s g on"
        " record; %(low)s to %(high)s g would be expected. Look whether these"
        " are the right pieces and count the reference again; if all is right, tick"
        " that."
    ),
    "pieces_differ": _(
        "The bags of lot %(lot)s hold %(pieces)s now, not %(shown)s as was shown. Load"
        " the page again and choose the bags anew."
    ),
    "pieces_negative": _("%(value)s pieces is below 0. Enter 0 or more."),
    "pieces_not_positive": _("%(value)s pieces is not above 0. Enter 1 or more."),
    "pieces_out_of_range": _(
        "%(read)s is not from 1 to %(most)s. Count again and enter that number."
    ),
    "place_closed": _(
        "%(place)s is closed, so nothing is put there. Choose another place, or ask a"
        " manager to open it again."
    ),
    "place_unknown": _(
        "There is no place of this code. Correct it, or ask a manager to add it on"
        " the page Places."
    ),
    "quantity_missing": _(
        "The row does not say how many pieces there are. Enter bags and pieces, or"
        " the counts."
    ),
    "quantity_twice": _(
        "The pieces are written as counts and as bags and pieces. Keep one of the two."
    ),
    "quotes_broken": _(
        "The quotation marks of this line do not close. Save the file as CSV again."
    ),
    "repack_into_itself": _(
        "Bag %(bag)s is the bag that the pieces come from. Scan the bag that they go"
        " into."
    ),
    "repack_into_one": _(
        "Bag %(bag)s is there already, so the pieces go into that one bag, as they are."
        " Enter 1 bag and leave the tick out, or scan no bag."
    ),
    "repack_mixes_held": _(
        "A hold reaches one of bags %(bag)s and %(other)s and not the other, and held"
        " pieces stay apart. Repack into a new bag."
    ),
    "repack_other_lot": _(
        "Bag %(other)s is of another lot than bag %(bag)s, and lots stay apart. Repack"
        " into a new bag, or one of the same lot."
    ),
    "repack_other_stage": _(
        "Bag %(bag)s is %(stage)s and bag %(other)s %(other_stage)s, or another run"
        " cleared it, and such pieces stay apart. Repack into a new bag."
    ),
    "revision_not_of_part": _(
        "This revision belongs to another part. Choose one of the part's own revisions."
    ),
    "revision_unknown": _(
        "Part %(part)s has no such revision. Correct it, or ask a manager to add it"
        " on the page Parts."
    ),
    "row_repeated": _(
        "This row repeats line %(first_line)s exactly, so its bags would come in twice."
        " Remove one of the two; if both are right, say why in “sure”."
    ),
    "sample_has_a_result": _(
        "The result of this sample of bag %(bag)s is on record and cannot be changed."
        " Load the page again."
    ),
    "scale_out_of_range": _(
        "A scale uncertainty of %(read)s g is not from 0 to a tonne. Enter what its"
        " calibration says."
    ),
    "scrap_reason_unknown": _(
        "“%(read)s” is not on the list of reasons for scrapping. Choose one of the list,"
        " or ask a manager to add it on the page Set-up."
    ),
    "source_missing": _(
        "No source was entered. Write where the pieces come from: a recall needs it."
    ),
    "spread_out_of_range": _(
        "A spread of %(read)s g is not from 0 to a tonne. Enter the standard"
        " deviation from piece to piece."
    ),
    "stacks_hold_more": _(
        "%(stacks)s stacks of %(each)s hold more than the total of %(counted)s. Check"
        " the figures."
    ),
    "stacks_missing": _(
        "The number of stacks, or of pieces in each, is missing. Enter both, 1 or more."
    ),
    "too_many_bags": _(
        "This makes more than %(limit)s bags in one file. Split the file."
    ),
    "too_many_rows": _("The file has more rows than one file may have. Split it."),
    "use_by_before_made_on": _(
        "The use-by date is before the day on which the lot was made. Check both dates."
    ),
    "value_missing": _("This cell is empty and must not be. Fill it in."),
    "waste_is_all": _(
        "%(read)s was cut off, and what was used of this lot of material is %(most)s."
        " Enter what was used with its waste, and how much less of that was waste."
    ),
    "weigh_to_count": _(
        "A count by weight needs what the scale showed. Use the page for counting by"
        " weight."
    ),
    "weighed_out_of_range": _(
        "The mass would make %(read)s pieces, more than %(most)s. Check the units of"
        " the reference sample."
    ),
    "workbook_broken": _(
        "The workbook cannot be read. Open it in a spreadsheet program, save it as XLSX"
        " and choose that file."
    ),
    "workbook_locked": _(
        "The workbook is locked by a password. Save it without one and choose that file."
    ),
    "workbook_none": _(
        "The file is packed and is no workbook. Save the table as XLSX or CSV."
    ),
    "workbook_too_large": _(
        "What is in the workbook is too large once it is unpacked. Save its first sheet"
        " alone, or split it."
    ),
    "yes_no_unclear": _("This is neither yes nor no. Write yes or no."),
    "yield_impossible": _(
        "%(pieces)s pieces would be taken in, but %(amount)s of %(material)s give at"
        " most %(possible)s. Correct the counts or what was used; if both are right,"
        " say why in “sure”."
    ),
    "yield_of_itself": _(
        "%(part)s cannot be made from itself. Choose the material that it is made from."
    ),
    "yield_out_of_range": _(
        "%(read)s is not from 1 to %(most)s. Enter how many pieces an amount of the"
        " material gives."
    ),
}

register(SENTENCES)
