"""Forms of the bench, and of boxes: filters of their table, voiding."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from kitting.domain.commands import PURPOSE
from kitting.domain.errors import LotwardError, Refused
from kitting.domain.figures import scaled
from kitting.domain.prints import DESTROYED
from kitting.domain.scanner import Key
from kitting.domain.stages import BoxStage
from kitting.ledger.coded import BENCH_CODE_LONGEST, NAME_LONGEST
from kitting.models import BoxLine, BoxSize, Place
from kitting.models.base import pairs
from kitting.models.catalogue import PlaceKind
from kitting.packing.queries.boxes import READY
from kitting.packing.queries.plan import MOST, Planned
from kitting.printing.forms.prints import scanned
from kitting.printing.forms.stocks import capitals
from kitting.web.fields import CodeField, FigureField, ReasonField
from kitting.web.forms import (
    DayField,
    FilterForm,
    KeyedForm,
    NamedForm,
    ScanField,
)
from kitting.web.messages import sentence
from kitting.web.wording import UNSAID


class ScanForm(KeyedForm):
    """A scan, or a button that sends what its command label would.

    Any text at all is valid here: what it means is for ``take_scan`` to say, and a
    plain ``Field`` neither strips it nor refuses what no number can hold.
    """

    things = {
        "box": _("the box"),
        "purpose": _("what it is for"),
        "waited": _("whether it waited"),
    }

    scan = forms.Field(required=False)
    box = forms.CharField(required=False, max_length=20, widget=forms.HiddenInput)
    purpose = forms.RegexField(
        rf"\A{PURPOSE}\Z", required=False, max_length=200, widget=forms.HiddenInput
    )
    waited = forms.BooleanField(required=False, widget=forms.HiddenInput)


LONGEST_KEY = 20
"""Of its name, such as ``BracketRight``."""


class TrialForm(FilterForm):
    """A scan for a trial: as it is read, and each of its keys where a script saw them."""

    read = forms.Field(required=False)
    keys = forms.CharField(required=False, max_length=4_000)
    stand_in = forms.CharField(required=False, max_length=LONGEST_KEY, strip=False)

    def clean_keys(self) -> list[Key]:
        """The keys in their order; none where no script saw them."""
        try:
            return [_key(*one) for one in json.loads(self.cleaned_data["keys"] or "[]")]
        except (TypeError, ValueError, RecursionError) as error:
            raise ValidationError(UNSAID, "invalid") from error


def _key(name: object, ms: object, place: object = "") -> Key:
    """A key as the page's script tells it, with its place where Control was held."""
    if not (isinstance(name, str) and isinstance(place, str) and isinstance(ms, int)):
        raise TypeError
    return Key(name[:LONGEST_KEY], place[:LONGEST_KEY], control=place != "", ms=ms)


LONGEST_REASON = 200


SCALE = ("scale_step_mg", "scale_u_mg", "scale_most_mg")
"""What a form says of the scale of a bench."""


class ScaleForm(KeyedForm):
    """What a bench's page says of its scale; all of it is empty where there is none."""

    things = {
        "scale_step_mg": _("the step of the scale"),
        "scale_u_mg": _("the uncertainty of the scale"),
        "scale_most_mg": _("the most that the scale weighs"),
    }

    scale_step_mg = FigureField(
        label=_("Its scale shows steps of"),
        unit="g",
        required=False,
        help_text=_("The least step of what it shows. Empty: the bench has no scale."),
    )
    scale_u_mg = FigureField(
        label=_("Standard uncertainty of the scale"),
        unit="g",
        required=False,
        up=True,
        help_text=_("By its calibration; half of what that says for k = 2."),
    )
    scale_most_mg = FigureField(label=_("The most it weighs"), unit="g", required=False)


