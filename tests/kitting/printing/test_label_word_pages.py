"""The page of words on paper: by the rules of the file, one act, one key."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from dispatch.consignees.labels import LISTS
from dispatch.models import Consignee
from kitting.domain.errors import Conflict, LotwardError, NotFit, Refused
from kitting.labels.spoken import ENGLISH
from kitting.models import LabelWord, Operation, Product
from kitting.printing.forms.label_words import WordsForm
from kitting.printing.queries.label_words import (
    english,
    languages,
    mark_of_words,
    own_words,
    to_choose,
    words_in,
)
from kitting.printing.services.label_words import keep_words
from lotward.catalogue.loading import load_catalogue
from tests import factories
from tests.assertions import (
    assert_page,
    assert_refused,
    assert_sent_to_sign_in,
    text_of,
)
from tests.benches import make_packing
from tests.factories import sign
from tests.kitting.printing.test_fitting import change
from tests.kitting.printing.test_label_words import GREEK, entered

pytestmark = pytest.mark.django_db

LIST = reverse("kitting:label-words")
PAGE = reverse("kitting:label-words-in", args=["el"])


@pytest.fixture
def manager(make_user: Any, client_for: Any) -> Client:
    return client_for(make_user("manager", group="manager"))  # type: ignore[no-any-return]


def sent(words: dict[str, str], language: str = "el", **more: str) -> dict[str, str]:
    form = WordsForm(words=own_words(language))
    names = {word.name: name for name, word in form.words.items()}
    texts = {names[word]: text for word, text in words.items()}
    return {"op_key": str(uuid.uuid4()), **texts, **more}


def keep(words: dict[str, str], reviewed_by: str = "", language: str = "el") -> Any:
    return keep_words(
        language=language, words=words, reviewed_by=reviewed_by, sign=sign()
    )


@pytest.mark.smoke
def test_a_language_is_filled_in_and_a_product_speaks_it(
    manager: Client, django_assert_max_num_queries: Any
) -> None:
    product = make_packing().size.product
    with pytest.raises(NotFit):
        change(product, language="el")
    assert manager.get(LIST, {"language": "el"}).url == PAGE
    with django_assert_max_num_queries(15):
        shown = text_of(manager.get(PAGE))
    assert "What do labels and packing lists say in Greek (el)?" in shown
    assert f"{len(english())} words are missing." in shown
    for said in (*ENGLISH.values(), "Lots by part"):
        assert said in shown
    once = sent(GREEK, reviewed_by="Eleni", seen=mark_of_words(own_words("el")))
    for _ in range(2):
        assert manager.post(PAGE, once)["Location"] == LIST
    assert Operation.objects.filter(name="keep_words").count() == 1
    change(product, language="el")
    assert words_in("el", demo=False)["packed"] == GREEK["packed"]
    with django_assert_max_num_queries(15):
        shown = text_of(manager.get(LIST))
    assert "Greek (el)" in shown
    assert "Eleni" in shown
    assert "English and German are complete." in shown
    assert factories.prove() == []


def test_it_is_what_the_file_would_have_made(manager: Client) -> None:
    manager.post(PAGE, sent(GREEK, reviewed_by="Eleni"))
    by_page = sorted(LabelWord.objects.values_list("language", "word", "text"))
    LabelWord.objects.all().delete()
    load_catalogue(data={"label_words": entered(reviewed_by="Eleni")}, sign=sign())
    assert sorted(LabelWord.objects.values_list("language", "word", "text")) == by_page


@pytest.mark.smoke
def test_a_word_without_its_blanks_is_refused_beside_it(manager: Client) -> None:
    words = GREEK | {"nth": "Σετ από {of}"}
    answer = manager.post(PAGE, sent(words, reviewed_by="Eleni"))
    assert answer.status_code == 422
    (name,) = answer.context["form"].errors
    assert answer.context["form"].words[name].name == "nth"
    assert "{nth} {of}" in text_of(answer)
    assert not LabelWord.objects.exists()
    with pytest.raises(Refused) as caught:
        keep(words)
    assert_refused(caught.value, "label_word_blanks", wanted="{nth} {of}")
    assert not LabelWord.objects.exists()


def test_a_word_that_has_no_room_or_is_taken_out_of_use_is_refused(
    manager: Client,
) -> None:
    product = make_packing().size.product
    keep(GREEK, "Eleni")
    change(product, language="el")
    for word, text, said in (
        ("packed", "W" * 60, "could not be printed"),
        ("packed", "", "no word for “Packed”"),
        ("non_sterile", "Αποστειρωμένο όχι.", "Nobody is named"),
    ):
        answer = manager.post(PAGE, sent(GREEK | {word: text}))
        assert answer.status_code == 422, word
        assert said in text_of(answer)
    assert words_in("el", demo=False)["packed"] == GREEK["packed"]


def test_a_word_that_changes_was_looked_at_by_nobody() -> None:
    keep(GREEK, "Eleni")
    done = keep(GREEK | {"sets": "σετ."})
    assert done.changed == ["sets"]
    assert {w.name for w in own_words("el") if w.text and not w.reviewed_by} == {"sets"}
    assert keep(GREEK | {"sets": "σετ."}, "Niko").changed == list(GREEK)
    assert {word.reviewed_by for word in own_words("el") if word.text} == {"Niko"}
    assert keep({}).changed == []
    assert keep({"sets": ""}).changed == ["sets"]
    assert not LabelWord.objects.filter(word="sets").exists()
    assert factories.prove() == []


def test_words_of_a_protocol_are_filled_in_german_as_well(manager: Client) -> None:
    assert own_words("de") == []
    german = reverse("kitting:label-words-in", args=["de"])
    assert "All words are there already." in text_of(manager.get(german))
    factories.make_protocol(factories.make_revision(), label_words="Treated by UV-C")
    (word,) = own_words("de")
    assert (word.name, word.english) == ("Treated by UV-C", "Treated by UV-C")
    keep({"Treated by UV-C": "Mit UV-C behandelt"}, language="de")
    known = words_in("de", demo=False, also=["Treated by UV-C"])
    assert known["Treated by UV-C"] == "Mit UV-C behandelt"


def test_a_region_says_what_its_language_does(manager: Client) -> None:
    keep(GREEK, "Eleni")
    change(make_packing().size.product, language="el-CY")
    page = reverse("kitting:label-words-in", args=["el-CY"])
    shown = text_of(manager.get(page))
    assert "All words that are needed are there." in shown
    assert f"While it is empty: {GREEK['packed']}" in shown
    keep({"packed": "Πακέτο"}, language="el-CY")
    assert words_in("el-CY", demo=True)["packed"] == "Πακέτο"
    assert "Greek (el-CY)" in text_of(manager.get(LIST))


def test_what_somebody_else_changed_meanwhile_is_not_written_over(
    manager: Client,
) -> None:
    seen = mark_of_words(own_words("el"))
    keep({"packed": "Πακέτο"})
    answer = manager.post(PAGE, sent(GREEK, seen=seen))
    assert answer.status_code == 409
    with pytest.raises(Conflict):
        keep_words(language="el", words=GREEK, reviewed_by="", seen=seen, sign=sign())
    assert LabelWord.objects.count() == 1


@pytest.mark.parametrize("language", ["en", "en-GB", "x", "EL", "el-cy", "greek"])
def test_what_is_no_language_of_its_own_has_no_page(
    language: str, manager: Client
) -> None:
    assert manager.get(LIST + f"{language}/").status_code == 404
    with pytest.raises(LotwardError) as caught:
        keep({"packed": "x"}, language=language)
    assert_refused(caught.value, "label_language_unknown", read=language)


def test_a_word_that_no_label_says_is_not_kept() -> None:
    with pytest.raises(LotwardError) as caught:
        keep({"colour": "χρώμα"})
    assert_refused(caught.value, "row_missing", what="word")
    with pytest.raises(LotwardError) as caught:
        keep({"packed": "x" * 81})
    assert_refused(caught.value, "entry_too_long")
    assert not LabelWord.objects.exists()


def test_a_language_of_a_product_that_lacks_words_is_named(manager: Client) -> None:
    """As an earlier version may have left it: no act lets it in now."""
    make_packing()
    Product.objects.update(language="pl")
    assert "1 language in use lacks words." in text_of(manager.get(LIST))


def missing_of(language: str) -> int:
    (found,) = (each for each in languages() if each.code == language)
    assert found.missing == sum(word.missing for word in own_words(language))
    return found.missing


def test_a_word_is_missing_where_something_would_say_it() -> None:
    product = make_packing().size.product
    line = product.recipes.get().lines.select_related("revision").first()
    factories.make_protocol(factories.make_revision(), label_words="Steamed")
    keep(GREEK, "Eleni")
    # Nothing speaks it: what a product and what a consignee needs, of no protocol.
    assert missing_of("el") == len(english().keys() - GREEK.keys())
    assert "Steamed" in {word.name for word in own_words("el")}
    change(product, language="el")
    assert missing_of("el") == 0
    change(product, language="en")
    factories.make_protocol(line.revision, label_words="Treated")
    Product.objects.update(language="de")
    assert missing_of("de") == 1
    keep({"Treated": "Behandelt"}, language="de")
    assert missing_of("de") == 0
    factories.make_consignee()
    Consignee.objects.update(language="el")
    assert missing_of("el") == len(LISTS.english.keys() - GREEK.keys())


def test_a_language_of_a_region_is_there_to_choose_once_it_has_words() -> None:
    assert ("el-CY", "Greek (el-CY)") not in to_choose()
    keep({"packed": "Πακέτο"}, language="el-CY")
    assert to_choose()[-1] == ("el-CY", "Greek (el-CY)")


def test_only_managers_fill_in_words(
    manager: Client, make_user: Any, client_for: Any, outsider: Any
) -> None:
    officer = client_for(make_user("officer", group="quality officer"))
    for page in (LIST, PAGE):
        assert_sent_to_sign_in(Client().get(page))
        for other in (officer, client_for(outsider)):
            assert other.get(page).status_code == 403
            assert other.post(page, {}).status_code in {403, 405}
        assert_page(manager.get(page))
    assert_page(manager.get(LIST, {"language": "king"}))


def test_a_language_of_ours_is_all_there_and_none_is_chosen(manager: Client) -> None:
    product = make_packing().size.product
    change(product, language="de")
    shown = text_of(manager.get(LIST))
    row = shown.split("German (de)")[1].split("</tr>")[0]
    assert "all there" in row
    choice = shown.split("Another language")[1].split("</form>")[0]
    assert 'value="" selected>Choose a language' in choice
    Product.objects.update(language="el")
    row = text_of(manager.get(LIST)).split("Greek (el)")[1].split("</tr>")[0]
    assert "all there" not in row
