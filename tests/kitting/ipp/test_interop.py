"""The client against a printer that somebody else wrote: CUPS's ``ippeveprinter``."""

from __future__ import annotations

import ctypes
import ctypes.util
import os
import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from kitting.domain.errors import PrinterFault
from kitting.ipp.address import read_address
from kitting.ipp.client import Found, IppPrinter
from kitting.ipp.facts import JobFacts, Media
from kitting.ipp.states import end_of, troubles
from kitting.ipp.statuses import KEYWORDS
from tests.kitting.ipp.asking import BAG, BOX, fault_of
from tests.kitting.ipp.fake_printer import FakePrinter
from tests.kitting.ipp.foreign import PATH, Foreign, foreign_printer
from tests.patience import PATIENCE_S, until

PDF = b"%PDF-1.7\n%" + bytes(range(256)) * 2_000


@pytest.fixture(scope="module")
def foreign(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Foreign]:
    with foreign_printer(tmp_path_factory.mktemp("ippeve")) as running:
        yield running


def asking(foreign: Foreign) -> IppPrinter:
    return IppPrinter(read_address(foreign.url), user="packer", timeout=PATIENCE_S)


def send(client: IppPrinter, pdf: bytes, name: str, media: Media = BOX) -> JobFacts:
    """Send a label, again while the printer prints another and says that it is busy."""
    sent: list[JobFacts] = []

    def taken() -> bool:
        try:
            sent.append(client.send(pdf, name=name, media=media))
        except PrinterFault as fault:
            if not fault.again:
                raise
        return bool(sent)

    assert until(taken)
    return sent[0]


def job_that(
    true: Callable[[JobFacts], bool], client: IppPrinter, job_id: int
) -> JobFacts:
    assert until(lambda: true(client.job(job_id)))
    return client.job(job_id)


def ended(job: JobFacts) -> bool:
    return job.ended


def test_a_foreign_printer_takes_labels_as_they_are_and_tells_their_end(
    foreign: Foreign,
) -> None:
    client = asking(foreign)
    facts = client.facts()
    assert facts.state in {"idle", "processing"}
    assert (facts.name, facts.resolutions) == ("Labels", ((203, 203),))
    assert facts.media == ((100_000, 150_000), (70_000, 40_000))
    assert facts.model == "Labels for tests"
    assert facts.can_scale_none

    client.validate(name="box 7", media=BOX)
    box = send(client, PDF, "box 7")
    bag = send(client, PDF + b"another", "bag ✓", BAG)
    assert job_that(ended, client, box.id).state == "completed"
    assert job_that(ended, client, bag.id).state == "completed"
    assert foreign.received(box.id) == PDF
    assert foreign.received(bag.id) == PDF + b"another"

    found = client.find("bag ✓", since_up=facts.up_time)
    assert found.job is not None
    assert (found.job.id, found.sure) == (bag.id, True)
    assert until(lambda: client.facts().up_time)  # It counts whole seconds.
    later = client.facts().up_time
    assert client.find("box 8", since_up=later) == Found(None, sure=True)
    # It was up for less when nothing was known of it yet: that proves nothing.
    assert client.find("box 8", since_up=-1) == Found(None, sure=False)


def test_a_foreign_printer_refuses_a_size_that_it_has_not(foreign: Foreign) -> None:
    client = asking(foreign)
    odd = Media(50_000, 25_000)
    assert fault_of(client.send, PDF, name="set", media=odd).code == (
        "printer_media_missing"
    )
    # And when it is asked all the same, because it is thought to have it:
    known = client.facts()
    client._facts = type(known)(**{**vars(known), "media": (), "custom": ()})
    for call in (client.validate, lambda **named: client.send(PDF, **named)):
        fault = fault_of(call, name="set", media=odd)
        assert (fault.code, fault.sent) == ("printer_media_missing", False)
    assert client.find("set", since_up=1).job is None


def test_a_foreign_printer_gives_a_job_up_when_told(foreign: Foreign) -> None:
    client = asking(foreign)
    job = send(client, PDF + b"WAITS", "box 9")
    # One that it has not begun is forgotten to be given up (its own race).
    job_that(lambda one: one.state == "processing", client, job.id)
    client.cancel(job.id)
    foreign.goes_on(job.id)
    assert job_that(ended, client, job.id).state == "canceled"
    fault = fault_of(client.cancel, job.id)
    assert fault.params["status"] == "client-error-not-possible"
    assert fault_of(client.job, 9_999).code == "printer_no_such_job"


