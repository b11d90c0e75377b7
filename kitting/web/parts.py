"""Parts that a later room adds to a page of an earlier one, which does not know it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any, Final, TypeAlias

Query: TypeAlias = Callable[[Any], dict[str, Any] | None]
"""What a part shows of a page's thing; None where it has nothing to show."""

PARTS: Final[dict[str, list[tuple[str, Query]]]] = {}


def register(page: str, template: str, query: Query) -> None:
    """Add a part to a page; once, when its room is loaded.

    Args:
        page: The name of the page, as its template asks for it.
        template: The part's template.
        query: What it shows.
    """
    PARTS.setdefault(page, []).append((template, query))


def of_page(page: str, thing: Any) -> Iterator[tuple[str, dict[str, Any]]]:
    """Give the parts that were added to a page.

    Args:
        page: The name of the page.
        thing: What the page is about.

    Yields:
        The template of each part that has something to show, and what that is.
    """
    for template, query in PARTS.get(page, ()):
        shown = query(thing)
        if shown is not None:
            yield template, shown
