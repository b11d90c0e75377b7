"""What a printer's refusal comes to, as an error of ours."""

from __future__ import annotations

from kitting.domain.errors import PrinterFault
from kitting.ipp import statuses
from kitting.ipp.facts import Media, PrinterFacts, sizes_of, text
from kitting.ipp.message import Message, Section
from kitting.ipp.plain import plain

ABOUT_MEDIA = frozenset({"media", "media-col", "media-size", "media-size-name"})
SCALING = "print-scaling"
KEPT = ABOUT_MEDIA | {SCALING}
"""Wishes that must be kept to: a label on another size, or scaled, does not scan."""


def not_kept(answer: Message) -> frozenset[str]:
    """Return the names of wishes that the printer does not, or did not, keep to."""
    return frozenset(
        plain(attribute.name, 60)
        for group in answer.of(Section.UNSUPPORTED)
        for attribute in group.attributes
    )


def said_by(answer: Message) -> str:
    """Return the printer's own words to its status; a dash without any."""
    said = [text(group, "status-message") for group in answer.of(Section.OPERATION)]
    return said[0] if said and said[0] else "-"


def of_printer(answer: Message) -> PrinterFault:
    """Make an error of a refusal of whatever was asked."""
    status = statuses.keyword(answer.code)
    said = said_by(answer)
    if answer.code in statuses.BUSY:
        return PrinterFault("printer_busy", again=True, status=status, said=said)
    names = ", ".join(sorted(not_kept(answer))) or "-"
    return PrinterFault("printer_refused", status=status, said=said, names=names)


def of_job(answer: Message, job_id: int) -> PrinterFault:
    """Make an error of a refusal of what was asked of a job."""
    if answer.code in {statuses.NOT_FOUND, statuses.GONE}:
        return PrinterFault("printer_no_such_job", job=job_id)
    return of_printer(answer)


def of_print(answer: Message, facts: PrinterFacts, media: Media) -> PrinterFault:
    """Make an error of a refusal to print, or of a wish that is not kept to."""
    if answer.code == statuses.NO_SUCH_FORMAT:
        return no_pdf(facts)
    if not_kept(answer) & ABOUT_MEDIA and answer.code not in statuses.BUSY:
        return no_media(facts, media)
    return of_printer(answer)


def no_pdf(facts: PrinterFacts) -> PrinterFault:
    """Say that the printer takes no PDF, and what it takes."""
    return PrinterFault("printer_no_pdf", formats=", ".join(facts.formats[:4]) or "-")


def no_media(facts: PrinterFacts, media: Media) -> PrinterFault:
    """Say that the printer has no such size, and which it has."""
    return PrinterFault(
        "printer_media_missing", asked=str(media), sizes=sizes_of(facts)
    )
