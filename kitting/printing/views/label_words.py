"""Words on paper: the languages, and the words of one."""

from __future__ import annotations

from functools import partial

from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _

from kitting.printing.forms.label_words import LanguageForm, WordsForm
from kitting.printing.queries.label_words import (
    LANGUAGE,
    SPEAKERS,
    called,
    languages,
    mark_of_words,
    own_words,
)
from kitting.printing.services.label_words import keep_words
from kitting.web.acting import act_page
from kitting.web.http import LotwardRequest, allowed


@allowed("kitting.set_up")
def label_words(request: LotwardRequest) -> HttpResponse:
    """Every language that paper speaks, and the way to another one."""
    form = LanguageForm(request.GET or None)
    chosen = form.chosen() if form.is_bound else {}
    if chosen:
        return redirect("kitting:label-words-in", chosen["language"])
    found = languages()
    context = {
        "form": LanguageForm(),
        "languages": found,
        "speakers": SPEAKERS,
        "lacking": [one for one in found if any(one.speakers) and one.missing],
    }
    return render(request, "kitting/printing/label_words.html", context)


@allowed("kitting.set_up", "GET", "POST")
def label_words_in(request: LotwardRequest, language: str) -> HttpResponse:
    """The words of a language, each with its English, and who looked at them."""
    if not LANGUAGE.fullmatch(language):
        raise Http404("No language of paper is called that.")
    words = own_words(language)
    form = WordsForm(
        request.POST or None, words=words, initial={"seen": mark_of_words(words)}
    )
    return act_page(
        request,
        "kitting/printing/label_words_in",
        form,
        partial(keep_words, language=language),
        said=_("The words are kept."),
        to=reverse("kitting:label-words"),
        act=_("Keep the words"),
        fields="kitting/printing/_word_fields.html",
        called=called(language),
        code=language,
        words=words,
        own=any(word.text for word in words),
        missing=sum(word.missing for word in words),
    )
