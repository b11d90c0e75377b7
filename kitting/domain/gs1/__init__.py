"""GS1 keys, element strings and scans.

Lengths, rules of fields and rules of pairing come from the GS1 Barcode Syntax
Dictionary (``kitting/domain/gs1_table.py``).
"""

from __future__ import annotations

from kitting.domain.gs1.dates import date, yymmdd
from kitting.domain.gs1.elements import GS, element_string
from kitting.domain.gs1.keys import check_digit, gln_ok, gtin14_ok, sscc, sscc_ok
from kitting.domain.gs1.pairs import Pair
from kitting.domain.gs1.scan import Scan, ScanKind, read_scan

__all__ = [
    "GS",
    "Pair",
    "Scan",
    "ScanKind",
    "check_digit",
    "date",
    "element_string",
    "gln_ok",
    "gtin14_ok",
    "read_scan",
    "sscc",
    "sscc_ok",
    "yymmdd",
]
