"""Sentences for files and their cells; line, column and value are told beside them.

Those for acts stand in ``lotward/messages.py``. Keep the codes in alphabetical order.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext_lazy as _

if TYPE_CHECKING:
    from django.utils.functional import Promise

SENTENCES: dict[str, str | Promise] = {
    "address_part_missing": _(
        "The post of %(country)s wants a %(part)s in an address, and there is none. It"
        " is printed as it is; add it if there is one."
    ),
    "address_without_country": _(
        "An address in parts needs its country: its order is that of the country's"
        " post. Write the country by its two letters, such as PT."
    ),
    "amount_missing": _(
        "An amount of every lot that this one was made from is needed. Enter the"
        " amounts in the same order."
    ),
    "amount_twice": _(
        "The amount is written here and beside the lot that this one was made from."
        " Keep one of the two."
    ),
    "catalogue_differs": _(
        "The record says %(known)s, and what was made and packed hangs on it. Give the"
        " changed thing a new code or version, or write what the record says."
    ),
    "catalogue_gtin": _(
        "This is no GTIN of 14 digits with its check digit. Copy it from the list of"
        " your GS1 numbers."
    ),
    "catalogue_has_problems": _(
        "%(count)s problems are in the catalogue, so nothing of it was taken in."
        " Correct them and load it again."
    ),
    "catalogue_kind": _("Here %(wanted)s is needed. Correct it."),
    "catalogue_missing": _("This is missing. Write it."),
    "catalogue_name": _("Nothing of this name is read here. Check how it is spelt."),
    "catalogue_new_version": _(
        "These lines are not those on record. A version never changes: write them"
        " under a new version."
    ),
    "catalogue_no_such": _(
        "No %(what)s has this code, in the file or on record. Add it, or correct the"
        " code."
    ),
    "catalogue_time_zone": _(
        "There is no such time zone. Write one by its name, such as Europe/Lisbon."
    ),
    "catalogue_twice": _("This stands twice in the file. Take one of the two out."),
    "catalogue_value": _("This cannot be kept: %(why)s Correct it."),
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
    "country_unknown": _(
        "“%(read)s” is no country. Write it by its two letters in ISO 3166-1, in"
        " capitals, such as PT."
    ),
    "counts_ambiguous": _(
        "These counts can be read as one number or as several. Put a plus sign"
        " between the counts of two bags."
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
    "file_empty": _(
        "The file has no row. Send a file with a heading and at least one row."
    ),
    "file_encoding_broken": _(
        "The line holds bytes that are no text in UTF-8. Save the file as CSV in UTF-8."
    ),
    "file_has_problems": _(
        "%(count)s faults are in the file, so nothing of it was taken in. Correct them"
        " and choose the file again."
    ),
    "file_not_text": _("The file is not text. Save the table as CSV in UTF-8."),
    "heading_blank": _(
        "This cell stands in a column without a heading. Give the column a heading,"
        " or empty it."
    ),
    "heading_missing": _(
        "This column is needed and the file has no heading for it. Add the column."
    ),
    "heading_twice": _("This heading stands over two columns. Remove one of them."),
    "heading_unknown": _(
        "This heading is not known. Correct it, or remove the column."
    ),
    "lot_differs": _(
        "Lot %(lot)s is on record with “%(known)s” here. Write the same, or give what"
        " differs a new lot number."
    ),
    "lot_rows_differ": _(
        "The rows of one lot differ here: line %(first_line)s says “%(first_value)s”."
        " Make them agree, or give the rows two lot numbers."
    ),
    "made_from_itself": _("A lot cannot be made from itself. Correct the number."),
    "made_from_missing": _(
        "An amount is given and no lot that this one was made from. Enter the lot, or"
        " remove the amount."
    ),
    "made_from_twice": _(
        "The same lot is named twice. Name it once, with the whole amount."
    ),
    "material_unknown": _(
        "There is no lot of this number to be made from. Take the material in first, or"
        " correct the number."
    ),
    "method_unknown": _(
        "There is no method of this name. Correct it, or add it in the set-up."
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
    "part_unknown": _(
        "There is no part of this code. Correct it, or add the part in the set-up."
    ),
    "place_unknown": _(
        "There is no place of this code. Correct it, or add it in the set-up."
    ),
    "postcode_doubtful": _(
        "%(read)s does not look like a postcode of %(country)s, such as %(such_as)s."
        " It is printed as it is: Lotward's list may be older. Check it."
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
    "region_left_out": _(
        "The post of %(country)s wants no region in an address, so %(read)s is not"
        " printed."
    ),
    "revision_unknown": _(
        "Part %(part)s has no such revision. Correct it, or add it in the set-up."
    ),
    "too_many_bags": _(
        "This makes more than %(limit)s bags in one file. Split the file."
    ),
    "too_many_rows": _("The file has more rows than one file may have. Split it."),
    "value_missing": _("This cell is empty and must not be. Fill it in."),
    "yes_no_unclear": _("This is neither yes nor no. Write yes or no."),
}
