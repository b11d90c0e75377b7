"""What stays as it was written in rows that do change, for the guards' triggers.

What a lot, bag, run, protocol, box, request, pallet, shipment or consignee *is* decides
what a label, a delivery note or a recall says of it. No act changes it, so the database
refuses to.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Fixed:
    """One trigger: what an UPDATE of a table must leave alone."""

    name: str
    table: str
    words: str
    """What the refusal says."""
    columns: tuple[str, ...] = ()
    """Columns that keep their value, an empty one too."""
    once: tuple[str, ...] = ()
    """Columns that keep their value once they have one."""
    moves: str = ""
    """SQL of OLD and NEW that both databases read alike: a stage that goes back."""
    until: str = ""
    """SQL of OLD: from when on the columns are fixed; empty for always."""


FIXED = (
    Fixed(
        "lot_identity",
        "kitting_lot",
        "lot identity",
        columns=(
            "number",
            "part_id",
            "revision_id",
            "method_id",
            "source",
            "source_key",
            "source_number",
            "made_on",
            "use_by",
        ),
        moves=(
            "(OLD.stage <> 'open' AND NEW.stage <> OLD.stage"
            " AND NOT (OLD.stage = 'closed' AND NEW.stage = 'cancelled'))"
        ),
    ),
    Fixed(
        "bag_identity",
        "kitting_bag",
        "bag identity",
        columns=("number",),
        # Pieces that were opened earlier may come in, never later ones.
        moves=(
            "(OLD.opened_at IS NOT NULL"
            " AND (NEW.opened_at IS NULL OR NEW.opened_at > OLD.opened_at))"
        ),
    ),
    Fixed(
        "run_identity",
        "kitting_run",
        "run identity",
        columns=(
            "number",
            "line_id",
            "protocol_id",
            "meter_id",
            "zone_um",
            "belt_um_s",
            "exposure_ms",
            "passes",
            "belt_u_ppm",
            "zone_u_ppm",
            "decline_ppm",
            "opened_at",
        ),
    ),
    Fixed(
        "run_closed",
        "kitting_run",
        "run is closed",
        columns=("stage", "closed_at", "rel_u_ppm"),
        until="OLD.stage <> 'open'",
    ),
    Fixed(
        "protocol_signed",
        "kitting_protocol",
        "protocol is signed",
        columns=(
            "code",
            "version",
            "name",
            "process",
            "required_top_uj_cm2",
            "required_bottom_uj_cm2",
            "turned",
            "hold_s",
            "min_value",
            "low_nm",
            "high_nm",
            "max_passes",
            "in_force_from",
            "evidence",
            "label_words",
            "signed_by",
        ),
        until="OLD.signed_by <> ''",
    ),
    Fixed(
        "box_made",
        "kitting_box",
        "box identity",
        columns=("number", "recipe_id", "size_id"),
    ),
    Fixed(
        "box_weighed",
        "kitting_box",
        "mass of a box",
        columns=("mass_mg",),
        until="OLD.stage <> 'open'",
    ),
    Fixed(
        "shipment_identity",
        "dispatch_shipment",
        "shipment identity",
        columns=("number", "consignee_id", "point"),
        once=("sent_at",),
        moves=(
            "(OLD.stage <> 'open' AND NEW.stage <> OLD.stage"
            " AND NOT (OLD.stage = 'sent' AND NEW.stage = 'delivered'))"
        ),
    ),
    Fixed(
        "shipment_sent",
        "dispatch_shipment",
        "shipment is not open",
        columns=(
            *("sent_by", "boxes", "sets", "lots", "products"),
            *("reference", "haulier", "driver", "vehicle", "seal"),
        ),
        until="OLD.stage <> 'open'",
    ),
    Fixed(
        "pallet_identity",
        "dispatch_pallet",
        "pallet identity",
        columns=("number", "sscc"),
        moves="(OLD.stage <> 'open' AND NEW.stage <> OLD.stage)",
    ),
    Fixed(
        "request_identity",
        "dispatch_request",
        "request identity",
        columns=("number", "consignee_id", "product_id", "asked_on", "taken_by"),
        moves="(OLD.stage = 'cancelled' AND NEW.stage <> OLD.stage)",
    ),
    Fixed(
        "consignee_identity",
        "dispatch_consignee",
        "consignee identity",
        columns=("code",),  # a hospital may be renamed
    ),
)


HANDED_OVER = (
    "OLD.stage = 'open' AND EXISTS (SELECT 1 FROM kitting_boxhanded WHERE id ="
    " (SELECT MAX(id) FROM kitting_boxhanded WHERE box_id = OLD.id)"
    " AND before_id = OLD.bench_id AND bench_id = NEW.bench_id)"
)
"""SQL of a box whose bench changes: its newest hand-over is from that one to this."""


def condition(rule: Fixed, *, differs: str) -> str:
    """SQL of a rule: the UPDATE changes what it must not.

    Args:
        rule: The rule.
        differs: ``IS NOT`` or ``IS DISTINCT FROM``, as the database says it.

    Returns:
        A condition on OLD and NEW.
    """
    changed = [f"NEW.{c} {differs} OLD.{c}" for c in rule.columns]
    for column in rule.once:
        had = f"OLD.{column} IS NOT NULL"
        changed.append(f"({had} AND NEW.{column} {differs} OLD.{column})")
    if rule.moves:
        changed.append(rule.moves)
    joined = " OR ".join(changed)
    return f"{rule.until} AND ({joined})" if rule.until else joined
