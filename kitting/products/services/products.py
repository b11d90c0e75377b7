"""Products and their box sizes: added, changed, closed."""

from __future__ import annotations

from dataclasses import asdict, dataclass

from kitting.domain import batch
from kitting.domain.errors import Conflict, Refused
from kitting.ledger import locking
from kitting.ledger.clock import day_of
from kitting.ledger.coded import fill, named, row_to_change, row_to_keep
from kitting.ledger.needs import need_row
from kitting.ledger.operations import Act, Sign, perform
from kitting.models import Box, BoxSize, Part, Product, Workshop
from kitting.models.catalogue import Profile
from kitting.products.steps.products import need_gtin, need_size, need_texts


@dataclass(frozen=True)
class ProductFacts:
    """A product as it is to be."""

    name: str
    language: str = "en"
    profile: str = Profile.NONE
    cautions: str = ""
    """A caution in each line."""
    cautions_reviewed_by: str = ""
    """Who looked at them; outside a demo they are not printed before."""
    reference: str = ""
    """Catalogue number of a medical device."""
    single_use: bool = False
    set_slips: bool = False
    """Whether a slip for each set comes out with the label of a box."""


@dataclass(frozen=True)
class SizeFacts:
    """A box size as it is to be."""

    gtin: str = ""
    """Empty where it has none."""
    carton_id: int | None = None
    """The part that is its carton."""
    weigh: bool = False
    """Whether each box is weighed before it is closed."""


@dataclass(frozen=True)
class KeptProduct:
    """A product that stands in the set-up."""

    code: str
    name: str


@dataclass(frozen=True)
class KeptSize:
    """A box size that stands in the set-up."""

    product: str
    """Code of the product."""
    name: str
    """Name of the product."""
    sets: int


def add_product(*, code: str, to: ProductFacts, sign: Sign) -> KeptProduct:
    """Add a product; it is packed once it has a box size, and a recipe in force.

    Args:
        code: Its code, which kit batches carry; it stays.
        to: What it is.
        sign: Who, when and the operation key.

    Returns:
        Its code and name.

    Raises:
        CodeError: ``batch_product_code``.
        Conflict: ``code_taken``, in capitals or not.
        Refused: ``set_up_name_missing``, ``entry_too_long``, ``too_many_cautions``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> KeptProduct:
        batch.kit_batch(act.workshop.site, code, day_of(act.workshop, act.now), 1)
        row = row_to_keep(act, Product, code)
        fill(row, to)
        need_texts(row)
        row.save(force_insert=True)
        return KeptProduct(row.code, row.name)

    return perform("add_product", work, KeptProduct, sign, code=code, **asdict(to))


def change_product(
    *, code: str, to: ProductFacts, sign: Sign, seen: str = ""
) -> KeptProduct:
    """Change a product; language and profile stay once boxes of it are closed.

    Args:
        code: The product.
        to: What it is from now on; labels printed before keep what they say.
        sign: Who, when and the operation key.
        seen: ``mark_of`` the product that was looked at before; empty to change it
            whatever it is by now.

    Returns:
        Its code and name.

    Raises:
        Conflict: ``page_is_old`` if somebody changed it meanwhile.
        Missing: If there is no such product.
        Refused: ``set_up_name_missing``, ``entry_too_long``, ``too_many_cautions``,
            ``product_stays``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> KeptProduct:
        row = row_to_change(act, Product.objects.filter(code=code), seen)
        changes = (row.language, row.profile) != (to.language, to.profile)
        packed = Box.objects.filter(size__product=row, serial__isnull=False)
        if changes and packed.exists():
            raise Refused("product_stays", product=row.name)
        fill(row, to)
        need_texts(row)
        row.save()
        return KeptProduct(row.code, row.name)

    return perform(
        "change_product", work, KeptProduct, sign, code=code, seen=seen, **asdict(to)
    )


def add_size(*, product: str, sets: int, to: SizeFacts, sign: Sign) -> KeptSize:
    """Add a box size of a product.

    Args:
        product: Code of the product.
        sets: How many sets a box holds; it stays.
        to: What it is.
        sign: Who, when and the operation key.

    Returns:
        The size.

    Raises:
        Conflict: ``size_taken``, ``gtin_taken``.
        Missing: If there is no such product or part.
        Refused: ``sets_out_of_range``, ``gtin_wrong``, ``carton_counts_pieces``;
            ``weighed_without_carton``, ``weighed_without_mass``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> KeptSize:
        locking.lock_row(Workshop, act.workshop.pk)
        of = named(Product, product)
        if of.sizes.filter(sets=sets).exists():
            raise Conflict("size_taken", product=of.name, sets=sets)
        row = BoxSize(product=of, sets=sets)
        _fill(row, to)
        row.save(force_insert=True)
        return KeptSize(of.code, of.name, sets)

    return perform(
        "add_size", work, KeptSize, sign, product=product, sets=sets, **asdict(to)
    )


def change_size(
    *,
    product: str,
    sets: int,
    to: SizeFacts,
    active: bool,
    sign: Sign,
    seen: str = "",
) -> KeptSize:
    """Change a box size, close it, or open it again.

    Args:
        product: Code of the product.
        sets: How many sets a box of it holds.
        to: What it is from now on; a GTIN stays once boxes with it are closed.
        active: Whether boxes of it are started.
        sign: Who, when and the operation key.
        seen: ``mark_of`` the size that was looked at before; empty to change it
            whatever it is by now.

    Returns:
        The size.

    Raises:
        Conflict: ``page_is_old`` if somebody changed it meanwhile; ``gtin_taken``.
        Missing: If there is no such size or part.
        Refused: ``gtin_wrong``, ``gtin_stays``, ``carton_counts_pieces``;
            ``weighed_without_carton``, ``weighed_without_mass``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> KeptSize:
        found = BoxSize.objects.filter(product__code=product, sets=sets)
        row = row_to_change(act, found, seen, "product")
        packed = row.boxes.filter(serial__isnull=False)
        if row.gtin and to.gtin != row.gtin and packed.exists():
            raise Refused("gtin_stays", gtin=row.gtin)
        _fill(row, to)
        row.active = active
        row.save()
        return KeptSize(row.product.code, row.product.name, sets)

    return perform(
        "change_size",
        work,
        KeptSize,
        sign,
        product=product,
        sets=sets,
        active=active,
        seen=seen,
        **asdict(to),
    )


def _fill(row: BoxSize, to: SizeFacts) -> None:
    row.gtin = to.gtin or None
    row.weigh = to.weigh
    row.carton = None
    if to.carton_id is not None:
        row.carton = need_row(Part.objects.filter(pk=to.carton_id))
    need_size(row)
    need_gtin(row)
