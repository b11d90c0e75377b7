"""The parts that every page is made of, the row of words, and the pages of refusals."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import pytest
from django import forms
from django.core.paginator import Paginator
from django.http import HttpRequest
from django.template import Context, Template
from django.template.loader import render_to_string
from django.test import RequestFactory, override_settings
from django.urls import include, path

from kitting.web.fields import FigureField
from kitting.web.forms import SpokenForm
from tests.assertions import laid_out
from tests.browser.touring import pages_of
from tests.pages import FILLED

if TYPE_CHECKING:
    from tests.ledgers import History
    from tests.pages import Shown

# -- Parts of a page -----------------------------------------------------------------


class LotForm(SpokenForm):
    op_key = forms.UUIDField(widget=forms.HiddenInput)
    number = forms.CharField(label="Lot number", help_text="As on the bag.")
    reading = FigureField(label="Reading", unit="mW/cm²")
    stays_open = forms.BooleanField(label="More bags will come", required=False)
    container = forms.ChoiceField(
        label="Container",
        choices=[("tote", "Tote"), ("pack", "Sealed pack")],
        widget=forms.RadioSelect,
    )


def request_for(address: str) -> HttpRequest:
    return RequestFactory().get(address)


def part(name: str, address: str = "/lots/", **context: Any) -> str:
    template = Template('{% include "' + name + '" %}')
    return laid_out(
        template.render(Context({"request": request_for(address), **context}))
    )


def test_a_form_shows_every_field_with_label_unit_and_help() -> None:
    html = part("_form.html", form=LotForm(), act="Take in the lot")
    assert '<label for="id_number">Lot number</label>' in html
    assert '<span class="unit">mW/cm²</span>' in html
    assert 'id="id_number_helptext">As on the bag.' in html
    assert 'aria-describedby="id_number_helptext"' in html
    assert '<input type="hidden" name="op_key" id="id_op_key">' in html
    assert "<legend>Container</legend>" in html
    assert '<button class="main">Take in the lot</button>' in html
    assert "data-wrong" not in html


def test_a_form_repeats_its_errors_on_top_with_links() -> None:
    form = LotForm({"reading": "wet"})
    form.add_error(None, "The lot is already closed.")
    html = part("_form.html", form=form, act="Take in the lot")
    top = html[html.index("data-wrong") : html.index('<input type="hidden"')]
    assert "<li>The lot is already closed.</li>" in top
    assert '<a href="#id_reading">Reading</a>: “wet” is not a figure.' in top
    assert '<a href="#id_container_field">Container</a>' in top
    assert 'id="id_container_field"' in html
    assert html.count('<ul class="errorlist" id="id_reading_error"') == 1
    # An error of a hidden field has no place of its own; it stands on top.
    assert "The form came back without the op key." in top


def test_a_form_part_swaps_itself_whole() -> None:
    html = part("_form.html", form=LotForm(), act="Take in", part="lot-form")
    assert (
        'id="lot-form" hx-post="/lots/" hx-target="#lot-form" hx-swap="outerHTML"'
        in html
    )


def test_a_file_keeps_the_filters_of_its_table() -> None:
    html = part("_table_tools.html", "/log/?from=2026-03-01&page=3", xlsx=True)
    assert 'href="?from=2026-03-01&amp;as=csv"' in html
    assert 'href="?from=2026-03-01&amp;as=xlsx"' in html
    assert "xlsx" not in part("_table_tools.html", "/log/")


def test_pages_are_told_in_words_and_keep_the_filters() -> None:
    middle = Paginator(range(1204), 50).page(2)
    html = part("_pages.html", "/log/?to=x&page=2", page=middle)
    assert "Rows 51 to 100 of 1\N{NARROW NO-BREAK SPACE}204." in html
    assert 'rel="next" href="?to=x&amp;page=3"' in html
    assert 'rel="prev" href="?to=x&amp;page=1"' in html


def test_a_single_page_is_not_mentioned() -> None:
    only = Paginator(range(3), 50).page(1)
    assert part("_pages.html", page=only).strip() == ""


def test_a_caution_says_so_in_words() -> None:
    html = part("_caution.html", caution="UV-C injures eyes & skin.")
    assert "<strong>Caution.</strong> UV-C injures eyes &amp; skin." in html


# -- The row of words ----------------------------------------------------------------


class Person:
    is_authenticated = True

    def __init__(self, *rights: str) -> None:
        self.rights = rights

    def has_perm(self, right: str) -> bool:
        return right in self.rights

    def get_full_name(self) -> str:
        return "Packer 3"


def view(right: str) -> Any:
    def seen(request: HttpRequest) -> None: ...

    seen.permission = right  # type: ignore[attr-defined]
    return seen


class Addresses:
    """Some of the words have their pages already, others not."""

    kitting = (
        [
            path("", view("kitting.see_work"), name="day"),
            path("lots/", view("kitting.see_work"), name="lots"),
            path("set-up/", view("kitting.set_up"), name="workshop"),
        ],
        "kitting",
    )
    dispatch = ([path("recall/", view("kitting.recall"), name="recall")], "dispatch")
    urlpatterns = [
        path("home/", view(""), name="home"),
        path("sign-out/", view(""), name="sign-out"),
        path("", include(kitting)),
        path("", include(dispatch)),
    ]


def head(person: Person, address: str = "/", **context: Any) -> str:
    with override_settings(ROOT_URLCONF=Addresses):
        return part("_head.html", address, user=person, **context)


def words(html: str) -> list[str]:
    return re.findall(r"<li><a [^>]*>(.*?)</a></li>", html)


def test_the_row_has_the_words_whose_pages_this_person_may_see() -> None:
    assert words(head(Person("kitting.see_work"))) == ["The day", "Lots"]
    assert words(head(Person("kitting.set_up", "kitting.recall"))) == [
        "Recall",
        "Set-up",
    ]


def test_the_search_field_is_there_for_who_may_look_up() -> None:
    assert 'action="/recall/"' in head(Person("kitting.recall"))
    assert "search" not in head(Person("kitting.see_work"))


@pytest.mark.parametrize(
    ("address", "current"),
    [
        ("/", ["The day"]),
        ("/lots/", ["Lots"]),
        ("/lots/V-251119-A/", ["Lots"]),
        ("/other/", []),
    ],
)
def test_one_word_is_the_current_one(address: str, current: list[str]) -> None:
    html = head(Person("kitting.see_work"), address)
    assert re.findall(r'aria-current="page">(.*?)</a>', html) == current


def test_a_page_may_name_the_word_it_belongs_to() -> None:
    html = head(Person("kitting.see_work"), "/other/", here="kitting:lots")
    assert re.findall(r'aria-current="page">(.*?)</a>', html) == ["Lots"]


def act(person: Person, asked: str) -> str:
    with override_settings(ROOT_URLCONF=Addresses):
        tag = "{% load look %}{% act_link 'Trace the bag' 'dispatch:recall' ASKED %}"
        text = Template(tag.replace("ASKED", asked))
        return text.render(Context({"user": person, "bag": "B 1&2", "full": 5}))


def test_an_act_leads_to_its_page() -> None:
    html = act(Person("kitting.recall"), "q=bag when=full kind='main'")
    assert (
        html == '<a class="button main" href="/recall/?q=B%201%262" data-act="RECALL">'
        "Trace the bag</a>"
    )
    assert act(Person("kitting.recall"), "kind='plain'").startswith(
        '<a href="/recall/"'
    )


def test_an_act_is_shown_to_nobody_who_may_not_do_it_and_not_in_vain() -> None:
    assert act(Person("kitting.see_work"), "q=bag") == ""
    assert act(Person("kitting.recall"), "q=bag when=empty") == ""


def test_sign_out_is_a_post() -> None:
    html = head(Person())
    assert '<form class="who" method="post" action="/sign-out/" data-sign-out>' in html
    assert "Packer 3" in html


def test_nobody_signed_on_sees_no_words() -> None:
    stranger = Person("kitting.see_work")
    stranger.is_authenticated = False
    assert words(head(stranger)) == []


# -- Whole pages ---------------------------------------------------------------------


def page(name: str, **context: Any) -> str:
    workshop = {"name": "Harrow Lane Workshop", "demo": False}
    with override_settings(ROOT_URLCONF=Addresses):
        return Template('{% extends "' + name + '" %}').render(
            Context({"request": request_for("/x/"), "workshop": workshop, **context})
        )


@pytest.mark.parametrize("name", ["base.html", "403.html", "404.html", "403_csrf.html"])
def test_a_page_has_language_skip_link_main_and_regions(name: str) -> None:
    html = page(name, user=Person())
    assert re.search(r'^<!doctype html>\s*<html lang="en-gb"', html.strip())
    assert '<a class="skip" href="#main">' in html
    assert html.count("<main") == html.count("<h1") == 1
    assert 'role="alert"' in html
    assert 'role="status"' in html
    assert 'name="viewport" content="width=device-width, initial-scale=1"' in html


def test_a_demo_says_so_in_words() -> None:
    demo = page("base.html", workshop={"name": "Harrow Lane", "demo": True})
    assert "demo workshop" in demo
    assert "demo workshop" not in page("base.html")


def test_htmx_swaps_refusals_and_evaluates_nothing() -> None:
    html = page("base.html")
    assert "htmx-2.min.js" in html
    assert '"allowEval": false' in html
    assert '{"code": "422|409", "swap": true}' in html
    # First match wins (htmx documentation, responseHandling).
    assert html.index('"422|409"') < html.index('"[45].."')


def test_the_page_of_a_failed_server_needs_nothing_of_the_server() -> None:
    html = render_to_string("500.html")
    assert "<h1" in html
    assert "{" not in html


def test_sign_in_posts_name_password_and_where_to_go_on() -> None:
    class SignIn(forms.Form):
        username = forms.CharField()
        password = forms.CharField(widget=forms.PasswordInput)

    html = page("lotward/sign_in.html", form=SignIn(), next="/lots/")
    assert '<input type="hidden" name="next" value="/lots/">' in html
    assert re.findall(r'<input type="(?:text|password)" name="(\w+)"', html) == [
        "username",
        "password",
    ]


def test_a_closed_sign_in_shows_no_form() -> None:
    html = page("lotward/sign_in.html", locked=True)
    assert "closed for now" in html
    assert "<form" not in html


# -- Every page ----------------------------------------------------------------------

OPENING = re.compile(rb'<header class="opening">.*?</header>', re.DOTALL)
FILLED_WHOLE = re.compile(FILLED.pattern + rb".*?</(?:a|button)>", re.DOTALL)


def test_no_page_has_more_than_one_filled_act(every_page: list[Shown]) -> None:
    filled = [(shown.address, len(FILLED.findall(shown.html))) for shown in every_page]
    assert [address for address, acts in filled if acts > 1] == []
    assert sum(acts for _, acts in filled) > 50


ONE_OF_MANY = re.compile(
    r"(?<![\d.])(?<!GS)1\s(?!(?:covers|has|is|ms|pass|waits|was)\b)[a-z]+s\b"
)
"""One thing in the plural; behind it are the words that end so in the singular. The
figure in the name GS1 counts nothing."""

UNREAD = re.compile(r"<(head|script|style|svg)\b.*?</\1>|<[^>]*>", re.DOTALL)


def miscounted(html: bytes) -> list[str]:
    """What a page counts as one and names as many, such as "1 sets"."""
    return ONE_OF_MANY.findall(UNREAD.sub("", laid_out(html.decode())))


def test_one_thing_is_in_the_singular_on_every_page(every_page: list[Shown]) -> None:
    found = {shown.address: miscounted(shown.html) for shown in every_page}
    assert {address: words for address, words in found.items() if words} == {}


def test_the_pages_of_a_tour_keep_both_rules(
    history: History, client_for, make_user
) -> None:
    """The demo has no open run and no lot that waits for its sorting; these have."""
    person = make_user("robin")
    person.is_superuser = True
    person.save()
    client = client_for(person)
    pages = [
        (address, client.get(address).content)
        for addresses in pages_of(history).values()
        for address in addresses
    ]
    assert [each for each, html in pages if len(FILLED.findall(html)) > 1] == []
    assert {each: miscounted(html) for each, html in pages if miscounted(html)} == {}


def test_a_filled_act_stands_in_the_opening_or_ends_a_form(
    every_page: list[Shown],
) -> None:
    """A link is never the end of a form."""
    elsewhere = [
        shown.address
        for shown in every_page
        if any(
            act.startswith(b"<a ")
            for act in FILLED.findall(OPENING.sub(b"", shown.html))
        )
    ]
    assert elsewhere == []


def test_a_filled_act_ends_its_opening(every_page: list[Shown]) -> None:
    ends = [
        (shown.address, re.sub(rb"\s|</form>", b"", opening.rpartition(act)[2]))
        for shown in every_page
        for opening in OPENING.findall(shown.html)
        for act in FILLED_WHOLE.findall(opening)
    ]
    assert [address for address, after in ends if after != b"</header>"] == []
    assert len(ends) > 20
