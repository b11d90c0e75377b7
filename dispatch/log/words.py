"""Sentences for the shipping log.

Keep the codes in alphabetical order.
"""

from __future__ import annotations

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from kitting.web.messages import register

SENTENCES: dict[str, str | Promise] = {
    "scan_not_a_lot": _(
        "“%(read)s” is not the number of a lot. Enter the number of one."
    ),
    "too_many_views": _(
        "There are %(most)s views already. Drop one that nobody needs any more."
    ),
    "view_kept": _(
        "“%(name)s” is a view that %(by)s keeps, for everybody. Give yours another name."
    ),
}

register(SENTENCES)
