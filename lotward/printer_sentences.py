"""Sentences for what a printer answers, or does not.

The codes come from ``kitting.ipp``. Those of a printer's or a job's state are no
refusals: they say what is wrong, what to do, and whether the job goes on by itself.
Keep the codes in alphabetical order.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext_lazy as _

if TYPE_CHECKING:
    from django.utils.functional import Promise

SENTENCES: dict[str, str | Promise] = {
    "print_worker_broke": _(
        "The print worker met a fault of its own with this job, which its log describes."
        " Look whether its labels came out, and tell whoever looks after the server."
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
        "The printer's answer did not come: %(why)s. It is asked what it has before"
        " anything is sent again."
    ),
    "printer_answer_wrong": _(
        "The printer's answer cannot be used: %(why)s. Check its address in the set-up;"
        " the path is often /ipp/print."
    ),
    "printer_busy": _(
        "The printer takes nothing at the moment (%(status)s; it says: %(said)s). It"
        " will be tried again; look at the printer if this lasts."
    ),
    "printer_copies": _(
        "%(copies)s copies were asked for. Ask for 1 to %(most)s of each label."
    ),
    "printer_jam": _(
        "A label has jammed in the printer. Open it, take the label out and close it;"
        " the job goes on by itself. Destroy the label that jammed."
    ),
    "printer_job_aborted": _(
        "The printer gave the job up: %(reason)s. Look whether a label came out, then"
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
        "The printer was asked to give this job up and has not. Look at it, clear the"
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
        " what became of it. Look at the printer that had the old address; print again"
        " what is missing."
    ),
    "printer_no_pdf": _(
        "The printer takes no PDF, only %(formats)s. Set up a print queue with a PDF"
        " filter in front of it and enter the queue's address, or open the PDF and"
        " print it from the browser."
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
        " That is not followed; enter the new address in the set-up if it is right."
    ),
    "printer_refused": _(
        "The printer refused: %(status)s (it says: %(said)s; about: %(names)s). Nothing"
        " was printed. Check the stock and the printer's own settings."
    ),
    "printer_ribbon_low": _(
        "The printer's ribbon soon ends. Keep a new one ready; the job goes on."
    ),
    "printer_ribbon_out": _(
        "The printer's ribbon is at its end. Put in a new one and close it; the job"
        " goes on by itself."
    ),
    "printer_substitutes": _(
        "The printer took job %(job)s but does not keep to what was asked of it"
        " (%(names)s), so the job was cancelled. Destroy any label that came out, and"
        " set the stock's size at the printer."
    ),
    "printer_text_too_long": _(
        "The %(what)s has %(octets)s bytes; printers take at most %(most)s. Shorten it."
    ),
    "printer_tls": _(
        "The printer did not prove who it is: %(why)s. Have its certificate checked, or"
        " name the file of the certificates to trust."
    ),
    "printer_trouble": _(
        "The printer reports %(reason)s. Look at its display, put it right, and see"
        " whether the job goes on."
    ),
    "printer_unreachable": _(
        "The printer at %(address)s cannot be reached: %(why)s. Nothing was sent. Check"
        " that it is on and connected; it will be tried again."
    ),
    "printer_unsure": _(
        "It cannot be told whether the printer got this job. Look whether its labels"
        " came out; print again what is missing."
    ),
}
