"""Signed links: a consignee says on a page what it received, and signs in nowhere.

A link is bound to its shipment and to how many there were before: giving another one,
or ending it, makes every earlier one good for nothing. No token is kept: it is made
out of the server's secret whenever it is asked for.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from typing import Final

from django.urls import reverse

from dispatch.domain.receipts import LINK_DAYS, Said, Told
from dispatch.models import ReceiptLink, Shipment
from dispatch.receipts.steps import need_said, newest_of
from dispatch.receipts.tokens import read_token, token_for
from dispatch.shipments.steps import lock_boxes
from kitting.domain.errors import Conflict, Missing, Refused, WrongStage
from kitting.domain.stages import GONE_SHIPMENTS, ShipmentStage
from kitting.ledger import locking
from kitting.ledger.operations import Act, Sign, perform
from kitting.ledger.setup import CONSIGNEE
from kitting.models import User

SALT: Final = "dispatch.receipts.link"
MOST_ANSWERS: Final = 12
"""So often a consignee may answer by one link: more is no correction any more."""


@dataclass(frozen=True)
class LinkGiven:
    """A shipment with a link, or one that has none any more; the token is not in it."""

    shipment: str
    nth: int
    """How many links there were, with this one."""
    until: str
    """The last moment of it; empty where it was ended."""


@dataclass(frozen=True)
class Answered:
    """What a consignee said of a shipment."""

    shipment: str
    boxes: int


def give_link(*, shipment_id: int, days: int, sign: Sign) -> LinkGiven:
    """Give the link behind which a consignee says what it received.

    An earlier one is good for nothing from now on.

    Args:
        shipment_id: The shipment; open, or it has left. It shows nothing before.
        days: For how many days it is good, from 1 to 365.
        sign: Who, when and the operation key.

    Returns:
        The shipment; ``token_of`` gives its token.

    Raises:
        Missing: If there is no such shipment.
        Refused: ``link_days``.
        WrongStage: ``shipment_cancelled``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> LinkGiven:
        if days not in LINK_DAYS:
            raise Refused("link_days", most=LINK_DAYS[-1])
        shipment = locking.lock_row(Shipment, shipment_id)
        if shipment.stage == ShipmentStage.CANCELLED:
            raise WrongStage("shipment_cancelled", shipment=shipment.number)
        known = locking.lock_found(ReceiptLink.objects.filter(shipment=shipment))
        link = known[0] if known else ReceiptLink(shipment=shipment)
        link.nth += 1
        link.until = act.now + timedelta(days=days)
        link.since = newest_of(shipment)
        link.save()
        return LinkGiven(shipment.number, link.nth, link.until.isoformat())

    return perform("give_link", work, LinkGiven, sign, shipment=shipment_id, days=days)


def end_link(*, shipment_id: int, sign: Sign) -> LinkGiven:
    """End the link of a shipment: it is good for nothing from now on.

    Args:
        shipment_id: The shipment.
        sign: Who, when and the operation key.

    Returns:
        The shipment.

    Raises:
        Conflict: ``no_link`` where there is none that is good.
        Missing: If there is no such shipment.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> LinkGiven:
        shipment = locking.lock_row(Shipment, shipment_id)
        known = locking.lock_found(ReceiptLink.objects.filter(shipment=shipment))
        if not known or known[0].until is None or known[0].until <= act.now:
            raise Conflict("no_link", shipment=shipment.number)
        known[0].until = None
        known[0].save()
        return LinkGiven(shipment.number, known[0].nth, "")

    return perform("end_link", work, LinkGiven, sign, shipment=shipment_id)


def token_of(link: ReceiptLink) -> str:
    """Give the token of a link.

    Args:
        link: The link, with its shipment.

    Returns:
        Its shipment, its place among the links of it, and a signature.
    """
    return token_for(SALT, link.shipment.number, link.nth)


def path_of(link: ReceiptLink) -> str:
    """Give the address of the page behind a link, without the server's name.

    Args:
        link: The link, with its shipment.

    Returns:
        The path, for a paper or a code on it.
    """
    return reverse("dispatch:received", args=[token_of(link)])


def good_link(shipment: Shipment, now: datetime) -> ReceiptLink | None:
    """Find the link of a shipment that is good.

    Args:
        shipment: The shipment.
        now: This moment.

    Returns:
        The link, with its shipment; None where there is none.
    """
    links = ReceiptLink.objects.filter(shipment=shipment, until__gt=now)
    return links.select_related("shipment").first()


def link_behind(token: str, now: datetime) -> ReceiptLink | None:
    """Find the link that a token is of.

    Args:
        token: What stood in the address.
        now: This moment.

    Returns:
        The link, with its shipment and consignee; None where the token is forged, of a
        link that is ended, past its time or followed by another, or of a shipment that
        has not left.
    """
    about = read_token(SALT, token)
    if about is None:
        return None
    number, nth = about
    links = ReceiptLink.objects.select_related("shipment__consignee").filter(
        shipment__number=number,
        shipment__stage__in=GONE_SHIPMENTS,
        nth=int(nth),
        until__gt=now,
    )
    return links.first()


def answer_link(*, shipment_id: int, nth: int, said: Said, sign: Sign) -> Answered:
    """Keep what a consignee says of a shipment, beside what the workshop wrote down.

    It moves no box: what differs is settled by a clerk.

    Args:
        shipment_id: The shipment.
        nth: Of which of its links the consignee showed the token.
        said: What is said.
        sign: By the consignee: ``by_consignee``.

    Returns:
        The shipment.

    Raises:
        Missing: ``link_is_over`` if it was ended or past its time meanwhile.
        Refused: ``answered_too_often``; as for ``need_said``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Answered:
        boxes = lock_boxes(shipment_id)
        shipment = locking.lock_row(Shipment, shipment_id)
        known = locking.lock_found(
            ReceiptLink.objects.filter(shipment=shipment, nth=nth, until__gt=act.now)
        )
        if not known or shipment.stage not in GONE_SHIPMENTS:
            raise Missing("link_is_over")
        told = shipment.receipts.filter(way=Told.LINK, pk__gt=known[0].since)
        if told.count() >= MOST_ANSWERS:
            raise Refused("answered_too_often")
        receipt, of_boxes = need_said(shipment, boxes, said, act.now)
        receipt.way = Told.LINK
        act.write(receipt)
        act.write(*of_boxes)
        return Answered(shipment.number, said.boxes)

    return perform(
        "answer_link",
        work,
        Answered,
        sign,
        shipment=shipment_id,
        nth=nth,
        **asdict(said),
    )


def consignee() -> User:
    """Give the account under which whatever consignees say stands in the journal."""
    return User.objects.get(username=CONSIGNEE)
