"""A printer, asked and answering.

Every method is one or a few exchanges and leaves nothing open behind. What it raises
says whether the printer may have done what was asked (``sent``) and whether the same may
be asked again at once (``again``): no label comes out twice by a guess.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from itertools import count

from kitting.domain.errors import PrinterFault
from kitting.ipp import refusals, statuses
from kitting.ipp.address import Address
from kitting.ipp.codec import Malformed, decode, encode
from kitting.ipp.facts import JobFacts, Media, PrinterFacts, read_job, read_printer
from kitting.ipp.message import Attribute, Group, Message, Section, Tag
from kitting.ipp.refusals import KEPT, SCALING, not_kept
from kitting.ipp.requests import (
    ABOUT_JOB,
    ABOUT_PRINTER,
    Operation,
    about_document,
    job_group,
    one,
    operation_group,
)
from kitting.ipp.transport import Link, exchange

MOST_JOBS = 500
"""Jobs that are looked through for one; with as many, others may be left out."""
VERSIONS = ((2, 0), (1, 1))


@dataclass(frozen=True)
class Found:
    """What became of a job whose answer was lost."""

    job: JobFacts | None
    sure: bool
    """Without a job: whether the printer cannot have got it. Only then may it be sent
    again without a person's look at the printer."""


@dataclass(frozen=True)
class _Wish:
    """What is to be printed, but for the document."""

    name: str
    media: Media


def _apart(seconds: float) -> float:
    """How far two clocks may be apart after so many seconds, each telling whole ones."""
    return 5 + seconds / 50


