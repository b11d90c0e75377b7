"""Sentences for what every room refuses: numbers, scans, codes, figures, acts, holds.

Keep the codes in alphabetical order.
"""

from __future__ import annotations

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

SENTENCES: dict[str, str | Promise] = {
    "account_closed": _(
        "The account of %(name)s was closed meanwhile. Nothing was done. Ask a manager."
    ),
    "badge_not_here": _(
        "That is a badge. It was not read and nothing was done. A badge is scanned"
        " where the name is entered to sign in; here, scan what is asked for."
    ),
    "badge_revoked_meanwhile": _(
        "The badge of %(name)s was revoked meanwhile. Nothing was done. Ask a manager."
    ),
    "bag_not_cleared": _(
        "Bag %(bag)s is not cleared; it is %(stage)s. Take a cleared bag."
    ),
    "bag_on_hold": _(
        "Bag %(bag)s is on hold by %(by)s: %(reason)s. Put it in quarantine and take another."
    ),
    "bag_open_too_long": _(
        "Bag %(bag)s was opened more than %(hours)s hours ago. Set it back and take"
        " another."
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
    "box_on_hold": _(
        "Box %(box)s, or something in it, is on hold by %(by)s: %(reason)s. Put it"
        " in quarantine."
    ),
    "catalogue_differs": _(
        "The record says %(known)s, and lots or boxes were made by it. Give the"
        " changed thing a new code or version, or write what the record says."
    ),
    "catalogue_kind": _("Here %(wanted)s is needed. Correct it."),
    "catalogue_missing": _("This is missing. Write it."),
    "catalogue_name": _("This name is not known here. Check the spelling."),
    "catalogue_no_such": _(
        "No %(what)s has this code, in the file or on record. Add it, or correct the"
        " code."
    ),
    "catalogue_twice": _("This is twice in the file. Remove one of the two."),
    "catalogue_value": _("This cannot be kept: %(why)s Correct it."),
    "clock_jumped": _(
        "This computer's clock was set by %(minutes)s minutes while the program ran; it"
        " shows %(now)s. Nothing was recorded. A manager must say, at Set-up, Clock,"
        " whether that is right."
    ),
    "clock_set_back": _(
        "By this computer's clock it is %(now)s, and the newest act is of %(newest)s."
        " Nothing was recorded. Set the clock right, then do it again."
    ),
    "clock_unconfirmed": _(
        "By this computer's clock it is %(now)s, and the newest act is of %(newest)s."
        " Nothing was recorded. A manager must say, at Set-up, Clock, whether the date"
        " is right."
    ),
    "command_not_here": _(
        "The command “%(read)s” does nothing on this page. Scan it where its act is."
    ),
    "database_away": _(
        "The server cannot reach its record. Tell whoever looks after the server: its"
        " database or disk does not answer."
    ),
    "database_broken": _(
        "The file of the record is damaged. Tell whoever looks after the server: stop"
        " it, keep the file, and restore the newest backup as docs/restoring.md says."
    ),
    "database_busy": _(
        "The record is busy: something else has been writing to it for too long. Do the"
        " same again."
    ),
    "database_full": _(
        "The disk of the server is full. What is on record can be read; nothing can be"
        " recorded. Tell whoever looks after the server to make room, as"
        " docs/deploying.md says."
    ),
    "database_missing": _(
        "The database of the server is not there. Tell whoever looks after the server:"
        " bring its disk back, or restore the newest backup as docs/restoring.md says."
        " A new workshop begins with manage.py migrate."
    ),
    "database_read_only": _(
        "The server may read its disk, and not write to it. What is on record can be"
        " read; nothing can be recorded. Tell whoever looks after the server to find"
        " out why, as docs/deploying.md says."
    ),
    "database_unmade": _(
        "The database of the server lacks tables. Tell whoever looks after the server:"
        " run manage.py migrate, or restore the newest backup as docs/restoring.md says."
    ),
    "entry_not_shown": _(
        "There is a character in the %(what)s that nobody can see. Write it again."
    ),
    "entry_too_long": _("The %(what)s is longer than %(most)s characters. Shorten it."),
    "figure_missing": _(
        "No figure was entered. Enter what the meter or the line shows."
    ),
    "figure_negative": _("“%(read)s” is below 0. Enter 0 or more."),
    "figure_unreadable": _(
        "“%(read)s” is not a figure. Use digits with at most one decimal point or"
        " comma, such as 4.12."
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
        "Application Identifier (%(ai)s) may not be used without %(needs)s. Check how"
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
        "Application Identifiers (%(ai)s) and (%(other)s) may not be in one code."
        " Check how the code was made."
    ),
    "gs1_nothing": _("The code is empty. Scan it again."),
    "gs1_prefix": _(
        "“%(prefix)s” is not a GS1 company prefix. Enter the 4 to 12 digits that GS1"
        " gave the workshop."
    ),
    "gs1_repeated": _(
        "Application Identifier (%(ai)s) is there twice with two values, %(value)s"
        " and %(other)s. Check how the code was made."
    ),
    "gs1_serial_missing": _(
        "(%(ai)s)%(value)s has no serial part, and it needs one. Check how the code"
        " was made."
    ),
    "gs1_time": _(
        "The time in (%(ai)s)%(value)s does not exist. Check how the code was made."
    ),
    "hold_lifted": _("This hold was lifted before. Load the page again."),
    "hold_needs_a_minimum": _(
        "The protocol names no minimum above 0, so no value can be compared with it."
        " Choose another protocol."
    ),
    "hold_own": _(
        "You placed this hold yourself. Another quality officer or manager has to lift"
        " it."
    ),
    "hold_target_unknown": _(
        "A hold cannot be placed on “%(target)s”. Choose a lot, bag, run, box,"
        " revision, method, source or protocol."
    ),
    "lines_gone": _("The form came back without its lines. Load the page again."),
    "lot_number_folds": _(
        "Lot number “%(text)s” cannot be part of the address of a page: between"
        " slashes it has only full stops, or nothing. Put a letter or a digit there."
    ),
    "lot_number_malformed": _(
        "“%(text)s” is not a lot number. Use 1 to 20 of A to Z, 0 to 9, hyphen, slash"
        " and full stop."
    ),
    "lot_number_of_other_kind": _(
        "“%(text)s” reads as the number of another thing (%(kind)s). Give the lot"
        " another number, or none to have one assigned."
    ),
    "lot_on_trial": _(
        "Bag %(bag)s was made with method %(method)s, which is on trial: none of it is"
        " packed until somebody releases the method. Take another bag."
    ),
    "lot_past_use_by": _(
        "Bag %(bag)s is past its use-by date, %(use_by)s. Put it in quarantine and"
        " take another."
    ),
    "made_after_backup": _(
        "“%(read)s” was given out after the backup from which this workshop was"
        " restored, so nothing is known of it. Put it in quarantine and tell the"
        " quality officer."
    ),
    "no_such_links": _(
        "The journal has no such acts. Its newest is number %(newest)s."
    ),
    "nothing_has_number": _(
        "Nothing has the number “%(read)s”. Scan the label again, or check the number."
    ),
    "nothing_proved": _(
        "No link of the journal was proved yet: prove the whole of it first."
    ),
    "number_check_wrong": _(
        "“%(text)s” has a wrong check character, so a character was misread. Scan the"
        " label, or type the number again."
    ),
    "number_malformed": _(
        "“%(text)s” is not a number of Lotward. Scan the label, or type the number as"
        " it is printed."
    ),
    "number_nearly": _(
        "Nothing has the number “%(read)s”. Did you mean %(near)s? Compare it with the"
        " label."
    ),
    "one_at_a_time": _(
        "“%(read)s” is more than one number. Scan or type one at a time."
    ),
    "op_key_unreadable": _(
        "This form came without its operation key, so it could be one that was sent"
        " before. Load the page again and repeat the act."
    ),
    "operation_key_reused": _(
        "This form was sent before with other contents, and that act is recorded."
        " Load the page again before you send something else."
    ),
    "password_locked": _(
        "The password of %(name)s was wrong too often from this place. Nothing was"
        " done. Wait a quarter of an hour, or ask a manager."
    ),
    "password_not_chosen": _(
        "%(name)s has a password from a manager and has not chosen their own yet."
        " Nothing was done. They sign in and choose one first."
    ),
    "password_wrong": _(
        "This is not the password of %(name)s. Nothing was done. Enter the password"
        " with which you sign in."
    ),
    "reason_missing": _("No reason was entered. Write one: the record keeps it."),
    "revision_not_pinned": _(
        "Bag %(bag)s is of revision %(revision)s, and the recipe asks for %(wanted)s."
        " Take a bag of that."
    ),
    "revisions_apart": _(
        "Bag %(bag)s holds %(what)s, which does not go with %(inside)s in the box. Take"
        " a bag of this instead: %(wanted)s."
    ),
    "row_missing": _("This %(what)s is not there, or no longer. Load the page again."),
    "run_closed": _("Run %(run)s is closed; it was %(stage)s. Use an open run."),
    "scan_empty": _("Nothing was read. Scan again, or type the number."),
    "scan_identifier_unknown": _(
        "The scanner says that the code is of kind “%(identifier)s”, which is not"
        " known here. Scan a label of Lotward, or type its number."
    ),
    "scan_no_number": _(
        "“%(value)s” is no number that is known here. Scan a label of Lotward, or"
        " type its number."
    ),
    "scan_separator_lost": _(
        "“%(read)s” came without its separators and is the label of no box here. Scan"
        " the label again, or scan the bars below."
    ),
    "scan_too_long": _("The scan is longer than any label. Scan one code at a time."),
    "scan_unreadable": _(
        "“%(read)s” holds characters that no number has. Scan the label again."
    ),
    "sscc_used_up": _(
        "The %(digits)s digits left after prefix %(prefix)s are used up, so there is"
        " no further SSCC. Enter another company prefix."
    ),
    "too_many_lines": _(
        "Enter at most %(most)s lines. Remove those that are not needed."
    ),
    "value_line_unreadable": _(
        "Line %(line)s, “%(read)s”, is not a time and a value. Write each as"
        " 14:05 71.5, one on a line."
    ),
    "value_twice": _(
        "There is a value of %(at)s already. Keep one for each moment; nothing of"
        " this column was recorded."
    ),
    "values_missing": _("No value was entered. Enter a time and a value."),
    "values_too_many": _("A run keeps %(most)s values. Enter fewer, further apart."),
}
