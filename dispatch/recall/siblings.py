"""What a recall lookup says of lots that are like the one that was looked up."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from dispatch.trace.siblings import alike
from kitting.models import Lot
from kitting.web.figures import pieces


@dataclass(frozen=True)
class Sibling:
    """Other lots that are like the one that was looked up."""

    kind: str
    words: str
    shown: bool
    """Whether one page can show them all with it."""


def siblings(lot: Lot) -> list[Sibling]:
    """Say in what other lots are like one, the narrowest first.

    Args:
        lot: The lot.

    Returns:
        What a page offers to look up along with it.
    """
    return [
        Sibling(each.kind, f"{_like(lot, each.kind)}: {_others(each.lots)}", each.shown)
        for each in alike(lot)
    ]


def together(lot: Lot, kind: str) -> str:
    """Name a lot with the others that are traced along with it.

    Args:
        lot: The lot.
        kind: In what they are alike: one of ``trace.siblings.ALIKE``.
    """
    return _("with all of %(alike)s") % {"alike": _like(lot, kind)}


def each_of(lot: Lot, kind: str, many: int) -> str:
    """Name the lots that are like one, each by itself.

    Args:
        lot: The lot.
        kind: In what they are alike.
        many: How many they are.
    """
    words = _("each of %(alike)s: %(others)s")
    return words % {"alike": _like(lot, kind), "others": _others(many)}


def _others(many: int) -> str:
    words = ngettext("%(count)s other lot", "%(count)s other lots", many)
    return words % {"count": pieces(many)}


def _like(lot: Lot, kind: str) -> str:
    words = {
        "day": _("the same day and source"),
        "material": _("the same sheet, spool or other lot"),
        "run": _("the same disinfection run"),
        "method": _("method %(method)s"),
        "revision": _("revision %(revision)s of %(part)s"),
        "source": _("%(source)s"),
    }
    return words[kind] % {
        "method": lot.method or "",
        "revision": lot.revision.code,
        "part": lot.part.name,
        "source": lot.source,
    }
