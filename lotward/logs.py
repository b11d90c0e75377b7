"""Lines of the log."""

from __future__ import annotations

import logging
import re
from typing import Final

from kitting.domain.badges import without_badges

_LINK: Final = re.compile(r"(/(?:received|recalled)/)[^/\s?'\"]+")
"""A signed link, which opens for whoever has it."""


class LineFormatter(logging.Formatter):
    """Write a line, traceback included, without a badge's token or a signed link in it.

    A browser without scripts sends what was scanned into a search field as part of an
    address, and addresses of refused requests stand in the log.
    """

    def format(self, record: logging.LogRecord) -> str:
        return _LINK.sub(r"\1(link)", without_badges(super().format(record)))
