"""Sentences for printing labels, for stock and for printers as records.

Those for what a printer answers stand in ``lotward/printer_sentences.py``. Those here
that begin with ``printer_`` are no refusals but findings of ``kitting.printer_report``.
Keep the codes in alphabetical order.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext_lazy as _

if TYPE_CHECKING:
    from django.utils.functional import Promise

SENTENCES: dict[str, str | Promise] = {
    "bag_has_nothing_to_label": _(
        "Bag %(bag)s is used up: its number stays with what was in it, and may stand on"
        " no other. Take in what is to be labelled as a bag of its own."
    ),
    "bag_not_cleared_by_a_run": _(
        "Bag %(bag)s is not cleared by a run, so no label may say that it is. Take it"
        " through a run first."
    ),
    "blank_in_use": _(
        "Bag number %(read)s is on a bag already, so it has no blank label. Print the"
        " label of the bag."
    ),
    "carrier_is_empty": _(
        "No bag is on carrier %(carrier)s, so nothing on it is cleared. Scan the bags"
        " on first."
    ),
    "carrier_of_several_runs": _(
        "The bags on carrier %(carrier)s were cleared by different runs. Print a label"
        " for each bag."
    ),
    "code_malformed": _(
        "“%(read)s” is no code. Use 1 to %(most)s capitals, digits and hyphens."
    ),
    "code_taken": _("Code %(read)s is in use already. Choose another."),
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
        " missing is printed again as a reprint, so that no label is out twice."
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
    "length_too_fine": _(
        "“%(read)s” is finer than a thousandth of a millimetre. Write at most three"
        " decimals."
    ),
    "margin_too_wide": _(
        "An edge of %(read_mm)s mm on each side leaves nothing of the page. Measure what"
        " the printer does not reach."
    ),
    "nothing_to_print": _("Nothing was chosen to print. Choose at least one."),
    "page_too_fine": _(
        "A page of %(width_mm)s × %(height_mm)s mm with %(read)s dots per mm has"
        " %(millions)s million dots; labels are read back dot by dot, up to %(most)s"
        " million. Enter coarser dots: 600 dots per inch are enough for any label here."
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
        "It does not tell which documents it takes. Print a test page: if nothing"
        " usable comes out, put a print queue with a PDF filter in front of it."
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
        "It does not tell which sizes it takes. Print a test page of %(asked)s."
    ),
    "printer_takes_no_jobs": _(
        "It takes no jobs at the moment. Look at its display or its own set-up."
    ),
    "printer_takes_pdf": _("It takes PDF."),
    "printer_told_idle": _("It is ready."),
    "printer_told_processing": _("It is printing."),
    "printer_told_stopped": _("It is stopped."),
    "printer_told_unknown": _("It does not tell how it is."),
    "record_has_changed": _(
        "What the label of %(label)s says has changed in the record since it was"
        " printed, so the same one cannot be made again. Print it anew."
    ),
    "reprint_needs_a_reason": _(
        "The label of %(label)s was printed before. Write why it is printed again."
    ),
    "set_up_name_missing": _("The name is empty. Enter what people call it."),
    "sheet_too_many": _(
        "A sheet of %(columns)s × %(rows)s labels was read; at most %(most)s stand on"
        " one. Check how many there are."
    ),
    "size_out_of_range": _(
        "A side of %(read_mm)s mm was read. Labels and pages have 1 mm to 500 mm."
    ),
    "start_out_of_range": _(
        "Position %(read)s was read. This stock has positions 1 to %(most)s."
    ),
    "stock_in_printer": _(
        "This stock is in printer %(printer)s. Enter what that printer has instead, or"
        " take it out of use, first."
    ),
    "stock_out_of_use": _(
        "Stock %(stock)s is out of use. Choose one that is in use, or take the printer"
        " out of use as well."
    ),
    "too_many_labels": _(
        "%(labels)s labels were asked for; at most %(most)s are printed at once. Print"
        " them in parts."
    ),
}
