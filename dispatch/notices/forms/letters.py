"""Forms of letters: what they say to whom, and how they go."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from dispatch.domain.notices import LONGEST, Way
from dispatch.labels.letter_words import written_in
from dispatch.labels.sheets import TEXT
from dispatch.models import Letter
from dispatch.notices.queries.letters import Addressee
from dispatch.notices.words import WAYS
from kitting.domain.errors import NotFit, Refused
from kitting.labels.text import printable
from kitting.printing.queries.label_words import called
from kitting.web.fields import ReasonField
from kitting.web.figures import amount
from kitting.web.forms import DayField, KeyedForm
from kitting.web.messages import sentence


class LettersForm(KeyedForm):
    """To whom letters go, and what they say in each language that is needed."""

    things = {"whom": _("to whom you write")}

    whom = forms.MultipleChoiceField(
        label=_("To whom"), widget=forms.CheckboxSelectMultiple
    )
    urgent = forms.BooleanField(label=_("Mark them as urgent"), required=False)
    answer_by = DayField(
        label=_("Answers by"),
        required=False,
        help_text=_(
            "It is printed in the letters, and is the day of the case: who has not answered"
            " by then is listed on “The day”. Empty for none."
        ),
    )

    def __init__(
        self, *args: Any, to: Collection[Addressee], hazard: str, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.offer("whom", [(one.consignee.pk, _told(one)) for one in to])
        self.fields["whom"].initial = [
            one.consignee.pk for one in to if one.is_to_write
        ]
        speak = {
            str(one.consignee.pk): written_in(one.consignee.language) for one in to
        }
        self.languages = sorted(set(speak.values()))
        chosen = {speak.get(pk) for pk in self["whom"].data or ()}
        for language in self.languages:
            first = _now("Why, and what can happen to whom")
            self._add(f"hazard_{language}", first, needed=language in chosen)
            second = _now("What is to be done with the product")
            self._add(f"to_do_{language}", second, needed=language in chosen)
        # What was written when the case was opened is in nobody else's language.
        for own in self.languages[-1:]:  # English, where there are several
            self.fields[f"hazard_{own}"].initial = hazard

    def _add(self, name: str, label: str, *, needed: bool) -> None:
        if len(self.languages) > 1:
            language = called(name.rpartition("_")[2])
            label = _now("%(what)s, in %(language)s") % {
                "what": label,
                "language": language,
            }
        self.fields[name] = forms.CharField(
            label=label,
            max_length=LONGEST["to_do"],
            required=needed or not self.is_bound,
            widget=forms.Textarea(attrs={"rows": 4}),
        )

    def clean(self) -> dict[str, Any]:
        """Refuse what no letter can say: it could not be drawn, and stands for ever."""
        data = super().clean() or self.cleaned_data
        for name in [each for each in data if each.startswith(("hazard_", "to_do_"))]:
            try:
                for line in data[name].splitlines():
                    printable(" ".join(line.split(" ")), TEXT)
            except NotFit as error:
                self.add_error(name, ValidationError(sentence(error)))
        return data

    @property
    def entries(self) -> dict[str, Any]:
        """To whom, and what, by language."""
        data = self.cleaned_data
        return {
            "consignee_ids": [int(pk) for pk in data["whom"]],
            "urgent": data["urgent"],
            "answer_by": data["answer_by"],
            "texts": {
                language: (data[f"hazard_{language}"], data[f"to_do_{language}"])
                for language in self.languages
            },
        }


def _told(one: Addressee) -> str:
    words = _now("%(name)s: %(boxes)s, %(new)s new")
    boxes = amount(len(one.boxes), "box")
    said = words % {"name": one.consignee.name, "boxes": boxes, "new": one.new}
    if any(box.waits for box in one.boxes):
        return _now("%(said)s; a letter to it is still to be sent") % {"said": said}
    return said


class SendForm(KeyedForm):
    """Which letters go, and how."""

    things = {
        "letters": _("which letters"),
        "way": _("how they go"),
        "by": _("by which post, or who took them"),
    }

    letters = forms.MultipleChoiceField(
        label=_("Letters"), widget=forms.CheckboxSelectMultiple
    )
    way = forms.ChoiceField(
        label=_("How they go"), choices=[*WAYS.items()], widget=forms.RadioSelect
    )
    by = forms.CharField(
        label=_("On paper: by which post, or who took them"),
        required=False,
        max_length=200,
    )

    def __init__(
        self,
        *args: Any,
        rows: Collection[Letter],
        moved: Collection[int],
        recalling: Collection[int],
        to_send: Collection[Letter],
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.rows = {str(row.pk): row for row in rows}
        self.recalling = recalling
        newest = {row.consignee.stays.pk: row.pk for row in rows}
        offered = []
        for row in rows:
            later = row.pk != newest[row.consignee.stays.pk]
            said = _beside(row, moved, recalling, later=later)
            offered.append((row.pk, _where(row, said)))
        self.offer("letters", offered)
        self.fields["letters"].initial = [row.pk for row in to_send]

    def clean(self) -> dict[str, Any]:
        """Refuse all by e-mail, where one cannot go so, before any of them goes."""
        data = super().clean() or self.cleaned_data
        if data.get("way") == Way.EMAIL:
            to = [self.rows[pk] for pk in data.get("letters", ())]
            free = [row for row in to if row.pk not in self.recalling]
            self._refuse("letter_not_recalled", free)
            without = [row for row in to if not row.consignee.stays.email]
            self._refuse("email_not_known", without)
        return data

    def _refuse(self, code: str, rows: Collection[Letter]) -> None:
        if names := ", ".join(row.consignee.stays.name for row in rows):
            said = sentence(Refused(code, consignee=names))
            self.add_error("letters", ValidationError(said, code))

    @property
    def entries(self) -> dict[str, Any]:
        """Which letters, by their ids, and how."""
        data = self.cleaned_data
        by = data["by"] if data["way"] == Way.PAPER else ""
        return {
            "letter_ids": [int(pk) for pk in data["letters"]],
            "way": data["way"],
            "by": by,
        }


def _where(row: Letter, beside: str) -> str:
    whom = row.consignee.stays
    email = whom.email or _now("no e-mail address is on record")
    said = f"{whom.name}, {email}{beside}"
    return _now("%(whom)s (sent before)") % {"whom": said} if row.sent else said


def _beside(
    row: Letter, moved: Collection[int], recalling: Collection[int], *, later: bool
) -> str:
    """What is to be known of a letter before it goes."""
    if later:
        return _now("; a later letter is in its place")
    if row.pk not in recalling:
        return _now("; nothing that it names is recalled any more")
    if row.pk in moved:
        return _now("; it bears an old address: make another letter")
    return ""


class BackForm(KeyedForm):
    """Why a letter did not arrive."""

    reason = ReasonField(
        label=_("How do you know?"),
        help_text=_("Such as: the post brought it back, or it went to an old address."),
    )
