"""Every word of a packing list that is not data, in the languages that are complete.

Other languages are the workshop's own to fill in, as those of labels are. What a box says
of itself a packing list says in the same word.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from kitting.labels import spoken

_OF_BOXES: Final = ("serial", "packed", "use_by")

ENGLISH: Final[Mapping[str, str]] = {
    "packing_list": "Packing list",
    "not_sent": "Not sent yet: this list may still change.",
    "ship_to": "Ship to",
    "ship_from": "From",
    "shipment": "Shipment",
    "sent": "Sent",
    "shipment_reference": "Reference",
    "boxes": "Boxes",
    "product": "Product",
    "sets_inside": "Sets",
    "sets_per_box": "Sets per box",
    "lots_by_part": "Lots by part",
    "total": "Total",
    "received": "Received",
    "receiver": "Name",
    "received_on": "Date",
    "newest_link": "Newest link of the journal",
    **{word: spoken.ENGLISH[word] for word in _OF_BOXES},
}
GERMAN: Final[Mapping[str, str]] = {
    "packing_list": "Packliste",
    "not_sent": "Noch nicht versandt: Diese Liste kann sich noch ändern.",
    "ship_to": "Empfänger",
    "ship_from": "Absender",
    "shipment": "Sendung",
    "sent": "Versandt",
    "shipment_reference": "Referenz",
    "boxes": "Kartons",
    "product": "Produkt",
    "sets_inside": "Sets",
    "sets_per_box": "Sets je Karton",
    "lots_by_part": "Chargen nach Teilen",
    "total": "Summe",
    "received": "Empfangen",
    "receiver": "Name",
    "received_on": "Datum",
    "newest_link": "Neuestes Glied des Journals",
    **{word: spoken.GERMAN[word] for word in _OF_BOXES},
}

COMPLETE: Final[Mapping[str, Mapping[str, str]]] = {"en": ENGLISH, "de": GERMAN}
