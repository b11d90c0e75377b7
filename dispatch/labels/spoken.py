"""Every word of the papers that go along with a shipment, in the complete languages.

Other languages are the workshop's own to fill in, as those of labels are. What a box says
of itself a packing list says in the same word.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from kitting.labels import spoken

_OF_BOXES: Final = ("serial", "packed", "use_by", "reprint")

ENGLISH: Final[Mapping[str, str]] = {
    "packing_list": "Packing list",
    "not_sent": "Not sent yet: this list may still change.",
    "ship_to": "Ship to",
    "ship_from": "From",
    "shipment": "Shipment",
    "sent": "Sent",
    "shipment_reference": "Reference",
    "boxes": "Boxes",
    "pallet": "Pallet",
    "pallets": "Pallets",
    "on_no_pallet": "On no pallet",
    "product": "Product",
    "sets_inside": "Sets",
    "sets_per_box": "Sets per box",
    "lots_by_part": "Lots by part",
    "total": "Total",
    "received": "Received",
    "receiver": "Name",
    "received_on": "Date",
    "newest_link": "Newest link of the journal",
    "delivery_note": "Delivery note",
    "haulier": "Haulier",
    "driver": "Driver",
    "vehicle": "Vehicle",
    "seal": "Seal",
    "requests": "For requests",
    "takes_deliveries": "Takes deliveries",
    "cautions": "Cautions",
    "boxes_counted": "Boxes counted",
    "short": "Short",
    "damaged": "Damaged",
    "signature": "Signature",
    "read_and_say": "Here you read what is in your boxes, and say what you received.",
    "page": "Page {page} of {pages}",
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
    "pallet": "Palette",
    "pallets": "Paletten",
    "on_no_pallet": "Auf keiner Palette",
    "product": "Produkt",
    "sets_inside": "Sets",
    "sets_per_box": "Sets je Karton",
    "lots_by_part": "Chargen nach Teilen",
    "total": "Summe",
    "received": "Empfangen",
    "receiver": "Name",
    "received_on": "Datum",
    "newest_link": "Letzter Journaleintrag",
    "delivery_note": "Lieferschein",
    "haulier": "Spedition",
    "driver": "Fahrer",
    "vehicle": "Fahrzeug",
    "seal": "Plombe",
    "requests": "Zu Anforderungen",
    "takes_deliveries": "Warenannahme",
    "cautions": "Warnhinweise",
    "boxes_counted": "Kartons gezählt",
    "short": "Fehlmenge",
    "damaged": "Beschädigt",
    "signature": "Unterschrift",
    "read_and_say": "Hier lesen Sie, was in Ihren Kartons ist, und melden, was ankam.",
    "page": "Seite {page} von {pages}",
    **{word: spoken.GERMAN[word] for word in _OF_BOXES},
    **{
        word: said for word, said in spoken.GERMAN.items() if word not in spoken.ENGLISH
    },
}

COMPLETE: Final[Mapping[str, Mapping[str, str]]] = {"en": ENGLISH, "de": GERMAN}
