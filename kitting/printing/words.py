"""Sentences for labels, label stock, printers and print jobs.

Those of a printer's or a job's state are no refusals: they say what is wrong, what to
do, and whether the job goes on by itself.

Keep the codes in alphabetical order.
"""

from __future__ import annotations

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from kitting.web.messages import register

SENTENCES: dict[str, str | Promise] = {
    "address_part_missing": _(
        "The post of %(country)s wants a %(part)s in an address, and there is none. It"
        " is printed as it is; add it if there is one."
    ),
    "bag_has_nothing_to_label": _(
        "Bag %(bag)s is used up: its number stays with what was in it, and no other"
        " bag may have it. Take in what is to be labelled as a new bag."
    ),
    "bag_not_cleared_by_a_run": _(
        "Bag %(bag)s is not cleared by a run, so no label may say that it is."
        " Disinfect it in a run first."
    ),
    "bars_fit_turned": _(
        "The bars need %(needed_mm)s mm at their narrowest, %(dots)s dots, and have"
        " %(room_mm)s mm. What would fit: bars turned by 90°, along the %(other_mm)s mm"
        " of the label; a label %(least_mm)s mm wide; or a Data Matrix of"
        " %(matrix_mm)s mm. Or shorten the content."
    ),
    "bars_too_long": _(
        "The bars need %(needed_mm)s mm at their narrowest, %(dots)s dots, and GS1 allows"
        " %(most_mm)s mm on any label. What would fit: a Data Matrix of %(matrix_mm)s"
        " mm, or the content in two symbols."
    ),
    "bars_too_wide": _(
        "The bars need %(needed_mm)s mm at their narrowest, %(dots)s dots, and have"
        " %(room_mm)s mm. What would fit: a label %(least_mm)s mm wide, or a Data Matrix"
        " of %(matrix_mm)s mm. Or shorten the content."
    ),
    "bars_uneven": _(
        "The bars of the label for %(number)s are uneven, so it was not printed."
        " Check the printer's dots on the page of its stock."
    ),
    "blank_in_use": _(
        "Bag number %(read)s is on a bag already, so it has no blank label. Print the"
        " label of the bag."
    ),
    "box_wrong_stage": _(
        "Box %(box)s is %(stage)s, so it cannot be %(wanted)s. Look the box up."
    ),
    "carrier_is_empty": _(
        "No bag is on carrier %(carrier)s, so nothing on it is cleared. Scan the bags"
        " on first."
    ),
    "carrier_of_several_runs": _(
        "The bags on carrier %(carrier)s were cleared by different runs. Print a label"
        " for each bag."
    ),
    "cells_uneven": _(
        "The square code of the label for %(number)s is uneven, so it was not"
        " printed. Check the printer's dots on the page of its stock."
    ),
    "code_malformed": _(
        "“%(read)s” is no code. Use 1 to %(most)s capitals, digits and hyphens."
    ),
    "code_taken": _("Code %(read)s is in use already. Choose another."),
    "country_unknown": _(
        "“%(read)s” is no country. Write it by its two letters in ISO 3166-1, in"
        " capitals, such as PT."
    ),
    "first_label_is_another": _(
        "What was scanned is not the label of %(label)s. Scan the label that this one"
        " replaces, or declare it destroyed."
    ),
    "first_label_stays": _(
        "%(label)s has a label already, and two must never be in use. Scan the one that"
        " is replaced, or declare it destroyed."
    ),
    "gap_out_of_range": _(
        "A length of %(read_mm)s mm was read. Edges and gaps have 0 to 500 mm."
    ),
    "head_out_of_range": _(
        "A printer’s head of %(read)s dots to the mm was read. Label printers have"
        " 4 to %(most)s; 8 is what is sold as 203 dpi."
    ),
    "job_is_over": _("Print job %(job)s is %(state)s already. Nothing was changed."),
    "job_may_have_printed": _(
        "Labels of print job %(job)s may have come out. Look at the printer; what is"
        " missing is printed again as a reprint, so that no label exists twice."
    ),
    "job_not_failed": _(
        "Print job %(job)s is %(state)s, so it is not sent again. Only a job that failed"
        " is."
    ),
    "job_was_replaced": _(
        "The label of %(label)s was printed again since, so this print job is not sent"
        " any more: there would be two."
    ),
    "label_asked_twice": _("The same label was asked for twice. Ask for each once."),
    "label_full": _(
        "The label needs %(needed_mm)s mm for its texts and has %(room_mm)s mm."
        " Shorten them, or leave some out."
    ),
    "label_language_unknown": _(
        "“%(read)s” is no language that has words of its own. Write two letters as in"
        " ISO 639-1, such as el, or with a country, such as el-CY."
    ),
    "label_of_nothing": _("Nothing has such a label yet."),
    "label_unreadable": _(
        "The label for %(number)s could not be read back, so it was not printed."
        " Check dots and label size on the page of the printer's stock."
    ),
    "label_word_blanks": _(
        "What is filled in must be the same as in the English words: %(wanted)s."
        " Correct it."
    ),
    "label_word_missing": _(
        "There is no word for “%(word)s” in the language %(language)s. Enter it on the"
        " page Words on paper."
    ),
    "label_word_unreviewed": _(
        "Nobody is named who looked at “%(word)s” in the language %(language)s. Say who"
        " did on the page Words on paper; a caution is not printed before."
    ),
    "label_would_not_fit": _(
        "%(why)s The %(label)s of %(of)s could not be printed at %(dpi)s dots to the"
        " inch, so nothing was changed."
    ),
    "length_too_fine": _(
        "“%(read)s” is finer than a thousandth of a millimetre. Write at most three"
        " decimals."
    ),
    "margin_too_wide": _(
        "An edge of %(read_mm)s mm on each side leaves no room on the page. Measure"
        " what the printer does not reach."
    ),
    "marks_too_far": _(
        "“%(text)s” has marks so far above or below its letters that they would be"
        " on other lines. Write it with fewer marks."
    ),
    "matrix_too_wide": _(
        "The square code needs %(needed_mm)s mm at its smallest, %(dots)s dots a cell,"
        " and has %(room_mm)s mm. What would fit: a label %(least_width_mm)s mm wide and"
        " %(least_height_mm)s mm high, or a shorter content."
    ),
    "missing_glyph": _(
        "The label's typeface has no “%(character)s”, which is in “%(text)s”. Write"
        " it in other letters."
    ),
    "no_labels": _("No label was asked for. Choose at least one."),
    "not_encodable": _(
        "“%(text)s” holds “%(character)s”, which the bar code cannot carry. Use"
        " letters, digits and common signs."
    ),
    "nothing_to_encode": _(
        "There is nothing to put into the bar code. Enter a content."
    ),
    "nothing_to_print": _("Nothing was chosen to print. Choose at least one."),
    "number_not_given_out": _(
        "Bag number %(read)s was never given out here. Scan a blank label that was"
        " printed in this workshop."
    ),
    "page_is_old": _(
        "The record has changed since this page was loaded. Load the page again."
    ),
    "page_too_fine": _(
        "A page of %(width_mm)s × %(height_mm)s mm with %(read)s dots per mm has"
        " %(millions)s million dots; labels are read back dot by dot, up to %(most)s"
        " million. Enter coarser dots: 600 dots per inch are enough for any label here."
    ),
    "postcode_doubtful": _(
        "%(read)s does not look like a postcode of %(country)s, such as %(such_as)s."
        " It is printed as it is: Lotward's list may be older. Check it."
    ),
    "print_worker_broke": _(
        "The print worker met a fault of its own with this job, which its log"
        " describes. Look whether its labels came out, and tell the person who runs"
        " the server."
    ),
    "printer_address_not_allowed": _(
        "The printer's address leads to %(address)s, which is no place for a printer."
        " Give the printer a fixed address in the workshop's network and enter that."
    ),
    "printer_address_wrong": _(
        "“%(read)s” is no printer's address: %(why)s. Write it as"
        " ipp://HOST/PATH or ipps://HOST/PATH, such as ipp://192.0.2.7/ipp/print."
    ),
    "printer_answer_lost": _(
        "The printer did not answer: %(why)s. It is asked what it has before anything"
        " is sent again."
    ),
    "printer_answer_wrong": _(
        "The printer's answer cannot be used: %(why)s. Check its address on the"
        " printer's page; the path is often /ipp/print."
    ),
    "printer_busy": _(
        "The printer accepts nothing at the moment (%(status)s; it says: %(said)s)."
        " It will be tried again; look at the printer if this lasts."
    ),
    "printer_dots_agree": _(
        "Its dots are as entered: %(theirs)s to the inch, %(ours)s to the mm."
    ),
    "printer_dots_differ": _(
        "It prints %(theirs)s dots to the inch, and %(ours_dpi)s (%(ours)s to the mm)"
        " are entered. Bars would not be whole dots. Print a test page, hold a ruler to"
        " it, and enter what is right."
    ),
    "printer_dots_untold": _(
        "It does not tell how many dots it prints; %(ours)s to the mm are entered. Look"
        " at its data sheet and at a test page."
    ),
    "printer_formats_untold": _(
        "It does not tell which documents it accepts. Print a test page: if the print"
        " is not usable, put a print queue with a PDF filter in front of it."
    ),
    "printer_jam": _(
        "A label has jammed in the printer. Open it, take the label out and close it;"
        " the job goes on by itself. Destroy the label that jammed."
    ),
    "printer_job_aborted": _(
        "The printer stopped the job: %(reason)s. Look whether a label came out, then"
        " print again what is missing."
    ),
    "printer_job_canceled": _(
        "The job was cancelled at the printer or by its owner: %(reason)s. Look whether"
        " a label came out, then print again what is missing."
    ),
    "printer_job_held": _(
        "The job is held at the printer. Release it there, then look whether the job"
        " goes on."
    ),
    "printer_keeps_job": _(
        "The printer was asked to stop this job and did not. Look at it, clear the"
        " job there, and print again what is missing."
    ),
    "printer_labels_low": _(
        "The printer soon has no labels left. Keep a roll ready; the job goes on."
    ),
    "printer_media_missing": _(
        "The printer has no labels of %(asked)s; it has %(sizes)s. Load the stock and"
        " set its size at the printer, or choose another printer."
    ),
    "printer_moved": _(
        "The printer's address was changed after this was sent, so it cannot be asked"
        " about this job. Look at the printer that had the old address; print again"
        " what is missing."
    ),
    "printer_no_pdf": _(
        "The printer accepts no PDF, only %(formats)s. Set up a print queue with a"
        " PDF filter in front of it and enter the queue's address, or open the PDF"
        " and print it from the browser."
    ),
    "printer_no_such_job": _(
        "The printer does not know job %(job)s, or no longer. Look whether its labels"
        " came out before printing them again."
    ),
    "printer_offline": _(
        "The printer is not connected or is switched off. Switch it on and check its"
        " cable or network; then look whether the job goes on."
    ),
    "printer_open": _("The printer is open. Close it; the job goes on by itself."),
    "printer_out_of_labels": _(
        "The printer has no labels of this stock. Load a roll and close it; the job"
        " goes on by itself."
    ),
    "printer_output_full": _(
        "Labels wait to be taken off the printer. Take them; the job goes on by itself."
    ),
    "printer_paused": _(
        "The printer is paused. Press its button to go on; the job then goes on by"
        " itself."
    ),
    "printer_redirects": _(
        "The printer's address answers that it has moved to %(to)s (HTTP %(status)s)."
        " That is not followed; enter the new address on the printer's page if it is"
        " right."
    ),
    "printer_refused": _(
        "The printer refused: %(status)s (it says: %(said)s; about: %(names)s). Nothing"
        " was printed. Check the stock and the printer's own settings."
    ),
    "printer_ribbon_low": _(
        "The printer's ribbon soon ends. Keep a new one ready; the job goes on."
    ),
    "printer_ribbon_out": _(
        "The printer's ribbon is empty. Put in a new one and close it; the job goes"
        " on by itself."
    ),
    "printer_scales_nothing": _(
        "It can print a page just as large as it is sent, and is asked to."
    ),
    "printer_scaling_untold": _(
        "It does not tell whether it can print without scaling. Hold a ruler to a test"
        " page: its marks must be a millimetre apart."
    ),
    "printer_size_known": _("It knows labels of %(asked)s."),
    "printer_size_not_loaded": _(
        "It knows labels of %(asked)s, and has %(sizes)s mm loaded. Load the stock, or"
        " set its size at the printer."
    ),
    "printer_sizes_untold": _(
        "It does not tell which sizes it accepts. Print a test page of %(asked)s."
    ),
    "printer_substitutes": _(
        "The printer accepted job %(job)s but does not do what was asked (%(names)s),"
        " so the job was cancelled. Destroy any label that came out, and set the"
        " stock's size at the printer."
    ),
    "printer_takes_no_jobs": _(
        "It accepts no jobs at the moment. Look at its display or its own set-up."
    ),
    "printer_takes_pdf": _("It accepts PDF."),
    "printer_text_too_long": _(
        "The %(what)s has %(octets)s bytes; printers accept at most %(most)s. Shorten"
        " it."
    ),
    "printer_tls": _(
        "The printer did not prove who it is: %(why)s. Have its certificate checked, or"
        " name the file of the certificates to trust."
    ),
    "printer_told_idle": _("It is ready."),
    "printer_told_processing": _("It is printing."),
    "printer_told_stopped": _("It is stopped."),
    "printer_told_unknown": _("It does not tell how it is."),
    "printer_trouble": _(
        "The printer reports %(reason)s. Look at its display, correct it, and look"
        " whether the job goes on."
    ),
    "printer_unreachable": _(
        "The printer at %(address)s cannot be reached: %(why)s. Nothing was sent. Check"
        " that it is on and connected; it will be tried again."
    ),
    "printer_unsure": _(
        "Nobody knows whether the printer got this job. Look whether its labels came"
        " out; print again what is missing."
    ),
    "quiet_zone_not_white": _(
        "Something is nearer than %(dots)s dots to the bars of the label for"
        " %(number)s, so it was not printed. Check the label's size on the page of"
        " the stock."
    ),
    "record_has_changed": _(
        "What the label of %(label)s says has changed in the record since it was"
        " printed, so the same one cannot be made again. Print it again from its"
        " page."
    ),
    "region_left_out": _(
        "The post of %(country)s wants no region in an address, so %(read)s is not"
        " printed."
    ),
    "reprint_needs_a_reason": _(
        "The label of %(label)s was printed before. Write why it is printed again."
    ),
    "set_up_name_missing": _("The name is empty. Enter what people call it."),
    "sheet_has_no_labels": _(
        "A sheet of %(columns)s × %(rows)s labels has none. Enter at least one column"
        " and one row."
    ),
    "sheet_too_many": _(
        "A sheet of %(columns)s × %(rows)s labels was read; at most %(most)s fit on"
        " one. Check how many there are."
    ),
    "sheet_too_small": _(
        "The labels need %(needed_width_mm)s × %(needed_height_mm)s mm with their gaps"
        " and the page has %(width_mm)s × %(height_mm)s mm. Check the sizes, the gaps"
        " and how many there are."
    ),
    "size_out_of_range": _(
        "A side of %(read_mm)s mm was read. Labels and pages have 1 mm to 500 mm."
    ),
    "start_beyond_sheet": _(
        "Printing cannot start at label %(start)s of the %(labels)s on the paper. Enter"
        " a place from 1 to %(labels)s."
    ),
    "start_out_of_range": _(
        "Position %(read)s was read. This stock has positions 1 to %(most)s."
    ),
    "stock_edge_too_wide": _(
        "The printer leaves %(margin_mm)s mm free on each side of the label; at most"
        " %(most_mm)s mm would leave it whole. Choose larger labels, or check the margin"
        " on a test page."
    ),
    "stock_in_printer": _(
        "This stock is in printer %(printer)s. Enter what that printer has instead,"
        " or set it out of use, first."
    ),
    "stock_is_turned": _(
        "The labels in the printer are %(width_mm)s × %(height_mm)s mm and this label"
        " is %(needed_width_mm)s × %(needed_height_mm)s mm. It fits turned by 90°:"
        " exchange width and height: enter them as they pass the print head."
    ),
    "stock_out_of_use": _(
        "Stock %(stock)s is out of use. Choose one that is in use, or set the printer"
        " out of use as well."
    ),
    "stock_too_small": _(
        "The labels in the printer are %(width_mm)s × %(height_mm)s mm and this label is"
        " %(needed_width_mm)s × %(needed_height_mm)s mm. Choose labels of that size or"
        " larger."
    ),
    "test_has_no_room": _(
        "This label has room, but not with the word TEST across it. Print a real one."
    ),
    "text_too_long": _(
        "“%(text)s” does not fit %(room_mm)s mm in %(lines)s lines on the label."
        " Shorten it."
    ),
    "too_many_characters": _(
        "The bars would carry %(characters)s characters and GS1 allows %(most)s:"
        " %(text)s. What would fit: a Data Matrix of %(matrix_mm)s mm, or the content in"
        " two symbols."
    ),
    "too_many_labels": _(
        "%(labels)s labels were asked for; at most %(most)s are printed at once. Print"
        " them in parts."
    ),
    "use_by_too_far": _(
        "A label cannot carry the use-by date %(use_by)s: it gives the year two digits."
        " Enter a date up to the end of %(year)s."
    ),
}

register(SENTENCES)
