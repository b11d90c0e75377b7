"""How templates are written: short lines, few choices, one level of the page a step.

Each rule is a function from templates to faults. It is run on the project, and on a
made-up template that breaks it, so that a rule that cannot fail does not pass for one.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from django.conf import settings
from django.template.loader import get_template

from kitting.packing.queries.bench_next import Next
from tests.test_architecture import HOUSE, place_of

ROOT = Path(__file__).resolve().parent.parent / "templates"

LINE = 119
CHOICES = 12
NESTED = 3

Template = tuple[str, str]
"""Its name and its text."""

Rule = Callable[[list[Template]], Iterator[str]]


def lines_are_short(found: list[Template]) -> Iterator[str]:
    for name, text in found:
        for number, line in enumerate(text.splitlines(), start=1):
            if len(line) > LINE:
                yield f"{name}:{number} has {len(line)} characters"


def lines_are_indented_by_twos(found: list[Template]) -> Iterator[str]:
    for name, text in found:
        for number, line in enumerate(text.splitlines(), start=1):
            blanks = line[: len(line) - len(line.lstrip())]
            if line != line.rstrip() or "\t" in blanks or len(blanks) % 2:
                yield f"{name}:{number} is indented by {blanks!r}"


def choices_are_few(found: list[Template]) -> Iterator[str]:
    for name, text in found:
        count = len(re.findall(r"\{% (?:if|elif) ", text))
        if count > CHOICES:
            yield f"{name} chooses {count} times: let the query name one state"


def blocks_are_flat(found: list[Template]) -> Iterator[str]:
    for name, text in found:
        depth = 0
        for number, line in enumerate(text.splitlines(), start=1):
            for word in re.findall(r"\{% (if|for|endif|endfor) ", line):
                depth += -1 if word.startswith("end") else 1
                if depth > NESTED:
                    yield f"{name}:{number} is {depth} choices or lists deep"


def an_element_has_a_line(found: list[Template]) -> Iterator[str]:
    """What starts a line of the page starts a line of the template."""
    blocks = (
        "p|div|section|table|thead|tbody|tr|td|th|ul|ol|li|dl|dt|dd|form|input|h[1-4]"
    )
    for name, text in found:
        for number, line in enumerate(text.splitlines(), start=1):
            if len(re.findall(rf"<(?:{blocks})\b", line)) > 1:
                kept = re.sub(
                    r"<(li|td|th|dd|div)\b[^>]*>\s*<(p|input|h[1-4])\b", "", line
                )
                if kept == line:
                    yield f"{name}:{number} has several elements"


def house_arrows(found: list[Template]) -> Iterator[str]:
    """A template uses tags and parts of its ground and of the rooms before its own."""
    tags = settings.TEMPLATES[0]["OPTIONS"]["libraries"]
    for name, text in found:
        loaded = " ".join(re.findall(r"\{% load ([^%]+) %\}", text)).split()
        parts = re.findall(r'\{% (?:include|extends) "([^"]+)', text)
        known = [tags[one] for one in loaded if one in tags]
        for used in (*known, *map(_dotted, parts)):
            if _rank(used) > _rank(_dotted(name)):
                yield f"{name} uses {used}"


def _dotted(name: str) -> str:
    """Give a template the name of a module that stands where it does."""
    return name.replace("/", ".") if "/" in name else f"kitting.web.{name}"


def _rank(name: str) -> int:
    if name.startswith("django."):
        return -1  # the framework's, below every room
    return HOUSE.index(place_of(name))


BROKEN: list[tuple[Rule, str]] = [
    (lines_are_short, "<p>" + "word " * 23 + "</p>"),
    (lines_are_indented_by_twos, "<p>\n   word\n</p>"),
    (lines_are_indented_by_twos, "<p>\n\tword\n</p>"),
    (lines_are_indented_by_twos, "<p>word</p> \n"),
    (choices_are_few, "{% if x %}{% endif %}\n" * (CHOICES + 1)),
    (choices_are_few, "{% if x %}\n" + "{% elif y %}\n" * CHOICES + "{% endif %}"),
    (blocks_are_flat, "{% if x %}\n" * 4 + "{% endif %}\n" * 4),
    (
        blocks_are_flat,
        "{% for y in x %}\n{% if y %}" * 2 + "{% endif %}{% endfor %}\n" * 2,
    ),
    (an_element_has_a_line, "<tr><td>1</td><td>2</td></tr>"),
    (house_arrows, "{% load doses i18n %}"),
    (house_arrows, '{% include "kitting/packing/_box.html" with box=box %}'),
    (house_arrows, '{% extends "dispatch/log/log.html" %}'),
]
RULES = list(dict.fromkeys(rule for rule, _text in BROKEN))


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.__name__)
def test_the_templates_keep_the_rule(rule: Rule) -> None:
    found = [
        (str(path.relative_to(ROOT)), path.read_text())
        for path in sorted(ROOT.rglob("*.html"))
    ]
    assert len(found) > 100
    assert list(rule(found)) == []


@pytest.mark.parametrize(
    ("rule", "text"), BROKEN, ids=lambda value: getattr(value, "__name__", "")
)
def test_the_rule_finds_a_template_that_breaks_it(rule: Rule, text: str) -> None:
    assert len(list(rule([("kitting/lots/bad.html", text)]))) == 1


def test_every_template_finds_the_tags_and_parts_that_it_uses() -> None:
    for path in ROOT.rglob("*.html"):
        parts = re.findall(r'\{% include "([^"]+\.html)"', path.read_text())
        for name in (str(path.relative_to(ROOT)), *parts):
            assert get_template(name), path


@pytest.mark.parametrize("following", set(Next) - {Next.LABEL})
def test_each_state_of_a_bench_has_its_part(following: Next) -> None:
    assert get_template(f"kitting/packing/_next_{following}.html")


def test_what_a_form_is_shown_with_comes_from_its_view() -> None:
    """Where htmx swaps a refused form alone, what its page gave to it would be gone."""
    acts = re.compile(r'(?:act|form)_page\(\s*request,\s*"([^"]+)"')
    given = re.compile(r'"_form\.html" with [^%]*\b(?:act|fields|stop)=')
    houses = ("dispatch", "kitting", "lotward")
    files = [file for house in houses for file in (ROOT.parent / house).rglob("*.py")]
    pages = {name for file in files for name in acts.findall(file.read_text())}
    shown = [file for name in pages if (file := ROOT / f"{name}.html").exists()]
    assert len(shown) > 50
    assert [str(file) for file in shown if given.search(file.read_text())] == []
