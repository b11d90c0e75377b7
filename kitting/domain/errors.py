"""Everything that Lotward refuses, as one tree of errors.

An error carries a code and the values that its sentence needs. It never carries a
sentence: each room has its ``words``, so that they can be translated.
One class per decision that a caller can make.
"""

from __future__ import annotations

from collections.abc import Sequence


class LotwardError(Exception):
    """An act or an input was refused.

    Args:
        code: What was wrong, in lower case with underscores; ``messages.py`` has its
            sentence.
        **params: The values that the sentence names.
    """

    def __init__(self, code: str, **params: object) -> None:
        super().__init__(code)
        self.code = code
        self.params = params
        self.besides: Sequence[LotwardError] = ()
        """What else was refused in the same breath: each has a sentence of its own."""

    def __str__(self) -> str:
        shown = ", ".join(f"{name}={value!r}" for name, value in self.params.items())
        return f"{self.code}({shown})"


class CodeError(LotwardError):
    """A number, code or element string does not follow its rules."""


class Conflict(LotwardError):
    """Somebody else was faster, or the page is older than the record (409)."""


class Missing(LotwardError):
    """There is no such thing, or not for this person (404)."""


class NotEnoughPieces(LotwardError):
    """More pieces were asked for than there are."""


class NotFit(LotwardError):
    """A label, symbol or text does not fit its stock."""


class OnHold(LotwardError):
    """Something that the act would use is on hold."""


class OperationKeyReused(Conflict):
    """One operation key was sent with two different contents."""


class PrinterFault(LotwardError):
    """A printer was not reached, gave no answer that can be used, or refused.

    Args:
        code: What was wrong.
        sent: Whether the printer may have done what was asked all the same: ask it
            before asking again.
        again: Whether the same may be asked again, with nothing else to be done and
            nothing printed twice by it.
        **params: The values that the sentence names.
    """

    def __init__(
        self, code: str, *, sent: bool = False, again: bool = False, **params: object
    ) -> None:
        super().__init__(code, **params)
        self.sent = sent
        self.again = again


class Refused(LotwardError):
    """A rule of the job forbids the act; the code says which."""


class WrongStage(Conflict):
    """The thing is in another stage than the act needs."""


class Doubted(Refused):
    """Figures that can hardly be right: the act is done once somebody says why they are."""
