"""Lines of the log."""

from __future__ import annotations

import logging

from kitting.domain.badges import without_badges


class LineFormatter(logging.Formatter):
    """Write a line, traceback included, without the token of any badge in it.

    A browser without scripts sends what was scanned into a search field as part of an
    address, and addresses of refused requests stand in the log.
    """

    def format(self, record: logging.LogRecord) -> str:
        return without_badges(super().format(record))
