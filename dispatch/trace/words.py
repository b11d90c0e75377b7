"""Sentences for traces.

Keep the codes in alphabetical order.
"""

from __future__ import annotations

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from kitting.web.messages import register

SENTENCES: dict[str, str | Promise] = {
    "not_traced": _(
        "“%(read)s” is the number of something that holds no pieces, so there is no"
        " trace. Scan a lot, bag, run, box or shipment."
    ),
}

register(SENTENCES)
