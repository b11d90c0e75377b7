"""Sentences for consignees.

Keep the codes in alphabetical order.
"""

from __future__ import annotations

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from kitting.web.messages import register

SENTENCES: dict[str, str | Promise] = {
    "address_without_country": _(
        "An address in parts needs its country: its order is that of the country's"
        " post. Write the country by its two letters, such as PT."
    ),
}

register(SENTENCES)
