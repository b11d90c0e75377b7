"""Measurements of Lotward: ``python -m benchmarks`` prints one table.

Where a figure depends on the machine, something simpler is measured beside it in the
same run: bare drawing of the same label, hand-written SQL for the same answer.
"""

from __future__ import annotations
