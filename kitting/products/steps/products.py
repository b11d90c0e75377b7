"""Inner steps of products and box sizes: what they must not be."""

from __future__ import annotations

from typing import Final

from kitting.domain import gs1
from kitting.domain.errors import Conflict, Refused
from kitting.ledger.needs import need_length
from kitting.models import BoxSize, Product
from kitting.models.catalogue import Unit

CAUTION_LONGEST: Final = 120
MOST_CAUTIONS: Final = 8
REVIEWER_LONGEST: Final = 80
REFERENCE_LONGEST: Final = 20
MOST_SETS: Final = 10_000


def need_texts(product: Product) -> None:
    """Tidy the texts of a product, and refuse those that no label has room for.

    Args:
        product: The product, as it is to be.

    Raises:
        Refused: ``entry_too_long``, ``too_many_cautions``.
    """
    lines = [line.strip() for line in product.cautions.splitlines() if line.strip()]
    if len(lines) > MOST_CAUTIONS:
        raise Refused("too_many_cautions", most=MOST_CAUTIONS)
    for line in lines:
        need_length("caution", line, CAUTION_LONGEST)
    product.cautions = "\n".join(lines)
    product.cautions_reviewed_by = need_length(
        "name", product.cautions_reviewed_by, REVIEWER_LONGEST
    )
    product.reference = need_length(
        "catalogue number", product.reference, REFERENCE_LONGEST
    )


def need_size(size: BoxSize) -> None:
    """Refuse a box size that cannot be.

    Args:
        size: The size, as it is to be, with its product and carton.

    Raises:
        Refused: ``sets_out_of_range``, ``carton_counts_pieces``.
    """
    if not 1 <= size.sets <= MOST_SETS:
        raise Refused("sets_out_of_range", read=size.sets, most=MOST_SETS)
    if size.carton is not None and size.carton.unit != Unit.PIECE:
        raise Refused("carton_counts_pieces", part=size.carton.name)


def need_gtin(size: BoxSize) -> None:
    """Refuse a GTIN that is none, or that another box size has.

    Args:
        size: The size, as it is to be.

    Raises:
        Conflict: ``gtin_taken``.
        Refused: ``gtin_wrong``.
    """
    if size.gtin is None:
        return
    if not gs1.gtin14_ok(size.gtin):
        raise Refused("gtin_wrong", read=size.gtin)
    others = BoxSize.objects.filter(gtin=size.gtin).exclude(pk=size.pk)
    other = others.select_related("product").first()
    if other is not None:
        raise Conflict("gtin_taken", product=other.product.name, sets=other.sets)