class BenchForm(ScaleForm):
    """A new bench.

    Args:
        *args: As for any form.
        **kwargs: As for any form.
    """

    things = {"place": _("the place")}

    code = CodeField(
        max_length=BENCH_CODE_LONGEST,
        help_text=_("Capitals, digits and hyphens, such as B1. It stays."),
    )
    name = forms.CharField(label=_("Name"), max_length=NAME_LONGEST)
    place = forms.ModelChoiceField(
        label=_("Its place"),
        queryset=Place.objects.filter(kind=PlaceKind.BENCH),
        help_text=_("Each bench has a place of its own."),
    )

    field_order = ("op_key", "code", "name", "place")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        # Only those that are free are offered; the act says what is wrong with others.
        free = Place.objects.filter(
            kind=PlaceKind.BENCH, active=True, bench__isnull=True
        )
        none = ("", _("Choose a place of the kind bench"))
        self.offer("place", [none, *((one.pk, one.name) for one in free)])

    def clean_code(self) -> str:
        """The code in capitals."""
        return capitals(self.cleaned_data["code"])


class BenchChangeForm(ScaleForm):
    """A bench as it is to be from now on."""

    things = {"seen": _("what was on record")}

    seen = forms.CharField(widget=forms.HiddenInput, required=False, max_length=64)
    name = forms.CharField(label=_("Name"), max_length=NAME_LONGEST)
    active = forms.BooleanField(
        label=_("In use"),
        required=False,
        help_text=_("Without the tick it is closed: it keeps its history."),
    )
    sounds = forms.BooleanField(
        label=_("Sounds"),
        required=False,
        help_text=_("Without the tick its tablets are silent; signs and words stay."),
    )

    field_order = ("op_key", "seen", "name", "active", "sounds")


class CodeForm(KeyedForm):
    """The code that ties a tablet to a bench, as it is read off a manager's screen."""

    things = {"code": _("the code")}

    code = forms.CharField(
        label=_("Code"),
        max_length=20,
        help_text=_("Twelve digits. A manager has it shown on the bench’s page."),
        widget=forms.TextInput(
            attrs={
                "class": "number",
                "autocomplete": "off",
                "autofocus": True,
                "inputmode": "numeric",
            }
        ),
    )

    def clean_code(self) -> str:
        """The code without the blanks between its digits."""
        return "".join(str(self.cleaned_data["code"]).split())


class PlanFilterForm(FilterForm):
    """Whose plan is shown; stands in the address."""

    day = DayField(required=False)


