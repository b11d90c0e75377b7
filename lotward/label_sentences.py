"""Sentences for labels that do not fit their paper.

Keep the codes in alphabetical order; those of single codes and texts on a label stand
in ``lotward/sentences.py``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext_lazy as _

if TYPE_CHECKING:
    from django.utils.functional import Promise

SENTENCES: dict[str, str | Promise] = {
    "no_labels": _("No label was asked for. Choose at least one."),
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
}
