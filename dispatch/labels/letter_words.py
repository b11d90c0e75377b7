"""Every word of a letter about a recall that is not data, in English and German."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from dispatch.labels import spoken

_OF_PAPERS: Final = (
    *("serial", "product", "sets_inside", "sets_per_box", "boxes", "total", "shipment"),
    *("sent", "receiver", "received_on", "signature", "newest_link", "page"),
)

ENGLISH: Final[Mapping[str, str]] = {
    **{word: spoken.ENGLISH[word] for word in _OF_PAPERS},
    "urgent": "URGENT",
    "recall": "Recall of product",
    "addition": "Addition to our letter before this one",
    "addition_help": (
        "The recall goes further than we wrote before. What is new stands first; what we"
        " wrote before still holds."
    ),
    "repeated_help": "No box is new in this letter. What it says replaces what we wrote.",
    "from": "From",
    "to": "To",
    "written": "Written",
    "case": "Recall case",
    "stop": "Stop using these boxes and stop passing them on, at once.",
    "what": "What is recalled",
    "lots": "Lots",
    "why": "Why, and what can happen",
    "to_do": "What to do",
    "aside": (
        "Set every box below apart, with all that was taken out of it, so that nobody"
        " uses it."
    ),
    "tell_on": (
        "If you passed boxes on, to your own wards or to anybody else, tell them now, and"
        " give them a copy of this letter."
    ),
    "reply": "Fill in the reply form and send it back, also if nothing is left.",
    "reply_by": "Answer by {day} at the latest.",
    "new": "New in this letter",
    "before": "In our letters before",
    "passed": "passed on to {whom}, as we were told",
    "known": "How to know a set that is out of its box",
    "slip": (
        "With each set there is a slip. On it, after the word “Box”, stands the serial of"
        " the box that the set came from. Compare it with the list above. A set without a"
        " slip that may have come from one of these boxes: do not use it."
    ),
    "marks": "Where a part bears a mark itself, compare it with these:",
    "part": "Part",
    "revision": "Revision",
    "lot": "Lot",
    "call": "Whom to call",
    "by_day": "By day",
    "at_night": "At night",
    "form": "Reply form",
    "form_help": (
        "Write for each box how many sets there are of each. Send it to us, at the"
        " address on top, or tell us by telephone."
    ),
    "unused": "Unused",
    "used": "Used",
    "quarantine": "Set apart",
    "returned": "Sent back",
    "destroyed": "Destroyed",
    "passed_on": "Passed on",
    "passed_whom": "Passed on to whom",
    "telephone": "Telephone",
    "read_and_say": "Here you can reply instead.",
    "attached": "The letter is attached. It lists the boxes and has a reply form.",
}
GERMAN: Final[Mapping[str, str]] = {
    **{word: spoken.GERMAN[word] for word in _OF_PAPERS},
    "urgent": "DRINGEND",
    "recall": "Produktrückruf",
    "addition": "Ergänzung unseres letzten Schreibens",
    "addition_help": (
        "Der Rückruf reicht weiter, als wir bisher geschrieben haben. Was neu ist, steht"
        " zuerst; was wir bisher geschrieben haben, gilt weiter."
    ),
    "repeated_help": (
        "In diesem Schreiben ist kein Karton neu. Was darin steht, ersetzt, was wir"
        " bisher geschrieben haben."
    ),
    "from": "Absender",
    "to": "An",
    "written": "Datum",
    "case": "Rückruf Nr.",
    "stop": (
        "Verwenden Sie diese Kartons ab sofort nicht mehr und geben Sie sie nicht weiter."
    ),
    "what": "Was zurückgerufen wird",
    "lots": "Chargen",
    "why": "Grund und mögliche Folgen",
    "to_do": "Was zu tun ist",
    "aside": (
        "Sondern Sie jeden unten genannten Karton und alles, was daraus entnommen wurde,"
        " aus, sodass niemand es verwendet."
    ),
    "tell_on": (
        "Haben Sie Kartons weitergegeben, an eigene Stationen oder an andere,"
        " informieren Sie diese sofort und geben Sie ihnen eine Kopie dieses Schreibens."
    ),
    "reply": (
        "Füllen Sie das Antwortformular aus und senden Sie es zurück, auch wenn nichts"
        " mehr da ist."
    ),
    "reply_by": "Antworten Sie bitte bis spätestens {day}.",
    "new": "Neu in diesem Schreiben",
    "before": "In unseren bisherigen Schreiben",
    "passed": "nach dem, was uns gesagt wurde, weitergegeben an {whom}",
    "known": "Woran Sie ein Set außerhalb seines Kartons erkennen",
    "slip": (
        "Bei jedem Set liegt ein Zettel. Darauf steht nach dem Wort „Karton“ die Nummer"
        " des Kartons, aus dem das Set stammt. Vergleichen Sie sie mit der Liste oben."
        " Ein Set ohne Zettel, das aus einem dieser Kartons stammen kann, verwenden Sie"
        " nicht."
    ),
    "marks": "Trägt ein Teil selbst eine Kennzeichnung, vergleichen Sie sie hiermit:",
    "part": "Teil",
    "revision": "Revision",
    "lot": "Charge",
    "call": "Kontakt",
    "by_day": "Tagsüber",
    "at_night": "Nachts",
    "form": "Antwortformular",
    "form_help": (
        "Schreiben Sie zu jedem Karton, wie viele Sets es jeweils sind. Senden Sie es an"
        " die Adresse oben, oder teilen Sie es uns am Telefon mit."
    ),
    "unused": "Unbenutzt",
    "used": "Benutzt",
    "quarantine": "Ausgesondert",
    "returned": "Zurückgesandt",
    "destroyed": "Vernichtet",
    "passed_on": "Weitergegeben",
    "passed_whom": "Weitergegeben an",
    "telephone": "Telefon",
    "read_and_say": "Hier können Sie stattdessen antworten.",
    "attached": (
        "Das Schreiben ist beigefügt. Darin stehen die Kartons und ein Antwortformular."
    ),
}


def words_for(language: str) -> Mapping[str, str]:
    """Give every word of a letter.

    Args:
        language: As the consignee has it; another than German is written in English.

    Returns:
        By what each is called.
    """
    return GERMAN if written_in(language) == "de" else ENGLISH


def written_in(language: str) -> str:
    """Say in which language a letter is written.

    Args:
        language: As the consignee has it.

    Returns:
        ``de`` or ``en``.
    """
    return "de" if language.partition("-")[0].lower() == "de" else "en"
