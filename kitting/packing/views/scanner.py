"""Trying a scanner: what arrives of it, and what is wrong with its settings."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, Final

from django.http import HttpResponse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from kitting.domain.gs1 import GS
from kitting.domain.scanner import Arrived, Key, arrived, faults, trial
from kitting.packing.forms import TrialForm
from kitting.packing.queries.scanner import means, symbols
from kitting.web.http import LotwardRequest, allowed, render_part

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise

FAULTS: Final[dict[str, _StrPromise]] = {
    "separator_missing": gettext_lazy(
        "No separator came between the two fields. Set the scanner to send it as GS, as"
        " Ctrl+] or as F8."
    ),
    "separator_unknown": gettext_lazy(
        "“%(key)s” came where the separator belongs. Take it as the separator here, or"
        " set the scanner to send GS, Ctrl+] or F8."
    ),
    "keyboard_other": gettext_lazy(
        "Some signs came as others: %(signs)s. The keyboard of the scanner is another"
        " one than that of this device. Set the same one in both."
    ),
    "capitals_lost": gettext_lazy(
        "Capital letters came as small ones. Switch Caps Lock off, here and in the"
        " scanner."
    ),
    "suffix_missing": gettext_lazy(
        "No key came at the end. It is read after a short pause. It is"
        " surer and quicker with Enter or Tab at the end."
    ),
    "suffix_missing_slow": gettext_lazy(
        "No key came at the end, and the signs came as slowly as a hand types. Set the"
        " scanner to end with Enter or Tab."
    ),
    "identifier_missing": gettext_lazy(
        "The kind of the code was not named, such as ]C1 or ]d2. Set the scanner to send"
        " these identifiers (AIM)."
    ),
}
TRIALS: Final = {
    "command": gettext_lazy("The command label of this page"),
    "elements": gettext_lazy("The code with two fields of this page"),
}


@allowed("kitting.pack", by_badge=True)
def scanner(request: LotwardRequest) -> HttpResponse:
    """Show what a scan arrived as; nothing of it is kept."""
    sent = TrialForm(request.GET).chosen()
    context: dict[str, object] = {"symbols": symbols()}
    if sent.get("keys") or sent.get("read"):
        context |= _seen(sent)
    return render_part(request, "kitting/packing/scanner", "_scanner", context)


def _seen(sent: dict[str, Any]) -> dict[str, object]:
    keys: list[Key] = sent.get("keys") or []
    typed = keys or [Key(sign) for sign in sent.get("read", "")]
    scan = arrived(typed, sent.get("stand_in", ""))
    found = faults(scan) if keys else []
    which = trial(scan)
    return {
        "scan": scan,
        "keys": list(_shown(scan)),
        "means": TRIALS[which] if which else means(scan.text),
        "faults": [FAULTS[one.code] % dict(one.params) for one in found],
        "stand_ins": [
            dict(one.params)["key"] for one in found if one.code == "separator_unknown"
        ],
        "whole": bool(keys),
    }


def _shown(scan: Arrived) -> Iterator[tuple[str, str]]:
    """Each key as it is shown, and what it is where it is no sign."""
    named = {GS: _("separator")}
    for token in scan.tokens:
        yield ("GS" if token == GS else token), named.get(token, "")
    for token in scan.suffix:
        yield token, _("end")
