"""Forms for what became of a shipment."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from dispatch.domain.receipts import LONGEST, OURS, BoxSaid, Found, Said
from dispatch.receipts.words import FOUND, WAYS
from kitting.models import Box
from kitting.web.fields import IdField, ReasonField
from kitting.web.forms import DayField, KeyedForm, LineForm, LinesForm

MOST_BOXES = 100_000


class TimeField(forms.TimeField):
    """A time of the day in the workshop's zone, in hours and minutes."""

    kind = "time"

    def __init__(self, **options: Any) -> None:
        attrs = {"inputmode": "numeric", "autocomplete": "off", "size": 5}
        attrs["placeholder"] = "HH:MM"
        options.setdefault("widget", forms.TimeInput(format="%H:%M", attrs=attrs))
        super().__init__(input_formats=["%H:%M", "%H.%M", "%H%M"], **options)


class OddLine(LineForm):
    """A box that is not as it was sent."""

    things = {
        "box": _("the box"),
        "found": _("how it was found"),
        "sets": _("the sets that were counted in it"),
    }
    asked = ("box", "found")
    begun_by = ("sets", "note")

    box = forms.TypedChoiceField(label=_("Box"), coerce=int, empty_value=None)
    found = forms.ChoiceField(
        label=_("How it was found"),
        choices=[
            ("", _("Choose")),
            *((str(each), FOUND[each]) for each in Found if each != Found.WHOLE),
        ],
    )
    sets = forms.IntegerField(
        label=_("Sets counted"),
        min_value=0,
        max_value=MOST_BOXES,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
    note = forms.CharField(label=_("Note"), max_length=LONGEST["note"])

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            field.required = False


class DeliveryForm(LinesForm):
    """What the note that came back says, or somebody at the telephone."""

    things = {
        "by": _("who received it"),
        "on": _("the day it was received"),
        "at": _("the time it was received"),
        "boxes": _("how many boxes were counted"),
    }
    line_form = OddLine
    most_lines = 300
    lines_label = _("Boxes that are not as they were sent")
    lines_help = _(
        "Leave this empty if all is well. Name each box that did not arrive, is short"
        " or damaged."
    )

    way = forms.ChoiceField(
        label=_("From"), choices=[(str(each), WAYS[each]) for each in OURS]
    )
    by = forms.CharField(
        label=_("Received by"),
        max_length=LONGEST["received_by"],
        help_text=_("The name as it is written on the note."),
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    on = DayField(label=_("Date"))
    at = TimeField(label=_("Time"))
    boxes = forms.IntegerField(
        label=_("Boxes they counted"),
        min_value=0,
        max_value=MOST_BOXES,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
    note = forms.CharField(
        label=_("Remark"), required=False, max_length=LONGEST["note"]
    )

    def __init__(
        self,
        data: Any = None,
        *args: Any,
        of: Iterable[Box] = (),
        shown: Sequence[Mapping[str, Any]] = (),
        **kwargs: Any,
    ) -> None:
        super().__init__(data, *args, shown=shown, **kwargs)
        self.lines = self.line_set(OddLine, "line", self.most_lines, shown, room=3)
        choices: list[tuple[Any, Any]] = [("", _("Choose a box"))]
        choices += [(box.pk, str(box)) for box in of]
        for line in self.lines:
            line.offer("box", choices)

    @property
    def entries(self) -> dict[str, Any]:
        """What is said, as its act takes it."""
        data = self.cleaned_data
        moment = datetime.combine(data["on"], data["at"])
        odd = [line.cleaned_data for line in self.lines if line.cleaned_data]
        said = Said(
            by=data["by"],
            at=moment.replace(tzinfo=timezone.get_current_timezone()),
            boxes=data["boxes"],
            way=data["way"],
            note=data["note"],
            of_boxes=tuple(
                BoxSaid(
                    box_id=each["box"],
                    found=each["found"],
                    sets=each.get("sets"),
                    note=each.get("note", ""),
                )
                for each in odd
                if each.get("box")
            ),
        )
        return {"said": said}


class CorrectionForm(DeliveryForm):
    """The same again, with why."""

    things = {"reason": _("why the record was wrong")}

    seen = IdField()
    reason = ReasonField(
        label=_("Why the record was wrong"),
        help_text=_("What was recorded before stays on record beside this."),
    )

    @property
    def entries(self) -> dict[str, Any]:
        """What is said, and what was seen of it before."""
        data = self.cleaned_data
        return super().entries | {"reason": data["reason"], "seen": data["seen"]}


class SettleForm(KeyedForm):
    """What came of a difference."""

    things = {"note": _("what came of it"), "seen": _("what was on the page")}

    seen = IdField()
    note = ReasonField(
        label=_("What came of it"),
        help_text=_("Who was asked, and what is to be done."),
    )
