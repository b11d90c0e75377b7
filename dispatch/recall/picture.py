"""The picture of a recall: lots, where their pieces are, and whom they reached."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from typing import Final

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from dispatch.domain.flow import Flow
from dispatch.domain.trace import Balance
from dispatch.recall.queries.recall import Reached
from dispatch.trace.queries import Trace
from kitting.models import Bag
from kitting.web.figures import pieces

MOST: Final = 12
"""Things of one layer; the smallest beyond are drawn as one."""


@dataclass(frozen=True)
class Picture:
    """Things in layers, with their words, and what flows between them."""

    layers: list[list[str]]
    words: dict[str, tuple[str, int]]
    """Of each thing its name and its pieces."""
    flows: list[Flow]


def picture_of(found: Trace, reached: Collection[Reached]) -> Picture | None:
    """Say what is drawn of a trace: every piece of it, once in each layer.

    Args:
        found: A trace.
        reached: The consignees that its boxes were sent to.

    Returns:
        The picture; None where nothing is counted in pieces.
    """
    lots = {
        number: _where(balance)
        for number, balance in found.balances
        if balance.unit == "piece"
    }
    alone = isinstance(found.row, Bag)
    went = {
        whom.name + whom.code: sum(
            box.own if alone else box.pieces for box in whom.boxes
        )
        for whom in reached
    }
    names = {whom.name + whom.code: whom.name for whom in reached}
    first = _layer({lot: sum(there.values()) for lot, there in lots.items()}, {}, _lots)
    last = _layer(went, names, _consignees)
    flows: dict[tuple[str, str], int] = defaultdict(int)
    for lot, there in lots.items():
        for place, many in there.items():
            flows[first.drawn(lot), place] += many
    places = _places()
    middle = dict.fromkeys(places, 0)
    for (_lot, place), many in flows.items():
        middle[place] += many
    at = {name: (places[name], many) for name, many in middle.items() if many}
    if not at:
        return None
    layers = [first.things, at, *([last.things] if last.things else [])]
    return Picture(
        layers=[list(layer) for layer in layers],
        words={key: said for layer in layers for key, said in layer.items()},
        flows=[
            *(Flow(lot, place, many) for (lot, place), many in flows.items()),
            *(Flow("sent", whom, many) for whom, (_name, many) in last.things.items()),
        ],
    )


def _places() -> dict[str, str]:
    return {
        "sent": _("sent"),
        "in_boxes": _("in boxes here"),
        "in_bags": _("in bags here"),
        "returned": _("came back"),
        "made_into": _("made into other lots"),
        "sampled": _("sampled"),
        "scrapped": _("scrapped"),
        "missing": _("missing"),
    }


def _where(balance: Balance) -> dict[str, int]:
    there = {name: getattr(balance, name) for name in _places()}
    return {name: many for name, many in there.items() if many > 0}


@dataclass(frozen=True)
class _Layer:
    things: dict[str, tuple[str, int]]
    rest: str

    def drawn(self, key: str) -> str:
        """The thing as which another one is drawn: itself, or all that are small."""
        return key if key in self.things else self.rest


def _layer(
    sizes: Mapping[str, int], names: Mapping[str, str], others: Callable[[int], str]
) -> _Layer:
    """The largest things in their order, and all others as one."""
    some = [key for key, many in sizes.items() if many]
    kept = set(sorted(some, key=lambda key: -sizes[key])[: MOST - 1])
    rest = [key for key in some if key not in kept]
    if len(rest) == 1:
        kept, rest = {*kept, *rest}, []
    things = {key: (names.get(key, key), sizes[key]) for key in some if key in kept}
    name = others(len(rest))
    if rest:
        things[name] = name, sum(sizes[key] for key in rest)
    return _Layer(things, name)


def _lots(many: int) -> str:
    words = ngettext("%(count)s other lot", "%(count)s other lots", many)
    return words % {"count": pieces(many)}


def _consignees(many: int) -> str:
    words = ngettext("%(count)s other consignee", "%(count)s other consignees", many)
    return words % {"count": pieces(many)}
