"""Forms of words on paper: which language, and the words of one."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from kitting.domain.errors import Refused
from kitting.printing.queries.label_words import (
    LANGUAGES,
    WORD_LONGEST,
    Word,
    blanks_wanted,
)
from kitting.web.forms import FilterForm, KeyedForm
from kitting.web.messages import sentence


class LanguageForm(FilterForm):
    """A language whose words are filled in."""

    language = forms.ChoiceField(
        label=_("Another language"),
        choices=[
            ("", _("Choose a language")),
            *(each for each in LANGUAGES if each[0] != "en"),
        ],
    )


class WordsForm(KeyedForm):
    """The words of a language.

    Args:
        *args: As for any form.
        words: Those that there are, as they stand.
        **kwargs: As for any form.
    """

    things = {"seen": _("what was on record")}

    seen = forms.CharField(widget=forms.HiddenInput, required=False, max_length=64)
    reviewed_by = forms.CharField(
        label=_("Who speaks the language and looked at all these words"),
        required=False,
        max_length=WORD_LONGEST,
        help_text=_(
            "Left empty, a word that changes has nobody. A caution is printed only once"
            " somebody is named."
        ),
    )

    def __init__(self, *args: Any, words: Sequence[Word], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.words = {_field_of(word.name): word for word in words}
        for name, word in self.words.items():
            self.fields[name] = forms.CharField(
                label=word.english,
                initial=word.text,
                required=False,
                max_length=WORD_LONGEST,
                help_text=_looked(word),
            )
        self.order_fields(["op_key", "seen", *self.words])

    def clean(self) -> dict[str, Any]:
        """Ask for what is filled in in a word, at the word."""
        data = super().clean() or self.cleaned_data
        for name, word in self.words.items():
            text = data.get(name, "")
            if text and (wanted := blanks_wanted(word.name, text)):
                why = sentence(Refused("label_word_blanks", wanted=wanted))
                self.add_error(name, ValidationError(why, "label_word_blanks"))
        return data

    @property
    def entries(self) -> dict[str, Any]:
        """The words by the names that labels have for them."""
        said = super().entries
        words = {word.name: said.pop(name) for name, word in self.words.items()}
        return {**said, "words": words}


def _field_of(word: str) -> str:
    return f"w{hashlib.sha256(word.encode()).hexdigest()[:12]}"


def _looked(word: Word) -> Any:
    if word.instead and not word.text:
        return _("While it is empty: %(text)s") % {"text": word.instead}
    if word.reviewed_by:
        return _("%(who)s looked at it.") % {"who": word.reviewed_by}
    if word.caution:
        return _("A caution: somebody must be named who looked at it.")
    return "" if word.needed else _("Nothing says it in this language yet.")