class IppPrinter:
    """A printer at an address, asked by one user.

    Args:
        address: From ``read_address``.
        user: Who prints, as the printer will show it.
        timeout: Seconds without progress after which a step is given up.
        ca_file: Path of the certificates to trust for IPPS instead of the system's.
    """

    def __init__(
        self,
        address: Address,
        *,
        user: str,
        timeout: float = 10.0,
        ca_file: str | None = None,
    ) -> None:
        self.address = address
        self.user = user
        self._link = Link(address, timeout, ca_file)
        self._numbers = count(1)
        self._version = VERSIONS[0]
        self._facts: PrinterFacts | None = None
        self._knows_scaling = True

    # -- The printer -------------------------------------------------------------------

    def facts(self) -> PrinterFacts:
        """Ask the printer about itself (Get-Printer-Attributes).

        Raises:
            PrinterFault: Whatever an exchange may meet.
            Refused: If its address may not be reached.
        """
        answer = self._ask(
            Operation.GET_PRINTER_ATTRIBUTES,
            one("requested-attributes", Tag.KEYWORD, *ABOUT_PRINTER),
        )
        if not statuses.is_success(answer.code):
            raise refusals.of_printer(answer)
        groups = answer.of(Section.PRINTER)
        if not groups:
            raise PrinterFault(
                "printer_answer_wrong", again=True, why="it says nothing about itself"
            )
        self._facts = read_printer(groups[0])
        return self._facts

    def validate(self, *, name: str, media: Media) -> None:
        """Ask whether a label would be printed as it is (Validate-Job); prints nothing.

        Raises:
            PrinterFault: ``printer_no_pdf``, ``printer_media_missing``,
                ``printer_refused`` or whatever an exchange may meet.
            Refused: If the address may not be reached, or a text is too long.
        """
        wish = _Wish(name, media)
        facts = self._look(media)
        answer = self._print(Operation.VALIDATE_JOB, wish, facts)
        ignored = not_kept(answer) & KEPT
        if ignored == {SCALING} and not facts.scalings:
            # It does not know the wish and says so: there is nothing to refuse.
            self._knows_scaling = False
        elif ignored:
            raise refusals.of_print(answer, facts, media)

    def send(self, pdf: bytes, *, name: str, media: Media) -> JobFacts:
        """Send a label to be printed (Print-Job).

        Args:
            pdf: The document, whose pages have the size of ``media``.
            name: Of the job, so that it can be found again; at most 255 octets.
            media: What must be loaded.

        Returns:
            The job as it was made; follow it with ``job``.

        Raises:
            PrinterFault: With ``sent`` where the job may have been made all the same:
                then ``find`` it before sending again.
            Refused: If the address may not be reached, or a text is too long.
        """
        wish = _Wish(name, media)
        facts = self._look(media)
        answer = self._print(Operation.PRINT_JOB, wish, facts, pdf)
        jobs = [read_job(group) for group in answer.of(Section.JOB)]
        job = jobs[0] if jobs else None
        if job is None:
            raise PrinterFault(
                "printer_answer_wrong", sent=True, why="it gives the job no number"
            )
        ignored = not_kept(answer) & KEPT
        if ignored:
            with suppress(PrinterFault):
                self.cancel(job.id)
            raise PrinterFault(
                "printer_substitutes",
                sent=True,
                names=", ".join(sorted(ignored)),
                job=job.id,
            )
        return job

    # -- Its jobs ----------------------------------------------------------------------

    def job(self, job_id: int) -> JobFacts:
        """Ask how a job is getting on (Get-Job-Attributes).

        Raises:
            PrinterFault: ``printer_no_such_job`` when the printer does not know it, or
                no longer; or whatever an exchange may meet.
            Refused: If the address may not be reached.
        """
        answer = self._ask(
            Operation.GET_JOB_ATTRIBUTES,
            one("job-id", Tag.INTEGER, job_id),
            one("requested-attributes", Tag.KEYWORD, *ABOUT_JOB),
        )
        if not statuses.is_success(answer.code):
            raise refusals.of_job(answer, job_id)
        for group in answer.of(Section.JOB):
            job = read_job(group)
            if job is not None and job.id == job_id:
                return job
        raise PrinterFault(
            "printer_answer_wrong", again=True, why="it says nothing about the job"
        )

    def find(self, name: str, *, since_up: int | None, ago: float = 0.0) -> Found:
        """Look for a job by its name (Get-Jobs), after an answer was lost.

        That there is no such job proves something only if the printer was not restarted
        since, hides no names, left none out, and still remembers a job that ended before
        this one was sent: then it would remember this one as well. A printer may take a
        request in after the connection was given up, so give it a while first.

        Args:
            name: Exactly as it was sent.
            since_up: The printer's ``up_time`` as it was before the job was sent.
            ago: So many seconds ago that was, by our own clock: a printer that was up
                for less since was restarted.

        Returns:
            The newest job of that name, or none and whether that is sure.

        Raises:
            PrinterFault: Whatever an exchange may meet; refusing to list its jobs makes
                the printer's answer unsure and is no fault.
            Refused: If the address may not be reached.
        """
        now_up = self.facts().up_time
        waiting = self._jobs("not-completed")
        ended = self._jobs("completed")
        known = [job for job in (*(waiting or ()), *(ended or ())) if job is not None]
        named = [job for job in known if job.name == name]
        if named:
            return Found(max(named, key=lambda job: job.id), sure=True)
        whole = all(
            some is not None
            and len(some) < MOST_JOBS
            and all(j and j.name for j in some)
            for some in (waiting, ended)
        )
        if not whole or since_up is None or now_up is None:
            return Found(None, sure=False)
        if now_up < since_up or now_up < since_up + ago - _apart(ago):
            return Found(None, sure=False)
        remembers = any(
            job.ended_at is not None and job.ended_at <= since_up for job in known
        )
        return Found(None, sure=remembers)

    def _jobs(self, which: str) -> list[JobFacts | None] | None:
        """Return its jobs, one that it hides as none; none at all if it refuses."""
        answer = self._ask(
            Operation.GET_JOBS,
            one("limit", Tag.INTEGER, MOST_JOBS),
            one("which-jobs", Tag.KEYWORD, which),
            one("requested-attributes", Tag.KEYWORD, *ABOUT_JOB),
        )
        if answer.code in statuses.BUSY:
            raise refusals.of_printer(answer)
        if not statuses.is_success(answer.code):
            return None
        return [read_job(group) for group in answer.of(Section.JOB)]

    def cancel(self, job_id: int) -> None:
        """Ask the printer to give a job up (Cancel-Job); what is out stays out.

        Raises:
            PrinterFault: ``printer_no_such_job``, ``printer_refused`` for a job that has
                ended, or whatever an exchange may meet.
            Refused: If the address may not be reached.
        """
        answer = self._ask(Operation.CANCEL_JOB, one("job-id", Tag.INTEGER, job_id))
        if not statuses.is_success(answer.code):
            raise refusals.of_job(answer, job_id)

    # -- One exchange ------------------------------------------------------------------

    def _look(self, media: Media) -> PrinterFacts:
        """Know the printer, and refuse what it says that it cannot."""
        facts = self._facts or self.facts()
        if not facts.takes_pdf:
            raise refusals.no_pdf(facts)
        if not facts.takes(media):
            raise refusals.no_media(facts, media)
        return facts

    def _print(
        self, operation: Operation, job: _Wish, facts: PrinterFacts, pdf: bytes = b""
    ) -> Message:
        """Ask for a job, again without a wish that the printer does not know."""
        unscaled = facts.can_scale_none or (not facts.scalings and self._knows_scaling)
        answer = self._ask(
            operation,
            *about_document(job.name),
            job=job_group(job.media, unscaled=unscaled),
            data=pdf,
        )
        if statuses.is_success(answer.code):
            return answer
        if unscaled and not_kept(answer) == {SCALING} and not facts.can_scale_none:
            self._knows_scaling = False
            return self._print(operation, job, facts, pdf)
        raise refusals.of_print(answer, facts, job.media)

    def _ask(
        self,
        operation: Operation,
        *attributes: Attribute,
        job: Group | None = None,
        data: bytes = b"",
    ) -> Message:
        """Exchange a request for an answer, in an older version if it must be."""
        uri = self.address.text
        opening = operation_group(uri, self.user, *attributes)
        groups = (opening,) if job is None else (opening, job)
        answer = self._exchange(operation, groups, data)
        older = VERSIONS[-1]
        if answer.code == statuses.VERSION_NOT_SUPPORTED and self._version != older:
            self._version = older
            answer = self._exchange(operation, groups, data)
        return answer

    def _exchange(
        self, operation: Operation, groups: tuple[Group, ...], data: bytes
    ) -> Message:
        prints = operation == Operation.PRINT_JOB
        request = Message(operation, next(self._numbers), groups, data, self._version)
        octets = exchange(self._link, encode(request), prints=prints)
        try:
            answer = decode(octets)
        except Malformed as error:
            raise PrinterFault(
                "printer_answer_wrong", sent=prints, again=not prints, why=str(error)
            ) from error
        if answer.request_id != request.request_id:
            why = "it answers another request"
            raise PrinterFault(
                "printer_answer_wrong", sent=prints, again=not prints, why=why
            )
        return answer
