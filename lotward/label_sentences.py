"""Sentences for labels and symbols that do not fit, and for what would fit.

Keep the codes in alphabetical order; those of texts on a label and of reading it
back stand in ``lotward/sentences.py``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext_lazy as _

if TYPE_CHECKING:
    from django.utils.functional import Promise

SENTENCES: dict[str, str | Promise] = {
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
    "cells_uneven": _(
        "The square code of the label for %(number)s came out uneven, so it was not"
        " printed. Check the printer's resolution in the set-up."
    ),
    "matrix_too_wide": _(
        "The square code needs %(needed_mm)s mm at its smallest, %(dots)s dots a cell,"
        " and has %(room_mm)s mm. What would fit: a label %(least_width_mm)s mm wide and"
        " %(least_height_mm)s mm high, or a shorter content."
    ),
    "no_labels": _("No label was asked for. Choose at least one."),
    "quiet_zone_not_white": _(
        "Something stands within %(dots)s dots of the bars of the label for %(number)s,"
        " so it was not printed. Check the label's size in the set-up."
    ),
    "sheet_has_no_labels": _(
        "A sheet of %(columns)s × %(rows)s labels has none. Enter at least one column"
        " and one row."
    ),
    "sheet_too_small": _(
        "The labels need %(needed_width_mm)s × %(needed_height_mm)s mm with their gaps"
        " and the page has %(width_mm)s × %(height_mm)s mm. Check the sizes, the gaps"
        " and how many there are."
    ),
    "start_beyond_sheet": _(
        "The paper has %(labels)s labels, so printing cannot start at label %(start)s."
        " Enter a place from 1 to %(labels)s."
    ),
    "stock_edge_too_wide": _(
        "The printer leaves %(margin_mm)s mm free on each side of the label; at most"
        " %(most_mm)s mm would leave it whole. Choose larger labels, or check the margin"
        " on a test page."
    ),
    "stock_is_turned": _(
        "The labels in the printer are %(width_mm)s × %(height_mm)s mm and this label is"
        " %(needed_width_mm)s × %(needed_height_mm)s mm. It fits turned by 90°: enter"
        " width and height the other way round, as they pass the print head."
    ),
    "stock_too_small": _(
        "The labels in the printer are %(width_mm)s × %(height_mm)s mm and this label is"
        " %(needed_width_mm)s × %(needed_height_mm)s mm. Choose labels of that size or"
        " larger."
    ),
    "too_many_characters": _(
        "The bars would carry %(characters)s characters and GS1 allows %(most)s:"
        " %(text)s. What would fit: a Data Matrix of %(matrix_mm)s mm, or the content in"
        " two symbols."
    ),
}
