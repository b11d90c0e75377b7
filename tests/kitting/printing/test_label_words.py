"""Words on boxes and slips: in the product's language, complete, and reviewed."""

from __future__ import annotations

from itertools import product
from string import Formatter

import pytest

from dispatch.consignees.labels import LISTS
from kitting.domain.errors import NotFit
from kitting.labels.spoken import ENGLISH
from kitting.models import Box, LabelWord, Part, Product, Workshop
from kitting.packing.labels import box_label
from kitting.packing.services.labels import label_pdf, print_box_label
from kitting.printing.queries.label_words import SPEAKERS, Speaker, english, words_in
from kitting.printing.services.prints import print_labels
from kitting.web.messages import sentence
from lotward.catalogue.loading import CatalogueRefused, load_catalogue
from tests import factories
from tests.assertions import assert_refused
from tests.benches import make_packing
from tests.factories import sign
from tests.kitting.labels.samples import text_of
from tests.kitting.printing.test_fitting import change

WIDE = "W" * 60
CAUTION = "Ein Spritzschutz. Kein Ersatz für eine Atemschutzmaske."
GREEK = {
    "set_one": "σετ",
    "sets": "σετ",
    "packed": "Συσκευάστηκε",
    "use_by": "Χρήση έως",
    "serial": "Κιβώτιο",
    "batch": "Παρτίδα",
    "reference": "Κωδ.",
    "lots": "Παρτίδες",
    "lots_elsewhere": "Παρτίδες: βλ. κατάλογο",
    "latex": "Περιέχει λάτεξ.",
    "non_sterile": "Μη στείρο.",
    "contact": "Ερωτήσεις: {contact}",
    "nth": "Σετ {nth} από {of}",
    "reprint": "Ανατύπωση {copy}",
}


def placed(text: str) -> set[str]:
    return {name for _, name, *_ in Formatter().parse(text) if name}


SAME_IN_GERMAN = {"receiver", "sets", "sets_inside", "set_one"}


@pytest.mark.parametrize(
    ("of", "language"), [(of, language) for of in SPEAKERS for language in of.words]
)
def test_a_language_of_ours_is_complete_and_keeps_what_is_filled_in(
    of: Speaker, language: str
) -> None:
    words = of.words[language]
    assert all(placed(words[name]) == placed(said) for name, said in of.english.items())
    assert language == "en" or all(
        words[name] != said
        for name, said in of.english.items()
        if name not in SAME_IN_GERMAN
    )


def test_a_word_that_several_papers_say_is_the_same_on_all() -> None:
    assert LISTS in SPEAKERS
    every = english()
    for of in SPEAKERS:
        assert all(every[name] == said for name, said in of.english.items())
        assert max(map(len, of.english)) <= LabelWord._meta.get_field("word").max_length


def boxed(language: str, **of_product: object) -> Box:
    at = make_packing()
    Product.objects.update(language=language, **of_product)
    Workshop.objects.update(contact="+44 1632 960123")
    return factories.make_closed_box(at.size, at.bench)


@pytest.mark.django_db
def test_a_box_and_its_slips_speak_german() -> None:
    box = boxed("de-AT", cautions=CAUTION, cautions_reviewed_by="Ada")
    print_box_label(box_id=box.pk, sign=sign())
    shown = text_of(label_pdf(box_id=box.pk, copy=1))
    for said in (
        "Sets",
        f"Verpackt {box.packed_on}",
        "Karton",
        "Packcharge",
        "Chargen",
        CAUTION,
        "Fragen: +44 1632 960123",
    ):
        assert said in shown, said
    assert not {"sets", "Packed", "Lots", "Box", "Questions:"} & set(shown.split())


@pytest.mark.django_db
def test_the_words_of_a_protocol_are_in_the_language_of_the_product() -> None:
    assert (
        words_in("de", demo=False, also=["Disinfected (UV-C)"])["Disinfected (UV-C)"]
        == "Desinfiziert (UV-C)"
    )
    with pytest.raises(NotFit) as caught:
        words_in("de", demo=False, also=["Treated by UV-C"])
    assert_refused(caught.value, "label_word_missing", language="de")
    LabelWord.objects.create(
        language="de", word="Treated by UV-C", text="Mit UV-C behandelt"
    )
    known = words_in("de", demo=False, also=["Treated by UV-C"])
    assert known["Treated by UV-C"] == "Mit UV-C behandelt"
    assert words_in("en", demo=False, also=["Treated"])["Treated"] == "Treated"


def entered(**more: str) -> list[dict[str, str]]:
    return [
        {"language": "el", "word": word, "text": text, **more}
        for word, text in GREEK.items()
    ]


@pytest.mark.django_db
def test_another_language_is_the_workshops_own_to_fill_in() -> None:
    product = make_packing().size.product
    with pytest.raises(NotFit) as caught:
        change(product, language="el")
    assert_refused(caught.value, "label_word_missing", language="el")
    load_catalogue(data={"label_words": entered(reviewed_by="Eleni")}, sign=sign())
    change(product, language="el")
    box = factories.make_closed_box(product.sizes.get())
    assert box_label(box.pk).words.packed == GREEK["packed"]


