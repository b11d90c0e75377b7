"""Forms of parts and their revisions."""

from __future__ import annotations

from typing import Any, Final

from django import forms
from django.utils.translation import gettext_lazy as _

from kitting.ledger.coded import NAME_LONGEST, PART_CODE_LONGEST
from kitting.models.catalogue import Unit
from kitting.printing.forms.stocks import capitals
from kitting.products.steps.parts import NOTES, OPEN_HOURS_MOST, REVISION_LONGEST
from kitting.web.fields import CodeField, FigureField, ReasonField
from kitting.web.forms import KeyedForm

UNITS: Final[list[tuple[str, Any]]] = [
    (Unit.PIECE, _("pieces")),
    (Unit.GRAM, _("grams: a raw material")),
    (Unit.MM, _("millimetres: a raw material")),
]


class PartForm(KeyedForm):
    """What a part is."""

    things = {
        "unit": _("the unit"),
        "mass_mg": _("the mass of one piece"),
        "spread_mg": _("the spread of the mass"),
        "open_hours": _("the hours"),
    }

    name = forms.CharField(label=_("Name"), max_length=NAME_LONGEST)
    unit = forms.ChoiceField(label=_("Counted in"), choices=UNITS)
    mass_mg = FigureField(
        label=_("Mass of one piece"),
        unit="g",
        required=False,
        help_text=_("Boxes are weighed and bags counted by it."),
    )
    spread_mg = FigureField(
        label=_("Spread of the mass"),
        unit="g",
        required=False,
        help_text=_("Standard deviation from piece to piece."),
    )
    needs_check = forms.BooleanField(
        label=_("Every lot is checked"), required=False, initial=True
    )
    needs_clearing = forms.BooleanField(
        label=_("It has to be disinfected"), required=False, initial=True
    )
    open_hours = forms.IntegerField(
        label=_("Packed at most so long after a bag was opened"),
        min_value=1,
        max_value=OPEN_HOURS_MOST,
        required=False,
        widget=forms.NumberInput(attrs={"data-unit": "h"}),
        help_text=_("Empty: a bag may be open for any time."),
    )
    latex = forms.BooleanField(label=_("It contains latex"), required=False)
    manual = forms.BooleanField(
        label=_("It is a manual: a text that says what is in the box"), required=False
    )


class PartNewForm(PartForm):
    """A new part with its first revision."""

    things = {"revision": _("the first revision")}

    code = CodeField(
        max_length=PART_CODE_LONGEST,
        help_text=_("Capitals, digits and hyphens, such as HB. It stays."),
    )
    revision = CodeField(
        label=_("First revision"), max_length=REVISION_LONGEST, initial="A"
    )

    field_order = ("op_key", "code", "name", "unit", "revision")

    def clean_code(self) -> str:
        """The code in capitals."""
        return capitals(self.cleaned_data["code"])


class PartChangeForm(PartForm):
    """A part as it is to be from now on.

    Args:
        *args: As for any form.
        fixed: Whether lots rest on its unit, and on whether it is disinfected.
        **kwargs: As for any form.
    """

    things = {"seen": _("what was on record")}

    seen = forms.CharField(widget=forms.HiddenInput, required=False, max_length=64)

    def __init__(self, *args: Any, fixed: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("needs_check", *(("unit", "needs_clearing") if fixed else ())):
            del self.fields[name]


class RevisionForm(KeyedForm):
    """A revision, and what is said of it.

    Args:
        *args: As for any form.
        first: Whether it is the first one of its part: nothing needs to be said of it.
        **kwargs: As for any form.
    """

    things = {
        "changed": _("what is new in it"),
        "approved_by": _("who approved it"),
        "old_stock": _("what is done with the old stock"),
        "from_lot": _("the first lot of it"),
    }

    code = CodeField(
        label=_("Revision"),
        max_length=REVISION_LONGEST,
        help_text=_("Capitals, digits, hyphens and full stops. It stays."),
    )
    changed = ReasonField(
        label=_("What is new in it"), rows=2, max_length=NOTES["changed"]
    )
    approved_by = forms.CharField(
        label=_("Who approved it"), max_length=NOTES["approved_by"]
    )
    old_stock = ReasonField(
        label=_("What is done with the old stock"),
        rows=2,
        max_length=NOTES["old_stock"],
        help_text=_("Such as: used up first, or scrapped, or only for small boxes."),
    )
    from_lot = forms.CharField(
        label=_("First lot of it"), max_length=NOTES["from_lot"], required=False
    )
    manual_changes = forms.BooleanField(
        label=_("The manual has to say so"),
        required=False,
        help_text=_(
            "It lacks a manual until the recipes that take it take a revision of the"
            " manual that was added after it."
        ),
    )

    def __init__(self, *args: Any, first: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in NOTES if first else ():
            self.fields[name].required = False


class RevisionChangeForm(RevisionForm):
    """A revision as it is to be from now on.

    Args:
        *args: As for any form.
        fixed: Whether lots of it are on record.
        **kwargs: As for any form.
    """

    things = {"seen": _("what was on record")}

    seen = forms.CharField(widget=forms.HiddenInput, required=False, max_length=64)
    active = forms.BooleanField(
        label=_("New lots of it are taken in"),
        required=False,
        help_text=_("Without the tick what there is of it is used up, and no more."),
    )

    def __init__(self, *args: Any, fixed: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("code", *((*NOTES, "manual_changes") if fixed else ())):
            del self.fields[name]
