"""IPPS: a printer proves who it is before it hears anything."""

from __future__ import annotations

import ssl
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from kitting.ipp.address import read_address
from kitting.ipp.client import IppPrinter
from tests.kitting.ipp.asking import BOX, PDF, fault_of
from tests.kitting.ipp.fake_printer import FakePrinter
from tests.patience import PATIENCE_S

PROVES_ITSELF = {
    "itself": "subjectAltName=DNS:localhost,IP:127.0.0.1",
    "another": "subjectAltName=DNS:another.example.com",
}


@dataclass(frozen=True)
class Papers:
    """A certificate that signs itself, and a server's context with it."""

    file: str
    context: ssl.SSLContext


@pytest.fixture(scope="module")
def papers(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Papers]:
    return {
        who: issued(tmp_path_factory.mktemp("papers"), names)
        for who, names in PROVES_ITSELF.items()
    }


def issued(folder: Path, names: str) -> Papers:
    certificate, key = folder / "certificate.pem", folder / "key.pem"
    command = "openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1"
    command += " -nodes -days 2 -subj /CN=printer -addext"
    files = ["-keyout", str(key), "-out", str(certificate)]
    subprocess.run([*command.split(), names, *files], check=True, capture_output=True)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate, key)
    return Papers(str(certificate), context)


@pytest.fixture
def secured(papers: dict[str, Papers]) -> Iterator[FakePrinter]:
    with FakePrinter(context=papers["itself"].context) as fake:
        yield fake


def asking(printer: FakePrinter, ca_file: str | None) -> IppPrinter:
    return IppPrinter(
        read_address(printer.url), user="packer", timeout=PATIENCE_S, ca_file=ca_file
    )


def test_a_printer_that_is_trusted_prints(
    secured: FakePrinter, papers: dict[str, Papers]
) -> None:
    assert secured.url.startswith("ipps://")
    asking(secured, papers["itself"].file).send(PDF, name="box 7", media=BOX)
    assert [one.pdf for one in secured.jobs] == [PDF]


def test_a_printer_that_nobody_vouches_for_hears_nothing(secured: FakePrinter) -> None:
    fault = fault_of(asking(secured, None).send, PDF, name="box 7", media=BOX)
    assert (fault.code, fault.sent, fault.again) == ("printer_tls", False, False)
    assert "self-signed certificate" in str(fault.params["why"])
    assert secured.requests == []


def test_a_printer_that_another_file_vouches_for_hears_nothing(
    secured: FakePrinter, papers: dict[str, Papers]
) -> None:
    fault = fault_of(asking(secured, papers["another"].file).facts)
    assert fault.code == "printer_tls"
    assert secured.requests == []


def test_a_printer_under_another_name_hears_nothing(papers: dict[str, Papers]) -> None:
    with FakePrinter(context=papers["another"].context) as printer:
        fault = fault_of(asking(printer, papers["another"].file).facts)
        assert fault.code == "printer_tls"
        assert "localhost" in str(fault.params["why"])
        assert printer.requests == []


def test_a_printer_that_does_not_encrypt_hears_nothing(printer: FakePrinter) -> None:
    address = read_address(f"ipps://localhost:{printer.port}/ipp/print")
    fault = fault_of(IppPrinter(address, user="packer", timeout=PATIENCE_S).facts)
    assert (fault.code, fault.sent) == ("printer_tls", False)
    assert printer.requests == []


@pytest.mark.parametrize("name", ["missing.pem", "."])
def test_a_file_of_certificates_that_cannot_be_read_is_told(
    secured: FakePrinter, tmp_path: Path, name: str
) -> None:
    fault = fault_of(asking(secured, str(tmp_path / name)).facts)
    assert fault.code == "printer_tls"
    assert "cannot be read" in str(fault.params["why"])


def test_a_file_without_certificates_is_told(
    secured: FakePrinter, tmp_path: Path
) -> None:
    empty = tmp_path / "empty.pem"
    empty.write_text("no certificate", "utf-8")
    assert fault_of(asking(secured, str(empty)).facts).code == "printer_tls"


def test_an_encrypted_printer_that_hangs_up_may_have_printed(
    secured: FakePrinter, papers: dict[str, Papers]
) -> None:
    client = asking(secured, papers["itself"].file)
    client.facts()
    secured.fail("lose", 0x0002)
    fault = fault_of(client.send, PDF, name="box 7", media=BOX)
    assert (fault.code, fault.sent) == ("printer_answer_lost", True)
    assert len(secured.jobs) == 1
