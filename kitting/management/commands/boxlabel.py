"""``manage.py boxlabel``: the label PDF of one box, the same bytes as printed."""

from __future__ import annotations

import hashlib
from argparse import ArgumentParser
from dataclasses import replace
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from kitting.domain.errors import LotwardError
from kitting.labels.copies import data_sha
from kitting.models import Box
from kitting.packing.labels import box_label
from kitting.packing.queries.boxes import box_of_number, newest_print
from kitting.packing.services.labels import label_pdf
from kitting.web.messages import sentence


class Command(BaseCommand):
    help = "Write the label of one box as a PDF of 100 × 150 mm, as it was printed."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "serial", help="serial, SSCC or number of the box", metavar="SERIAL"
        )
        parser.add_argument("--out", required=True, metavar="FILE", help="PDF to write")
        parser.add_argument(
            "--anyway",
            action="store_true",
            help="write it even if the record has changed since it was printed",
        )

    def handle(self, *args: Any, **options: Any) -> str | None:
        wanted = options["serial"].strip().upper()
        # Bytes that are no text come in as lone surrogates, which no database takes.
        box = box_of_number(wanted) if wanted.isascii() else None
        if box is None:
            msg = f"There is no box {options['serial']!r}."
            raise CommandError(msg)
        try:
            pdf, said = self._label(box, anyway=options["anyway"])
        except LotwardError as error:
            raise CommandError(sentence(error)) from error
        out = Path(options["out"])
        try:
            # What is no file, such as /dev/stdout, is there already and is no loss.
            with out.open("wb" if out.exists() and not out.is_file() else "xb") as file:
                file.write(pdf)
        except FileExistsError as error:
            msg = f"{out} is there already and was left as it is. Choose another name."
            raise CommandError(msg) from error
        except OSError as error:
            msg = f"{options['out']} could not be written: {error.strerror}."
            raise CommandError(msg) from error
        self.stdout.write(f"{options['out']}: {said}")
        return None

    def _label(self, box: Box, *, anyway: bool) -> tuple[bytes, str]:
        logged = newest_print(box.pk)
        if logged is None:
            pdf = label_pdf(box_id=box.pk, copy=1)
            return pdf, f"copy 1 of the label of box {box}, which was never printed"
        pdf = label_pdf(box_id=box.pk, copy=logged.copy)
        said = f"copy {logged.copy} of the label of box {box}"
        if hashlib.sha256(pdf).digest() == bytes(logged.pdf_sha):
            return pdf, f"{said}, the same bytes as printed"
        label = replace(box_label(box.pk), copy=logged.copy)
        changed = data_sha([label]) != bytes(logged.data_sha)
        why = (
            "what the label says has changed in the record since it was printed"
            if changed
            else f"it was drawn by {logged.renderer}, and this is another version"
        )
        if not anyway:
            msg = (
                f"This is not the label that was printed for box {box}: {why}."
                " Nothing was written; --anyway writes it all the same."
            )
            raise CommandError(msg)
        return pdf, f"{said}, but not the bytes that were printed: {why}"
