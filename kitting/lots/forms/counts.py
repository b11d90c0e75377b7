"""Forms for counting a bag again, also by weight."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.utils.translation import gettext_lazy as _

from kitting.domain.entries import Weighing
from kitting.domain.figures import written
from kitting.lots.forms.lots import WAYS, unit_word
from kitting.lots.steps.counts import Found
from kitting.models import Bag, Count, User
from kitting.models.lots import CountedBy
from kitting.web.fields import FigureField, ReasonField
from kitting.web.forms import KeyedForm

MOST = 10_000_000
MG = 1000


class BagForm(KeyedForm):
    """A form about one bag, as it was when the page was loaded."""

    things = {"moves": _("what was on record of the bag")}

    moves = forms.IntegerField(widget=forms.HiddenInput, min_value=0)

    def __init__(self, *args: Any, bag: Bag, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial.setdefault("moves", bag.moves)
        self.bag = bag


def _pieces(label: Any, *, least: int = 1, **options: Any) -> forms.IntegerField:
    options = {"required": False, "min_value": least, "max_value": MOST, **options}
    return forms.IntegerField(label=label, **options)


class FoundForm(BagForm):
    """What becomes of pieces found in a cleared bag; asked where a count found some."""

    things = {
        "found": _("what is done with the pieces that were found"),
        "checker": _("the checker"),
        "checker_password": _("the checker’s password"),
    }
    passwords = ("checker_password",)

    found = forms.ChoiceField(
        label=_("The pieces that were found"),
        choices=[
            (Found.SCRAPPED, _("They are scrapped now: put them into the waste")),
            (Found.KEPT, _("They stay in the bag: a checker confirms it here")),
        ],
        required=False,
        widget=forms.RadioSelect,
    )
    checker = forms.ModelChoiceField(
        label=_("If they stay: the checker"),
        queryset=User.objects.none(),
        required=False,
    )
    checker_password = forms.CharField(
        label=_("If they stay: the checker’s password"),
        required=False,
        strip=False,
        max_length=4096,
        widget=forms.PasswordInput(attrs={"autocomplete": "off"}),
    )

    def __init__(self, *args: Any, checkers: QuerySet[User], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        names = ("found", "checker", "checker_password")
        self._asked = {name: self.fields.pop(name) for name in names}
        self._asked["checker"].queryset = checkers  # type: ignore[attr-defined]
        if "found" in self.data:
            self.fields |= self._asked

    def ask_about_found(self) -> None:
        """Show what to choose from, where the count was refused for that."""
        if self.has_error("__all__", "found_undecided"):
            self._asked["found"].required = True  # shown as such; the act insists
            self.fields |= self._asked

    def clean(self) -> dict[str, Any]:
        """Ask for the checker and their password where they confirm what stays."""
        data = super().clean() or self.cleaned_data
        if data.get("found") == Found.KEPT:
            for name in ("checker", "checker_password"):
                if not data.get(name) and name not in self.errors:
                    self.ask_for(name, "required")
        else:  # a browser may fill it in
            data.pop("checker_password", None)
        return data

    def signer(self, field: str) -> User | None:
        """The checker."""
        checker: User = self.cleaned_data["checker"]
        return checker


class CountForm(FoundForm):
    """How many are in the bag, and how they were counted."""

    things = {
        "counted_by": _("how they were counted"),
        "counted": _("how much is in the bag"),
        "stacks": _("how many full stacks there are"),
    }

    counted_by = forms.ChoiceField(
        label=_("Counted"),
        choices=[
            (way, WAYS[way])
            for way in (CountedBy.HAND, CountedBy.MACHINE, CountedBy.STACK)
        ],
        initial=CountedBy.HAND,
        widget=forms.RadioSelect,
    )
    counted = _pieces(
        _("In the bag"),
        least=0,
        help_text=_("By hand or machine: all that is in it. Nothing in it is 0."),
    )
    stacks = _pieces(_("In stacks: full stacks"))
    stack_pieces = _pieces(_("Pieces in each stack"))
    loose = _pieces(_("Pieces beside the stacks"), least=0)
    reason = ReasonField(
        rows=2,
        required=False,
        help_text=_(
            "Needed where the count differs from the record: write the probable reason."
        ),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["counted"].widget.attrs["data-unit"] = unit_word(self.bag.lot.part)

    def clean(self) -> dict[str, Any]:
        """Ask for the figures of the way that was chosen, and for those only."""
        data = super().clean() or self.cleaned_data
        in_stacks = data.get("counted_by") == CountedBy.STACK
        wanted = ("stacks", "stack_pieces") if in_stacks else ("counted",)
        other = ("counted",) if in_stacks else ("stacks", "stack_pieces", "loose")
        for name in wanted:
            if data.get(name) is None and name not in self.errors:
                self.ask_for(name, "quantity_missing")
        for name in other:
            if data.get(name) is not None:
                words = _("“%(label)s” is for another way of counting. Leave it empty.")
                label = {"label": self.fields[name].label}
                self.add_error(name, ValidationError(words, "quantity_twice", label))
        return data

    @property
    def entries(self) -> dict[str, Any]:
        """As of every form, but for the stacks: how many, and all pieces counted."""
        said = super().entries
        stacks, each = said.pop("stacks"), said.pop("stack_pieces")
        loose, in_stacks = said.pop("loose") or 0, None
        if said["counted_by"] == CountedBy.STACK:
            in_stacks = stacks, each
            said["counted"] = stacks * each + loose
        return {**said, "stacks": in_stacks}


def _mass(label: Any, *, up: bool = False, help_text: Any = "") -> FigureField:
    return FigureField(unit="g", by=MG, up=up, label=label, help_text=help_text)


class WeighForm(FoundForm):
    """What the scale showed, and what is known of scale and pieces."""

    things = {
        "gross": _("the mass of the full container"),
        "tare": _("the mass of the same container, empty"),
        "reference_pieces": _("how many pieces were counted by hand"),
        "reference": _("the mass of the pieces counted by hand"),
    }

    gross = _mass(_("The full container"))
    tare = _mass(_("The same container, empty"))
    reference_pieces = _pieces(
        _("Reference: pieces counted by hand"),
        required=True,
        help_text=_("The more pieces, the larger the count that can be trusted."),
    )
    reference = _mass(_("Reference: their mass"))
    spread = _mass(
        _("How much the mass of single pieces differs"),
        up=True,
        help_text=_("Standard deviation of the mass of single pieces."),
    )
    scale_u = _mass(
        _("Uncertainty of the scale"),
        up=True,
        help_text=_("Standard uncertainty of one weighing, from its certificate."),
    )
    sure = forms.BooleanField(
        label=_("Keep the count although it is not exact to the piece"),
        required=False,
    )
    other_mass = forms.BooleanField(
        label=_("These are the right pieces, and the reference was counted right"),
        required=False,
        widget=forms.HiddenInput,
    )
    reason = ReasonField(
        rows=2,
        required=False,
        help_text=_("Needed where the count differs from the record, or is not exact."),
    )

    def __init__(
        self, *args: Any, bag: Bag, last: Count | None = None, **kwargs: Any
    ) -> None:
        known: dict[str, Any] = {}
        if bag.lot.part.spread_mg is not None:
            known["spread"] = written(bag.lot.part.spread_mg, MG)
        if last is not None and last.scale_u_mg is not None:
            known["scale_u"] = written(last.scale_u_mg, MG)
        super().__init__(*args, bag=bag, **kwargs)
        self.initial = {**known, **self.initial}

    def ask_about_mass(self) -> None:
        """Show the tick that answers why the pieces weigh otherwise than the part's."""
        self.fields["other_mass"].widget = forms.CheckboxInput()

    @property
    def weighed(self) -> Weighing:
        """The figures as the service takes them."""
        data = self.cleaned_data
        return Weighing(
            gross_mg=data["gross"],
            tare_mg=data["tare"],
            reference_pieces=data["reference_pieces"],
            reference_mg=data["reference"],
            spread_mg=data["spread"],
            scale_u_mg=data["scale_u"],
        )

    @property
    def entries(self) -> dict[str, Any]:
        """The figures as one weighing, and what is said of it."""
        names = ("sure", "other_mass", "reason", "moves")
        said = {name: self.cleaned_data[name] for name in names}
        answer = {"found": self.cleaned_data.get("found", "")}
        checker = self.cleaned_data.get("checker")
        answer["checker_id"] = checker.pk if checker else None
        return {**said, **answer, "weighed": self.weighed}
