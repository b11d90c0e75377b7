"""What a scan on the put-away page does: a thing and its place, in either order.

What was scanned before is in hand and comes back with the next scan, so nothing is
remembered between two scans but on the page itself. A pair is one act. A place stays
in hand, so that many things follow one scan of it; scanned again, what is in hand is
let go of.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING, Any, Final

from django.db.models import Model

from kitting.domain.errors import LotwardError, Missing, Refused
from kitting.domain.shown import shown
from kitting.ledger.operations import Sign
from kitting.models import Bag, Box, Carrier, Place
from kitting.places.services import carriers, places
from kitting.web import scans

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

KINDS: Final = ("bag", "box", "carrier", "place")
"""What can be in hand."""


@dataclass(frozen=True)
class Hand:
    """What was scanned before and waits for the scan that belongs to it."""

    kind: str
    """One of ``KINDS``."""
    row: Model
    text: str
    """Its number or code, as the page sends it back."""


@dataclass(frozen=True)
class Answer:
    """What a scan did, or what it only found."""

    hand: Hand | None
    """What is in hand from now on."""
    did: str = ""
    """Name of the act in the journal; empty if nothing was written."""
    outcome: dict[str, Any] = field(default_factory=dict)
    """What the act gave, by name."""
    found: scans.Found | None = None
    """What was scanned, where nothing was written."""
    let_go: bool = False
    """Whether the scan let go of what was in hand."""


def hand_of(text: str) -> Hand | None:
    """Read what is in hand, as the page sent it back.

    Args:
        text: A number or code; empty for nothing.

    Returns:
        What is in hand.

    Raises:
        CodeError: If it is no number of ours.
        Missing: If nothing has that number.
        Refused: ``not_put_away`` if it is nothing that can be in hand.
    """
    if not text.strip():
        return None
    return _as_hand(scans.read(text))


def _as_hand(found: scans.Found) -> Hand:
    if found.kind not in KINDS or found.row is None:
        what = "shipment" if found.kind == "number" else found.kind
        raise Refused("not_put_away", read=shown(found.text), what=what)
    text = found.row.code if isinstance(found.row, Place) else found.text
    return Hand(found.kind, found.row, text)


def take_scan(*, text: str, hand: str, sign: Sign, why: str = "") -> Answer:
    """Take one scan on the put-away page.

    Args:
        text: Any text, as it was scanned, typed or sent by a button.
        hand: What is in hand, as the page sent it back; empty for nothing.
        sign: Who, when, and the operation key of this scan.
        why: Why a thing goes into quarantine that nothing stopped yet.

    Returns:
        What was done or found, and what is in hand now.

    Raises:
        CodeError: If it is no number.
        Refused: If nothing has the number, it names nothing that is put away, or a
            rule forbids the act.
        WrongStage: If the thing is on the line, or a box is not labelled yet.
        OperationKeyReused: If the key was used for another act.
    """
    try:
        held = hand_of(hand)
        found = scans.read(text)
    except Missing as error:  # a slip of the scanner, not a page that is not there
        raise Refused(error.code, **error.params) from None
    if found.kind in ("lot", "run"):
        return Answer(hand=held, found=found)
    new = _as_hand(found)
    if held is None:
        return Answer(hand=new, found=found)
    if (held.kind, held.row.pk) == (new.kind, new.row.pk):
        return Answer(hand=None, found=found, let_go=True)
    return _pair(held, new, sign, why) or Answer(hand=new, found=found)


def _pair(held: Hand, new: Hand, sign: Sign, why: str) -> Answer | None:
    """Do what two scans ask for together; None if they do not belong together."""
    for place, thing in ((held, new), (new, held)):
        if isinstance(place.row, Place) and not isinstance(thing.row, Place):
            return _done(place, _put(thing.row, place.row, sign, why), thing.row)
    for carrier, thing in ((held, new), (new, held)):
        if isinstance(carrier.row, Carrier) and isinstance(thing.row, Bag):
            loaded = carriers.load_bag(
                carrier_id=carrier.row.pk, bag_id=thing.row.pk, sign=sign, why=why
            )
            return Answer(hand=carrier, did="load_bag", outcome=asdict(loaded))
    kinds = {each.kind: each for each in (held, new)}
    if set(kinds) == {"carrier", "box"}:
        raise Refused("carrier_takes_bags", read=shown(kinds["box"].text))
    return None


def _put(thing: Model, place: Place, sign: Sign, why: str) -> DataclassInstance:
    said: dict[str, Any] = {"place_id": place.pk, "sign": sign, "why": why}
    if isinstance(thing, Carrier):
        return carriers.put_carrier(carrier_id=thing.pk, **said)
    if isinstance(thing, Box):
        return places.put_box(box_id=thing.pk, **said)
    return places.put_bag(bag_id=thing.pk, **said)


def _done(place: Hand, outcome: DataclassInstance, thing: Model) -> Answer:
    names = {Carrier: "put_carrier", Box: "put_box"}
    did = names.get(type(thing), "put_bag")
    return Answer(hand=place, did=did, outcome=asdict(outcome))


def hand_or_none(text: str) -> Hand | None:
    """Read what is in hand from an address; what is odd is nothing.

    Args:
        text: Any text.

    Returns:
        What is in hand, or None.
    """
    try:
        return hand_of(text)
    except LotwardError:
        return None
