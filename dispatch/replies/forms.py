"""Forms of replies: what became of each box, and by when answers are wanted."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from django import forms
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from dispatch.consignees.queries import in_use
from dispatch.domain.replies import LONGEST, MOST_DAYS, OURS, Answer, Line
from dispatch.recall.forms import WhenForm
from dispatch.receipts.forms.links import PlainField, StrangerForm
from dispatch.replies.queries.accounts import Account, Before
from dispatch.replies.words import WAYS
from kitting.models import Operation
from kitting.web.fields import IdField
from kitting.web.forms import KeyedForm

MOST_BOXES: Final = 100
"""So many boxes are asked about at once: a browser sends every field of them, and no more
than 2,000 are read."""
MOST_SETS: Final = 100_000
BEFORE: Final = "before"
"""Chosen where the answer is the one that was given in another case."""


@dataclass(frozen=True)
class Row:
    """The fields about one box."""

    box: Account
    how: Any
    counts: list[Any]
    """One for each answer."""
    before: Before | None
    """What was said of it in another case."""

    @property
    def is_open(self) -> bool:
        """Whether something was counted, or is wrong with what was."""
        return any(field.errors or field.value() for field in self.counts)


class BoxAnswers(forms.Form):
    """What became of each box: one answer for all its sets, or sets of several counted."""

    def ask(
        self,
        boxes: Sequence[Account],
        words: Mapping[str, Any],
        newest: int,
        before: Mapping[int, Before],
    ) -> None:
        """Add the fields about each box.

        Args:
            boxes: Those that are asked about.
            words: What fields and answers are called.
            newest: The newest reply that the page shows, 0 for none.
            before: By box what was said of it in another case: one choice takes it over.
        """
        self.boxes, self.words, self.newest = boxes, words, newest
        self.before = {
            each.box.box: before[each.box.box]
            for each in boxes
            if each.box.box in before and (self.is_bound or each.is_to_answer)
        }
        # Who answers takes over what the page shows, and nothing that was said since.
        known = [each.told.pk for each in self.before.values()]
        self.known = f"{BEFORE}-{max(known, default=0)}"
        of_all = [("", words["none_chosen"]), *self._answers(known)]
        if len(boxes) > 1:
            self.fields["all"] = self._choice(words["all"], of_all)
        for each in boxes:
            pk = each.box.box
            none = self._unchosen(each)
            self.fields[f"how-{pk}"] = self._choice(
                words["how"],
                [("", words[none]), *self._answers(pk in self.before)],
            )
            for answer in Answer:
                self.fields[f"{answer}-{pk}"] = forms.IntegerField(
                    label=words[answer],
                    required=False,
                    min_value=0,
                    max_value=MOST_SETS,
                    widget=forms.TextInput(
                        attrs={"inputmode": "numeric", "autocomplete": "off", "size": 4}
                    ),
                )

    def _unchosen(self, each: Account) -> str:
        """What it means that nothing is chosen of a box; an answer stands until then."""
        if not each.is_to_answer:
            return "as_said"
        return "same_as_all" if len(self.boxes) > 1 else "none_chosen"

    def _answers(self, known: object) -> list[tuple[str, Any]]:
        before = [(self.known, self.words["as_there"])] if known else []
        return [*before, *((str(each), self.words[each]) for each in Answer)]

    def _choice(self, label: Any, choices: list[tuple[str, Any]]) -> forms.ChoiceField:
        return forms.ChoiceField(label=label, required=False, choices=choices)

    @property
    def of_all(self) -> Any:
        """The field for all boxes of which nothing is chosen; None for a single box."""
        return self["all"] if "all" in self.fields else None

    @property
    def seen_now(self) -> Any:
        """The newest reply that whoever sends the form knows of: it is shown by then."""
        refused = [error.code for error in vars(self).get("refusals", ())]
        if self.is_bound and "answered_since" not in refused:
            return self["seen"].value()
        return self.newest

    def rows(self) -> Iterator[Row]:
        """Each box with its fields."""
        for each in self.boxes:
            pk = each.box.box
            counts = [self[f"{answer}-{pk}"] for answer in Answer]
            yield Row(each, self[f"how-{pk}"], counts, self.before.get(pk))

    def clean(self) -> dict[str, Any]:
        """Make lines of the answers; what does not add up is named at its box.

        Of what is sent again its act gives the first outcome: what is so now, after
        these very answers, judges it no more.
        """
        data = super().clean() or self.cleaned_data
        self.lines: list[Line] = []
        key = data.get("op_key")
        if key and Operation.objects.filter(key=key.bytes).exists():
            return data
        for each in self.boxes:
            self._add(each)
        if not self.errors and not self.lines:
            name = "all" if "all" in self.fields else f"how-{self.boxes[0].box.box}"
            self.add_error(name, forms.ValidationError(self.words["no_answer"]))
        passed = [line for line in self.lines if line.answer == Answer.PASSED]
        if not all(line.whom or line.consignee_id for line in passed):
            self.add_error("whom", forms.ValidationError(self.words["whom"]))
        return data

    @property
    def sent(self) -> dict[str, str]:
        """What was sent, as it was: the same again is the same answer."""
        besides = ("csrfmiddlewaretoken", "op_key")
        every = self.data.items()
        return {name: str(value) for name, value in every if name not in besides}

    def _add(self, each: Account) -> None:
        data, pk = self.cleaned_data, each.box.box
        fields = {f"{name}-{pk}" for name in ("how", *Answer)}
        if not fields & self.data.keys():
            return  # It came to the list since: whoever answers has not seen it.
        counts = {
            str(answer): data.get(f"{answer}-{pk}") or 0
            for answer in Answer
            if data.get(f"{answer}-{pk}")
        }
        rest = each.out - sum(counts.values())
        of_all = data.get("all") if rest and each.is_to_answer else ""
        chosen = data.get(f"how-{pk}") or of_all
        if chosen == self.known and not counts:
            before = self.before[pk].parts if pk in self.before else ()
            self.lines += [Line(pk, p.answer, p.sets, p.whom) for p in before]
            return
        chosen = "" if chosen == self.known else chosen
        if not counts and not chosen:
            return
        if rest < 0 or (rest and not chosen):
            words = f"{self.words['wrong_sets']} ({each.box.serial})"
            self.add_error(f"how-{pk}", forms.ValidationError(words))
            return
        if rest and chosen:
            counts[chosen] = counts.get(chosen, 0) + rest
        to = data.get("to")
        for answer, sets in counts.items():
            passed = answer == Answer.PASSED
            whom = data.get("whom", "") if passed else ""
            self.lines.append(
                Line(pk, answer, sets, whom, to.pk if passed and to else None)
            )


CLERKS: Final[Mapping[str, str | Promise]] = {
    "all": _("All boxes without an answer below"),
    "how": _("Answer"),
    "none_chosen": _("no answer"),
    "same_as_all": _("as for all of them"),
    "as_said": _("as on record"),
    "more_than_one": _("Not the same for all its sets? Count them"),
    "counted_help": _(
        "Write the sets of each kind. What is chosen above counts for the sets that are"
        " not counted here."
    ),
    "wrong_sets": _("The sets that are counted do not come to those that are out"),
    "no_answer": _("Answer for at least one box."),
    "whom": _("Say to whom the boxes were passed on."),
    "box": _("Box"),
    "sets_out": _("Sets that are out"),
    "came_back": _("Sets that came back"),
    "said_so_far": _("Said so far"),
    "said_there": _("Said in case"),
    "as_there": _("as said in the other case"),
    Answer.FOUND: _("still there, unused"),
    Answer.QUARANTINE: _("in quarantine there"),
    Answer.RETURNED: _("on the way back"),
    Answer.USED: _("used"),
    Answer.DESTROYED: _("destroyed"),
    Answer.PASSED: _("passed on"),
    Answer.UNKNOWN: _("nobody knows"),
}
"""What fields and answers are called where a clerk writes them down."""


class ReplyForm(BoxAnswers, WhenForm):
    """What somebody of a consignee said, by telephone or on paper."""

    things = {
        "way": _("how it was said"),
        "told_by": _("who said so"),
        "seen": _("what was on the page"),
        "whom": _("to whom the boxes were passed on"),
    }

    seen = IdField()
    way = forms.ChoiceField(
        label=_("By"), choices=[(str(each), WAYS[each]) for each in OURS]
    )
    told_by = forms.CharField(
        label=_("Who said so"),
        max_length=LONGEST["told_by"],
        help_text=_("The name and the place, as it was said."),
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    to = forms.ModelChoiceField(
        in_use(),
        label=_("Passed on to this consignee"),
        required=False,
        to_field_name="code",
        empty_label=_("none on record"),
        help_text=_("Whole boxes are that one's from now on: it answers for them."),
    )
    whom = forms.CharField(
        label=_("Passed on to somebody else"),
        required=False,
        max_length=LONGEST["whom"],
        help_text=_("For boxes that went to different places, record it twice."),
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    note = forms.CharField(
        label=_("Remark"),
        required=False,
        max_length=LONGEST["note"],
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )

    def __init__(
        self,
        *args: Any,
        boxes: Sequence[Account],
        newest: int,
        before: Mapping[int, Before],
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.ask(boxes, CLERKS, newest, before)

    @property
    def head(self) -> list[Any]:
        """The fields about who said so."""
        return [self[name] for name in ("way", "told_by", "on", "at")]

    @property
    def foot(self) -> list[Any]:
        """The fields about where boxes went, and a remark."""
        return [self[name] for name in ("to", "whom", "note")]

    @property
    def entries(self) -> dict[str, Any]:
        """What is said, as its act takes it."""
        data = self.cleaned_data
        said = {name: data[name] for name in ("way", "told_by", "note", "seen")}
        return {**said, "lines": self.lines, "sent": self.sent, "when": self.when}


class LinkedForm(BoxAnswers, StrangerForm):
    """What a consignee says on its page; its words are those of the page.

    Args:
        *args: As for any form.
        boxes: Those that are asked about.
        words: Every word of the page.
        newest: The newest reply that the page shows, 0 for none.
        before: By box what was said of it in another case.
        **kwargs: As for any form.
    """

    named_by = {
        "answered_since": "answered_since",
        "answered_too_often": "too_often",
        "entry_missing": "by",
        "entry_too_long": "remark",
        "sets_not_all": "wrong_sets",
        "whom_missing": "whom",
    }

    def __init__(
        self,
        *args: Any,
        boxes: Sequence[Account],
        words: Mapping[str, str],
        newest: int,
        before: Mapping[int, Before],
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, words=words, **kwargs)
        self.ask(boxes, words, newest, before)
        self.fields["seen"] = IdField()
        for name, most in (("whom", LONGEST["whom"]), ("remark", LONGEST["note"])):
            self.fields[name] = PlainField(
                label=words[name],
                required=False,
                max_length=most,
                widget=forms.TextInput(attrs={"autocomplete": "off"}),
            )

    def add_error(self, field: str | None, error: Any) -> None:
        """Note an error; what Django says of it is in no consignee's words."""
        own = (self.words["wrong_sets"], self.words["no_answer"])
        if not str(getattr(error, "message", "")).startswith(own):
            error = forms.ValidationError(self.words["look"])
        super().add_error(field, error)

    @property
    def foot(self) -> list[Any]:
        """The fields about where boxes went, and a remark."""
        return [self["whom"], self["remark"]]


class LinkForm(KeyedForm):
    """Which link is ended."""

    nth = IdField()


class TermForm(KeyedForm):
    """By when answers are wanted."""

    things = {"days": _("after how many days")}

    days = forms.IntegerField(
        label=_("Days from today"),
        initial=2,
        min_value=0,
        max_value=MOST_DAYS,
        help_text=_("0 for by the end of today."),
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
