"""The telephone numbers in what was written of whom to ask."""

from __future__ import annotations

import pytest

from dispatch.domain.notices import telephones

pytestmark = pytest.mark.pure


def called(text: str) -> list[str]:
    found = telephones(text)
    assert "".join(piece.text for piece in found) == text
    return [piece.tel for piece in found if piece.tel]


@pytest.mark.parametrize(
    ("text", "tel"),
    [
        # RFC 3966, section 6 and section 5.1.1: a global number, its visual separators.
        ("+1-201-555-0123", "+12015550123"),
        ("+1 (201) 555.0123", "+12015550123"),
        # ITU-T E.123, 4.1 and 7.1: how a national number is written, and an international.
        ("(0607) 123 4567", "06071234567"),
        ("+22 607 123 4567", "+226071234567"),
        # E.123, 7.1 forbids it; it is written all the same (common practice).
        ("+44 (0)607 123 4567", "+446071234567"),
        ("0607/1234567", "06071234567"),
    ],
)
def test_a_number_is_called_without_what_separates(text: str, tel: str) -> None:
    assert called(text) == [tel]
    assert called(f"Duty porter, {text}, ask for stores") == [tel]


def test_several_numbers_are_called_each_by_itself() -> None:
    text = "Ward 3 +1-201-555-0123 or stores +1-201-555-0124"
    assert called(text) == ["+12015550123", "+12015550124"]


@pytest.mark.parametrize("text", ["", "Duty porter, extension 200", "Ward 3, bay 12 4"])
def test_an_extension_is_no_number(text: str) -> None:
    assert called(text) == []
