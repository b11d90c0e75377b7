"""Lists to choose from: ours say what the framework's own would say."""

from __future__ import annotations

import re

import pytest
from django import forms
from django.forms.renderers import DjangoTemplates, get_default_renderer

GROUPED = [
    ("", "Choose"),
    ("a<b", "Ward <1> & 2"),
    ("North", [("n1", "Hill"), ("n2", "Dale")]),
]


def plain(html: str) -> str:
    """Without the blanks around elements."""
    return re.sub(r"\s*(<[^>]*>)\s*", r"\1", html)


@pytest.mark.pure
@pytest.mark.parametrize("value", ["", "a<b", "n2", "gone", None])
def test_a_list_says_what_the_framework_says(value: str | None) -> None:
    """The reference is Django's own template of the same widget."""
    chosen = forms.Select({"id": "id_to", "required": True}, choices=GROUPED)
    ours, theirs = (
        plain(chosen.render("to", value, renderer=renderer))
        for renderer in (get_default_renderer(), DjangoTemplates())
    )
    assert ours == theirs
    assert ours.count("<option") == 4
