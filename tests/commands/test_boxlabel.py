"""``manage.py boxlabel``: the same bytes as printed, or a clear word why not."""

from __future__ import annotations

import hashlib
import io
import os
from dataclasses import replace
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from pypdf import PdfReader

from kitting.domain.prints import DESTROYED, Again
from kitting.labels.pressed import Pressed
from kitting.models import Box, Print, Workshop
from kitting.packing.services.labels import print_box_label
from kitting.printing import steps
from tests import factories
from tests.benches import make_packing
from tests.factories import sign

pytestmark = pytest.mark.django_db


@pytest.fixture
def box() -> Box:
    at = make_packing()
    return factories.make_closed_box(at.size, at.bench)


def boxlabel(number: str, out: Path, **options: bool) -> str:
    said = StringIO()
    call_command("boxlabel", number, out=str(out), stdout=said, **options)
    return said.getvalue()


def printed(box: Box, reason: str = "") -> None:
    print_box_label(box_id=box.pk, again=Again(reason, DESTROYED), sign=sign())


def test_the_newest_logged_copy_is_made_again(box: Box, tmp_path: Path) -> None:
    printed(box)
    printed(box, "Label lost")
    out = tmp_path / "label.pdf"
    said = boxlabel(str(box.serial).lower(), out)
    assert "copy 2" in said
    assert "the same bytes as printed" in said
    logged = Print.objects.get(copy=2)
    assert hashlib.sha256(out.read_bytes()).digest() == bytes(logged.pdf_sha)


def test_the_page_is_exactly_100_by_150_mm(box: Box, tmp_path: Path) -> None:
    """One page; 1 point = 1/72 inch (ISO 32000-1, 8.3.2.3), 1 inch = 25.4 mm."""
    out = tmp_path / "label.pdf"
    boxlabel(str(box.sscc), out)
    pages = PdfReader(io.BytesIO(out.read_bytes())).pages
    assert len(pages) == 1
    size = [float(side) / 72 * 25.4 for side in pages[0].mediabox[2:]]
    assert size == pytest.approx([100, 150], abs=0.1)


@pytest.mark.parametrize("number", ["\udcff", "Ω", "NONE-1"])
def test_a_number_that_no_box_has_is_said(
    box: Box, tmp_path: Path, number: str
) -> None:
    """Python hands over a byte that is no text as a lone surrogate (PEP 383)."""
    with pytest.raises(CommandError, match="There is no box") as refusal:
        boxlabel(number, tmp_path / "label.pdf")
    str(refusal.value).encode()


def test_a_label_that_was_never_printed_says_so(box: Box, tmp_path: Path) -> None:
    assert "was never printed" in boxlabel(str(box.serial), tmp_path / "label.pdf")
    assert not Print.objects.exists()


def test_a_changed_record_is_refused_unless_asked_for_anyway(
    box: Box, tmp_path: Path
) -> None:
    printed(box)
    Workshop.objects.update(address="Another street 1\nEskmoor")
    out = tmp_path / "label.pdf"
    with pytest.raises(CommandError, match="has changed in the record") as error:
        boxlabel(str(box.serial), out)
    assert error.value.returncode == 1
    assert not out.exists()
    assert "not the bytes that were printed" in boxlabel(
        str(box.serial), out, anyway=True
    )
    assert out.read_bytes().startswith(b"%PDF")


def test_another_version_of_the_drawing_is_told_apart(
    box: Box, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    press = steps.press

    def by_another(*args: Any, **kwargs: Any) -> Pressed:
        pressed = press(*args, **kwargs)
        return replace(pressed, pdf=pressed.pdf + b"\n")

    with monkeypatch.context() as older:
        older.setattr(steps, "press", by_another)
        older.setattr(steps, "RENDERER", "lotward 0")
        printed(box)
    with pytest.raises(CommandError, match="drawn by lotward 0"):
        boxlabel(str(box.serial), tmp_path / "label.pdf")


def test_an_open_box_and_an_unknown_one_are_refused(tmp_path: Path) -> None:
    box = factories.make_open_box()
    with pytest.raises(CommandError, match="is open, so it cannot be printed"):
        boxlabel(box.number, tmp_path / "label.pdf")
    with pytest.raises(CommandError, match="There is no box 'K10009999'"):
        boxlabel("K10009999", tmp_path / "label.pdf")


def test_a_file_that_cannot_be_written_is_said(box: Box, tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="could not be written"):
        boxlabel(str(box.serial), tmp_path / "no folder" / "label.pdf")


def test_a_file_that_is_there_is_left_as_it_is(box: Box, tmp_path: Path) -> None:
    out = tmp_path / "thesis.pdf"
    out.write_text("three years")
    with pytest.raises(CommandError, match="is there already"):
        boxlabel(str(box.serial), out)
    assert out.read_text() == "three years"
    said = boxlabel(str(box.serial), Path(os.devnull))  # there already, and no file
    assert said.startswith(os.devnull)
