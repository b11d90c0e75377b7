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
        ("DO-CLOSE", Command(Do.CLOSE)),
        (" do-close\r\n", Command(Do.CLOSE)),
        ("DO-PRINT", Command(Do.PRINT)),
        ("DO-PRINT-LOST", Command(Do.PRINT, reason="Label lost")),
        ("DO-TAKE-BACK", Command(Do.TAKE_BACK)),
        ("DO-CALL-OFF", Command(Do.CALL_OFF)),
        ("DO-CALL-OFF-DAMAGED", Command(Do.CALL_OFF, reason="Damaged")),
        ("DO-LAY-ASIDE", Command(Do.LAY_ASIDE)),
        ("DO-GO-ON", Command(Do.GO_ON)),
        ("DO-SIZE-24", Command(Do.SIZE, sets=24)),
        ("DO-SIZE-FS1-24", Command(Do.SIZE, sets=24, product="FS1")),
        ("DO-SIZE-24-6", Command(Do.SIZE, sets=6, product="24")),
    ],
)
def test_a_command_is_read(text: str, command: Command) -> None:
    assert is_command(text)
    assert read_command(text) == command


@pytest.mark.parametrize(
    "text",
    [
        "DO-",
        "DO-DANCE",
        "DO-CLOSE-NOW",
        "DO-SIZE",
        "DO-SIZE-",
        "DO-SIZE-0",
        "DO-SIZE-²4",
        "DO-SIZE-FS1",
        "DO-SIZE-1234567",
        "DO-CALL-OFF-LUNCH",
        "DO-PRINT-",
        "DO-GO-ON\x00",
        "DO-" + "9" * 10_000,
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
        ("DO-CALL-OFF", commands.CALL_OFF_REASONS),
        ("DO-PRINT", commands.PRINT_REASONS),
    ],
)
def test_every_reason_has_a_command(prefix: str, reasons: dict[str, str]) -> None:
    read = [read_command(f"{prefix}-{end}") for end in reasons]
    assert [command.reason for command in read if command] == list(reasons.values())
