"""The form for setting back a bag that was open for too long."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from kitting.lots.forms.counts import BagForm
from kitting.web.forms import ScanField


class SetBackForm(BagForm):
    """Into which new bag the pieces go."""

    things = {"into": _("the new bag")}

    into = ScanField(
        label=_("The new bag"),
        required=False,
        help_text=_("Scan a blank label. Left empty, the bag gets the next number."),
    )
