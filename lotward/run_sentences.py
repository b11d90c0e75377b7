"""Sentences for refusals of runs, meters, lamps and logged values.

See ``lotward/messages.py``; keep the codes in alphabetical order.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext_lazy as _

if TYPE_CHECKING:
    from django.utils.functional import Promise

SENTENCES: dict[str, str | Promise] = {
    "belt_u_out_of_range": _(
        "The uncertainty of speed or time is below 0 or not below 100 %%. Enter it as"
        " per cent of the speed or time."
    ),
    "belt_without_light": _(
        "This protocol has no belt: its time is the hold that it names. Leave zone,"
        " speed, time and passes empty."
    ),
    "calibration_range": _(
        "%(low)s to %(high)s nm is no range of wavelengths from %(least)s to %(most)s"
        " nm. Enter the shorter one first, in nm."
    ),
    "calibration_range_half_given": _(
        "Only one end of the spectral range was entered. Enter both, or none for a"
        " thermometer or test strip."
    ),
    "carrier_empty": _(
        "Carrier %(carrier)s has no bag with pieces on it. Put bags on it first, or"
        " scan them one by one."
    ),
    "carrier_half_on": _(
        "Some bags of carrier %(carrier)s are in this run and some are not, such as"
        " %(bag)s. Nothing was moved. Scan its bags one by one."
    ),
    "decline_out_of_range": _(
        "The decline of the lamps is below 0 or not below 100 %%. Enter by how much"
        " they may be weaker than they were read."
    ),
    "dose_over_largest": _(
        "Bag %(bag)s has had up to %(had)s mJ/cm² and would get up to %(more)s more,"
        " and %(part)s may take %(largest)s in all. Leave it off the line."
    ),
    "dosimeter_dose_out_of_range": _(
        "%(value)s µJ/cm² is no dose that a dosimeter shows. Check the unit, mJ/cm²."
    ),
    "dosimeter_half_given": _(
        "Dosimeter %(nth)s lacks its dose or its uncertainty. Enter both, or neither."
    ),
    "dosimeter_side": _(
        "“%(side)s” is no side of a part. A dosimeter lies on the top or the bottom."
    ),
    "dosimeters_too_many": _(
        "A run keeps %(most)s dosimeters. Enter the lowest ones of each side."
    ),
    "fault_before_calibration": _(
        "Found wrong on %(on)s, and the calibration that can still be believed was on"
        " %(good)s, after it. Check the date, or choose an earlier calibration."
    ),
    "fault_in_future": _(
        "Found wrong on %(on)s lies after today, %(today)s. Check the date."
    ),
    "heat_out_of_range": _(
        "%(value)s °C is not from 0 to %(most)s °C. Check the value and its unit."
    ),
    "hold_needs_a_minimum": _(
        "The protocol names no minimum above 0, so nothing can be held against it."
        " Choose another protocol."
    ),
    "hold_not_stated": _(
        "Protocol %(protocol)s does not say for how long which value is held. Choose"
        " a version that does."
    ),
    "lamp_before_fitting": _(
        "%(on)s lies before %(lamp)s was fitted, %(fitted)s. Check the date."
    ),
    "lamp_hours_fall": _(
        "%(hours)s h are fewer than the %(before)s h read before. Check the counter;"
        " if the lamp is new, enter that it was changed."
    ),
    "lamp_hours_out_of_range": _(
        "%(hours)s h is not from 0 to %(most)s h, and a rating is 1 or more. Check"
        " the number."
    ),
    "lamp_in_future": _("%(on)s lies after today, %(today)s. Check the date."),
    "lamp_is_there": _(
        "%(lamp)s burns on %(line)s already. Enter that it was changed, or give the"
        " new one another name."
    ),
    "lamp_name_missing": _("The lamp has no name. Write which lamp of the line it is."),
    "lamp_read_earlier": _(
        "%(on)s lies before the last reading, %(last)s. Check the date."
    ),
    "lamp_taken_out": _(
        "%(lamp)s was taken out on %(on)s. Choose the lamp that burns there now."
    ),
    "meter_blind": _(
        "%(meter)s is calibrated for %(range)s nm, and the protocol is about"
        " %(wanted)s nm: it does not see that light. Use another meter."
    ),
    "meter_exists": _(
        "There is a meter with the serial number %(serial)s already. Enter its"
        " calibration there."
    ),
    "meter_found_wrong": _(
        "%(meter)s was found to read wrong on %(on)s and was not calibrated since."
        " Use another meter."
    ),
    "meter_range_unknown": _(
        "The calibration of %(meter)s names no spectral range, and the protocol is"
        " about %(wanted)s nm. Use a meter that is calibrated for it."
    ),
    "meter_reads_light": _(
        "%(meter)s is a radiometer: its calibration names a spectral range. %(protocol)s"
        " goes by heat or a liquid. Use a thermometer or a test strip."
    ),
    "meter_words_missing": _("The meter has no %(what)s. Enter it."),
    "passes_over_most": _(
        "Bag %(bag)s has had %(had)s passes and would get %(passes)s more, and the"
        " protocol allows %(most)s in all. Leave it off the line."
    ),
    "readings_without_light": _(
        "Protocol %(protocol)s works without light, so it has no readings of a lamp"
        " and no dosimeters. Log its values instead."
    ),
    "strength_out_of_range": _(
        "%(value)s ppm is not from 0 to %(most)s ppm. Check the value and its unit."
    ),
    "value_before_run": _(
        "The value of %(at)s was taken before the run was opened. Check the time."
    ),
    "value_in_future": _("The value of %(at)s lies in the future. Check the time."),
    "value_line_unreadable": _(
        "Line %(line)s, “%(read)s”, is not a time and a value. Write each as"
        " 14:05 71.5, one on a line."
    ),
    "value_twice": _(
        "There is a value of %(at)s already. Keep one for each moment; nothing of"
        " this column was taken."
    ),
    "values_by_light": _(
        "Protocol %(protocol)s works by light: it is judged by readings, not by"
        " logged values."
    ),
    "values_missing": _("No value was entered. Enter a time and a value."),
    "values_not_logged": _(
        "Run %(run)s has no logged value, so nothing shows that it held. Log its"
        " values first, or give the run up."
    ),
    "values_too_many": _("A run keeps %(most)s values. Enter fewer, further apart."),
}
