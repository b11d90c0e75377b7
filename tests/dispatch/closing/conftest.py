"""A box that somebody has, in a case."""

from __future__ import annotations

from kitting.models import Box
from tests.databases import once_a_module
from tests.dispatch.closing.test_closings import a_case, sent_box


@once_a_module
def recalled() -> tuple[Box, str]:
    box = sent_box()
    return box, a_case(box)
