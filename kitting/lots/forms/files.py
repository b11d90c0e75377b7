"""Forms for a file of lots: looking at it, and taking it in."""

from __future__ import annotations

import base64
import binascii
import zlib
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from kitting.web.forms import SpokenForm, SureForm, sure_field

LARGEST_FILE = 4 * 1024 * 1024
"""Bytes of a file of lots; ten thousand rows take one."""


class FileForm(SpokenForm):
    """A file to look at; nothing is written."""

    things = {
        "date_order": _("the order of day and month"),
    }

    file = forms.FileField(
        label=_("File"),
        help_text=_(
            "A table as XLSX or CSV, at most 4 MB, with the headings below. Of a workbook"
            " the first sheet is read, and values only."
        ),
        widget=forms.ClearableFileInput(
            attrs={"accept": ".xlsx,.csv,.txt,.tsv,text/csv,text/plain"}
        ),
        max_length=255,
    )
    date_order = forms.ChoiceField(
        label=_("Dates such as 01/03/2026"),
        required=False,
        choices=[
            ("", _("refuse dates in which day and month could be swapped")),
            ("dmy", _("day first: 1 March")),
            ("mdy", _("month first: 3 January")),
        ],
        widget=forms.RadioSelect,
    )

    def clean_file(self) -> bytes:
        """Read the file, if it is not too large and no workbook of another kind."""
        file = self.cleaned_data["file"]
        if file.size > LARGEST_FILE:
            raise ValidationError(
                _("The file is larger than 4 MB. Split it, or use manage.py intake."),
                code="file_too_large",
            )
        data: bytes = file.read()
        if str(file.name).lower().endswith((".xls", ".ods")):
            raise ValidationError(
                _(
                    "“%(name)s” is a workbook of another kind. Save it as XLSX or CSV in"
                    " the spreadsheet program, and choose that file."
                ),
                code="file_not_text",
                params={"name": str(file.name)[:60]},
            )
        return data


class TakeInFileForm(SureForm):
    """A file that was looked at, sent back whole to be taken in."""

    things = {
        "table": _("the file"),
        "sure": _("why this is right"),
        "date_order": _("the order of day and month"),
    }

    table = forms.CharField(widget=forms.HiddenInput, max_length=LARGEST_FILE)
    date_order = forms.ChoiceField(
        choices=FileForm.base_fields["date_order"].choices,  # type: ignore[attr-defined]
        required=False,
        widget=forms.HiddenInput,
    )
    sure = sure_field()

    def clean_table(self) -> bytes:
        """Unpack the file; a packed one that would be too large is refused."""
        try:
            packed = base64.b64decode(self.cleaned_data["table"], validate=True)
            unpacking = zlib.decompressobj()
            data = unpacking.decompress(packed, LARGEST_FILE)
        except (binascii.Error, ValueError, zlib.error):
            data, whole = b"", False
        else:
            whole = unpacking.eof
        if not whole:
            raise ValidationError(
                _("The file was not sent complete. Choose it again."),
                code="file_broken",
            )
        return data

    @property
    def entries(self) -> dict[str, Any]:
        """The file, the order of its dates where one was said, and why it is right."""
        data = self.cleaned_data
        order = data["date_order"] or None
        return {"data": data["table"], "date_order": order, "sure": data["sure"]}


def packed(data: bytes) -> str:
    """Pack a file for ``TakeInFileForm.table``."""
    return base64.b64encode(zlib.compress(data)).decode()