def test_a_foreign_printer_tells_that_a_job_failed(foreign: Foreign) -> None:
    client = asking(foreign)
    job = send(client, PDF + b"FAILS", "box 10")
    trouble = end_of(job_that(ended, client, job.id))
    assert trouble is not None
    assert trouble.code == "printer_job_aborted"


def test_a_foreign_printer_that_runs_out_of_labels_goes_on(foreign: Foreign) -> None:
    client = asking(foreign)
    job = send(client, PDF + b"RUNSOUT", "box 11")
    assert until(lambda: troubles(client.facts()))
    found = troubles(client.facts())
    # It calls this a report, whatever it was told: what stops a printer is its state.
    assert [one.code for one in found] == ["printer_out_of_labels"]
    foreign.goes_on(job.id)
    assert job_that(ended, client, job.id).state == "completed"
    assert troubles(client.facts()) == ()


def test_a_foreign_printer_has_to_prove_who_it_is(foreign: Foreign) -> None:
    address = read_address(foreign.url.replace("ipp:", "ipps:"))
    fault = fault_of(IppPrinter(address, user="packer", timeout=PATIENCE_S).facts)
    assert (fault.code, fault.sent) == ("printer_tls", False)
    trusted = IppPrinter(
        address, user="packer", timeout=PATIENCE_S, ca_file=str(foreign.certificate)
    )
    assert trusted.facts().name == "Labels"


FOREIGN_REQUESTS = """\
{
    OPERATION Get-Printer-Attributes
    GROUP operation-attributes-tag
    ATTR charset attributes-charset utf-8
    ATTR language attributes-natural-language en
    ATTR uri printer-uri $uri
    STATUS successful-ok
    EXPECT printer-state OF-TYPE enum WITH-VALUE 3
    EXPECT printer-resolution-supported OF-TYPE resolution WITH-VALUE 203dpi
    EXPECT media-size-supported OF-TYPE collection COUNT 2
    EXPECT media-col-ready/media-size/x-dimension OF-TYPE integer WITH-VALUE 10000
}
{
    OPERATION Print-Job
    GROUP operation-attributes-tag
    ATTR charset attributes-charset utf-8
    ATTR language attributes-natural-language en
    ATTR uri printer-uri $uri
    ATTR name requesting-user-name clerk
    ATTR name job-name "box ✓"
    ATTR mimeMediaType document-format application/pdf
    GROUP job-attributes-tag
    ATTR integer copies 2
    ATTR collection media-col { MEMBER collection media-size {
        MEMBER integer x-dimension 7000 MEMBER integer y-dimension 4000 } }
    FILE $filename
    STATUS successful-ok
    EXPECT job-id OF-TYPE integer WITH-VALUE 1
}
"""


def test_a_foreign_client_reads_what_is_written_here_and_is_read(
    printer: FakePrinter, tmp_path: Path
) -> None:
    """``ipptool`` of CUPS speaks to the scripted printer, which uses our codec."""
    if shutil.which("ipptool", path=PATH) is None:
        pytest.skip("ipptool is not installed (see .ci/programs)")
    script, document = tmp_path / "requests.test", tmp_path / "label.pdf"
    script.write_text(FOREIGN_REQUESTS, "utf-8")
    document.write_bytes(PDF)
    done = subprocess.run(
        ["ipptool", "-tL", "-T", "5", "-f", str(document), printer.url, str(script)],
        env={**os.environ, "PATH": PATH},
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
        check=False,
    )
    assert (done.stdout.count("[PASS]"), done.stdout.count("[FAIL]")) == (2, 0), done
    (made,) = printer.jobs
    assert (made.name, made.user, made.copies) == ("box ✓", "clerk", 2)
    assert made.media == (7_000, 4_000)
    assert made.pdf == PDF


def test_keywords_of_statuses_are_those_that_cups_knows() -> None:
    name = ctypes.util.find_library("cups")
    if name is None:
        pytest.skip("libcups is not installed (see .ci/programs)")
    library = ctypes.CDLL(name)
    library.ippErrorString.restype = ctypes.c_char_p
    assert {
        code: library.ippErrorString(code).decode("ascii") for code in KEYWORDS
    } == KEYWORDS
