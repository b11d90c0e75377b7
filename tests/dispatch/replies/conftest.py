"""Cases about boxes that somebody has."""

from __future__ import annotations

from tests import factories
from tests.databases import once_a_module
from tests.dispatch.replies.replying import One, Two, case_on, sent_to


@once_a_module
def one() -> One:
    """Somebody who has one box that a case is about."""
    whom = factories.make_consignee()
    [box] = sent_to(whom)
    return whom, box, case_on(box)


@once_a_module
def two() -> Two:
    """Somebody who has two of them."""
    whom = factories.make_consignee()
    boxes = sent_to(whom, 2)
    return whom, boxes, case_on(*boxes)
