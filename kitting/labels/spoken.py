"""Every word on boxes and slips that is not data, in the languages that are complete.

German is compared with published terms (``docs/labels.md``) and signed by nobody. Other
languages are the workshop's own to fill in: what each word stands for is said here.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

ENGLISH: Final[Mapping[str, str]] = {
    "set_one": "set",
    "sets": "sets",
    "packed": "Packed",
    "use_by": "Use by",
    "serial": "Box",
    "batch": "Kit batch",
    "reference": "Ref.",
    "lots": "Lots",
    "lots_elsewhere": "Lots: see packing list",
    "latex": "Contains natural rubber latex.",
    "non_sterile": "Non-sterile.",
    "contact": "Questions: {contact}",
    "nth": "Set {nth} of {of}",
    "reprint": "Reprint {copy}",
}
GERMAN: Final[Mapping[str, str]] = {
    "set_one": "Set",
    "sets": "Sets",
    "packed": "Verpackt",
    "use_by": "Verwendbar bis",
    "serial": "Karton",
    "batch": "Packcharge",
    "reference": "Art.-Nr.",
    "lots": "Chargen",
    "lots_elsewhere": "Chargen: siehe Packliste",
    "latex": "Enthält Naturkautschuklatex.",
    "non_sterile": "Unsteril.",
    "contact": "Fragen: {contact}",
    "nth": "Set {nth} von {of}",
    "reprint": "Nachdruck {copy}",
    "Disinfected": "Desinfiziert",
    "Disinfected (UV-C)": "Desinfiziert (UV-C)",
    "Disinfected (dry heat)": "Desinfiziert (trockene Hitze)",
    "Disinfected (liquid)": "Desinfiziert (flüssig)",
}
"""With the words of protocols, which are written in English."""

COMPLETE: Final[Mapping[str, Mapping[str, str]]] = {"en": ENGLISH, "de": GERMAN}
CAUTIONS: Final = frozenset({"latex", "non_sterile"})
"""Those that are printed only once somebody looked at them."""
