"""The examples of RFC 8010, Appendix A, octet for octet.

Source: RFC 8010 (Internet Printing Protocol/1.1: Encoding and Transport), January 2017,
Appendix A, "Protocol Examples", A.1 to A.9. Typed in along its tables: numbers as they
stand there in hexadecimal, values as text. A.7 is as printed: it leaves out the tag
that opens the group of the job.
"""

from __future__ import annotations


def octets(*parts: str | bytes) -> bytes:
    return b"".join(
        part if isinstance(part, bytes) else bytes.fromhex(part) for part in parts
    )


PRINTER = b"ipp://printer.example.com/ipp/print/pinetree"
OPENING = octets(
    "01",
    "47 0012", b"attributes-charset", "0005", b"utf-8",
    "48 001b", b"attributes-natural-language", "0005", b"en-us",
)  # fmt: skip
PRINTER_URI = octets("45 000b", b"printer-uri", "002c", PRINTER)
JOB = octets(
    "02",
    "21 0006", b"job-id", "0004 00000093",
    "45 0007", b"job-uri", "0030", PRINTER, b"/147",
    "23 0009", b"job-state", "0004 00000003",
)  # fmt: skip
UNSUPPORTED = octets(
    "05",
    "21 0006", b"copies", "0004 00000014",
    "10 0005", b"sides", "0000",
)  # fmt: skip

PRINT_JOB_REQUEST = octets(  # A.1
    "0101 0002 00000001", OPENING, PRINTER_URI,
    "42 0008", b"job-name", "0006", b"foobar",
    "22 0016", b"ipp-attribute-fidelity", "0001 01",
    "02",
    "21 0006", b"copies", "0004 00000014",
    "44 0005", b"sides", "0013", b"two-sided-long-edge",
    "03", b"%!PDF...",
)  # fmt: skip
PRINT_JOB_RESPONSE = octets(  # A.2, successful
    "0101 0000 00000001", OPENING,
    "41 000e", b"status-message", "000d", b"successful-ok",
    JOB, "03",
)  # fmt: skip
PRINT_JOB_FAILURE = octets(  # A.3
    "0101 040b 00000001", OPENING,
    "41 000e", b"status-message",
    "002f", b"client-error-attributes-or-values-not-supported",
    UNSUPPORTED, "03",
)  # fmt: skip
PRINT_JOB_IGNORED = octets(  # A.4, success with attributes ignored
    "0101 0001 00000001", OPENING,
    "41 000e", b"status-message",
    "002f", b"successful-ok-ignored-or-substituted-attributes",
    UNSUPPORTED, JOB, "03",
)  # fmt: skip
PRINT_URI_REQUEST = octets(  # A.5
    "0101 0003 00000001", OPENING, PRINTER_URI,
    "45 000c", b"document-uri", "0011", b"ftp://foo.com/foo",
    "42 0008", b"job-name", "0006", b"foobar",
    "02",
    "21 0006", b"copies", "0004 00000001",
    "03",
)  # fmt: skip
CREATE_JOB_REQUEST = octets(  # A.6
    "0101 0005 00000001", OPENING, PRINTER_URI, "03",
)  # fmt: skip
CREATE_JOB_WITH_COLLECTION = octets(  # A.7
    "0101 0005 00000001", OPENING, PRINTER_URI,
    "34 0009", b"media-col", "0000",
    "4a 0000 000a", b"media-size",
    "34 0000 0000",
    "4a 0000 000b", b"x-dimension", "21 0000 0004 00005208",
    "4a 0000 000b", b"y-dimension", "21 0000 0004 00007404",
    "37 0000 0000",
    "4a 0000 000a", b"media-type", "44 0000 000a", b"stationery",
    "37 0000 0000",
    "03",
)  # fmt: skip
GET_JOBS_REQUEST = octets(  # A.8
    "0101 000a 0000007b", OPENING, PRINTER_URI,
    "21 0005", b"limit", "0004 00000032",
    "44 0014", b"requested-attributes", "0006", b"job-id",
    "44 0000 0008", b"job-name",
    "44 0000 000f", b"document-format",
    "03",
)  # fmt: skip
GET_JOBS_RESPONSE = octets(  # A.9
    "0101 0000 0000007b", OPENING,
    "41 000e", b"status-message", "000d", b"successful-ok",
    "02",
    "21 0006", b"job-id", "0004 00000093",
    "36 0008", b"job-name", "000c", "0005", b"fr-ca", "0003", b"fou",
    "02",
    "02",
    "21 0006", b"job-id", "0004 00000095",
    "36 0008", b"job-name", "0012", "0005", b"de-CH", "0009", b"isch guet",
    "03",
)  # fmt: skip

ALL = {
    "A.1": PRINT_JOB_REQUEST,
    "A.2": PRINT_JOB_RESPONSE,
    "A.3": PRINT_JOB_FAILURE,
    "A.4": PRINT_JOB_IGNORED,
    "A.5": PRINT_URI_REQUEST,
    "A.6": CREATE_JOB_REQUEST,
    "A.7": CREATE_JOB_WITH_COLLECTION,
    "A.8": GET_JOBS_REQUEST,
    "A.9": GET_JOBS_RESPONSE,
}
