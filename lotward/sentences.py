"""Sentences for numbers, codes, figures and labels that were refused.

Those for acts stand in ``lotward/messages.py``. Keep the codes in alphabetical order.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext_lazy as _

if TYPE_CHECKING:
    from django.utils.functional import Promise

SENTENCES: dict[str, str | Promise] = {
    "aql_unknown": _("AQL %(read)s is not in the tables. Choose one of %(known)s."),
    "bars_uneven": _(
        "The bars of the label for %(number)s came out uneven, so it was not printed."
        " Check the printer's resolution in the set-up."
    ),
    "batch_date": _(
        "The pack date %(date)s cannot be written in a kit batch. Enter a day from"
        " 2000-01-01 to 2099-12-31."
    ),
    "batch_malformed": _(
        "“%(text)s” is not a kit batch. Read it again from the label: site, product"
        " code, pack date as YYDDD and recipe version."
    ),
    "batch_product_code": _(
        "The product code “%(product)s” does not fit a kit batch. Use 1 to 8 of the"
        " capitals A to Z and the digits."
    ),
    "batch_recipe_version": _(
        "The recipe version %(version)s does not fit a kit batch. Use a whole number"
        " above 0."
    ),
    "batch_site": _("The site %(site)s does not fit a kit batch. Use one from 1 to 9."),
    "batch_too_long": _(
        "The kit batch “%(text)s” is longer than %(limit)s characters. Shorten the"
        " product code."
    ),
    "belt_not_moving": _(
        "The belt speed %(value)s is not above 0. Enter the speed in the unit shown."
    ),
    "box_empty": _(
        "The box holds no pieces, so it has no mass to compare. Enter its parts."
    ),
    "chance_out_of_range": _(
        "A chance of %(read)s is not between 0 and 1. Enter one that is, such as 0.1."
    ),
    "class_not_counted": _(
        "No figure was entered for %(read)s defects. Enter how many bad pieces were"
        " found, 0 if none."
    ),
    "class_unknown": _("“%(read)s” is not a class of defect. Use one of %(known)s."),
    "class_without_plan": _(
        "The check has no plan for %(read)s defects. Take the figure out, or plan"
        " the check with that class."
    ),
    "coverage_out_of_range": _(
        "%(read)s standard deviations is not above 0 and at most 10. Enter 3 if in"
        " doubt."
    ),
    "critical_has_no_aql": _(
        "Critical defects are looked for in all pieces, so they have no AQL. Enter"
        " one for major and minor defects only."
    ),
    "dose_not_positive": _(
        "The required dose %(value)s is not above 0. Enter the dose that the protocol"
        " names."
    ),
    "dose_out_of_reach": _(
        "No belt is slow enough for a dose of %(required)s µJ/cm²: one pass would"
        " take %(needed)s ms. Check the irradiance, or use more passes."
    ),
    "exposure_not_positive": _(
        "The exposure time %(value)s is not above 0. Enter the time in the unit shown."
    ),
    "figure_missing": _(
        "No figure was entered. Enter what the meter or the line shows."
    ),
    "figure_negative": _("“%(read)s” is below 0. Enter 0 or more."),
    "figure_unreadable": _(
        "“%(read)s” is not a figure. Use digits with at most one decimal point or"
        " comma, such as 4.12."
    ),
    "found_out_of_range": _(
        "%(read)s bad pieces (%(kind)s) is not from 0 to the sample's %(most)s."
        " Count each bad piece once."
    ),
    "gross_below_tare": _(
        "The full container weighs %(gross)s g and the empty one %(tare)s g. Weigh"
        " both again."
    ),
    "gs1_ai_unknown": _(
        "There is no GS1 Application Identifier “%(ai)s”. Scan the code again, or"
        " check how it was made."
    ),
    "gs1_brackets": _(
        "“%(value)s” has brackets in the wrong places. Write each Application"
        " Identifier in brackets before its value."
    ),
    "gs1_check_digit": _(
        "The check digit in (%(ai)s)%(value)s is wrong. Scan the code again, or"
        " compare it with the print below the bars."
    ),
    "gs1_companion_missing": _(
        "Application Identifier (%(ai)s) may not stand without %(needs)s. Check how"
        " the code was made."
    ),
    "gs1_date": _("“%(value)s” is not a date as YYMMDD. Check the month and the day."),
    "gs1_day_missing": _(
        "The date in (%(ai)s)%(value)s has no day. Enter a real day: labels carry one."
    ),
    "gs1_ean": _(
        "“%(value)s” is not a valid number from a retail bar code. Scan it again."
    ),
    "gs1_field_characters": _(
        "(%(ai)s)%(value)s holds characters that are not allowed there. Check how the"
        " code was made."
    ),
    "gs1_field_length": _(
        "(%(ai)s)%(value)s has the wrong length. Scan the code again; the scanner may"
        " drop the separators."
    ),
    "gs1_field_rule": _(
        "(%(ai)s)%(value)s breaks a rule of its Application Identifier. Check how the"
        " code was made."
    ),
    "gs1_not_digits": _(
        "“%(value)s” is not a row of digits of the right length. Enter digits only."
    ),
    "gs1_not_together": _(
        "Application Identifiers (%(ai)s) and (%(other)s) may not stand in one code."
        " Check how the code was made."
    ),
    "gs1_nothing": _("The code is empty. Scan it again."),
    "gs1_prefix": _(
        "“%(prefix)s” is not a GS1 company prefix. Enter the 4 to 12 digits that GS1"
        " gave the workshop."
    ),
    "gs1_repeated": _(
        "Application Identifier (%(ai)s) stands twice with two values, %(value)s and"
        " %(other)s. Check how the code was made."
    ),
    "gs1_serial_missing": _(
        "(%(ai)s)%(value)s has no serial part, and it needs one. Check how the code"
        " was made."
    ),
    "gs1_time": _(
        "The time in (%(ai)s)%(value)s does not exist. Check how the code was made."
    ),
    "inspection_not_stopped": _(
        "Inspection of this part from this source was not stopped, so there is"
        " nothing to resume. Check it as planned."
    ),
    "irradiance_negative": _(
        "The irradiance %(value)s is below 0. Zero the meter and read it again."
    ),
    "irradiance_not_a_number": _(
        "The irradiance %(value)s is not a number. Read the meter again."
    ),
    "irradiance_too_high": _(
        "The irradiance %(value)s is higher than any lamp gives. Check the unit."
    ),
    "irradiance_zero": _(
        "The irradiance is 0, so no time gives a dose. Check the lamp and the meter."
    ),
    "label_full": _(
        "The label needs %(needed_mm)s mm for its texts and has %(room_mm)s mm."
        " Shorten them, or leave some out."
    ),
    "label_unreadable": _(
        "The label for %(number)s could not be read back, so it was not printed."
        " Check the printer's resolution and the label's size in the set-up."
    ),
    "lamp_figure_not_positive": _(
        "The lamp figure %(value)s is not above 0. Enter what the lamp's data sheet"
        " says."
    ),
    "level_unknown": _(
        "“%(read)s” is not an inspection level. Choose one of %(known)s."
    ),
    "lot_number_folds": _(
        "Lot number “%(text)s” cannot stand in the address of a page: a full stop, two"
        " of them or nothing stands between strokes. Put a letter or figure there."
    ),
    "lot_number_malformed": _(
        "“%(text)s” is not a lot number. Use 1 to 20 of A to Z, 0 to 9, hyphen,"
        " stroke and full stop."
    ),
    "lot_number_of_other_kind": _(
        "“%(text)s” reads as the number of another thing (%(kind)s). Give the lot"
        " another number, or none to have one assigned."
    ),
    "mass_missing": _(
        "Part %(part)s has no mass, so the box cannot be weighed. Enter its mass in"
        " the set-up."
    ),
    "mass_out_of_range": _(
        "A mass of %(read)s g is not above 0 and at most a tonne. Check the figure"
        " and its unit."
    ),
    "missing_glyph": _(
        "The label's typeface has no “%(character)s”, which stands in “%(text)s”."
        " Write it in other letters."
    ),
    "no_dose_required": _(
        "The protocol requires no dose on any side, so everything would pass. Enter"
        " the dose of at least one side."
    ),
    "not_encodable": _(
        "“%(text)s” holds “%(character)s”, which the bar code cannot carry. Use"
        " letters, digits and common signs."
    ),
    "nothing_to_encode": _(
        "There is nothing to put into the bar code. Enter a content."
    ),
    "number_check_wrong": _(
        "“%(text)s” has a wrong check character, so a character was misread. Scan the"
        " label, or type the number again."
    ),
    "number_malformed": _(
        "“%(text)s” is not a number of Lotward. Scan the label, or type the number as"
        " it is printed."
    ),
    "passes_not_positive": _(
        "The number of passes %(value)s is not above 0. Enter 1 or more."
    ),
    "plan_missing": _("The lot has no plan to be judged by. Plan the check first."),
    "points_out_of_range": _(
        "A curve of %(read)s points cannot be drawn. Ask for 2 to %(most)s."
    ),
    "reading_doubted": _(
        "Point %(point)s, %(side)s, reads %(read)s mW/cm², and %(usual)s mW/cm² was"
        " expected. Choose the unit that the meter shows, or say that it is right."
    ),
    "reading_missing": _(
        "Point %(point)s of the %(side)s side has no %(moment)s reading. Read it,"
        " then close the run."
    ),
    "right_to_left": _(
        "“%(text)s” holds “%(character)s”, which is written from right to left;"
        " labels cannot carry that yet. Write it in other letters."
    ),
    "sample_more_than_lot": _(
        "A sample of %(wanted)s pieces is more than the %(left)s that there are."
        " Count the bags again."
    ),
    "scale_out_of_range": _(
        "A scale uncertainty of %(read)s g is not from 0 to a tonne. Enter what its"
        " calibration says."
    ),
    "scan_empty": _("Nothing was read. Scan again, or type the number."),
    "scan_identifier_unknown": _(
        "The scanner says that the code is of kind “%(identifier)s”, which is not"
        " known here. Scan a label of Lotward, or type its number."
    ),
    "scan_no_number": _(
        "“%(value)s” is no number that is known here. Scan a label of Lotward, or"
        " type its number."
    ),
    "scan_too_long": _("The scan is longer than any label. Scan one code at a time."),
    "severity_unknown": _(
        "“%(read)s” is not a severity of inspection. Choose one of %(known)s."
    ),
    "share_out_of_range": _(
        "A share of %(read)s is not from 0 to 1. Enter 0.01 for 1 %%."
    ),
    "side_not_read": _(
        "The protocol requires a dose on the %(side)s side, which was not read. Read"
        " it, then close the run."
    ),
    "spread_out_of_range": _(
        "A spread of %(read)s g is not from 0 to a tonne. Enter the standard"
        " deviation from piece to piece."
    ),
    "sscc_used_up": _(
        "The %(digits)s digits left after prefix %(prefix)s are used up, so there is"
        " no further SSCC. Set another company prefix."
    ),
    "text_too_long": _(
        "“%(text)s” does not fit %(room_mm)s mm in %(lines)s lines on the label."
        " Shorten it."
    ),
    "uncertainty_out_of_range": _(
        "The meter's uncertainty %(value)s is not from 0 to below 100 %%. Enter what"
        " its calibration says."
    ),
    "verdict_unknown": _(
        "“%(read)s” is nothing that switches inspection. Use accepted, between, rejected,"
        " resumed, reduced or restored."
    ),
    "weighed_out_of_range": _(
        "The mass would make %(read)s pieces, more than %(most)s. Check the units of"
        " the reference sample."
    ),
    "zone_not_positive": _(
        "The length of the lit zone %(value)s is not above 0. Enter it in the unit"
        " shown."
    ),
}
