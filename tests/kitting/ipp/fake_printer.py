"""A printer of the Internet Printing Protocol for tests, on loopback, without paper.

    with FakePrinter() as printer:
        at = read_address(printer.url)
        client = IppPrinter(at, user="packer", timeout=PATIENCE_S)
        printer.reasons = ["media-empty-error"]     # what it tells about itself
        printer.refuse(0x0507, times=2)             # server-error-busy, twice
        printer.fail("lose", PRINT_JOB)             # prints, but its answer never comes
        printer.jobs[0].state = "aborted"           # what becomes of a job

Its jobs move one step each time that they are asked about, along ``printer.course``.
Seconds of its up time pass one at a request, so nothing here waits for a clock. It
checks each request as RFC 8011 §4.1 tells a printer to; what it finds stands in
``printer.complaints``, which the end of the ``with`` block asserts to be empty.
"""

from __future__ import annotations

import ssl
import threading
from dataclasses import dataclass, field
from typing import Self

from kitting.ipp.message import (
    Attribute,
    Group,
    Message,
    Resolution,
    Section,
    Tag,
    Value,
)
from tests.kitting.ipp.fake_http import FAULTS, Fault, Server
from tests.kitting.ipp.fake_values import attribute, collection, get, media_of, size

PRINT_JOB, VALIDATE_JOB, CANCEL_JOB = 0x0002, 0x0004, 0x0008
GET_JOB, GET_JOBS, GET_PRINTER = 0x0009, 0x000A, 0x000B

# RFC 8011 §5.3.7 and §5.4.11.
JOB_STATES = {
    "pending": 3,
    "held": 4,
    "processing": 5,
    "stopped": 6,
    "canceled": 7,
    "aborted": 8,
    "completed": 9,
}
PRINTER_STATES = {"idle": 3, "processing": 4, "stopped": 5}
ENDED = {"canceled", "aborted", "completed"}


@dataclass
class Job:
    """A job that the printer was given."""

    id: int
    name: str
    pdf: bytes
    user: str
    copies: int
    media: tuple[int, int]
    """Width and height in hundredths of a millimetre."""
    scaling: str
    state: str = "pending"
    reasons: list[str] = field(default_factory=lambda: ["none"])
    message: str = ""
    ended_at: int | None = None
    """In seconds of the printer's up time."""
    moves: bool = True
    """Whether it goes on along the printer's course when asked about."""


