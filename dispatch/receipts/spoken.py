"""Every word of the page of a consignee that is not data, in English and German."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

ENGLISH: Final[Mapping[str, str]] = {
    "lang": "en",
    "title": "What is in your boxes",
    "sent": "Sent",
    "shipment": "Shipment",
    "to": "To",
    "boxes": "Boxes",
    "sets": "Sets",
    "box": "Box",
    "product": "Product",
    "packed": "Packed",
    "use_by": "Use by",
    "part": "Part",
    "revision": "Revision",
    "lot": "Lot",
    "pieces": "Pieces",
    "run": "Run",
    "none": "none",
    "stopped": "Do not use this box: a hold stands on it. Call the workshop.",
    "checked": "What was checked",
    "looked": "Pieces looked at",
    "found": "Defective",
    "verdict": "Verdict",
    "accepted": "accepted",
    "rejected": "rejected",
    "conceded": "accepted under concession",
    "not_checked": "not checked",
    "not_on_record": "not on record",
    "samples": "Sent to a test",
    "waiting": "no result yet",
    "disinfected": "How it was disinfected",
    "on": "On",
    "as": "Said of it",
    "top": "Top",
    "bottom": "Bottom",
    "required": "Required dose",
    "low": "Lower bound of the dose at the weakest point",
    "by_dosimeter": "measured by a dosimeter",
    "held": "Held without a break",
    "required_hold": "Required",
    "seconds": "s",
    "meter": "Meter",
    "calibrated": "Calibrated",
    "due": "Due",
    "uncertainty": "Expanded uncertainty (k = 2)",
    "faulty": "This meter was found to read wrong afterwards. Call the workshop.",
    "evidence": "Evidence of the protocol",
    "no_evidence": "none on record",
    "unmeasured": "What was not measured",
    "plane": (
        "The dose was measured on the plane of the line, not on each part. Film absorbs,"
        " nested pieces shade each other, clear plastics stop light of 254 nm: a dose on"
        " one surface does not carry over to another."
    ),
    "weakest_only": (
        "Nobody measured whether germs were left on these pieces. Disinfection is not"
        " sterilisation."
    ),
    "side_bare": "No dose is required, and none is told, on this side:",
    "part_bare": "Not disinfected",
    "part_unchecked": "Of these parts a lot was not checked",
    "like": "Not measured itself, but held to be like another revision",
    "cautions": "Cautions",
    "count": "Count your boxes",
    "count_help": (
        "Write what you found. It is kept beside what the workshop wrote down. Leave a"
        " count empty where nobody counted."
    ),
    "by": "Your name",
    "received_on": "Received on (YYYY-MM-DD)",
    "received_at": "At (HH:MM)",
    "boxes_counted": "Boxes you counted",
    "sets_counted": "Sets counted",
    "how": "How it was",
    "whole": "as sent",
    "short": "short",
    "damaged": "damaged",
    "absent": "not received",
    "not_said": "not said",
    "box_number": "Box number",
    "only_odd": "Boxes that are not as they were sent",
    "more_odd": (
        "Name only those, each by the number on its label. If more differ than there are"
        " lines here, call the workshop."
    ),
    "remark": "Remark",
    "send": "Send what you counted",
    "thanks": "Thank you. The workshop has what you sent:",
    "said_before": "Sent from this page before",
    "wrong": "Nothing was sent yet. Please look at this:",
    "still_to_come": (
        "The day and time that you wrote are still to come. Write when the boxes arrived."
    ),
    "before_sent": (
        "The day and time that you wrote are before the boxes were sent. Write when they"
        " arrived."
    ),
    "no_link": "This link is not good",
    "no_link_help": (
        "It may be too old, or the workshop ended it. Ask the workshop for another one."
    ),
    "too_often": "This page took as many answers as it may. Call the workshop.",
    "page_old": "Nothing was sent. Please load this page again.",
    "workshop_time": "Times are those of the workshop",
    "by_day": "Questions, by day",
    "at_night": "At night",
}
GERMAN: Final[Mapping[str, str]] = {
    "lang": "de",
    "title": "Was in Ihren Kartons ist",
    "sent": "Versandt",
    "shipment": "Sendung",
    "to": "An",
    "boxes": "Kartons",
    "sets": "Sets",
    "box": "Karton",
    "product": "Produkt",
    "packed": "Verpackt",
    "use_by": "Verwendbar bis",
    "part": "Teil",
    "revision": "Revision",
    "lot": "Charge",
    "pieces": "Stück",
    "run": "Durchlauf",
    "none": "keiner",
    "stopped": (
        "Diesen Karton nicht verwenden: Er ist gesperrt. Rufen Sie die Werkstatt an."
    ),
    "checked": "Was geprüft wurde",
    "looked": "Geprüfte Stücke",
    "found": "Fehlerhaft",
    "verdict": "Ergebnis",
    "accepted": "angenommen",
    "rejected": "abgelehnt",
    "conceded": "mit Sonderfreigabe angenommen",
    "not_checked": "nicht geprüft",
    "not_on_record": "nicht festgehalten",
    "samples": "Zur Untersuchung gegeben",
    "waiting": "noch kein Ergebnis",
    "disinfected": "Wie desinfiziert wurde",
    "on": "Am",
    "as": "Bezeichnet als",
    "top": "Oberseite",
    "bottom": "Unterseite",
    "required": "Geforderte Dosis",
    "low": "Untere Grenze der Dosis an der schwächsten Stelle",
    "by_dosimeter": "mit einem Dosimeter gemessen",
    "held": "Ohne Unterbrechung gehalten",
    "required_hold": "Gefordert",
    "seconds": "s",
    "meter": "Messgerät",
    "calibrated": "Kalibriert",
    "due": "Fällig",
    "uncertainty": "Erweiterte Unsicherheit (k = 2)",
    "faulty": (
        "Bei diesem Messgerät wurde später ein Fehler gefunden. Rufen Sie die Werkstatt"
        " an."
    ),
    "evidence": "Nachweis zum Verfahren",
    "no_evidence": "keiner festgehalten",
    "unmeasured": "Was nicht gemessen wurde",
    "plane": (
        "Die Dosis wurde in der Ebene der Anlage gemessen, nicht auf jedem Teil. Folie"
        " absorbiert, Teile beschatten einander, klare Kunststoffe lassen Licht von"
        " 254 nm nicht durch: Eine Dosis auf einer Fläche gilt nicht für eine andere."
    ),
    "weakest_only": (
        "Ob Keime auf diesen Stücken geblieben sind, hat niemand gemessen. Desinfektion"
        " ist keine Sterilisation."
    ),
    "side_bare": "Auf dieser Seite ist keine Dosis gefordert und keine angegeben",
    "part_bare": "Nicht desinfiziert",
    "part_unchecked": "Von diesen Teilen wurde eine Charge nicht geprüft",
    "like": "Nicht selbst gemessen, sondern einer anderen Revision gleichgestellt",
    "cautions": "Warnhinweise",
    "count": "Zählen Sie Ihre Kartons",
    "count_help": (
        "Schreiben Sie, was Sie gefunden haben. Es steht neben dem, was die Werkstatt"
        " aufgeschrieben hat. Wo niemand gezählt hat, bleibt die Zahl leer."
    ),
    "by": "Ihr Name",
    "received_on": "Empfangen am (JJJJ-MM-TT)",
    "received_at": "Um (HH:MM)",
    "boxes_counted": "Gezählte Kartons",
    "sets_counted": "Gezählte Sets",
    "how": "Zustand",
    "whole": "wie versandt",
    "short": "unvollständig",
    "damaged": "beschädigt",
    "absent": "nicht angekommen",
    "not_said": "keine Angabe",
    "box_number": "Nummer des Kartons",
    "only_odd": "Kartons, die nicht so sind, wie sie versandt wurden",
    "more_odd": (
        "Nennen Sie nur diese, jeden mit der Nummer auf seinem Etikett. Sind es mehr, als"
        " hier Zeilen sind, rufen Sie die Werkstatt an."
    ),
    "remark": "Bemerkung",
    "send": "Zählung senden",
    "thanks": "Danke. Die Werkstatt hat, was Sie gesendet haben:",
    "said_before": "Von dieser Seite bisher gesendet",
    "wrong": "Es wurde noch nichts gesendet. Bitte sehen Sie hier nach:",
    "still_to_come": (
        "Tag und Uhrzeit, die Sie geschrieben haben, liegen noch vor uns. Schreiben Sie,"
        " wann die Kartons ankamen."
    ),
    "before_sent": (
        "Tag und Uhrzeit, die Sie geschrieben haben, liegen vor dem Versand. Schreiben"
        " Sie, wann die Kartons ankamen."
    ),
    "no_link": "Dieser Link ist ungültig",
    "no_link_help": (
        "Er ist vielleicht zu alt, oder die Werkstatt hat ihn gesperrt. Bitten Sie die"
        " Werkstatt um einen neuen."
    ),
    "too_often": (
        "Diese Seite nimmt keine weiteren Antworten an. Rufen Sie die Werkstatt an."
    ),
    "page_old": "Es wurde nichts gesendet. Bitte laden Sie diese Seite neu.",
    "workshop_time": "Zeiten in der Ortszeit der Werkstatt",
    "by_day": "Fragen, tagsüber",
    "at_night": "Nachts",
}


def words_for(language: str) -> Mapping[str, str]:
    """Give every word of the page.

    Args:
        language: As the consignee has it; another than German is read in English.

    Returns:
        By what each is called.
    """
    german = language.partition("-")[0].lower() == "de"
    return GERMAN if german else ENGLISH
