"""Sentences for protocols, evidence, meters, lamps and runs.

Keep the codes in alphabetical order.
"""

from __future__ import annotations

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from kitting.web.messages import register

SENTENCES: dict[str, str | Promise] = {
    "bag_came_off": _(
        "Bag %(bag)s came off run %(run)s before. It waits for the verdict on the"
        " run. Do not move it."
    ),
    "bag_in_other_run": _(
        "Bag %(bag)s is in run %(run)s, which is still open. Scan it off there, or"
        " use another bag."
    ),
    "bag_not_on": _("Bag %(bag)s is not on run %(run)s. Scan a bag that is on it."),
    "bag_off_too_early": _(
        "The passes of bag %(bag)s are not complete: %(seconds)s s are missing. Wait;"
        " if it must come off now, use the button beside its number."
    ),
    "bag_was_on": _(
        "Bag %(bag)s was on run %(run)s already and came off. It cannot go on the"
        " same run again."
    ),
    "bags_on_the_line": _(
        "Run %(run)s still has bags on the line: %(bags)s. Take them off, then close"
        " the run."
    ),
    "belt_half_given": _(
        "A belt needs both the length of the lit zone and its speed. Enter both, or"
        " the time of one pass where nothing moves."
    ),
    "belt_not_moving": _(
        "The belt speed %(value)s is not above 0. Enter the speed in the unit shown."
    ),
    "belt_or_time": _(
        "Both a belt and a time per pass were entered. Enter zone and speed for a"
        " belt, or the time where nothing moves."
    ),
    "belt_too_fast": _("The belt is faster than %(most)s m/s. Check the unit, mm/s."),
    "belt_u_out_of_range": _(
        "The uncertainty of speed or time is below 0 or not below 100 %%. Enter it as"
        " per cent of the speed or time."
    ),
    "belt_without_light": _(
        "This protocol has no belt: its time is the hold that it names. Leave zone,"
        " speed, time and passes empty."
    ),
    "calibration_dates": _(
        "The calibration of %(on)s would be due on %(due)s, before it was made. Check"
        " both dates."
    ),
    "calibration_in_future": _(
        "The calibration is dated %(on)s, and today is %(today)s. Check the date."
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
    "clock_behind": _(
        "By this computer's clock, this is earlier than what is recorded of run"
        " %(run)s. Set the clock right, then scan again."
    ),
    "cover_needless": _(
        "%(protocol)s names revision %(revision)s of %(part)s itself, in every container"
        " of the other one. There is nothing to sign."
    ),
    "cover_not_measured": _(
        "%(protocol)s does not name revision %(revision)s of %(part)s itself. Choose a"
        " revision with which it was measured."
    ),
    "cover_of_other_part": _(
        "%(other)s is not %(part)s. Choose a revision of the same part."
    ),
    "cover_own": _(
        "You added or changed revision %(revision)s of %(part)s, so somebody else signs"
        " that it is covered: here it takes two people."
    ),
    "cover_there": _(
        "%(protocol)s covers revision %(revision)s of %(part)s like revision %(like)s"
        " already: %(by)s signed it. Withdraw that first to sign it like another one."
    ),
    "cover_withdrawn": _("This cover is withdrawn already. There is nothing to do."),
    "decline_out_of_range": _(
        "The decline of the lamps is below 0 or not below 100 %%. Enter how much"
        " weaker the lamps may be than in the readings."
    ),
    "dose_not_positive": _(
        "The required dose %(value)s is not above 0. Enter the dose that the protocol"
        " names."
    ),
    "dose_out_of_range": _(
        "A dose of %(read)s is out of range; doses go up to %(most)s mJ/cm². Check the"
        " figure and its unit."
    ),
    "dose_out_of_reach": _(
        "No belt is slow enough for a dose of %(required)s µJ/cm²: one pass would"
        " take %(needed)s ms. Check the irradiance, or use more passes."
    ),
    "dose_over_largest": _(
        "Bag %(bag)s has had up to %(had)s mJ/cm² and would get up to %(more)s more,"
        " and %(part)s may get %(largest)s at most. Do not put it on the line."
    ),
    "dosimeter_dose_out_of_range": _(
        "%(value)s µJ/cm² is no dose that a dosimeter shows. Check the unit, mJ/cm²."
    ),
    "dosimeter_side": _("“%(side)s” is no side of a part. Choose top or bottom."),
    "dosimeters_too_many": _(
        "A run keeps %(most)s dosimeters. Enter the lowest ones of each side."
    ),
    "draft_has_holds": _(
        "A hold was placed on %(protocol)s, and the record keeps both, so it cannot"
        " be discarded. Leave the draft unsigned."
    ),
    "evidence_code_malformed": _(
        "“%(read)s” cannot be the code of a record. Use at most 20 letters, digits,"
        " hyphens, slashes and full stops."
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
    "exposure_not_positive": _(
        "The exposure time %(value)s is not above 0. Enter the time in the unit shown."
    ),
    "fault_before_calibration": _(
        "The meter was found wrong on %(on)s, and and the calibration that can be"
        " trusted is of %(good)s, after that. Check the date, or choose an earlier"
        " calibration."
    ),
    "fault_in_future": _(
        "Found wrong on %(on)s is after today, %(today)s. Check the date."
    ),
    "heat_out_of_range": _(
        "%(value)s °C is not from 0 to %(most)s °C. Check the value and its unit."
    ),
    "hold_not_stated": _(
        "Protocol %(protocol)s does not say for how long which value is held. Choose"
        " a version that does."
    ),
    "hold_out_of_range": _(
        "%(read)s s is not from 1 to %(most)s. Check the time and its unit."
    ),
    "in_force_before_today": _(
        "The version would be in force from %(since)s, and today is %(today)s: it"
        " cannot be in force before it is signed. Change the date in the draft."
    ),
    "in_force_dates": _(
        "The version would be in force from %(since)s until %(until)s, before it"
        " began. Check both dates."
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
    "lamp_before_fitting": _(
        "%(on)s is before %(lamp)s was fitted, %(fitted)s. Check the date."
    ),
    "lamp_figure_not_positive": _(
        "The lamp figure %(value)s is not above 0. Enter what the lamp's data sheet"
        " says."
    ),
    "lamp_hours_fall": _(
        "%(hours)s h are fewer than the %(before)s h read before. Check the counter;"
        " if the lamp is new, enter that it was changed."
    ),
    "lamp_hours_out_of_range": _(
        "%(hours)s h is not from 0 to %(most)s h, and a rating is 1 or more. Check"
        " the number."
    ),
    "lamp_in_future": _("%(on)s is after today, %(today)s. Check the date."),
    "lamp_is_there": _(
        "%(lamp)s is on %(line)s already. Enter that it was changed, or give the new"
        " one another name."
    ),
    "lamp_name_missing": _("The lamp has no name. Write which lamp of the line it is."),
    "lamp_read_earlier": _(
        "%(on)s is before the last reading, %(last)s. Check the date."
    ),
    "lamp_taken_out": _(
        "%(lamp)s was removed on %(on)s. Choose the lamp that is there now."
    ),
    "line_has_a_run": _("%(line)s has an open run. Close that run first."),
    "load_twice": _(
        "One revision is twice with the same container. Keep one of the two lines."
    ),
    "meter_blind": _(
        "%(meter)s is calibrated for %(range)s nm, and the protocol is about"
        " %(wanted)s nm, which this meter does not measure. Use another meter."
    ),
    "meter_exists": _(
        "There is a meter with the serial number %(serial)s already. Enter its"
        " calibration there."
    ),
    "meter_found_wrong": _(
        "%(meter)s was found to read wrong on %(on)s and was not calibrated since."
        " Use another meter."
    ),
    "meter_not_calibrated": _(
        "This meter has no calibration on record. Enter one on its page, or use"
        " another meter."
    ),
    "meter_out_of_calibration": _(
        "The meter's calibration was due on %(due)s, and the reading is of %(on)s."
        " Use a meter in calibration."
    ),
    "meter_range_unknown": _(
        "The calibration of %(meter)s names no spectral range, and the protocol is"
        " about %(wanted)s nm. Use a meter that is calibrated for it."
    ),
    "meter_reads_light": _(
        "%(meter)s is a radiometer: its calibration names a spectral range."
        " %(protocol)s works by heat or a liquid. Use a thermometer or a test strip."
    ),
    "meter_words_missing": _("The meter has no %(what)s. Enter it."),
    "minimum_out_of_range": _(
        "The minimum is out of range: for heat it is above 0 and up to 300 °C, for a"
        " liquid up to 1 000 000 ppm. Check the figure."
    ),
    "no_dose_required": _(
        "The protocol requires no dose on any side, so everything would pass. Enter"
        " the dose of at least one side."
    ),
    "not_covered": _(
        "Protocol %(protocol)s does not cover bag %(bag)s: %(part)s, revision"
        " %(revision)s, in one %(container)s. Use a run whose protocol covers it, or let the"
        " quality officer sign on the page of the revision that it is covered."
    ),
    "part_needs_no_clearing": _(
        "Bag %(bag)s holds %(part)s, which needs no disinfection. Do not put it on"
        " the line."
    ),
    "pass_too_long": _(
        "One pass would take more than %(hours)s hours. Check the time, or zone and"
        " speed."
    ),
    "passes_not_positive": _(
        "The number of passes %(value)s is not above 0. Enter 1 or more."
    ),
    "passes_over_most": _(
        "Bag %(bag)s would get more passes than the protocol allows: %(had)s so far,"
        " %(passes)s more, at most %(most)s. Do not put it on the line."
    ),
    "passes_too_many": _("%(passes)s passes are more than %(most)s. Check the number."),
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
        "%(protocol)s is a draft and was never in force. Discard it instead."
    ),
    "protocol_is_signed": _(
        "%(protocol)s is signed and never changes. Make a new version."
    ),
    "protocol_not_in_force": _(
        "Protocol %(protocol)s is not in force on %(on)s. Choose one that is."
    ),
    "protocol_not_signed": _(
        "Protocol %(protocol)s is not signed. Have it signed, or choose another."
    ),
    "protocol_on_hold": _(
        "Protocol %(protocol)s is on hold by %(by)s: %(reason)s. Choose another, or"
        " have the hold lifted."
    ),
    "protocol_other_terms": _(
        "These figures are of another process than %(process)s. A dose, spectrum and"
        " turning are for UV-C; a time and a minimum are for heat and liquids."
    ),
    "protocol_own": _(
        "You wrote %(protocol)s, or a part of it, yourself. Another quality officer has"
        " to sign it."
    ),
    "protocol_process_unknown": _(
        "“%(read)s” is no process of disinfection. Choose one from the list."
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
    "reading_doubted": _(
        "Point %(point)s, %(side)s, reads %(read)s mW/cm², and %(usual)s mW/cm² was"
        " expected. Choose the unit that the meter shows, or tick that it is right."
    ),
    "reading_elsewhere": _(
        "Point %(point)s of the %(side)s side was not read at opening. Close the run"
        " with readings at the opening's points."
    ),
    "reading_missing": _(
        "Point %(point)s of the %(side)s side has no %(moment)s reading. Read it,"
        " then close the run."
    ),
    "reading_place": _(
        "Point %(point)s on the %(side)s side is no point of a reading. Use the top"
        " or bottom side and points 1 to %(most)s."
    ),
    "reading_twice": _(
        "One point was read twice on the same side. Keep one reading for each point"
        " and side."
    ),
    "readings_missing": _(
        "The %(moment)s readings are missing. Read the meter at every point first."
    ),
    "readings_without_light": _(
        "Protocol %(protocol)s works without light, so it has no readings of a lamp"
        " and no dosimeters. Log its values instead."
    ),
    "revision_on_hold": _(
        "Revision %(revision)s of %(part)s is on hold by %(by)s: %(reason)s. Have the hold"
        " lifted first."
    ),
    "run_on_hold": _(
        "Run %(run)s is on hold by %(by)s: %(reason)s. Nothing goes on until the hold"
        " is lifted."
    ),
    "run_would_fail": _(
        "With these readings the dose on the %(side)s side is sure to be %(low)s mJ/cm²,"
        " and %(required)s is required: the run would fail. Change speed, time or"
        " passes, or say why it is opened with these readings."
    ),
    "side_not_read": _(
        "The protocol requires a dose on the %(side)s side, which was not read. Read"
        " it, then close the run."
    ),
    "spectrum_out_of_range": _(
        "The spectrum needs both ends, from %(least)s to %(most)s nm, the lower first."
        " Check both figures."
    ),
    "strength_out_of_range": _(
        "%(value)s ppm is not from 0 to %(most)s ppm. Check the value and its unit."
    ),
    "too_many_pieces": _(
        "Bag %(bag)s holds %(pieces)s pieces, and the protocol covers at most"
        " %(most)s. Split the bag."
    ),
    "uncertainty_out_of_range": _(
        "The meter's uncertainty %(value)s is not from 0 to below 100 %%. Enter what"
        " its calibration says."
    ),
    "value_before_run": _(
        "The value of %(at)s is from before the run was opened. Check the time."
    ),
    "value_in_future": _("The value of %(at)s is in the future. Check the time."),
    "values_by_light": _(
        "Protocol %(protocol)s works by light: it is judged by readings, not by"
        " logged values."
    ),
    "values_not_logged": _(
        "Run %(run)s has no logged value, so nothing shows that the value was held."
        " Log its values first, or give up the run."
    ),
    "zone_not_positive": _(
        "The length of the lit zone %(value)s is not above 0. Enter it in the unit"
        " shown."
    ),
    "zone_too_long": _("The lit zone is longer than %(most)s m. Check the unit, mm."),
    "zone_u_out_of_range": _(
        "The uncertainty of the lit zone is below 0 or as long as the zone. Enter it in"
        " mm."
    ),
}

register(SENTENCES)