class FakePrinter:
    """A printer that says and does what a test tells it.

    Args:
        context: For IPPS: a server's TLS context with its certificate.
    """

    def __init__(self, *, context: ssl.SSLContext | None = None) -> None:
        self.context = context
        self.state = "idle"
        self.reasons = ["none"]
        self.message = ""
        self.accepting = True
        self.formats = ["application/pdf", "image/pwg-raster"]
        self.media = [(10_000, 15_000), (7_000, 4_000)]
        """Sizes in hundredths of a millimetre."""
        self.ready = [(10_000, 15_000)]
        self.scalings: list[str] | None = ["auto", "fit", "none"]
        """None: it does not know ``print-scaling`` and refuses it."""
        self.ignores: set[str] = set()
        """Attributes that it takes and does not keep to, against RFC 8011 §4.2.1."""
        self.versions = [(1, 1), (2, 0)]
        self.up_time: int | None = 1_000
        self.hides_names = False
        self.lists_jobs = True
        self.course = ["processing", "completed"]
        self.jobs: list[Job] = []
        self.requests: list[Message] = []
        self.complaints: list[str] = []
        self.more: list[Attribute] = []
        """Attributes that it tells of itself besides, or instead of its own."""
        self._faults: list[Fault] = []
        self._next_id = 1
        self._server: Server | None = None
        self._thread: threading.Thread | None = None
        self._lock = threading.RLock()
        self._gone = threading.Event()
        self.port = 0

    # -- Its address -------------------------------------------------------------------

    @property
    def url(self) -> str:
        scheme = "ipp" if self.context is None else "ipps"
        host = "127.0.0.1" if self.context is None else "localhost"
        return f"{scheme}://{host}:{self.port}/ipp/print"

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(self, kind: object, *_: object) -> None:
        self.stop()
        if kind is None and self.complaints:
            raise AssertionError("; ".join(self.complaints))

    def start(self) -> None:
        """Listen, on the port that it had before."""
        self._gone.clear()
        self._server = Server(("127.0.0.1", self.port), self)
        self.port = self._server.server_address[1]
        self._thread = threading.Thread(
            target=self._server.serve_forever, kwargs={"poll_interval": 0.02}
        )
        self._thread.start()

    def stop(self) -> None:
        """Be switched off: connections to it are refused."""
        if self._server is None or self._thread is None:
            return
        self._gone.set()
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()
        self._server = None

    def restart(self) -> None:
        """Start anew: it has forgotten its jobs and how long it was up."""
        with self._lock:
            self.up_time = 1
            self.jobs.clear()
            self._next_id = 1

    def forget(self) -> None:
        """Forget the jobs that have ended."""
        with self._lock:
            self.jobs = [job for job in self.jobs if job.state not in ENDED]

    def remember(self, name: str = "an older label", ended_at: int = 5) -> Job:
        """Know a job that was completed before, so that its memory is proven."""
        with self._lock:
            job = Job(self._next_id, name, b"", "", 1, (0, 0), "none", "completed")
            job.ended_at = ended_at
            self._next_id += 1
            self.jobs.append(job)
            return job

    # -- What goes wrong ---------------------------------------------------------------

    def fail(
        self,
        kind: str,
        operation: int | None = None,
        *,
        times: int = 1,
        seconds: float = 0.0,
        status: int = 500,
    ) -> None:
        """Let the next requests (of one operation) end in a fault of ``FAULTS``.

        ``seconds`` is for ``slow``; ``status`` is HTTP's, for ``status``.
        """
        assert kind in FAULTS, kind
        self._faults.append(
            Fault(kind, operation, times, status=status, seconds=seconds)
        )

    def refuse(
        self,
        status: int,
        operation: int | None = None,
        *,
        times: int = 1,
        names: tuple[str, ...] = (),
        said: str = "",
    ) -> None:
        """Let the next requests (of one operation) be refused with an IPP status."""
        self._faults.append(Fault("refuse", operation, times, status, names, said))

    def take_fault(self, operation: int) -> Fault | None:
        with self._lock:
            for fault in self._faults:
                if fault.operation in {None, operation} and fault.times > 0:
                    fault.times -= 1
                    return fault
        return None

    def wait(self, seconds: float) -> None:
        """Wait, but no longer than the printer is on."""
        self._gone.wait(seconds)

    # -- Answering ---------------------------------------------------------------------

    def answer(self, request: Message, fault: Fault | None) -> Message:
        with self._lock:
            self.requests.append(request)
            if self.up_time is not None:
                self.up_time += 1
            self._complain(request)
            if request.version not in self.versions:
                return self._reply(request, 0x0503)
            if fault is not None and fault.kind == "refuse":
                return self._reply(
                    request, fault.status, said=fault.said, refused=fault.names
                )
            does = {
                PRINT_JOB: self._print_job,
                VALIDATE_JOB: self._validate_job,
                CANCEL_JOB: self._cancel_job,
                GET_JOB: self._get_job,
                GET_JOBS: self._get_jobs,
                GET_PRINTER: self._get_printer,
            }.get(request.code)
            return does(request) if does else self._reply(request, 0x0501)

    def _complain(self, request: Message) -> None:
        """Check what RFC 8011 §4.1.4 to §4.1.5 demand of every request."""
        first, *others = request.groups or (Group(0),)
        names = [attribute.name for attribute in first.attributes]
        if first.tag != Section.OPERATION:
            self.complaints.append("the first group is not that of the operation")
        if names[:3] != [
            "attributes-charset",
            "attributes-natural-language",
            "printer-uri",
        ]:
            self.complaints.append(f"the first attributes are {names[:3]}")
        if "job-id" in names and names[3] != "job-id":
            self.complaints.append("the job's number does not follow the printer's URI")
        if len(set(names)) != len(names):
            self.complaints.append(f"an attribute stands twice: {names}")
        if any(group.tag != Section.JOB for group in others):
            self.complaints.append("a group of another kind follows")

    def _reply(
        self,
        request: Message,
        status: int = 0,
        *groups: Group,
        said: str = "",
        refused: tuple[str, ...] = (),
    ) -> Message:
        opening = [
            attribute("attributes-charset", Tag.CHARSET, "utf-8"),
            attribute("attributes-natural-language", Tag.LANGUAGE, "en"),
        ]
        if said:
            opening.append(attribute("status-message", Tag.TEXT, said))
        shown = [Group(Section.OPERATION, tuple(opening))]
        if refused:
            values = tuple(
                Attribute(name, (Value(Tag.UNSUPPORTED, None),)) for name in refused
            )
            shown.append(Group(Section.UNSUPPORTED, values))
        version = request.version if request.version in self.versions else (1, 1)
        return Message(status, request.request_id, (*shown, *groups), b"", version)

    def _refused(self, request: Message) -> tuple[int, tuple[str, ...]]:
        """Tell what of a job's wishes it does not keep to, and the status of that."""
        operation, wishes = request.groups[0], Group(0)
        for group in request.of(Section.JOB):
            wishes = group
        wanted = get(operation, "document-format")
        if wanted not in self.formats:
            return 0x040A, ("document-format",)
        refused = []
        if "media-col" in self.ignores or media_of(wishes) not in self.media:
            refused.append("media-col")
        scaling = get(wishes, "print-scaling")
        if scaling and (
            scaling not in (self.scalings or []) or "print-scaling" in self.ignores
        ):
            refused.append("print-scaling")
        if not refused:
            return 0, ()
        kept = get(operation, "ipp-attribute-fidelity") and not self.ignores
        return (0x040B if kept else 0x0001), tuple(refused)

    def _validate_job(self, request: Message) -> Message:
        status, refused = self._refused(request)
        return self._reply(request, status, refused=refused)

    def _print_job(self, request: Message) -> Message:
        if not self.accepting:
            return self._reply(request, 0x0506)
        status, refused = self._refused(request)
        if status > 0xFF:
            return self._reply(request, status, refused=refused)
        operation = request.groups[0]
        wishes = next(iter(request.of(Section.JOB)), Group(0))
        job = Job(
            self._next_id,
            str(get(operation, "job-name")),
            request.data,
            str(get(operation, "requesting-user-name")),
            get(wishes, "copies") or 1,
            media_of(wishes),
            get(wishes, "print-scaling") or "",
        )
        self._next_id += 1
        self.jobs.append(job)
        return self._reply(request, status, self._group(job), refused=refused)

    def _job(self, request: Message) -> Job | None:
        wanted = get(request.groups[0], "job-id")
        return next((job for job in self.jobs if job.id == wanted), None)

    def _cancel_job(self, request: Message) -> Message:
        job = self._job(request)
        if job is None:
            return self._reply(request, 0x0406)
        if job.state in ENDED:
            return self._reply(request, 0x0404)
        job.state, job.reasons = "canceled", ["job-canceled-by-user"]
        return self._reply(request)

    def _get_job(self, request: Message) -> Message:
        job = self._job(request)
        if job is None:
            return self._reply(request, 0x0406)
        self._move(job)
        return self._reply(request, 0, self._group(job))

    def _get_jobs(self, request: Message) -> Message:
        if not self.lists_jobs:
            return self._reply(request, 0x0501)
        ended = get(request.groups[0], "which-jobs") == "completed"
        limit = get(request.groups[0], "limit")
        shown = [job for job in self.jobs if (job.state in ENDED) is ended][:limit]
        return self._reply(request, 0, *map(self._group, shown))

    def _move(self, job: Job) -> None:
        """Let a job go one step on, unless the printer or the job stands."""
        if job.state in ENDED or not job.moves or self.state == "stopped":
            return
        steps = [*self.course]
        at = steps.index(job.state) + 1 if job.state in steps else 0
        job.state = steps[at] if at < len(steps) else job.state

    def _group(self, job: Job) -> Group:
        shown = [
            attribute("job-id", Tag.INTEGER, job.id),
            attribute("job-uri", Tag.URI, f"{self.url}/{job.id}"),
            attribute("job-state", Tag.ENUM, JOB_STATES.get(job.state, 99)),
            attribute("job-state-reasons", Tag.KEYWORD, *job.reasons),
            Attribute("time-at-completed", (self._ended_at(job),)),
        ]
        if not self.hides_names:
            shown.append(attribute("job-name", Tag.NAME, job.name))
        if job.message:
            shown.append(attribute("job-state-message", Tag.TEXT, job.message))
        return Group(Section.JOB, tuple(shown))

    def _ended_at(self, job: Job) -> Value:
        """Give the time of a job's end, noted when it is first told."""
        if job.state not in ENDED or self.up_time is None:
            return Value(Tag.NO_VALUE, None)
        if job.ended_at is None:
            job.ended_at = self.up_time
        return Value(Tag.INTEGER, job.ended_at)

    def _get_printer(self, request: Message) -> Message:
        told = {one.name: one for one in (*self._about_itself(), *self.more)}
        return self._reply(request, 0, Group(Section.PRINTER, tuple(told.values())))

    def _about_itself(self) -> list[Attribute]:
        told = [
            attribute("printer-state", Tag.ENUM, PRINTER_STATES.get(self.state, 99)),
            attribute("printer-state-reasons", Tag.KEYWORD, *self.reasons),
            attribute("printer-state-message", Tag.TEXT, self.message),
            Attribute(
                "printer-is-accepting-jobs", (Value(Tag.BOOLEAN, self.accepting),)
            ),
            attribute("document-format-supported", Tag.MIME_TYPE, *self.formats),
            attribute("printer-name", Tag.NAME, "fake"),
            attribute("printer-make-and-model", Tag.TEXT, "A printer for tests"),
            attribute("operations-supported", Tag.ENUM, 2, 4, 8, 9, 10, 11),
            Attribute(
                "printer-resolution-supported",
                (Value(Tag.RESOLUTION, Resolution(203, 203, 3)),),
            ),
        ]
        if self.media:
            sizes = tuple(collection(size(*one)) for one in self.media)
            told.append(Attribute("media-size-supported", sizes))
        if self.ready:
            loaded = tuple(
                collection((Attribute("media-size", (collection(size(*one)),)),))
                for one in self.ready
            )
            told.append(Attribute("media-col-ready", loaded))
        if self.scalings is not None:
            told.append(
                attribute("print-scaling-supported", Tag.KEYWORD, *self.scalings)
            )
        if self.up_time is not None:
            told.append(attribute("printer-up-time", Tag.INTEGER, self.up_time))
        return told
