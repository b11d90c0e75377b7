"""Forms of signed links: for how long, and what a consignee says."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any, Final

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from dispatch.domain.receipts import LINK_DAYS, LONGEST, BoxSaid, Found, Said, Told
from dispatch.receipts.forms.deliveries import MOST_BOXES, TimeField
from dispatch.receipts.queries.links import BoxShown, Shown
from kitting.domain import cells
from kitting.domain.errors import CodeError, LotwardError
from kitting.web.forms import DayField, KeyedForm
from kitting.web.http import new_op_key

FIELD_OF: Mapping[str, str] = {
    "answered_too_often": "too_often",
    "box_is_not_short": "sets_counted",
    "box_named_twice": "box_number",
    "entry_missing": "by",
    "entry_too_long": "remark",
    "received_before_sent": "before_sent",
    "received_later": "still_to_come",
}
"""By the code of a refusal what is said, in the consignee's words: a sentence, or which
field is wrong."""


MOST_BY_BOX: Final = 200
"""Boxes of which each has its fields. Of more only those are named that differ: a browser
sends every field, and no more than 2,000 of them are read."""
LINES: Final = 40
"""So many that differ are named then."""


class LinkForm(KeyedForm):
    """For how many days a link is good."""

    things = {"days": _("for how many days it is good")}

    days = forms.IntegerField(
        label=_("Days that it is good for"),
        initial=30,
        min_value=LINK_DAYS[0],
        max_value=LINK_DAYS[-1],
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )


MOST_OF_NUMBER: Final = 40


def _bare(number: str) -> str:
    """A number as it was typed, without what sets its digits apart."""
    return "".join(filter(str.isalnum, number)).upper()


class PlainField(forms.CharField):
    """A line that a stranger writes: nothing in it turns, hides or moves other words.

    Its blanks are single ones. A sign that turns the direction of writing is refused.
    """

    def to_python(self, value: Any) -> str:
        """Tidy what was written, as a cell of a file is tidied."""
        try:
            return cells.tidy(super().to_python(value) or "")
        except CodeError as error:
            raise forms.ValidationError(error.code, code=error.code) from error


class StrangerForm(forms.Form):
    """What somebody writes who does not sign in; its words are those of the page.

    Args:
        *args: As for any form.
        words: Every word of the page.
        **kwargs: As for any form.
    """

    named_by: Mapping[str, str] = FIELD_OF
    """By the code of a refusal which word of the page says what is to be looked at."""

    def __init__(self, *args: Any, words: Mapping[str, Any], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.words = words
        self.refusals: list[LotwardError] = []
        self.fields["op_key"] = forms.UUIDField(
            widget=forms.HiddenInput, initial=new_op_key
        )
        self.fields["by"] = PlainField(
            label=words["by"],
            max_length=LONGEST["received_by"],
            widget=forms.TextInput(attrs={"autocomplete": "name"}),
        )

    @property
    def named(self) -> list[str]:
        """What is to be looked at, in the words of the page."""
        fields = {name: field.label for name, field in self.fields.items()}
        wrong = [
            str(fields.get(name) or self.words["page_old"]) for name in self.errors
        ]
        refused = [
            self.words[self.named_by.get(error.code, "page_old")]
            for error in self.refusals
        ]
        return [*dict.fromkeys([*wrong, *refused])]

    def refuse(self, error: LotwardError) -> None:
        """Note a refusal of the act."""
        self.refusals.append(error)


class AnswerForm(StrangerForm):
    """What a consignee counted.

    Args:
        *args: As for any form.
        shown: The boxes.
        words: Every word of the page.
        **kwargs: As for any form.
    """

    def __init__(
        self, *args: Any, shown: Shown, words: Mapping[str, str], **kwargs: Any
    ) -> None:
        super().__init__(*args, words=words, **kwargs)
        self.boxes = shown.boxes
        figure = forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"})
        plain = forms.TextInput(attrs={"autocomplete": "off"})
        self.fields["on"] = DayField(label=words["received_on"])
        self.fields["at"] = TimeField(label=words["received_at"])
        self.fields["boxes"] = forms.IntegerField(
            label=words["boxes_counted"],
            min_value=0,
            max_value=MOST_BOXES,
            widget=figure,
        )
        self.fields["remark"] = PlainField(
            label=words["remark"],
            required=False,
            max_length=LONGEST["note"],
            widget=plain,
        )
        how = [("", words["not_said"]), *((str(each), words[each]) for each in Found)]
        self.by_line = len(self.boxes) > MOST_BY_BOX
        of = range(LINES) if self.by_line else [box.pk for box in self.boxes]
        for each in of:
            if self.by_line:
                self.fields[f"box-{each}"] = PlainField(
                    label=words["box_number"],
                    required=False,
                    max_length=MOST_OF_NUMBER,
                    widget=plain,
                )
            self.fields[f"how-{each}"] = forms.ChoiceField(
                label=words["how"], required=False, choices=how
            )
            self.fields[f"sets-{each}"] = forms.IntegerField(
                label=words["sets_counted"],
                required=False,
                min_value=0,
                max_value=MOST_BOXES,
                widget=figure,
            )

    def clean(self) -> dict[str, Any]:
        """Find the boxes that are named in lines, and see that each line says something."""
        data = self.cleaned_data
        self.named_in: dict[int, BoxShown] = {}
        known = {_bare(box.serial): box for box in self.boxes}
        for nth in range(LINES) if self.by_line else ():
            number, said = data.get(f"box-{nth}", ""), self._says(nth)
            if box := known.get(_bare(number)):
                self.named_in[nth] = box
            if (number or said) and box is None:
                self.add_error(f"box-{nth}", self.words["box_number"])
            elif number and not said:
                self.add_error(f"how-{nth}", self.words["how"])
        return data

    def _says(self, nth: int) -> bool:
        data = self.cleaned_data
        return bool(data.get(f"how-{nth}")) or data.get(f"sets-{nth}") is not None

    def lines(self) -> Iterator[tuple[Any, Any, Any]]:
        """Each line for a box that is not as it was sent, where boxes are many."""
        for nth in range(LINES):
            yield self[f"box-{nth}"], self[f"how-{nth}"], self[f"sets-{nth}"]

    def rows(self) -> Iterator[tuple[BoxShown, Any, Any]]:
        """Each box with the two fields about it."""
        for box in self.boxes:
            yield box, self[f"how-{box.pk}"], self[f"sets-{box.pk}"]

    def head(self) -> Iterator[Any]:
        """The fields about all of it."""
        for name in ("by", "on", "at", "boxes", "remark"):
            yield self[name]

    @property
    def said(self) -> Said:
        """What a valid form says."""
        data = self.cleaned_data
        moment = datetime.combine(data["on"], data["at"])
        return Said(
            by=data["by"],
            at=moment.replace(tzinfo=timezone.get_current_timezone()),
            boxes=data["boxes"],
            way=Told.LINK,
            note=data["remark"],
            of_boxes=tuple(self._of_boxes()),
        )

    def _of_boxes(self) -> Iterator[BoxSaid]:
        named = self.named_in if self.by_line else {box.pk: box for box in self.boxes}
        for at, box in named.items():
            how = self.cleaned_data[f"how-{at}"]
            sets = self.cleaned_data[f"sets-{at}"]
            fewer = sets is not None and sets < box.sets
            if fewer and how in ("", Found.WHOLE):
                how = str(Found.SHORT)
            if how or sets is not None:
                yield BoxSaid(box.pk, how or str(Found.WHOLE), sets)
