"""What the symbols of a label carry: the one list that drawing and checking share."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace

from kitting.domain import gs1
from kitting.domain.shown import spaced
from kitting.labels.code128 import Bars, code128, gs1_128
from kitting.labels.datamatrix import Matrix, gs1_matrix, plain_matrix
from kitting.labels.geometry import refuse_long


@dataclass(frozen=True)
class Carried:
    """The data of one symbol, before it is drawn."""

    linear: bool
    """Code 128 when true, Data Matrix when false."""

    data: str
    """What a scanner sends after the symbology identifier; GS (0x1D) separates."""

    pairs: tuple[tuple[str, str], ...] = ()
    """Application identifiers and values; empty for a workshop's own number."""

    @property
    def identifier(self) -> str:
        """Symbology identifier that a scanner reports (ISO/IEC 15424)."""
        if self.linear:
            return "]C1" if self.pairs else "]C0"
        return "]d2" if self.pairs else "]d1"

    @property
    def read_as(self) -> tuple[str, str]:
        """Identifier and data, as the symbol must be read back."""
        return self.identifier, self.data

    def readable(self) -> tuple[str, ...]:
        """Give the text under the symbol: one piece per identifier, never split."""
        if not self.pairs:
            return (spaced(self.data),)
        return tuple(f"({ai}){spaced(value)}" for ai, value in self.pairs)

    def bars(self) -> Bars:
        """Encode as a linear symbol.

        Returns:
            The bars.

        Raises:
            CodeError: When the data cannot be encoded.
            NotFit: ``too_many_characters`` when GS1 allows less.
        """
        if not self.pairs:
            return code128(self.data)
        refuse_long(self.data, instead=replace(self, linear=False).matrix)
        return gs1_128(self.data)

    def matrix(self) -> Matrix:
        """Encode as a matrix symbol.

        Returns:
            The cells.

        Raises:
            CodeError: When the data cannot be encoded.
        """
        return gs1_matrix(self.pairs) if self.pairs else plain_matrix(self.data)


def of_elements(pairs: Iterable[tuple[str, str]], *, linear: bool) -> Carried:
    """Give what a GS1 symbol carries.

    Args:
        pairs: Application identifiers and values in the order they are encoded.
        linear: Code 128 when true, Data Matrix when false.

    Returns:
        The data.

    Raises:
        CodeError: What the field and pairing rules of GS1 refuse.
    """
    kept = tuple(pairs)
    return Carried(linear=linear, data=gs1.element_string(kept), pairs=kept)


def of_number(number: str, *, linear: bool) -> Carried:
    """Give what a symbol with a workshop's own number carries, without any GS1 mark."""
    return Carried(linear=linear, data=number)


def of_sscc(sscc: str | None, number: str) -> Carried:
    """Give what the bars of a large label carry: an SSCC, or without one a number.

    Args:
        sscc: 18 digits; None in a workshop without a GS1 prefix.
        number: The workshop's own.

    Returns:
        The data.

    Raises:
        CodeError: An SSCC that breaks a rule of GS1.
    """
    if sscc is None:
        return of_number(number, linear=True)
    return of_elements([("00", sscc)], linear=True)


def twice(number: str) -> tuple[Carried, Carried]:
    """Give what the bars and the matrix of a small label carry: its number, twice."""
    return of_number(number, linear=True), of_number(number, linear=False)


def same(wanted: Iterable[Carried], read: Iterable[tuple[str, str]]) -> bool:
    """Tell whether exactly the wanted symbols were read, each as often as it stands."""
    return Counter(one.read_as for one in wanted) == Counter(read)
