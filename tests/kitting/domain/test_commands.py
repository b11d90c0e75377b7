"""Command labels: read whatever case they come in, and never mistaken for numbers."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitting.domain import commands, numbers
from kitting.domain.commands import Command, Do, is_command, read_command
from kitting.domain.numbers import Kind


@pytest.mark.parametrize(
    ("text", "command"),
    [
        ("ACT-CLOSE", Command(Do.CLOSE)),
        (" act-close\r\n", Command(Do.CLOSE)),
        ("]C0ACT-CLOSE", Command(Do.CLOSE)),
        ("]d1act-close", Command(Do.CLOSE)),
        ("ACT-MASS-1234.5", Command(Do.MASS, mass_mg=1_234_500)),
        ("act-mass-  1234,50 g\r", Command(Do.MASS, mass_mg=1_234_500)),
        ("ACT-MASS-0", Command(Do.MASS, mass_mg=0)),
        ("ACT-PRINT", Command(Do.PRINT)),
        ("ACT-PRINT-LOST", Command(Do.PRINT, reason="Label lost")),
        ("ACT-UNDO", Command(Do.UNDO)),
        ("ACT-CANCEL", Command(Do.CANCEL)),
        ("ACT-CANCEL-DAMAGED", Command(Do.CANCEL, reason="Damaged")),
        ("ACT-TAKE-OFF", Command(Do.TAKE_OFF)),
        ("ACT-TAKE-OUT", Command(Do.TAKE_OUT)),
        ("ACT-QUARANTINE", Command(Do.QUARANTINE)),
        ("ACT-NEXT", Command(Do.NEXT)),
        ("ACT-BOX-24", Command(Do.BOX, sets=24)),
        ("ACT-BOX-FS1-24", Command(Do.BOX, sets=24, product="FS1")),
        ("ACT-BOX-24-6", Command(Do.BOX, sets=6, product="24")),
    ],
)
def test_a_command_is_read(text: str, command: Command) -> None:
    assert is_command(text)
    assert read_command(text) == command


@pytest.mark.parametrize(
    "text",
    [
        "ACT-",
        "ACT-DANCE",
        "ACT-CLOSE-NOW",
        "ACT-TAKE-OUT-ALL",
        "ACT-BOX",
        "ACT-BOX-",
        "ACT-BOX-0",
        "ACT-BOX-²4",
        "ACT-BOX-FS1",
        "ACT-BOX-1234567",
        "ACT-CANCEL-LUNCH",
        "ACT-MASS-",
        "ACT-MASS--5",
        "ACT-MASS-5 kg",
        "ACT-MASS-5.0001",
        "ACT-MASS-12345678",
        "ACT-MASS-²",
        "ACT-PRINT-",
        "ACT-NEXT\x00",
        "]C0ACT-DANCE",
        "ACT-" + "9" * 10_000,
    ],
)
def test_what_only_begins_like_a_command_is_none(text: str) -> None:
    assert is_command(text)
    assert read_command(text) is None


@given(st.text())
def test_any_text_is_a_command_or_not_and_never_an_error(text: str) -> None:
    assert read_command(text) is None or is_command(text)


@given(st.sampled_from(Kind), st.integers(1, 9), st.integers(1, 10**12 - 1))
def test_no_number_of_lotward_is_a_command(kind: Kind, site: int, n: int) -> None:
    assert not any(map(is_command, numbers.assigned(kind, site, [n])))


@pytest.mark.parametrize(
    ("prefix", "reasons"),
    [
        ("ACT-CANCEL", commands.CANCEL_REASONS),
        ("ACT-PRINT", commands.PRINT_REASONS),
    ],
)
def test_every_reason_has_a_command(prefix: str, reasons: dict[str, str]) -> None:
    read = [read_command(f"{prefix}-{end}") for end in reasons]
    assert [command.reason for command in read if command] == list(reasons.values())