HEBREW = {
    "set_one": "ערכה",
    "sets": "ערכות",
    "packed": "נארז",
    "use_by": "לשימוש עד",
    "serial": "קרטון",
    "batch": "אצווה",
    "reference": "מק״ט",
    "lots": "מנות",
    "lots_elsewhere": "מנות: ראו רשימת אריזה",
    "latex": "מכיל לטקס.",
    "non_sterile": "לא סטרילי.",
    "contact": "שאלות: {contact}",
    "nth": "ערכה {nth} מתוך {of}",
    "reprint": "הדפסה חוזרת {copy}",
}


@pytest.mark.django_db
def test_a_box_speaks_a_language_that_is_read_from_the_right() -> None:
    words = [
        {"language": "he", "word": word, "text": text, "reviewed_by": "Noa"}
        for word, text in HEBREW.items()
    ]
    load_catalogue(data={"label_words": words}, sign=sign())
    box = boxed("he", name="מגן פנים (שקוף) FS-2")
    print_box_label(box_id=box.pk, sign=sign())
    said = text_of(label_pdf(box_id=box.pk, copy=1))
    for text in ("מגן פנים", "FS-2", HEBREW["packed"], "שאלות", "+44 1632 960123"):
        assert text in said


@pytest.mark.django_db
def test_every_word_is_tried_on_a_label_as_it_is_entered() -> None:
    shield = make_packing().size.product
    shield.sizes.create(sets=1)
    Part.objects.update(latex=True)
    LabelWord.objects.bulk_create(
        LabelWord(language="el", word=each, text=text, reviewed_by="Eleni")
        for each, text in ENGLISH.items()
    )
    change(Workshop.objects.get(pk=1), contact="+44 1632 960123")
    change(shield, language="el", profile="device", reference="HL-0001-EN")
    taken = []
    # Where "Lots" is too wide for a heading, lots are set as running text.
    for word, much in {*product(ENGLISH, ("フ", WIDE))} - {("lots", WIDE)}:
        row = LabelWord.objects.get(word=word)
        blanks = "".join(f"{{{blank}}}" for blank in sorted(placed(row.text)))
        try:
            change(row, text=f"{much}{blanks}")
        except NotFit as error:
            assert_refused(error, "label_would_not_fit")
        else:
            taken.append((word, much))
    assert taken == []


@pytest.mark.django_db
def test_words_of_a_region_go_before_those_of_its_language() -> None:
    load_catalogue(data={"label_words": entered()}, sign=sign())
    own = {"language": "el-CY", "reviewed_by": "Eleni"}
    for word in ("sets", "latex", "non_sterile"):
        LabelWord.objects.create(word=word, text=f"{word} of Cyprus", **own)
    words = words_in("el-CY", demo=False)
    assert (words["sets"], words["packed"]) == ("sets of Cyprus", GREEK["packed"])


@pytest.mark.django_db
@pytest.mark.parametrize(
    "text", ["Σετ από {of}", "Σετ {nth} από {of} {all}", "{nth} {of} {"]
)
def test_a_word_without_its_blanks_is_refused(text: str) -> None:
    """The slips of a box could not be told apart, or none could be printed."""
    row = {"language": "el", "word": "nth", "text": text}
    with pytest.raises(CatalogueRefused) as caught:
        load_catalogue(data={"label_words": [row]}, sign=sign())
    (problem,) = caught.value.problems
    assert (problem.path, problem.code) == ("label_words[1].text", "label_word_blanks")
    assert "{nth} {of}" in sentence(problem.as_error())
    assert not LabelWord.objects.exists()


@pytest.mark.django_db
def test_a_caution_that_nobody_reviewed_is_printed_in_a_demo_only() -> None:
    product = make_packing().size.product
    load_catalogue(data={"label_words": entered()}, sign=sign())
    with pytest.raises(NotFit) as caught:
        change(product, language="el")
    assert_refused(caught.value, "label_word_unreviewed", language="el")
    with pytest.raises(NotFit) as caught:
        change(product, language="de", cautions=CAUTION)
    assert_refused(caught.value, "cautions_unreviewed", product=product.name)
    assert product.name in sentence(caught.value)
    assert product.caution_lines(demo=False) == ()
    assert product.caution_lines(demo=True) == (CAUTION,)
    change(product, language="de", cautions=CAUTION, cautions_reviewed_by="Ada")
    assert product.caution_lines(demo=False) == (CAUTION,)


@pytest.mark.django_db
def test_a_device_says_its_catalogue_number_and_whom_to_ask() -> None:
    box = boxed("en", profile="device", reference="HL-0001-EN", single_use=True)
    label = box_label(box.pk)
    assert (label.reference, label.single_use) == ("HL-0001-EN", True)
    print_box_label(box_id=box.pk, sign=sign())
    shown = text_of(label_pdf(box_id=box.pk, copy=1))
    for said in ("REF", "Ref. HL-0001-EN", "UDI", "Questions: +44 1632 960123"):
        assert said in shown, said
    Product.objects.update(profile="none")
    bare = text_of(label_pdf(box_id=box.pk, copy=1))
    assert not {"REF", "UDI", "HL-0001-EN"} & set(bare.split())
    done = print_labels(kind="set_slip", numbers=[str(box.serial)], sign=sign())
    assert done.labels == box.size.sets
