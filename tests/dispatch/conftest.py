"""Boxes that stand ready, and boxes that consignees have."""

from __future__ import annotations

from kitting.models import Box
from tests import factories
from tests.databases import once_a_module
from tests.dispatch.notices.calling import There, box_at


@once_a_module
def box() -> Box:
    return factories.make_labelled_box()


@once_a_module
def other(box: Box) -> Box:
    """One of another product; it comes after the first."""
    return factories.make_labelled_box()


@once_a_module
def there() -> There:
    return box_at()


@once_a_module
def there_too(there: There) -> There:
    """Another box, of another one; it was sent after the first."""
    return box_at()
