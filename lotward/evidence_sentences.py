"""Sentences for refused counts, samples, evidence records and protocols.

Keep the codes in alphabetical order; see ``lotward/messages.py``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext_lazy as _

if TYPE_CHECKING:
    from django.utils.functional import Promise

SENTENCES: dict[str, str | Promise] = {
    "bag_moved_since": _(
        "Bag %(bag)s has changed since this page was loaded; by the record it holds"
        " %(pieces)s now. Load the page again and count what is in it."
    ),
    "count_not_trusted": _(
        "A count of %(pieces)s cannot be trusted to the piece: with this scale and"
        " reference that holds up to %(most)s. Weigh fewer at a time or a larger"
        " reference, or say that you take it and why."
    ),
    "counted_out_of_range": _(
        "%(read)s is not from 0 to %(most)s. Count again and enter that number."
    ),
    "counting_way_unknown": _(
        "“%(read)s” is no way of counting. Choose hand, machine, weight or stack."
    ),
    "dose_out_of_range": _(
        "A dose of %(read)s is out of range; doses go up to %(most)s mJ/cm². Check the"
        " figure and its unit."
    ),
    "draft_has_holds": _(
        "A hold was put on %(protocol)s, and the record keeps both. Leave the draft"
        " unsigned instead."
    ),
    "entry_missing": _("The %(what)s is missing. Write it: the record needs it."),
    "evidence_code_malformed": _(
        "“%(read)s” cannot be the code of a record. Use at most 20 letters, digits,"
        " hyphens, strokes and full stops."
    ),
    "evidence_exists": _(
        "There is a record %(evidence)s already, and records never change. Choose"
        " another code."
    ),
    "evidence_in_future": _(
        "The report is dated %(on)s, and today is %(today)s. Check the date."
    ),
    "evidence_unknown": _(
        "There is no evidence record “%(read)s”. Record the report first."
    ),
    "exposed_bag_emptied": _(
        "Bag %(bag)s waits for the verdict on its run, so it cannot be emptied now."
        " Close the run, then record this."
    ),
    "hold_out_of_range": _(
        "%(read)s s is not from 1 to %(most)s. Check the time and its unit."
    ),
    "in_force_before_today": _(
        "The version would be in force from %(since)s, and today is %(today)s: it"
        " cannot hold before it is signed. Change the date in the draft."
    ),
    "in_force_dates": _(
        "The version would be in force from %(since)s until %(until)s, before it"
        " began. Check both dates."
    ),
    "load_twice": _(
        "One revision stands twice with the same container. Keep one line of the two."
    ),
    "minimum_out_of_range": _(
        "The minimum is out of range: for heat it is above 0 and up to 300 °C, for a"
        " liquid up to 1 000 000 ppm. Check the figure."
    ),
    "not_in_pieces": _(
        "Bag %(bag)s holds %(part)s, which goes by the %(unit)s and not by the piece."
        " Enter its amount under “count again”."
    ),
    "password_locked": _(
        "The password of %(name)s was wrong too often from this place. Nothing was"
        " done. Wait a quarter of an hour, or ask a manager."
    ),
    "password_wrong": _(
        "This is not the password of %(name)s. Nothing was done. Enter the password"
        " with which you sign in."
    ),
    "piece_mass_differs": _(
        "One piece of the reference weighs %(read)s g. %(part)s weighs %(known)s g by"
        " the set-up; %(low)s to %(high)s g would be expected. Look whether these are"
        " the right pieces and count the reference again; if all is right, tick that."
    ),
    "protocol_code_malformed": _(
        "“%(read)s” cannot be the code of a protocol. Use at most 12 of A to Z, 0 to 9"
        " and hyphen."
    ),
    "protocol_covers_nothing": _(
        "%(protocol)s covers no part yet. Enter part, revision and container in the"
        " draft."
    ),
    "protocol_exists": _(
        "There is a protocol %(protocol)s already. Make a new version of it, or choose"
        " another code."
    ),
    "protocol_has_a_draft": _(
        "%(protocol)s is still a draft. Sign it, edit it or discard it first."
    ),
    "protocol_is_draft": _(
        "%(protocol)s is a draft and never was in force. Discard it instead."
    ),
    "protocol_is_signed": _(
        "%(protocol)s is signed and never changes. Make a new version."
    ),
    "protocol_method_unknown": _(
        "“%(read)s” is no method of disinfection. Choose one from the list."
    ),
    "protocol_other_terms": _(
        "These figures are of another method than %(method)s. A dose, spectrum and"
        " turning are for UV-C; a time and a minimum are for heat and liquids."
    ),
    "protocol_requires_nothing": _(
        "The protocol requires nothing yet. Enter the dose of at least one side; for"
        " heat or a liquid, the time and the minimum."
    ),
    "protocol_retired": _(
        "%(protocol)s is in force until %(until)s only. There is nothing to do."
    ),
    "protocol_without_evidence": _(
        "%(protocol)s names no evidence. Choose at least one record in the draft."
    ),
    "sample_has_a_result": _(
        "The result of this sample of bag %(bag)s is on record, and it stays. Load the"
        " page again."
    ),
    "spectrum_out_of_range": _(
        "The spectrum needs both ends, from %(least)s to %(most)s nm, the lower first."
        " Check both figures."
    ),
    "stacks_hold_more": _(
        "%(stacks)s stacks of %(each)s hold more than the %(counted)s counted in all."
        " Check the figures."
    ),
    "stacks_missing": _(
        "The number of stacks, or of pieces in each, is missing. Enter both, 1 or more."
    ),
    "weigh_to_count": _(
        "A count by weight needs what the scale showed. Use the page for counting by"
        " weight."
    ),
}
