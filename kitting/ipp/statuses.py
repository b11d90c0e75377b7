"""The status of an answer: its keyword, and what it means for the one who asked.

References:
    RFC 8011 Appendix B; the later ones from the IANA registry of IPP status codes.
"""

from __future__ import annotations

IGNORED, CONFLICTING = 0x0001, 0x0002
NOT_FOUND, GONE = 0x0406, 0x0407
NO_SUCH_FORMAT, NO_SUCH_VALUES = 0x040A, 0x040B
VERSION_NOT_SUPPORTED = 0x0503
CONFLICTING_ATTRIBUTES = 0x040E

KEYWORDS = {
    0x0000: "successful-ok",
    IGNORED: "successful-ok-ignored-or-substituted-attributes",
    CONFLICTING: "successful-ok-conflicting-attributes",
    0x0400: "client-error-bad-request",
    0x0401: "client-error-forbidden",
    0x0402: "client-error-not-authenticated",
    0x0403: "client-error-not-authorized",
    0x0404: "client-error-not-possible",
    0x0405: "client-error-timeout",
    NOT_FOUND: "client-error-not-found",
    GONE: "client-error-gone",
    0x0408: "client-error-request-entity-too-large",
    0x0409: "client-error-request-value-too-long",
    NO_SUCH_FORMAT: "client-error-document-format-not-supported",
    NO_SUCH_VALUES: "client-error-attributes-or-values-not-supported",
    0x040C: "client-error-uri-scheme-not-supported",
    0x040D: "client-error-charset-not-supported",
    CONFLICTING_ATTRIBUTES: "client-error-conflicting-attributes",
    0x040F: "client-error-compression-not-supported",
    0x0410: "client-error-compression-error",
    0x0411: "client-error-document-format-error",
    0x0412: "client-error-document-access-error",
    0x0500: "server-error-internal-error",
    0x0501: "server-error-operation-not-supported",
    0x0502: "server-error-service-unavailable",
    VERSION_NOT_SUPPORTED: "server-error-version-not-supported",
    0x0504: "server-error-device-error",
    0x0505: "server-error-temporary-error",
    0x0506: "server-error-not-accepting-jobs",
    0x0507: "server-error-busy",
    0x0508: "server-error-job-canceled",
    0x0509: "server-error-multiple-document-jobs-not-supported",
    0x050A: "server-error-printer-is-deactivated",
    0x050B: "server-error-too-many-jobs",
    0x050C: "server-error-too-many-documents",
}

BUSY = {0x0502, 0x0504, 0x0505, 0x0506, 0x0507, 0x050B}
"""Refusals that pass by themselves, or when somebody has seen to the printer."""


def keyword(status: int) -> str:
    """Return the status's registered keyword; its class and number if it has none."""
    known = KEYWORDS.get(status)
    if known is not None:
        return known
    kinds = {0x00: "successful", 0x03: "redirection", 0x04: "client-error"}
    kind = kinds.get(status >> 8, "server-error")
    return f"{kind} 0x{status:04X}"


def is_success(status: int) -> bool:
    """Tell whether the printer did what it was asked (RFC 8011 Appendix B.1.2)."""
    return 0x0000 <= status <= 0x00FF
