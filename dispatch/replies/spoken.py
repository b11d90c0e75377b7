"""Words of what a consignee is asked about boxes of a case, in English and German."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from dispatch.receipts import spoken

ENGLISH: Final[Mapping[str, str]] = {
    "title": "What became of these boxes?",
    "lead": (
        "There is a fault in them. Do not use them. Set aside what you find, and say here"
        " what became of each box."
    ),
    "case": "Recall",
    "all": "All boxes of which nothing is chosen below",
    "how": "What became of it",
    "none_chosen": "no answer yet",
    "same_as_all": "as chosen for all",
    "as_said": "as said so far",
    "more_than_one": "Not the same for all its sets? Count them",
    "counted_help": (
        "Write the sets of each kind. What you chose above counts for the sets that you"
        " do not count here."
    ),
    "whom": "Passed on to whom",
    "whom_help": "Name and place. For boxes that went to different places, send twice.",
    "look": "Please look at this",
    "sets_out": "Sets to answer for",
    "came_back": "Sets that came back",
    "said_so_far": "Said so far",
    "said_there": "What you said for recall",
    "as_there": "as said for the other recall",
    "send": "Send these answers",
    "thanks": "What the workshop has from you",
    "nothing_left": "Every box that went to you is answered for. Thank you.",
    "nothing_here": "You have no box of this recall now. Thank you.",
    "more_boxes": "More boxes follow when these are answered. Boxes still to come:",
    "answered_since": (
        "Somebody answered for one of these boxes meanwhile; it is shown below. Send"
        " yours again only where it is newer."
    ),
    "wrong_sets": "Sets counted: they do not come to those of the box",
    "no_answer": "Choose of at least one box what became of it",
    "left_on": "Sent",
    "found": "still there, unused",
    "quarantine": "set aside, nobody uses them",
    "returned": "on the way back to the workshop",
    "used": "used",
    "destroyed": "destroyed",
    "passed": "passed on to somebody else",
    "unknown": "nobody knows",
}
GERMAN: Final[Mapping[str, str]] = {
    "title": "Was ist aus diesen Kartons geworden?",
    "lead": (
        "Diese Kartons sind fehlerhaft. Verwenden Sie sie nicht. Sondern Sie aus, was Sie"
        " finden, und geben Sie hier an, was aus jedem Karton geworden ist."
    ),
    "case": "Rückruf",
    "all": "Alle Kartons, zu denen unten nichts gewählt ist",
    "how": "Was daraus geworden ist",
    "none_chosen": "noch keine Antwort",
    "same_as_all": "wie für alle gewählt",
    "as_said": "wie bisher gesagt",
    "more_than_one": "Nicht für alle Sets gleich? Zählen Sie sie",
    "counted_help": (
        "Schreiben Sie die Sets jeder Art. Was Sie oben gewählt haben, gilt für die Sets,"
        " die Sie hier nicht zählen."
    ),
    "whom": "Weitergegeben an wen",
    "whom_help": (
        "Name und Ort. Gingen Kartons an verschiedene Stellen, senden Sie zweimal."
    ),
    "look": "Bitte sehen Sie hier nach",
    "sets_out": "Sets, zu denen eine Antwort fehlt",
    "came_back": "Zurückgekommene Sets",
    "said_so_far": "Bisher gesagt",
    "said_there": "Was Sie zum Rückruf sagten",
    "as_there": "wie zum anderen Rückruf gesagt",
    "send": "Antworten senden",
    "thanks": "Was der Werkstatt von Ihnen vorliegt",
    "nothing_left": "Zu jedem Karton, der an Sie ging, gibt es eine Antwort. Danke.",
    "nothing_here": "Sie haben keinen Karton dieses Rückrufs mehr. Danke.",
    "more_boxes": (
        "Weitere Kartons folgen, wenn diese beantwortet sind. Noch so viele Kartons:"
    ),
    "answered_since": (
        "Zu einem dieser Kartons gab es inzwischen eine Antwort; sie steht unten. Senden"
        " Sie Ihre nur noch einmal, wenn sie neuer ist."
    ),
    "wrong_sets": "Gezählte Sets: Ihre Summe ist nicht die des Kartons",
    "no_answer": "Wählen Sie zu mindestens einem Karton, was daraus geworden ist",
    "left_on": "Versandt",
    "found": "noch da, unbenutzt",
    "quarantine": "ausgesondert, niemand verwendet sie",
    "returned": "auf dem Weg zurück zur Werkstatt",
    "used": "verwendet",
    "destroyed": "vernichtet",
    "passed": "an jemand anderen weitergegeben",
    "unknown": "unbekannt",
}


def words_for(language: str) -> Mapping[str, str]:
    """Give every word of the page, those that it shares with receipts as well.

    Args:
        language: As the consignee has it; another than German is read in English.

    Returns:
        By what each is called.
    """
    shared = spoken.words_for(language)
    return {**shared, **(GERMAN if shared is spoken.GERMAN else ENGLISH)}
