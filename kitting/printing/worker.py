"""The print worker: takes queued documents to their printers, each exactly once.

A job's state is what is known of a document on its way, not a record of the workshop:
the labels stand in the print log from the moment somebody asked for them. So no step
here is an act with a key; each is one short write around one question to a printer.

What makes it exact: a job is written down as sent *before* it is sent. If the answer
is lost, or the worker with it, the printer is asked for a job of that name before
anything is sent again; where its answer cannot rule out that it got the job, nothing is
sent and a person is asked to look.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

from django.conf import settings
from django.db import DatabaseError, InterfaceError, transaction
from django.db.models import Q, QuerySet

from kitting.domain.errors import LotwardError, PrinterFault
from kitting.domain.stages import PRINT_OVER, PrintState
from kitting.ipp.address import read_address
from kitting.ipp.client import IppPrinter
from kitting.ipp.facts import JobFacts, Media
from kitting.ipp.states import Trouble, end_of, troubles, waits_of
from kitting.models import Printer, PrintJob

log = logging.getLogger(__name__)

TIMEOUT_S: Final = 10.0
IN_HAND: Final = timedelta(minutes=2)
"""How long a worker keeps a job to itself, and anew from the moment that it sends it.
One that takes longer has lost it, and writes nothing of it any more."""

FAR: Final = timedelta(minutes=10)
"""No moment to wait for is so far off, but where the clock was put back."""

LOOK_AGAIN: Final = timedelta(seconds=1)
SETTLE: Final = timedelta(seconds=TIMEOUT_S)
"""A printer may take a request in after the connection was given up."""

LONGEST_SLEEP: Final = timedelta(minutes=1)
UNSURE: Final = "printer_unsure"
FORGOT: Final = "printer_no_such_job"
MOVED: Final = "printer_moved"
"""Its address was changed after the job was sent: only a person can look there."""

BROKE: Final = "print_worker_broke"
"""The worker met a fault of its own: one job's must not stop all the others."""

KEPT: Final = "printer_keeps_job"
STOPPED_BY: Final = timedelta(minutes=5)
"""After sending: by then a printer that agrees to stop a job has stopped it."""

WITH_ERRORS: Final = "job-completed-with-errors"
"""A reason of a job that ended, though not every page came out right (RFC 8011 §5.3.8)."""

ANSWERED: Final = frozenset({"printer_substitutes"})
"""Faults after a document was sent, of which the printer's answer leaves no doubt."""


