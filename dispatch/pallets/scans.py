"""What an SSCC names that is no box's: a pallet, by its number."""

from __future__ import annotations

from dispatch.models import Pallet
from kitting.web.scans import OF_SSCC, Found


def pallet_of_sscc(sscc: str) -> Found | None:
    """Find the pallet with an SSCC.

    Args:
        sscc: 18 digits.

    Returns:
        The pallet's own number, as if that had been scanned; None if no pallet has it.
    """
    number = Pallet.objects.filter(sscc=sscc).values_list("number", flat=True).first()
    return None if number is None else Found("number", None, number)


OF_SSCC.append(pallet_of_sscc)
