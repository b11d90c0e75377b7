"""Signed links to the page on which a consignee answers for its boxes of a case.

A consignee has one for each case that reaches it, from the moment the case is opened until
it is closed: nothing is kept of it, so nobody has to give it. Ending it makes the next one
good, and no earlier one.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from django.conf import settings
from django.db.models import Max
from django.db.models.functions import Coalesce
from django.urls import reverse

from dispatch.models import Case, Consignee, ReplyLink
from dispatch.recall.queries.cases import closing_of
from dispatch.receipts.tokens import read_token, token_for

SALT: Final = "dispatch.recall.link"


def link_in_force(case: Case, consignee: Consignee) -> int:
    """Say which of a consignee's links to a case is good.

    Args:
        case: The case.
        consignee: The consignee; those that were merged into it count as it.

    Returns:
        Its place among them, from 1.
    """
    return _ended(case).get(consignee.stays.pk, 0) + 1


def _ended(case: Case) -> dict[int, int]:
    """The last link that was ended of each consignee, by its id."""
    rows = ReplyLink.objects.filter(case=case).order_by()
    whom = Coalesce("consignee__merged_into", "consignee")
    return dict(rows.values_list(whom).annotate(last=Max("nth")))


def path_of(case: Case, consignee: Consignee) -> str:
    """Give the address of a consignee's page of a case, without the server's name.

    Args:
        case: The case; the page is there while it is open.
        consignee: The consignee.

    Returns:
        The path.
    """
    return _path(case, consignee.stays.pk, link_in_force(case, consignee))


def _path(case: Case, whom: int, nth: int) -> str:
    token = token_for(SALT, case.number, whom, nth)
    return reverse("dispatch:recalled", args=[token])


def link_of(case: Case, consignee: Consignee) -> str:
    """Give the whole address of a consignee's page of a case.

    Args:
        case: The case.
        consignee: The consignee.

    Returns:
        The address; empty where nobody outside reaches the server, or the case is closed.
    """
    return links_of(case, [consignee]).get(consignee.stays.pk, "")


def links_of(case: Case, consignees: Iterable[Consignee]) -> dict[int, str]:
    """Give the whole addresses of the pages of a case, for letters and the codes on them.

    Args:
        case: The case.
        consignees: Those whose pages they are.

    Returns:
        The addresses by the id of whom each consignee is now; none where nobody outside
        reaches the server, or the case is closed.
    """
    if not settings.CONSIGNEE_URL or closing_of(case) is not None:
        return {}
    ended = _ended(case)
    return {
        pk: f"{settings.CONSIGNEE_URL}{_path(case, pk, ended.get(pk, 0) + 1)}"
        for pk in {one.stays.pk for one in consignees}
    }


def behind(token: str) -> tuple[Case, Consignee, int] | None:
    """Find the case and the consignee that a token is of.

    Args:
        token: What stood in the address.

    Returns:
        They, and which of its links it is; None where the token is forged or its link
        ended, or the case is closed.
    """
    about = read_token(SALT, token)
    if about is None:
        return None
    number, pk, nth = about
    case = Case.objects.filter(number=number).first()
    whom = Consignee.objects.select_related("merged_into").filter(pk=int(pk)).first()
    if case is None or whom is None or closing_of(case) is not None:
        return None
    if link_in_force(case, whom) != int(nth):
        return None
    return case, whom.stays, int(nth)
