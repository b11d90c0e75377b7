"""What the label of a box says, and what its two symbols carry."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

from kitting.domain import gs1
from kitting.domain.errors import CodeError
from kitting.labels.carried import Carried, of_elements, of_number, of_sscc
from kitting.labels.spoken import ENGLISH


@dataclass(frozen=True)
class BoxWords:
    """Every word on the label that is not data, in the label's language."""

    set_one: str = ENGLISH["set_one"]
    sets: str = ENGLISH["sets"]
    packed: str = ENGLISH["packed"]
    use_by: str = ENGLISH["use_by"]
    serial: str = ENGLISH["serial"]
    batch: str = ENGLISH["batch"]
    reference: str = ENGLISH["reference"]
    lots: str = ENGLISH["lots"]
    lots_elsewhere: str = ENGLISH["lots_elsewhere"]
    latex: str = ENGLISH["latex"]
    non_sterile: str = ENGLISH["non_sterile"]
    contact: str = ENGLISH["contact"]
    reprint: str = ENGLISH["reprint"]


@dataclass(frozen=True)
class BoxLabel:
    """Everything that is printed on one box, already in the label's language."""

    product_name: str
    sets: int
    packed_on: date
    disinfected: tuple[tuple[str, date], ...]
    """What the evidence of each protocol allows to be said, such as "Disinfected
    (UV-C)", with the date of its oldest run in the box; none where one of them allows
    nothing to be said."""

    use_by: date | None
    kit_batch: str
    serial: str
    lots: tuple[tuple[str, str], ...]
    """Part name and lot number, in the order in which they are printed."""

    sscc: str | None
    gtin: str | None
    profile: str
    """``none``, ``ppe`` or ``device``."""

    cautions: tuple[str, ...]
    maker_name: str
    maker_address: tuple[str, ...]
    """Lines from the top."""

    contact: str = ""
    """Whom a ward asks: a telephone number or an address."""

    reference: str = ""
    """Catalogue number; printed where the profile is ``device``."""

    single_use: bool = False
    """Says the mark for it, where the profile is ``device``."""

    mark: str | None = None
    """Text across the face, such as "DEMONSTRATION – NOT FOR USE"."""

    copy: int = 1
    """Which print of this label it is; from the second on the label says so."""

    latex: bool = False
    words: BoxWords = field(default_factory=BoxWords)


def box_symbols(label: BoxLabel) -> tuple[Carried, Carried]:
    """Tell what the two symbols of a box label carry.

    Args:
        label: The label. Without an SSCC the linear symbol holds the serial, without a
            GTIN the matrix does; neither then claims to be a GS1 symbol.

    Returns:
        The linear symbol and the matrix.

    Raises:
        CodeError: A number that breaks a rule of GS1, or ``use_by_too_far`` for a date
            that its two digits of the year would not give back.
    """
    linear = of_sscc(label.sscc, label.serial)
    if label.gtin is None:
        return linear, of_number(label.serial, linear=False)
    packed = "11" if label.profile == "device" else "13"
    pairs = [("01", label.gtin), (packed, f"{label.packed_on:%y%m%d}")]
    if label.use_by is not None:
        two_digits = f"{label.use_by:%y%m%d}"
        if gs1.date(two_digits, label.packed_on) != label.use_by:
            last = label.packed_on.year + 50
            raise CodeError("use_by_too_far", use_by=label.use_by, year=last)
        pairs.append(("17", two_digits))
    pairs += [("10", label.kit_batch), ("21", label.serial)]
    return linear, of_elements(pairs, linear=False)
