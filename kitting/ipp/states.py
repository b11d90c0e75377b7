"""Why a printer stands or a job ended, as codes whose sentences say what to do.

A reason is a keyword with its severity behind it, or none, which means an error. Codes
and their sentences know three things: what is wrong, what to do about it, and whether
the job then goes on by itself (a printer that was paused goes on where it was).

References:
    RFC 8011 §5.4.12 (printers) and §5.3.8 (jobs). Reasons that others have registered
    since are told by the words in them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from kitting.ipp.facts import JobFacts, PrinterFacts

SEVERITIES = ("error", "warning", "report")

_LABELS, _LOW = "printer_out_of_labels", "printer_labels_low"
_RIBBON, _RIBBON_LOW = "printer_ribbon_out", "printer_ribbon_low"
_JAM, _OPEN, _FULL = "printer_jam", "printer_open", "printer_output_full"
_PAUSED, _OFFLINE, _TROUBLE = "printer_paused", "printer_offline", "printer_trouble"

_CODES = {
    "connecting-to-device": _OFFLINE,
    "cover-open": _OPEN,
    "developer-empty": _RIBBON,
    "developer-low": _RIBBON_LOW,
    "door-open": _OPEN,
    "input-tray-missing": _OPEN,
    "interlock-open": _OPEN,
    "marker-supply-empty": _RIBBON,
    "marker-supply-low": _RIBBON_LOW,
    "media-empty": _LABELS,
    "media-jam": _JAM,
    "media-low": _LOW,
    "media-needed": _LABELS,
    "moving-to-paused": _PAUSED,
    "output-area-almost-full": _FULL,
    "output-area-full": _FULL,
    "paused": _PAUSED,
    "shutdown": _OFFLINE,
    "stopping": _PAUSED,
    "timed-out": _OFFLINE,
    "toner-empty": _RIBBON,
    "toner-low": _RIBBON_LOW,
}
_BY_WORDS = (
    ({"jam"}, _JAM),
    ({"cover", "open"}, _OPEN),
    ({"door", "open"}, _OPEN),
    ({"ribbon", "empty"}, _RIBBON),
    ({"ribbon", "low"}, _RIBBON_LOW),
    ({"supply", "empty"}, _RIBBON),
    ({"supply", "low"}, _RIBBON_LOW),
    ({"media", "empty"}, _LABELS),
    ({"media", "low"}, _LOW),
    ({"output", "full"}, _FULL),
    ({"offline"}, _OFFLINE),
    ({"paused"}, _PAUSED),
)
_JOB_WAITS = {
    "job-hold-until-specified": "printer_job_held",
    "resources-are-not-ready": _LABELS,
    "service-off-line": _OFFLINE,
    "printer-stopped": _TROUBLE,
}
_GOES_ON = {_LABELS, _LOW, _RIBBON, _RIBBON_LOW, _JAM, _OPEN, _FULL, _PAUSED}
"""After these a printer takes its job up again; of others that is not known."""
_NEUTRAL = {"connecting-to-device", "moving-to-paused", "spool-area-full", "stopping"}
"""Steps that pass by themselves and stop nothing, whatever severity is left out."""


@dataclass(frozen=True)
class Trouble:
    """One thing that keeps a printer or a job from going on, or will."""

    code: str
    severity: str
    """``error`` when it stops the printer, ``warning`` when it soon will, ``report``."""
    reason: str
    """The keyword as the printer gave it, for ``%(reason)s`` in the sentence."""
    goes_on: bool
    """Whether the job goes on by itself once it is mended."""

    @property
    def stops(self) -> bool:
        """Whether nothing comes out until it is mended."""
        return self.severity == "error"


def troubles(facts: PrinterFacts) -> tuple[Trouble, ...]:
    """Tell what is wrong with a printer, the worst first; one for each code.

    A printer is stopped when it has an error, and only then (RFC 8011 §5.4.12). So where
    a stopped one names no error, what it names as less has stopped it, and it has a
    trouble if it names nothing; and a word that is not known and has no severity is no
    error while the printer goes on.
    """
    found = read_reasons(facts.reasons)
    if facts.state in {"idle", "processing"}:
        # Print queues tell of their own steps by words that nobody registered.
        return tuple(
            replace(one, severity="report") if _is_unknown(one) else one
            for one in found
        )
    if facts.state != "stopped" or any(one.stops for one in found):
        return found
    soon = {_LOW, _RIBBON_LOW}
    likely = next((one for one in found if one.code not in soon), None)
    if likely is None:
        return (Trouble(_TROUBLE, "error", facts.state, goes_on=False), *found)
    return (replace(likely, severity="error"), *(o for o in found if o is not likely))


def read_reasons(reasons: Iterable[str]) -> tuple[Trouble, ...]:
    """Turn keywords into troubles, the worst first; one for each code."""
    found = [_trouble(reason) for reason in reasons if reason != "none"]
    found.sort(key=lambda trouble: SEVERITIES.index(trouble.severity))
    first = {trouble.code: trouble for trouble in reversed(found)}
    return tuple(trouble for trouble in found if first[trouble.code] is trouble)


def end_of(job: JobFacts) -> Trouble | None:
    """Tell why a job ended without its labels; nothing for one that has not."""
    codes = {"aborted": "printer_job_aborted", "canceled": "printer_job_canceled"}
    code = codes.get(job.state)
    if code is None:
        return None
    reason = job.message or ", ".join(job.reasons[:3]) or "-"
    return Trouble(code, "error", reason, goes_on=False)


def waits_of(job: JobFacts) -> tuple[Trouble, ...]:
    """Tell what a job that has not ended waits for, as far as it says so itself.

    Most of a job's reasons are steps on its way (RFC 8011 §5.3.8) and no trouble.
    """
    if job.ended:
        return ()
    found = [one for one in read_reasons(job.reasons) if one.reason in _CODES]
    for reason, code in _JOB_WAITS.items():
        if reason in job.reasons:
            found.append(Trouble(code, "error", reason, code in _GOES_ON))
    return tuple({trouble.code: trouble for trouble in found}.values())


def _trouble(reason: str) -> Trouble:
    keyword, severity = reason, "error"
    for one in SEVERITIES:
        if reason.endswith(f"-{one}"):
            keyword, severity = reason.removesuffix(f"-{one}"), one
    if keyword in _NEUTRAL and keyword == reason:
        severity = "report"
    code = _CODES.get(keyword) or _code_by_words(keyword)
    return Trouble(code, severity, reason, code in _GOES_ON)


def _is_unknown(trouble: Trouble) -> bool:
    """Tell whether nothing says what it is, nor how bad."""
    known = trouble.reason in _CODES or trouble.reason.endswith("-error")
    return trouble.code == _TROUBLE and not known


def _code_by_words(keyword: str) -> str:
    words = set(keyword.split("-"))
    return next((code for known, code in _BY_WORDS if known <= words), _TROUBLE)
