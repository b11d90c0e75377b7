"""Labels of every purpose: each room registers those that it composes."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

from django.urls import NoReverseMatch, reverse
from django.utils.translation import gettext_lazy as _

from kitting.domain.errors import Missing, Refused
from kitting.domain.prints import TEST
from kitting.labels.kinds import Kind
from kitting.models import Workshop

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise

DEMO_MARK: Final = "DEMONSTRATION – NOT FOR USE"


@dataclass(frozen=True)
class Subject:
    """One thing to print labels for."""

    number: str
    """What the label names."""

    labels: tuple[Any, ...]
    """What is drawn, as first copies: one, or the slips of all sets of a box."""

    box_id: int | None = None
    """The box whose box label it is."""

    bag_id: int | None = None
    """The bag whose label it is."""


@dataclass(frozen=True)
class Labelled:
    """Labels of one purpose: how they are drawn, composed and spoken of."""

    name: str
    """As the print log names them, at most 12 characters."""

    kind: Kind[Any]
    compose: Callable[[Sequence[str]], tuple[Subject, ...]]
    """From what the labels name, in order; raises ``Missing`` for what there is not."""

    words: tuple[_StrPromise, _StrPromise]
    """What they are called, one and many."""

    page: str | Callable[[str], str] = ""
    """Address name of the page of what a label names, where it has one that all who
    print may see; or what gives it for a number."""

    every: Callable[[], list[str]] | None = None
    """What all there are name, where they can be asked for all at once."""

    within: Mapping[str, Callable[[str], list[str]]] = field(default_factory=dict)
    """What they name that belongs to one thing, by the word that asks for it."""


LABELLED: Final[dict[str, Labelled]] = {}
"""Labels by the name that the print log gives them, in the order of the rooms."""

UNREGISTERED: Final = {
    "badge": (_("badge"), _("badges")),
    TEST: (_("test page"), _("test pages")),
}
"""What is printed and logged, but never composed from the record."""


def register(*labelled: Labelled) -> None:
    """Add labels that a room composes; once, when it is loaded."""
    LABELLED.update({one.name: one for one in labelled})


def kept_in_many() -> list[str]:
    """Names of the labels of which many copies may be in use."""
    return [one.name for one in LABELLED.values() if one.kind.many]


def labelled_as(name: str) -> Labelled:
    """Give labels of a purpose.

    Args:
        name: As the print log names them.

    Returns:
        How they are drawn and composed.

    Raises:
        Missing: If there are none of that name.
    """
    found = LABELLED.get(name)
    if found is None:
        raise Missing("row_missing", what="label")
    return found


def label_words(name: str, count: int = 1) -> str:
    """Say what labels are.

    Args:
        name: As the print log names them.
        count: How many there are.

    Returns:
        The words, such as "box label".
    """
    known = LABELLED.get(name)
    words = known.words if known else UNREGISTERED.get(name, (name, name))
    return str(words[0] if count == 1 else words[1])


def page_of(number: str, name: str) -> str:
    """Give the address of what a label names; nothing where it has no page.

    Args:
        number: What it names; for a label in a shipment, that and the box.
        name: As the print log names such labels.
    """
    known = LABELLED.get(name)
    number = number.partition(" ")[0]
    try:
        page = known.page if known else ""
        return reverse(page if isinstance(page, str) else page(number), args=[number])
    except NoReverseMatch:
        return ""


def numbers_asked(name: str, asked: Mapping[str, str], named: list[str]) -> list[str]:
    """Give what labels of a kind are asked for.

    Args:
        name: As the print log names them.
        asked: The address's query: ``all``, or ``lot`` or ``run`` where there is such.
        named: Numbers that the address names one by one; they come first.

    Returns:
        What the labels name; none where nothing is asked for.
    """
    known = LABELLED.get(name)
    if named or known is None:
        return named
    if "all" in asked and known.every:
        return known.every()
    for word, find in known.within.items():
        if word in asked:
            return find(asked[word])
    return []


def mark_of(workshop: Workshop | None = None) -> str | None:
    """What stands across every label of a demo; the workshop is read if not given."""
    workshop = workshop or Workshop.objects.get(pk=1)
    return DEMO_MARK if workshop.demo else None


def each_once(wanted: Sequence[str], found: Iterable[str], what: str) -> Sequence[str]:
    """Give the wanted numbers, if each was found and none is wanted twice.

    Args:
        wanted: The numbers.
        found: Those that there are.
        what: What they are numbers of.

    Returns:
        The wanted numbers.

    Raises:
        Missing: ``row_missing``.
        Refused: ``label_asked_twice``.
    """
    if not set(wanted) <= set(found):
        raise Missing("row_missing", what=what)
    if len(set(wanted)) < len(wanted):
        raise Refused("label_asked_twice")
    return wanted
