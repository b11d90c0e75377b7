"""Views of the shipping log that are kept: a name for what is asked of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from dispatch.log.queries import ASKED_LONGEST, NAME_LONGEST
from dispatch.models import LogView
from kitting.domain.errors import Conflict, Refused
from kitting.ledger import locking
from kitting.ledger.needs import need_length, need_row, need_text
from kitting.ledger.operations import Act, Sign, perform
from kitting.models import Workshop

MOST: Final = 40
"""Views that the page of the log still names without a list of its own."""


@dataclass(frozen=True)
class KeptView:
    """A view as it stands now, or as it stood when it was dropped."""

    name: str
    asked: str


def keep_view(*, name: str, asked: str, sign: Sign) -> KeptView:
    """Keep what is asked of the log under a name, for everybody.

    One's own view of that name is another from now on.

    Args:
        name: What it is called.
        asked: What is asked, as it stands in the address.
        sign: Who, when and the operation key.

    Returns:
        The view.

    Raises:
        Conflict: ``view_kept`` by somebody else under that name.
        Refused: ``entry_missing``, ``entry_too_long``, ``too_many_views``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> KeptView:
        locking.lock_row(Workshop, act.workshop.pk)  # one name is one view
        called = need_text("name", name, NAME_LONGEST)
        filters = need_length("entry", asked, ASKED_LONGEST)
        if not filters:
            raise Refused("entry_missing", what="entry")
        known = LogView.objects.filter(name=called).select_related("kept").first()
        if known is not None and known.kept.by_id != act.operation.by_id:
            raise Conflict("view_kept", name=called, by=known.kept.by_name)
        if known is None and LogView.objects.count() >= MOST:
            raise Refused("too_many_views", most=MOST)
        row = known or LogView(name=called)
        row.asked, row.kept = filters, act.operation
        row.save()
        return KeptView(row.name, row.asked)

    return perform("keep_view", work, KeptView, sign, name=name, asked=asked)


def drop_view(*, view_id: int, sign: Sign) -> KeptView:
    """Drop a view; the shipments that it showed stay.

    Args:
        view_id: The view.
        sign: Who, when and the operation key.

    Returns:
        The view as it stood.

    Raises:
        Missing: ``row_missing`` if there is no such view.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> KeptView:
        locking.lock_row(Workshop, act.workshop.pk)
        row = need_row(LogView.objects.filter(pk=view_id))
        row.delete()
        return KeptView(row.name, row.asked)

    return perform("drop_view", work, KeptView, sign, view=view_id)