@dataclass
class Worker:
    """Works off the print jobs of all printers, one step of one job at a time.

    Attributes:
        now: The clock.
        connect: Gives the client of a printer's address.
        beat: Called before each printer, so that others see a worker at work.
    """

    now: Callable[[], datetime]
    connect: Callable[[str], IppPrinter]
    beat: Callable[[], None] = lambda: None

    def step(self) -> int:
        """Take the first job of every printer that is awake one step further.

        Returns:
            How many jobs were taken further; 0 when there is nothing to do now.
        """
        taken = 0
        for printer in self._awake():
            self.beat()
            job = self._claim(printer)
            if job is None:
                continue
            taken += 1
            try:
                self._further(job)
            except PrinterFault as fault:
                self._fault(job, fault)
            except LotwardError as error:
                maybe = job.state != PrintState.QUEUED
                self._fail(job, error.code, error.params, unsure=maybe)
            except (DatabaseError, InterfaceError):
                raise  # Nothing can be written down now.
            except Exception:
                log.exception("print job %s", job.name)
                self._fail(job, BROKE, {}, unsure=job.state != PrintState.QUEUED)
            finally:
                self._mine(job).update(worked_until=None)
        return taken

    def _awake(self) -> list[Printer]:
        now = self.now()
        waiting = PrintJob.objects.exclude(state__in=PRINT_OVER)
        return list(
            Printer.objects.filter(
                _come("asleep_until", now),
                pk__in=waiting.values("printer"),
            )
        )

    def _claim(self, printer: Printer) -> PrintJob | None:
        """The oldest unfinished job of a printer, if no other worker has it in hand."""
        now = self.now()
        jobs = printer.jobs.exclude(state__in=PRINT_OVER).select_related("printer")
        job = jobs.order_by("pk").first()
        free, due = _come("worked_until", now), _come("next_try", now)
        if job is None or not PrintJob.objects.filter(free, due, pk=job.pk).update(
            worked_until=now + IN_HAND
        ):
            return None
        # As it is now that nobody else has it in hand.
        job.refresh_from_db()
        return job

    def _further(self, job: PrintJob) -> None:
        if job.state != PrintState.QUEUED and job.sent_to not in (
            None,  # It was sent before this was kept.
            job.printer.address,
        ):
            self._fail(job, MOVED, {}, unsure=True)
            return
        client = self.connect(job.printer.address)
        if job.state == PrintState.QUEUED:
            self._send(job, client)
        elif job.ipp_job is None:
            self._look_up(job, client)
        else:
            self._follow(job, client, job.ipp_job)
        Printer.objects.filter(pk=job.printer_id).update(asleep_until=None)
        if job.naps:
            self._save(job, naps=0)

    def _send(self, job: PrintJob, client: IppPrinter) -> None:
        if job.stop_asked:
            self._end(job, PrintState.CANCELLED)
            return
        media = Media(job.width_um, job.height_um)
        facts = client.facts()
        client.validate(name=job.name, media=media)
        # From here on the printer may have it: written down before it is sent. Somebody
        # may have cancelled it meanwhile, or another worker have it in hand.
        until = self.now() + IN_HAND
        queued = self._mine(job).filter(state=PrintState.QUEUED, stop_asked=False)
        with transaction.atomic():
            sent = queued.update(
                state=PrintState.SENT,
                sent_at=self.now(),
                sent_to=job.printer.address,
                up_time=facts.up_time,
                next_try=None,
                trouble="",
                told={},
                worked_until=until,
            )
        if not sent:
            return
        job.state, job.worked_until = PrintState.SENT, until
        try:
            known = client.send(bytes(job.document or b""), name=job.name, media=media)
        except PrinterFault as fault:
            if not fault.sent:
                self._save(job, state=PrintState.QUEUED)
            raise
        self._adopt(job, known)

    def _look_up(self, job: PrintJob, client: IppPrinter) -> None:
        """Ask for a job whose answer was lost, before anything is sent again."""
        ago = (self.now() - job.sent_at).total_seconds() if job.sent_at else 0.0
        found = client.find(job.name, since_up=job.up_time, ago=ago)
        if found.job is not None:
            self._adopt(job, found.job)
        elif found.sure:
            self._save(job, state=PrintState.QUEUED, next_try=None)
        else:
            self._fail(job, UNSURE, {}, unsure=True)

    def _adopt(self, job: PrintJob, known: JobFacts) -> None:
        job.ipp_job = known.id
        self._save(job, state=PrintState.PRINTING, ipp_job=known.id)
        self._see(job, known, ())

    def _follow(self, job: PrintJob, client: IppPrinter, ipp_job: int) -> None:
        try:
            known = _ours(job, client.job(ipp_job))
            refusal = None
            if job.stop_asked and not known.ended:
                refusal = _refusal_to_stop(client, ipp_job)
                known = _ours(job, client.job(ipp_job))
        except PrinterFault as fault:
            if fault.code != FORGOT:
                raise
            self._fail(job, FORGOT, fault.params, unsure=True)
            return
        if refusal is not None and not known.ended:
            # It would hold up all others for as long as the printer likes.
            self._fail(job, refusal.code, refusal.params, unsure=True)
            return
        since = job.sent_at or self.now()
        if job.stop_asked and not known.ended and self.now() - since > STOPPED_BY:
            self._fail(job, KEPT, {}, unsure=True)
            return
        self._see(job, known, () if known.ended else troubles(client.facts()))

    def _see(
        self, job: PrintJob, known: JobFacts, standing: tuple[Trouble, ...]
    ) -> None:
        """Write down how a job is getting on, as the printer tells it."""
        ended = end_of(known)
        if known.state == "completed" and WITH_ERRORS in known.reasons:
            self._fail(job, "printer_job_aborted", {"reason": WITH_ERRORS}, unsure=True)
        elif known.state == "completed":
            self._end(job, PrintState.DONE)
        elif known.state == "canceled":
            self._end(job, PrintState.CANCELLED, ended)
        elif ended is not None:
            told = {"reason": ended.reason}
            self._fail(job, ended.code, told, unsure=True)
        else:
            reasons = (*standing, *waits_of(known))
            first = next((one for one in reasons if one.stops), None)
            self._save(
                job,
                next_try=self.now() + LOOK_AGAIN,
                trouble=first.code if first else "",
                told={"reason": first.reason} if first else {},
            )

    def _fault(self, job: PrintJob, fault: PrinterFault) -> None:
        """Keep a job that may be asked about again; give up any other."""
        log.warning("print job %s: %s", job.name, fault.code)
        lost = fault.sent and job.ipp_job is None and job.state == PrintState.SENT
        if fault.again and not fault.sent:
            # Nothing was taken: the job stays where it is.
            self._sleep(job, fault)
        elif lost and fault.code not in ANSWERED:
            due = self.now() + SETTLE
            told = _plain(fault.params)
            self._save(job, trouble=fault.code, told=told, next_try=due)
        else:
            maybe = fault.sent or job.state != PrintState.QUEUED
            self._fail(job, fault.code, fault.params, unsure=maybe)

    def _sleep(self, job: PrintJob, fault: PrinterFault) -> None:
        """Leave a printer alone for a while, longer each time."""
        naps = min(job.naps + 1, 10)
        until = self.now() + min(timedelta(seconds=2**naps), LONGEST_SLEEP)
        Printer.objects.filter(pk=job.printer_id).update(asleep_until=until)
        self._save(job, naps=naps, trouble=fault.code, told=_plain(fault.params))

    def _fail(
        self, job: PrintJob, code: str, told: dict[str, Any], *, unsure: bool = False
    ) -> None:
        self._save(
            job,
            state=PrintState.FAILED,
            ended_at=self.now(),
            trouble=code,
            told=_plain(told),
            unsure=unsure,
            next_try=None,
        )

    def _end(
        self, job: PrintJob, state: PrintState, why: Trouble | None = None
    ) -> None:
        self._save(
            job,
            state=state,
            ended_at=self.now(),
            document=None,
            trouble=why.code if why else "",
            told={"reason": why.reason} if why else {},
            unsure=state == PrintState.CANCELLED and job.ipp_job is not None,
            next_try=None,
        )

    @staticmethod
    def _mine(job: PrintJob) -> QuerySet[PrintJob]:
        """The job's row, unless another worker has it in hand by now."""
        return PrintJob.objects.filter(pk=job.pk, worked_until=job.worked_until)

    def _save(self, job: PrintJob, **values: Any) -> None:
        # Somebody may have cancelled it meanwhile: that stands.
        ended = (PrintState.DONE, PrintState.CANCELLED)
        self._mine(job).exclude(state__in=ended).update(**values)
        for name, value in values.items():
            setattr(job, name, value)


