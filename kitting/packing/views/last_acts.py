"""How a bench's strip says what was done there last."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from kitting.models import Bench, Place
from kitting.models.catalogue import PlaceKind
from kitting.packing.queries.undo import HAND_OVER, UNDO, Past

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise

LAST_ACTS: dict[str, _StrPromise] = {
    "begin_shift": gettext_lazy("The bench is clear: the shift has begun"),
    "bring_bag": gettext_lazy("%(part)s bag %(bag)s: %(taken)s taken"),
    "bring_bag, emptied": gettext_lazy(
        "%(part)s bag %(bag)s is empty: %(taken)s taken"
    ),
    "bring_box": gettext_lazy("Box %(box)s goes on here"),
    "cancel_box": gettext_lazy("Box %(box)s cancelled"),
    "cancel_box, scrapped": gettext_lazy(
        "Box %(box)s cancelled; some of it into the waste"
    ),
    "close_box": gettext_lazy("Box closed; its serial is %(serial)s"),
    "take_off_bench": gettext_lazy("%(part)s bag %(bag)s taken off the bench"),
    "print_box_label": gettext_lazy("Label of box %(box)s printed"),
    "print_box_label, sent": gettext_lazy(
        "Label of box %(box)s is on its way to the printer"
    ),
    "hand_over": gettext_lazy("Box %(box)s went to %(to)s"),
    "hand_over, came": gettext_lazy("Box %(box)s came from %(of)s"),
    "miss_pieces": gettext_lazy("%(part)s bag %(bag)s is empty; missing: %(missing)s"),
    "find_pieces": gettext_lazy("More in %(part)s bag %(bag)s than on record"),
    "find_pieces, scrapped": gettext_lazy(
        "More in %(part)s bag %(bag)s; into the waste: %(scrapped)s"
    ),
    "print_labels": gettext_lazy("Slips of the sets are there to be opened"),
    "print_labels, sent": gettext_lazy("Slips of the sets are on their way"),
    "put_bag": gettext_lazy("Bag %(thing)s is put away"),
    "put_box": gettext_lazy("Box %(thing)s is in quarantine: write its number on it"),
    "put_box, ready": gettext_lazy("Box %(thing)s is put away"),
    "scrap_bad, scrapped": gettext_lazy(
        "A piece of %(part)s bag %(bag)s is bad: put it into the waste, take another"
    ),
    "see_label": gettext_lazy("Box %(box)s labelled"),
    "see_label, next": gettext_lazy("Box %(box)s goes out; this is the next one"),
    "see_label, emptied, next": gettext_lazy(
        "Box %(box)s goes out; empty now: %(emptied)s"
    ),
    "set_back": gettext_lazy("%(part)s is set back: bag %(into)s now"),
    "stop_after": gettext_lazy("No box starts by itself after box %(box)s"),
    "start_box": gettext_lazy("Box %(box)s started"),
    "start_box, emptied": gettext_lazy("Box started; empty now: %(emptied)s"),
    "take_off_bench, undone": gettext_lazy("%(part)s bag %(bag)s is open here again"),
    "take_out": gettext_lazy("Back into the bag: %(out)s"),
    "bring_bag, undone": gettext_lazy("%(part)s bag %(bag)s: its scan is undone"),
    "find_pieces, undone": gettext_lazy("%(part)s bag %(bag)s: its count is undone"),
    "miss_pieces, undone": gettext_lazy("%(part)s bag %(bag)s: its count is undone"),
    "start_box, undone": gettext_lazy("Box %(box)s: its start is undone"),
}
"""How the strip says the newest act, with values of its outcome."""
READY = Place.objects.filter(kind=PlaceKind.READY, active=True)
"""Places where boxes wait to go out."""


def handed_over(did: str, gave: Mapping[str, Any], bench: Bench) -> dict[str, Any]:
    """Give what an act handed over, and from where to where.

    Args:
        did: Its name in the journal.
        gave: What it gave, by name.
        bench: The bench whose screen says so.

    Returns:
        What it gave, with the names of both benches, ``of`` and ``to``, and whether it
        ``came`` to this one; nothing for another act.
    """
    if did != HAND_OVER:
        return {}
    codes = (gave["came_from"], gave["went_to"])
    names = dict(Bench.objects.filter(code__in=codes).values_list("code", "name"))
    of, to = (names[code] for code in codes)
    return {**gave, "of": of, "to": to, "came": gave["went_to"] == bench.code}


def past_in_words(past: Past | None, bench: Bench) -> str:
    """Say the act that is asked about.

    Args:
        past: The act, where there is one.
        bench: The bench whose screen says so.

    Returns:
        The words, or nothing.
    """
    return "" if past is None else in_words(past.name, past.gave, bench)


def in_words(act: str, gave: Mapping[str, Any], bench: Bench) -> str:
    """Say an act that was done at a bench.

    Args:
        act: Its name in the journal.
        gave: What it gave, by name.
        bench: The bench whose screen says so.

    Returns:
        The words; nothing where there is nothing to say.
    """
    if act == HAND_OVER:
        gave = handed_over(act, gave, bench)
    said = f"{gave['act']}, undone" if act == UNDO else act
    if gave.get("came"):
        said += ", came"
    if gave.get("emptied"):
        said += ", emptied"
    if gave.get("scrapped"):
        said += ", scrapped"
    if gave.get("job"):
        said += ", sent"
    if gave.get("next"):
        said += ", next"
    if act == "put_box":
        said += ", ready" if READY.filter(code=gave["place"]).exists() else ""
    words = str(LAST_ACTS[said]) % gave if said in LAST_ACTS else ""
    if act == "bring_bag" and (there := gave.get("from_bench")):
        name = Bench.objects.values_list("name", flat=True).get(code=there)
        words = f"{words}. " + _("It was open at %(bench)s.") % {"bench": name}
    return words
