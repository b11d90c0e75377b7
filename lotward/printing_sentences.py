"""Sentences for printing labels, for stock and for printers as records.

Those for what a printer answers stand in ``lotward/printer_sentences.py``. Keep the
codes in alphabetical order.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext_lazy as _

if TYPE_CHECKING:
    from django.utils.functional import Promise

SENTENCES: dict[str, str | Promise] = {
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
    "label_asked_twice": _("The same label was asked for twice. Ask for each once."),
    "margin_too_wide": _(
        "A margin of %(read_mm)s mm on each side leaves nothing of the label. Measure"
        " what the printer cannot reach."
    ),
    "nothing_to_print": _("Nothing was chosen to print. Choose at least one."),
    "record_has_changed": _(
        "What the label of %(label)s says has changed in the record since it was"
        " printed, so the same one cannot be made again. Print it anew."
    ),
    "reprint_needs_a_reason": _(
        "The label of %(label)s was printed before. Write why it is printed again."
    ),
    "size_out_of_range": _(
        "A side of %(read_mm)s mm was read. Labels and pages have 1 mm to 500 mm."
    ),
    "start_out_of_range": _(
        "Position %(read)s was read. This stock has positions 1 to %(most)s."
    ),
    "too_many_labels": _(
        "%(labels)s labels were asked for; at most %(most)s are printed at once. Print"
        " them in parts."
    ),
}
