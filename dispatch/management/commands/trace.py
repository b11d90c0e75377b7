from __future__ import annotations

import csv
import json
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from dispatch.trace.queries import Trace, trace
from dispatch.trace.written import as_json
from kitting.domain.errors import LotwardError
from kitting.ledger.locking import snapshot
from kitting.web.messages import sentence
from kitting.web.tables import safe


class Command(BaseCommand):
    help = "Traces a lot, bag, run, box, pallet or shipment number to boxes and consignees."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("number", help="the number, as printed or scanned")
        form = parser.add_mutually_exclusive_group()
        form.add_argument("--json", action="store_true", help="one JSON object")
        form.add_argument("--csv", action="store_true", help="the boxes as CSV")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            with snapshot():
                found = trace(options["number"])
        except LotwardError as error:
            raise CommandError(sentence(error)) from error
        if options["json"]:
            self.stdout.write(json.dumps(as_json(found), ensure_ascii=False, indent=2))
        elif options["csv"]:
            self._csv(as_json(found))
        else:
            self._words(found)

    def _csv(self, found: dict[str, Any]) -> None:
        names = [
            "serial",
            "sscc",
            "stage",
            "pieces",
            "sets",
            "shipment",
            "consignee",
            "sent_on",
        ]
        writer = csv.writer(self.stdout, lineterminator="\n")
        writer.writerow(["traced", *names])
        for box in found["boxes"]:
            values = [found["number"], *(box[name] for name in names)]
            writer.writerow([safe(value) for value in values])

    def _words(self, found: Trace) -> None:
        self.stdout.write(f"{found.kind} {found.number}")
        if found.balance is not None:
            balance = found.balance
            self.stdout.write(
                f"  received {balance.received}, found {balance.found}:"
                f" in bags {balance.in_bags}, in boxes here {balance.in_boxes},"
                f" sent {balance.sent}, returned {balance.returned},"
                f" sampled {balance.sampled}, made into lots {balance.made_into},"
                f" scrapped {balance.scrapped}, missing {balance.missing};"
                f" difference {balance.difference} ({balance.unit})"
            )
        for lot in found.lots:
            self.stdout.write(
                f"  lot {lot.number}: {lot.part} {lot.revision}, {lot.role}"
            )
        for bag in found.bags:
            like = f", like revision {bag.like}" if bag.like else ""
            self.stdout.write(f"  bag {bag.number}: {bag.stage}, {bag.pieces}{like}")
        for run in found.runs:
            self.stdout.write(f"  run {run.number}: {run.stage}, {run.protocol}")
        for box in found.boxes:
            whom = f", {box.consignee} in {box.shipment}" if box.shipment else ""
            self.stdout.write(
                f"  box {box.serial}: {box.stage}, pieces: {box.pieces}{whom}"
            )
        for consignee in found.consignees:
            self.stdout.write(
                f"  {consignee.name}, boxes: {consignee.boxes},"
                f" pieces: {consignee.pieces}"
            )
