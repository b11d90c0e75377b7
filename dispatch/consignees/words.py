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
    "consignee_asked": _(
        "Open for %(consignee)s: %(which)s. Nothing can be sent there once it is closed."
        " Say why it is closed anyway, or end those first."
    ),
    "consignee_closed": _(
        "%(consignee)s is closed, so nothing is sent there. Open it again on its page"
        " first."
    ),
    "consignee_merged": _(
        "%(consignee)s was merged with another one already. Open it again on its page"
        " first, if that was wrong."
    ),
    "consignee_twice": _(
        "Consignee %(value)s is in line %(first_line)s already. Write one row for each."
    ),
    "consignee_unknown": _(
        "No consignee has the code or GLN “%(value)s”. Correct it, or add it first."
    ),
    "email_wrong": _(
        "“%(read)s” is no e-mail address. Write one such as stores@example.org, or leave"
        " it empty."
    ),
    "gln_taken": _("The GLN %(read)s is that of %(name)s. Each has its own."),
    "gln_wrong": _(
        "“%(read)s” is no GLN: it has 13 digits, of which the last is a check digit."
    ),
    "merged_while_loading": _(
        "Being loaded for %(consignee)s: %(which)s. Labels on those boxes bear its name."
        " Send or cancel what is being loaded first, then merge the two."
    ),
    "merged_with_itself": _("%(consignee)s is this one. Choose the other one."),
    "point_unknown": _(
        "%(consignee)s has no delivery point or ward “%(read)s”. On record are:"
        " %(points)s. Choose one of these, or add it on the page of the consignee."
    ),
}

register(SENTENCES)
