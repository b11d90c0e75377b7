"""The sentences for the codes of refusals: what was read, what is wrong, what to do.

``kitting.domain.errors`` carries codes and values; people read these. Every placeholder
is named and is a value that the error carries. Keep the codes in alphabetical order.
"""

from __future__ import annotations

from contextlib import suppress

from django.utils.functional import Promise
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from kitting.domain.errors import LotwardError

SENTENCES: dict[str, str | Promise] = {
    "op_key_unreadable": _(
        "This form came without its operation key, so it cannot be told from one that"
        " was sent before. Load the page again and repeat the act."
    ),
    "operation_key_reused": _(
        "This form was sent before with other contents, and that act stands. Load the"
        " page again before you send something else."
    ),
}


def sentence(error: LotwardError) -> str:
    """Say a refusal in a sentence; one without a sentence still names its code."""
    known = SENTENCES.get(error.code)
    if known is not None:
        with suppress(KeyError):  # A value that the sentence names was not given.
            return str(known) % error.params
    return gettext(
        "This was refused, and nothing was written (%(code)s). Check what was entered"
        " and try again; if it is refused again, pass the code on."
    ) % {"code": error.code}
