"""Words of inspection: why a plan is the one it is, classes, severities, chances."""

from __future__ import annotations

from django import template
from django.utils.translation import gettext, ngettext

from kitting.checking.queries.checks import percent as aql_percent
from kitting.checking.queries.switching import ClassStanding
from kitting.domain.figures import written
from kitting.domain.sampling import Plan, State
from kitting.models import Check, CheckedClass
from kitting.web.figures import pieces

register = template.Library()

NB = "\N{NO-BREAK SPACE}"


@register.filter
def found_in(checked: CheckedClass, check: Check) -> str:
    """What a check found of a class: nothing is claimed that nobody looked for."""
    if checked.found or check.looked:
        return pieces(checked.found)
    return gettext("not said")


@register.filter
def class_word(defect_class: str) -> str:
    """The word of a class of defect."""
    words = {
        "critical": gettext("critical"),
        "major": gettext("major"),
        "minor": gettext("minor"),
    }
    return words.get(str(defect_class), str(defect_class))


@register.filter
def severity_word(severity: str | None) -> str:
    """The word of a severity of inspection."""
    words = {
        "normal": gettext("normal"),
        "tightened": gettext("tightened"),
        "reduced": gettext("reduced"),
        "all": gettext("all pieces"),
    }
    return words.get(str(severity), "–")


@register.filter
def why(state: State) -> str:
    """Say why a class is inspected as it is, by the published rules of switching."""
    sentences = {
        "start": gettext(
            "Normal: inspection begins like this, and there was no reason to tighten"
            " it."
        ),
        "two_of_five_rejected": gettext(
            "Tightened: %(rejected)s of %(lots)s lots in a row were rejected. After"
            " five accepted in a row, inspection is normal again."
        ),
        "five_accepted": gettext(
            "Normal again: %(lots)s lots in a row were accepted on tightened inspection."
        ),
        "five_rejected": gettext(
            "Stopped: %(rejected)s lots were rejected on tightened inspection."
            " Nothing more is accepted until the quality officer allows the source"
            " again."
        ),
        "resumed": gettext(
            "Tightened: the source was stopped, and the quality officer allowed it"
            " again."
        ),
        "reduced": gettext(
            "Reduced: %(lots)s lots in a row were accepted on normal inspection, and"
            " the quality officer decided it. The first lot that is rejected, or has"
            " more bad pieces than the accept number, ends reduced inspection."
        ),
        "rejected_on_reduced": gettext(
            "Normal again: a lot was rejected on reduced inspection."
        ),
        "between_on_reduced": gettext(
            "Normal again: the last lot on reduced inspection passed, with more bad"
            " pieces than the accept number."
        ),
        "restored": gettext(
            "Normal again: the quality officer ended reduced inspection."
        ),
    }
    return sentences[state.why] % {"lots": state.lots, "rejected": state.rejected}


@register.filter
def lots_so_far(each: ClassStanding) -> str:
    """Say how many lots of a class were accepted in a row on normal inspection."""
    shown = each.standing
    if each.state.severity == "reduced":
        return gettext("on reduced inspection")
    if not shown.on_normal:
        return gettext("not on normal inspection")
    told = gettext("yes, %(lots)s") if shown.enough_lots else gettext("%(lots)s so far")
    return told % {"lots": pieces(shown.lots)}


@register.filter
def found_so_far(each: ClassStanding) -> str:
    """Say what the samples of these lots have shown, beside what the AQL lets pass."""
    shown = each.standing
    if not shown.looked_at:
        return "–"
    told = (
        gettext("yes, %(found)s bad in %(pieces)s, at most %(most)s")
        if shown.good_enough
        else gettext("no, %(found)s bad in %(pieces)s, at most %(most)s")
    )
    return told % {
        "found": pieces(shown.found),
        "pieces": pieces(shown.looked_at),
        "most": pieces(shown.most),
    }


@register.filter
def arrows_word(plan: Plan) -> str:
    """Say which arrows of the table were followed; empty where none was."""
    if not plan.arrows:
        return ""
    down = plan.arrows[0] == "down"
    count = len(plan.arrows)
    words = (
        ngettext("%(count)s arrow down from %(from)s", "%(count)s arrows down from"
                 " %(from)s", count)
        if down
        else ngettext("%(count)s arrow up from %(from)s", "%(count)s arrows up from"
                      " %(from)s", count)
    )  # fmt: skip
    return words % {"count": count, "from": plan.first_letter}


@register.filter
def aql(thousandths: int | None) -> str:
    """Write an acceptable quality level as the tables print it."""
    return "–" if thousandths is None else f"{aql_percent(thousandths)}{NB}%"


@register.filter
def chance(value: float | None) -> str:
    """Write a chance from 0 to 1 as per cent with one place."""
    return "–" if value is None else f"{100 * value:.1f}{NB}%"


@register.filter
def share(ppm: int) -> str:
    """Write parts per million as per cent with at most two places."""
    return f"{written(round(int(ppm) / 100) * 100, 10_000)}{NB}%"


@register.filter
def tenth(ppm: int) -> str:
    """Write parts per million as per cent with one place."""
    return f"{int(ppm) / 10_000:.1f}{NB}%"


@register.filter
def fate_word(fate: str) -> str:
    """What became of a rejected bag."""
    words = {
        "sorted": gettext("sorted"),
        "sent_back": gettext("sent back"),
        "concession": gettext("accepted under concession"),
        "scrapped": gettext("scrapped"),
    }
    return words.get(str(fate), str(fate))


@register.filter
def draws_of(plan: Plan) -> str:
    """Say how many pieces a class is counted in."""
    size = pieces(plan.sample_size)
    return gettext("all %(pieces)s") % {"pieces": size} if plan.whole_lot else size