def _come(moment: str, now: datetime) -> Q:
    """Whether a moment to wait for has come; one that is too far off is none."""
    return (
        Q(**{moment: None})
        | Q(**{f"{moment}__lte": now})
        | Q(**{f"{moment}__gt": now + FAR})
    )


def _refusal_to_stop(client: IppPrinter, ipp_job: int) -> PrinterFault | None:
    """Ask a printer to give a job up; one that has just ended it refuses as well."""
    try:
        client.cancel(ipp_job)
    except PrinterFault as fault:
        return None if fault.again else fault
    return None


def _ours(job: PrintJob, known: JobFacts) -> JobFacts:
    """Doubt a job of another name: a printer that started anew counts from 1 again.

    A printer may cut a name short, or hide it.
    """
    if known.name and not job.name.startswith(known.name):
        raise PrinterFault(FORGOT, job=known.id)
    return known


def _plain(params: dict[str, Any]) -> dict[str, Any]:
    """Figures of a sentence as they can be kept."""
    return {
        name: value if isinstance(value, int | float | str) else str(value)
        for name, value in params.items()
    }


def reach(address: str, *, timeout: float = TIMEOUT_S) -> IppPrinter:
    """Give the client of a printer's address, by the settings of this installation."""
    return IppPrinter(
        read_address(address),
        user="lotward",
        timeout=timeout,
        ca_file=settings.PRINTER_CA_FILE,
    )
