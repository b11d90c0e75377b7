"""Sentences for loading a catalogue.

Keep the codes in alphabetical order.
"""

from __future__ import annotations

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from kitting.web.messages import register

SENTENCES: dict[str, str | Promise] = {
    "catalogue_has_problems": _(
        "%(count)s problems are in the catalogue, so nothing of it was taken in."
        " Correct them and load it again."
    ),
    "catalogue_new_version": _(
        "These lines are not those on record. A version never changes: write them"
        " under a new version."
    ),
    "catalogue_time_zone": _(
        "There is no such time zone. Write one by its name, such as Europe/Lisbon."
    ),
}

register(SENTENCES)
