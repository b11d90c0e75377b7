"""Forms of covers: the reasons that a quality officer signs."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import forms
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from kitting.disinfection.queries.covers import Measured
from kitting.web.fields import ReasonField
from kitting.web.forms import NamedForm


class CoverForm(NamedForm):
    """Like which revision one is covered, and why.

    Args:
        *args: As for any form.
        measured: What may be chosen.
        **kwargs: As for any form.
    """

    things = {
        "like": _("the revision that was measured"),
        "seen": _("what was on record"),
    }

    like = forms.ChoiceField(label=_("Covered like"))
    reason = ReasonField(
        label=_("Because"),
        rows=3,
        help_text=_("What is alike of what the light, the heat or the liquid meets."),
    )
    seen = forms.CharField(widget=forms.HiddenInput, max_length=64)

    def __init__(self, *args: Any, measured: Iterable[Measured], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.offer("like", [(one.key, _words(one)) for one in measured])

    @property
    def entries(self) -> dict[str, Any]:
        """The protocol and the revision apart."""
        said = super().entries
        protocol, like = said.pop("like").split("-")
        return {**said, "protocol_id": int(protocol), "like_id": int(like)}


def _words(one: Measured) -> str:
    words = _now("revision %(like)s by %(protocol)s: %(loads)s")
    load_words = _now("%(container)s, at most %(most)s")
    loads = (
        load_words % {"container": load.container, "most": load.max_pieces}
        for load in one.loads
    )
    named = {"like": one.like.code, "protocol": one.protocol, "loads": "; ".join(loads)}
    return words % named


class WithdrawForm(NamedForm):
    """Why a cover ends."""

    reason = ReasonField(rows=2)
