"""Forms of products, their box sizes and recipes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any, Final

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from kitting.domain.errors import Refused
from kitting.ledger.coded import NAME_LONGEST, PRODUCT_CODE_LONGEST
from kitting.models import Part, Recipe, Revision
from kitting.models.catalogue import Per, Profile, Unit
from kitting.printing.forms.stocks import capitals
from kitting.printing.queries.label_words import to_choose
from kitting.products.steps.products import (
    CAUTION_LONGEST,
    MOST_CAUTIONS,
    MOST_SETS,
    REFERENCE_LONGEST,
    REVIEWER_LONGEST,
)
from kitting.products.steps.recipes import (
    MOST_LINES,
    MOST_PAIRS,
    MOST_PIECES,
    LineFacts,
    PairFacts,
)
from kitting.web.fields import CodeField, RevisionField
from kitting.web.forms import KeyedForm, LineForm, LinesForm
from kitting.web.messages import sentence

PROFILES: Final[list[tuple[str, Any]]] = [
    (Profile.NONE, _("none: no marks of a device or of protective equipment")),
    (Profile.PPE, _("protective equipment")),
    (Profile.DEVICE, _("medical device")),
]


class ProductForm(KeyedForm):
    """What a product is."""

    things = {"profile": _("the profile")}

    name = forms.CharField(label=_("Name"), max_length=NAME_LONGEST)
    language = forms.ChoiceField(
        label=_("Language of its texts"),
        choices=to_choose,
        help_text=_("The name and the cautions are written in it."),
    )
    profile = forms.ChoiceField(
        label=_("Profile"),
        choices=PROFILES,
        help_text=_("Marks on a label are the maker’s declaration."),
    )
    cautions = forms.CharField(
        label=_("Cautions"),
        required=False,
        max_length=(CAUTION_LONGEST + 2) * MOST_CAUTIONS,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text=_("One in each line, on every box and slip."),
    )
    cautions_reviewed_by = forms.CharField(
        label=_("Who looked at the cautions"),
        required=False,
        max_length=REVIEWER_LONGEST,
        help_text=_("Cautions are printed only once somebody is named here."),
    )
    reference = forms.CharField(
        label=_("Catalogue number"),
        required=False,
        max_length=REFERENCE_LONGEST,
        help_text=_("Printed for a medical device."),
    )
    single_use = forms.BooleanField(
        label=_("For single use"),
        required=False,
        help_text=_("The mark is printed for a medical device."),
    )
    set_slips = forms.BooleanField(
        label=_("A slip with each set"),
        required=False,
        help_text=_("Slips of 50 × 25 mm come out with the label of each box."),
    )


class ProductNewForm(ProductForm):
    """A new product."""

    code = CodeField(
        max_length=PRODUCT_CODE_LONGEST,
        help_text=_("1 to 8 capitals and digits, such as FS1EN. It stays."),
    )

    field_order = ("op_key", "code")

    def clean_code(self) -> str:
        """The code in capitals."""
        return capitals(self.cleaned_data["code"])


class ProductChangeForm(ProductForm):
    """A product as it is to be from now on.

    Args:
        *args: As for any form.
        fixed: Whether boxes rest on its language and profile.
        **kwargs: As for any form.
    """

    things = {"seen": _("what was on record")}

    seen = forms.CharField(widget=forms.HiddenInput, required=False, max_length=64)

    def __init__(self, *args: Any, fixed: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("language", "profile") if fixed else ():
            del self.fields[name]


class SizeForm(KeyedForm):
    """A box size."""

    things = {"sets": _("how many sets a box holds"), "carton": _("the carton")}

    sets = forms.IntegerField(
        label=_("Sets in a box"), min_value=1, max_value=MOST_SETS
    )
    gtin = forms.CharField(
        label=_("GTIN"),
        required=False,
        max_length=14,
        help_text=_("14 digits, from the list of your GS1 numbers. Empty: none."),
        widget=forms.TextInput(
            attrs={"class": "number", "inputmode": "numeric", "autocomplete": "off"}
        ),
    )
    carton = forms.ModelChoiceField(
        label=_("Carton"),
        queryset=Part.objects.filter(unit=Unit.PIECE),
        required=False,
        empty_label=_("not said"),
        help_text=_("A part like others. What the empty box weighs is its mass."),
    )
    weigh = forms.BooleanField(
        label=_("Each box is weighed before it is closed"),
        required=False,
        help_text=_("Every part in it has a mass then, and so has the carton."),
    )


class SizeChangeForm(SizeForm):
    """A box size as it is to be from now on."""

    things = {"seen": _("what was on record")}

    sets = None  # type: ignore[assignment]
    seen = forms.CharField(widget=forms.HiddenInput, required=False, max_length=64)
    active = forms.BooleanField(
        label=_("In use"),
        required=False,
        help_text=_("Without the tick no box of this size is started."),
    )


INSTEAD: Final = "instead"
"""A line that says what may be taken in place of the part above it."""


class RecipeLineForm(LineForm):
    """One line of a recipe."""

    asked = ("revision", "pieces")

    begun_by = ("sets",)

    things = {
        "pieces": _("how many pieces are needed"),
        "sets": _("the only box size that needs it"),
    }

    revision = RevisionField(
        label=_("Part and revision"), required=False, empty_label=_("nothing")
    )
    pieces = forms.IntegerField(
        label=_("Pieces"), required=False, min_value=1, max_value=MOST_PIECES
    )
    per = forms.ChoiceField(
        label=_("In each"),
        choices=[
            (Per.SET, _("set")),
            (Per.BOX, _("box")),
            (INSTEAD, _("or in place of the one above")),
        ],
        required=False,
    )
    sets = forms.IntegerField(
        label=_("Only in boxes of"), required=False, min_value=1, max_value=MOST_SETS
    )

    def clean(self) -> dict[str, Any]:
        """A substitute has no number of its own, and counts wherever its line does."""
        if self.cleaned_data.get("per") != INSTEAD:
            return super().clean()
        if self.cleaned_data.get("sets"):
            self.refuse("sets", "substitute_counts_alike")
        if self.cleaned_data.get("pieces"):
            self.refuse("pieces", "substitute_counts_alike")
        return self.cleaned_data

    def refuse(self, field: str, code: str) -> None:
        """Note at a field what the lines around it forbid."""
        self.add_error(field, ValidationError(sentence(Refused(code)), code))


class RecipePairForm(LineForm):
    """What goes only with what."""

    asked = ("revision", "other")

    things = {"revision": _("the revision"), "other": _("what it goes with")}

    revision = RevisionField(
        label=_("Revision"), required=False, empty_label=_("nothing")
    )
    other = RevisionField(
        label=_("Goes only with"), required=False, empty_label=_("nothing")
    )


class RecipeForm(LinesForm):
    """A version of a recipe, with its lines and with what goes only with what.

    Args:
        *args: As for ``LinesForm``.
        pairs: What the pairs say where nothing was sent.
        **kwargs: As for ``LinesForm``.
    """

    line_form = RecipeLineForm
    most_lines = MOST_LINES
    lines_label = _("Lines")
    lines_help = _(
        "One line for each part; a carton says which box size alone needs it. Below it, in the order of preference, what may be taken"
        " in its place: another revision, or another part. To remove a line, choose"
        " “nothing” and empty the rest of it."
    )
    more_label = _("What goes together")
    more_help = _(
        "A revision that is named first goes only with those beside it: one line for"
        " each of them. What is not named goes with everything."
    )

    def __init__(
        self, *args: Any, pairs: Iterable[Mapping[str, Any]] = (), **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.more = self.line_set(RecipePairForm, "pair", MOST_PAIRS, pairs, room=3)

    def is_valid(self) -> bool:
        """Whether lines and pairs can be read, and each substitute has its line."""
        if not all([super().is_valid(), self.more.is_valid()]):
            return False
        above = False
        for form in self.lines:
            chosen = form.cleaned_data.get("revision") is not None
            if chosen and form.cleaned_data.get("per") == INSTEAD and not above:
                form.refuse("per", "nothing_above")
            above = chosen
        return not any(form.errors for form in self.lines)

    @property
    def entries(self) -> dict[str, Any]:
        """What each set and each box needs, and what goes only with what."""
        lines: list[LineFacts] = []
        for data in (form.cleaned_data for form in self.lines):
            revision: Revision | None = data.get("revision")
            if revision is None:
                continue
            if data.get("per") == INSTEAD:
                last = lines[-1]
                ids = (*last.substitute_ids, revision.pk)
                lines[-1] = replace(last, substitute_ids=ids)
            else:
                per = data.get("per") or Per.SET
                sets = data.get("sets")
                lines.append(LineFacts(revision.pk, data["pieces"], per, sets=sets))
        pairs = [
            PairFacts(data["revision"].pk, data["other"].pk)
            for data in (form.cleaned_data for form in self.more)
            if data.get("revision")
        ]
        return {"lines": lines, "pairs": pairs}


def as_entered(recipe: Recipe) -> dict[str, list[dict[str, Any]]]:
    """Write a version as the form of the next one says it.

    Args:
        recipe: The version, with its lines, substitutes and pairs.

    Returns:
        What the form is shown with.
    """
    lines: list[dict[str, Any]] = []
    for line in recipe.lines.all():
        said = {name: getattr(line, name) for name in ("pieces", "per", "sets")}
        lines.append({"revision": line.revision_id, **said})
        lines += [
            {"revision": each.revision_id, "per": INSTEAD}
            for each in line.substitutes.all()
        ]
    pairs: list[dict[str, Any]] = [
        {"revision": pair.revision_id, "other": pair.other_id}
        for pair in recipe.pairs.all()
    ]
    return {"shown": lines, "pairs": pairs}


class RecipeForceForm(KeyedForm):
    """That a version is in force from now on."""

    things = {"seen": _("the version that was in force")}

    seen = forms.IntegerField(
        required=False, min_value=1, max_value=32_000, widget=forms.HiddenInput
    )
