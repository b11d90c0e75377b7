"""What the put-away page says: where a thing stands, and what a scan did."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext as _

from kitting.models import Place
from kitting.places.queries import Where, where
from kitting.places.services.scans import Answer
from kitting.web.figures import amount
from kitting.web.shapes import stage_word


@dataclass(frozen=True)
class Asks:
    """What the page asks for, by what is in hand."""

    answer: str
    scan: str
    """What stands over the field of the scan."""
    idle: str
    """What stands under it before anything was scanned."""
    in_hand: str = ""


def asks_for(kind: str, name: str) -> Asks:
    """Say what the page asks for.

    Args:
        kind: What is in hand: a place, carrier, bag or box; empty for nothing.
        name: What it is called.

    Returns:
        Its sentences.
    """
    if kind == "place":
        return Asks(
            _("Everything scanned now goes to %(place)s.") % {"place": name},
            _("Scan a bag, box or carrier"),
            _("Scan the place again to finish, or another place to continue there."),
            _("Place in hand"),
        )
    if kind == "carrier":
        return Asks(
            _("Scan bags onto %(carrier)s, or scan its place.") % {"carrier": name},
            _("Scan a bag or a place"),
            _("A bag that is scanned again is taken off the carrier."),
            _("Carrier in hand"),
        )
    if not kind:
        return Asks(
            _("Scan a thing and its place, in either order."),
            _("Scan a bag, box, carrier or place"),
            _(
                "With nothing in hand, a scan moves nothing: it only says where the"
                " thing is."
            ),
        )
    again = _("Scan it again to finish with it.")
    if kind == "bag":
        where_to = _("Where does this bag go? Scan its place, or its carrier.")
        return Asks(where_to, _("Scan the place"), again, _("Bag in hand"))
    where_to = _("Where does this box go? Scan its place.")
    return Asks(where_to, _("Scan the place"), again, _("Box in hand"))


def words_for(answer: Answer) -> str:
    """Say what a scan did or found.

    Args:
        answer: What ``take_scan`` gave.

    Returns:
        One or two sentences.
    """
    if answer.did:
        return _ACTS[answer.did](answer.outcome)
    assert answer.found is not None  # noqa: S101 -- without an act, something was found
    assert answer.found.row is not None  # noqa: S101
    there = where(answer.found.row)
    if answer.let_go:
        return _("%(what)s is no longer in hand.") % {"what": thing(there)}
    return f"{where_words(there)} {_next(there)}".strip()


def thing(there: Where) -> str:
    """Name a thing.

    Args:
        there: The thing.

    Returns:
        Such as "Bag B1000042T"; a place by its name.
    """
    if there.kind == "place":
        return there.what
    names = {
        "bag": _("Bag"),
        "box": _("Box"),
        "carrier": _("Carrier"),
        "lot": _("Lot"),
        "run": _("Run"),
    }
    return f"{names[there.kind]} {there.number}"


def where_words(there: Where) -> str:
    """Say where a thing stands.

    Args:
        there: The thing and its place.

    Returns:
        One sentence.
    """
    if there.kind == "place":
        return _stands_there(there)
    if there.kind == "lot":
        return _spread(there)
    values = {
        "thing": thing(there),
        "what": _what(there),
        "place": there.place.name if there.place else "",
        "carrier": there.carrier,
    }
    if there.gone:
        words = {"bag": _("%(thing)s (%(what)s) is used up and has no place.")}
        gone = _("%(thing)s (%(what)s) is not here any more.")
        return words.get(there.kind, gone) % values
    if not there.place:
        return _("%(thing)s (%(what)s) has no place yet.") % values
    if there.carrier:
        return (
            _("%(thing)s (%(what)s) is on carrier %(carrier)s at %(place)s.") % values
        )
    return _("%(thing)s (%(what)s) is at %(place)s.") % values


def _what(there: Where) -> str:
    if there.kind == "bag":
        parts = [there.what, amount(there.pieces, there.unit), stage_word(there.stage)]
        return ", ".join(part for part in parts if part)
    if there.kind == "carrier":
        return f"{there.what}, {amount(there.bags, 'bag')}"
    return ", ".join(part for part in (there.what, stage_word(there.stage)) if part)


def _stands_there(there: Where) -> str:
    return _("%(place)s has %(bags)s and %(boxes)s.") % {
        "place": there.what,
        "bags": amount(there.bags, "bag"),
        "boxes": amount(there.boxes, "box"),
    }


def _spread(there: Where) -> str:
    values = {"thing": thing(there), "what": there.what}
    if not there.spread:
        return _("%(thing)s (%(what)s) has no bag with anything in it.") % values
    found = [
        _("%(bags)s at %(place)s") % {"bags": amount(count, "bag"), "place": name}
        if name
        else _("%(bags)s at no place") % {"bags": amount(count, "bag")}
        for name, count in there.spread
    ]
    spread = ", ".join(found)
    return _("%(thing)s (%(what)s): %(spread)s.") % {**values, "spread": spread}


def _next(there: Where) -> str:
    asks = {
        "bag": _("Scan its place, or its carrier."),
        "box": _("Scan its place."),
        "carrier": _("Scan its place, or a bag onto it."),
        "place": _("Scan what goes there."),
    }
    return "" if there.gone else asks.get(there.kind, "")


def _place_name(code: object) -> str:
    place = Place.objects.filter(code=code).first()
    return place.name if place else str(code)


def _put(kind: str, outcome: dict[str, object]) -> str:
    values = {
        "thing": f"{kind} {outcome['thing']}",
        "place": _place_name(outcome["place"]),
    }
    if not outcome["moved"]:
        said = _("%(thing)s is at %(place)s already.") % values
    else:
        said = _("%(thing)s is at %(place)s now.") % values
    if outcome["held"]:
        said = f"{said} {_('It is on hold.')}"
    if outcome["left"]:
        off = _("It is off carrier %(carrier)s.") % {"carrier": outcome["left"]}
        return f"{said} {off}"
    return said


def _put_carrier(outcome: dict[str, object]) -> str:
    words = (
        _("Carrier %(carrier)s with %(bags)s is at %(place)s now.")
        if outcome["moved"]
        else _("Carrier %(carrier)s with %(bags)s is at %(place)s already.")
    )
    said = words % {
        "carrier": outcome["carrier"],
        "bags": amount(int(str(outcome["bags"])), "bag"),
        "place": _place_name(outcome["place"]),
    }
    return f"{said} {_('Its bags are on hold.')}" if outcome["held"] else said


def _load(outcome: dict[str, object]) -> str:
    values = {
        "carrier": outcome["carrier"],
        "bag": outcome["bag"],
        "bags": amount(int(str(outcome["bags"])), "bag"),
        "left": outcome["left"],
    }
    if not outcome["on"]:
        words = _("Bag %(bag)s is off carrier %(carrier)s, which has %(bags)s now.")
    elif outcome["left"]:
        words = _(
            "Bag %(bag)s is on carrier %(carrier)s now, and off %(left)s. It has"
            " %(bags)s."
        )
    else:
        words = _("Bag %(bag)s is on carrier %(carrier)s, which has %(bags)s now.")
    said = words % values
    return f"{said} {_('The bag is on hold.')}" if outcome["held"] else said


_ACTS = {
    "put_bag": lambda outcome: _put(_("Bag"), outcome),
    "put_box": lambda outcome: _put(_("Box"), outcome),
    "put_carrier": _put_carrier,
    "load_bag": _load,
}
