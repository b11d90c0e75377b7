"""A letter by e-mail, with its PDF; outside of any act."""

from __future__ import annotations

from dataclasses import dataclass
from smtplib import SMTPDataError, SMTPRecipientsRefused
from uuid import UUID

from django.conf import settings
from django.core.mail import EmailMessage

from dispatch.labels.letters import letters
from dispatch.labels.sheets import paper_of
from dispatch.models import Consignee, Letter
from dispatch.notices.queries.letters import notices_of
from kitting.domain.errors import Refused
from kitting.ledger import clock
from kitting.models import Workshop


@dataclass(frozen=True)
class Mailed:
    """An e-mail that went, or could not go."""

    to: str
    fault: str = ""
    """Why it did not go."""
    away: bool = False
    """Whether its server could not be reached at all."""


def mail(letter: Letter, whom: Consignee, key: UUID) -> Mailed:
    """Send a letter by e-mail.

    Args:
        letter: The letter, with its act and case.
        whom: To whom.
        key: The key of the act that will say so: what is sent twice under it carries the
            same number of its own, by which mail programs know that it is one.

    Returns:
        How it went.

    Raises:
        NotFit: A character that the typeface lacks.
        Refused: ``email_not_set_up``, ``email_not_known``, ``email_of_demo``.
    """
    if not settings.EMAIL_HOST:
        raise Refused("email_not_set_up")
    if not whom.email:
        raise Refused("email_not_known", consignee=whom.name)
    with clock.at_the_workshop() as workshop:
        if workshop.demo:
            raise Refused("email_of_demo")
        message = _message(letter, whom, key, workshop)
    try:
        message.send()
    except OSError as error:  # those of smtplib are such as well
        answered = isinstance(error, SMTPRecipientsRefused | SMTPDataError)
        said = f"{type(error).__name__}: {error}"
        return Mailed(whom.email, " ".join(said.split())[:200], away=not answered)
    return Mailed(whom.email)


def _message(
    letter: Letter, whom: Consignee, key: UUID, workshop: Workshop
) -> EmailMessage:
    [notice] = notices_of([letter], workshop)
    words = notice.words
    body = (
        *(words["stop"], notice.hazard, notice.to_do, notice.reply_by),
        words["attached"],
        f"{words['by_day']}: {notice.contact}\n{words['at_night']}: {notice.night_contact}",
        notice.address,
        "\n".join(notice.sender),
    )
    message = EmailMessage(
        subject=f"{notice.title} · {workshop.name}",
        body="\n\n".join(part for part in body if part),
        to=[whom.email],
        headers={
            "Message-ID": f"<{key}@{settings.DEFAULT_FROM_EMAIL.rpartition('@')[2]}>"
        },
    )
    pdf = letters([notice], paper_of(workshop.country))
    name = f"{notice.case}-{whom.code}-{letter.nth}.pdf"
    message.attach(name, pdf, "application/pdf")
    return message
