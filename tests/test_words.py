"""Every sentence that a person reads is in plain words, one word for each thing.

The rule is run on everything that can be translated, in modules and in templates, and on
made-up sentences that break it, so that a rule that cannot fail does not pass for one.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cache

import pytest

from tests.trees import PACKAGES, ROOT, Module, modules

CALLS = {"_", "gettext", "gettext_lazy", "ngettext", "ngettext_lazy"}

IN_TEMPLATES = re.compile(
    r"""{%\s*translate\s+(?P<quote>["'])(?P<one>.*?)(?P=quote)"""
    r"""|_\("(?P<call>[^"]*)"\)"""
    r"""|{%\s*blocktranslate\b[^%]*%}(?P<block>.*?){%\s*endblocktranslate""",
    re.DOTALL,
)

PLURAL = re.compile(r"{%\s*plural\s*%}")

COUNTED = re.compile(r"{{ \w+ }} (?:bags|boxes|kinds|lots|pieces|sets)\b")
"""A second count in a sentence, or one in a sentence without a plural, is an amount."""

NEVER_ONE = {
    ("kitting/checking/_inspection_curve.html", "{{ pieces }} pieces"),
    ("kitting/lots/_bag_weigh_form.html", "{{ sd }} pieces"),
}
"""An entry of a form, and a deviation with its decimals."""

BANNED = {
    r"\bcall\w* (?:\w+ ){0,3}off\b": "cancel",
    r"\bt(?:ak\w+|ook) (?:\w+ ){0,2}back\b": "undo",
    r"\baside\b": "put in quarantine, put away, take off the bench",
    r"\bconced": "accept under concession",
    r"\bsign\w*[ -]off\b": "sign out, for a protocol sign",
    r"\bput (?:\w+ ){0,3}on hold\b|\bhold (?:was|is) put\b": "place a hold",
    r"\bmethods? of disinfection\b": "process",
    r"\bin all\b(?! pieces| parts)|^together$": "total",
    r"^(?:state|standing)$": "stage",
    r"\bDO-": "ACT-",
    r"\bin the set-up\b|\bby the set-up\b": "the page that has it, or the catalogue",
    r"\bstand(?:s|ing)?\b": "is",
    r"\b(?:lie|lies|lying|lay|lays|laid|lain)\b": "is",
    r"\bburnt\b": "in use",
    r"\bstrokes?\b": "slash",
    r"\bgravest\b": "worst",
    r"\bmade into made into\b": "made into",
    r"\bmeasures? no run\b|\bspoken of\b|\bwith those before\b": "say it plainly",
    r"\bleft out for\b|\bneeds another stage\b|\bit is decided\b": "say it plainly",
    r"\bhow sharp\b|\bpage itself\b|\ball the same\b": "say it plainly",
    r"\bnowhere\b|\bas chosen\b|\bto life\b|\bgo(?:es)? by\b": "say it plainly",
    r"\bhangs? on\b|\bbelieved\b|\bturns up\b|\bin work\b": "say it plainly",
    r"\bput (?:\w+ )?right\b": "correct",
    r"\bbec[ao]mes? of\b": "done with",
    r"\b1 (?:are|were|\w+[^s\W]s)\b": "a plural of its own",
}
"""What no sentence has, and what it has instead."""


def sentences(module: Module) -> Iterator[str]:
    """What a module has to translate."""
    for node in ast.walk(module.tree):
        if (
            isinstance(node, ast.Call)
            and ast.unparse(node.func).split(".")[-1] in CALLS
        ):
            for each in node.args:
                if isinstance(each, ast.Constant) and isinstance(each.value, str):
                    yield each.value


def sentences_of_page(text: str) -> Iterator[str]:
    """What a template has to translate, singular and plural apart, in one line each."""
    for found in IN_TEMPLATES.finditer(text):
        said = found["one"] or found["call"] or found["block"] or ""
        for each in PLURAL.split(said):
            yield " ".join(each.split())


@cache
def every_sentence() -> dict[str, list[str]]:
    pages = sorted((ROOT / "templates").rglob("*.html"))
    return {
        **{each.name: list(sentences(each)) for each in modules(*PACKAGES)},
        **{
            str(page.relative_to(ROOT)): list(
                sentences_of_page(page.read_text("utf-8"))
            )
            for page in pages
        },
    }


def faults(said: str) -> list[str]:
    return [
        f"{found[0]!r} in “{said}”: rather {better}"
        for banned, better in BANNED.items()
        if (found := re.search(banned, said, re.IGNORECASE))
    ]


def test_every_sentence_is_in_plain_words() -> None:
    wrong = [
        f"{where}: {fault}"
        for where, told in every_sentence().items()
        for said in told
        for fault in faults(said)
    ]
    assert not wrong, "\n".join(wrong)


def test_what_is_one_is_never_in_the_plural() -> None:
    found = {
        (str(page.relative_to(ROOT / "templates")), many)
        for page in (ROOT / "templates").rglob("*.html")
        for said in IN_TEMPLATES.finditer(page.read_text("utf-8"))
        for many in COUNTED.findall(PLURAL.split(said["block"] or "")[0])
    }
    assert found == NEVER_ONE


@pytest.mark.parametrize(
    ("where", "said"),
    [
        # A table of sentences, a form, a view, tags, labels; each kind of template tag.
        ("kitting.web.words", "This hold was lifted before. Load the page again."),
        ("kitting.packing.forms", "Why it is voided"),
        ("kitting.packing.views.last_acts", "Box %(box)s cancelled"),
        ("kitting.checking.tags.inspection", "accepted under concession"),
        ("kitting.packing.labels", "command labels"),
        ("templates/kitting/packing/_next_undo.html", "Undo what?"),
        ("templates/kitting/packing/_next_undo.html", "Cancel the box"),
        (
            "templates/kitting/packing/_next_none_to_scan.html",
            "{{ shown }} pieces are missing.",
        ),
    ],
)
def test_sentences_of_every_kind_are_read(where: str, said: str) -> None:
    assert said in every_sentence()[where]


@pytest.mark.parametrize(
    "said",
    [
        "Call it off",
        "Box %(box)s is called off.",
        "Take what back?",
        "This cannot be taken back.",
        "Put it aside and take another.",
        "Scan the bag to lay aside",
        "Lots that were conceded",
        "Sign off",
        "Every run is put on hold.",
        "That is no method of disinfection.",
        "Together",
        "In all",
        "Standing",
        "State",
        "Scan DO-CLOSE.",
        "Correct it, or add it in the set-up.",
        "Its boxes stand ready.",
        "The date lies after today.",
        "How they are laid",
        "It has lain there.",
        "It has burnt 8 686 h.",
        "hyphen, stroke and full stop",
        "under its gravest defect",
        "Bag is arrived, and this act needs another stage.",
        "Of each of its bags it is decided.",
        "How sharp is this plan?",
        "To the page itself",
        "1 benches",
        "1 are missing",
    ],
)
def test_what_is_not_plain_is_found(said: str) -> None:
    assert faults(said)


@pytest.mark.parametrize(
    "said",
    ["by the standard", "looked for in all pieces", "Call the printer", "1 press"],
)
def test_what_only_looks_alike_is_left(said: str) -> None:
    assert not faults(said)