class PlanForm(KeyedForm):
    """How many boxes of each size are wanted on a day.

    Args:
        *args: As for any form.
        planned: The sizes, with what is wanted of them now.
        **kwargs: As for any form.
    """

    things = {"day": _("the day"), "seen": _("what was on record")}

    day = DayField(widget=forms.HiddenInput)
    seen = forms.CharField(widget=forms.HiddenInput, required=False, max_length=4_000)

    def __init__(self, *args: Any, planned: Sequence[Planned], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.sizes = {f"size_{row.size.pk}": row.size.pk for row in planned}
        for name, row in zip(self.sizes, planned, strict=True):
            size = row.size
            words = _("%(product)s, boxes of %(sets)s") if size.active else _CLOSED
            self.fields[name] = forms.IntegerField(
                label=words % {"product": size.product.name, "sets": size.sets},
                min_value=0,
                max_value=MOST,
                required=False,
                initial=row.wanted or None,
                help_text=_("Packed so far: %s.") % row.packed if row.packed else "",
                widget=forms.NumberInput(attrs={"data-unit": _("boxes")}),
            )

    @property
    def entries(self) -> dict[str, Any]:
        """The day, what was looked at, and boxes by the id of the size."""
        data = self.cleaned_data
        wanted = {pk: data[name] or 0 for name, pk in self.sizes.items()}
        return {"day": data["day"], "seen": data["seen"], "wanted": wanted}


_CLOSED = _("%(product)s, boxes of %(sets)s: closed")


class SizeField(forms.ModelChoiceField):  # type: ignore[type-arg]
    """A box size, named by its product."""

    def label_from_instance(self, obj: BoxSize) -> str:
        return f"{obj.product.name}, {obj.sets}"


class BoxFilterForm(FilterForm):
    """The sentence above the table of boxes; every field may stay empty."""

    stage = forms.ChoiceField(
        required=False,
        choices=lambda: [
            ("", _("any stage")),
            *pairs(BoxStage),
            (READY, _("ready to go")),
        ],
    )
    size = SizeField(
        required=False,
        empty_label=_("any product and size"),
        queryset=BoxSize.objects.select_related("product").order_by(
            "product__name", "sets"
        ),
    )
    since = DayField(required=False)
    until = DayField(required=False)
    batch = forms.CharField(
        required=False,
        max_length=20,
        widget=forms.TextInput(
            attrs={"placeholder": _("any kit batch"), "size": "16", "data-scan": ""}
        ),
    )

    def clean_batch(self) -> str:
        return str(self.cleaned_data["batch"]).strip().upper()


class VoidForm(NamedForm):
    """Voiding a box, whose label comes back if it was printed.

    Args:
        *args: As for any form.
        printed: Whether it was.
        **kwargs: As for any form.
    """

    things = {"destroyed": _("the tick")}

    reason = forms.CharField(
        label=_("Why it is voided"),
        max_length=LONGEST_REASON,
        help_text=_("Its pieces are scrapped; none of them is used again."),
    )
    label = ScanField(
        label=_("Scan its label, then destroy it"),
        required=False,
        help_text=_("Needed unless the tick below is set."),
    )
    destroyed = forms.BooleanField(
        label=_("There is none to scan: it never came out, or is destroyed"),
        required=False,
    )

    def __init__(self, *args: Any, printed: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not printed:
            del self.fields["label"], self.fields["destroyed"]

    def clean(self) -> dict[str, Any]:
        """Refuse a label that was scanned and is none to scan."""
        data = super().clean() or self.cleaned_data
        if data.get("destroyed") and (data.get("label") or "").strip():
            why = sentence(Refused("old_label_twice"))
            self.add_error("destroyed", ValidationError(why, "old_label_twice"))
        return data

    @property
    def entries(self) -> dict[str, Any]:
        """Why, and what became of the label."""
        data = self.cleaned_data
        gone = DESTROYED if data.get("destroyed") else ""
        return {"reason": data["reason"], "label": scanned(data.get("label")) or gone}


class ReadingForm(FilterForm):
    """What a scale sends: a mass in g, and whether it lies still."""

    g = forms.CharField(max_length=20)
    stable = forms.BooleanField(required=False)

    def clean_g(self) -> int:
        """The mass in mg, also below 0; what is finer is cut off."""
        text = str(self.cleaned_data["g"])
        below = text.startswith("-")
        try:
            mass = scaled(text[1:] if below else text, 1000)
        except LotwardError as error:
            raise ValidationError(UNSAID, error.code) from None
        return -mass if below else mass


class MassForm(NamedForm):
    """A mass outside of its window at which a box may close."""

    things = {"mass_mg": _("the mass"), "seen": _("what was on record")}

    seen = forms.IntegerField(min_value=0, max_value=2**53, widget=forms.HiddenInput)
    mass_mg = FigureField(label=_("What the scale shows"), unit="g")
    reason = ReasonField(label=_("Why it is right at that mass"))


class CancelForm(NamedForm):
    """Cancelling an open box that was put away.

    Args:
        *args: As for any form.
        lines: What is in it.
        **kwargs: As for any form.
    """

    things = {
        "damaged": _("what is damaged"),
        "apart": _("whether lots can be told apart"),
    }

    reason = forms.CharField(label=_("Why it is cancelled"), max_length=LONGEST_REASON)
    damaged = forms.MultipleChoiceField(
        label=_("What is damaged and goes into the waste"),
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    apart = forms.ChoiceField(
        label=_("Can lots of one part be told apart?"),
        choices=[
            ("yes", _("Yes: their pieces go back into their bags")),
            ("no", _("No: their pieces are scrapped")),
        ],
        required=False,
        widget=forms.RadioSelect,
    )

    def __init__(self, *args: Any, lines: Sequence[BoxLine], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        parts = {line.lot.part_id: line.lot.part.name for line in lines}
        self.offer("damaged", list(parts.items()))
        if len({line.lot_id for line in lines}) == len(parts):
            del self.fields["apart"]

    @property
    def entries(self) -> dict[str, Any]:
        """Why, and what becomes of the pieces."""
        data = self.cleaned_data
        said = {"yes": True, "no": False}
        return {
            "reason": data["reason"],
            "damaged": [int(part) for part in data["damaged"]],
            "apart": said.get(data.get("apart", "")),
        }
