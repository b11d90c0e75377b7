"""Parts and raw materials, and their revisions: added, changed, closed."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace

from kitting.domain.errors import Conflict, Refused
from kitting.ledger import locking
from kitting.ledger.coded import fill, named, row_to_change, row_to_keep
from kitting.ledger.operations import Act, Sign, perform
from kitting.models import Part, Revision, Workshop
from kitting.models.catalogue import Unit
from kitting.products.queries.parts import rests_on
from kitting.products.steps.parts import need_figures, need_notes, need_revision_code


@dataclass(frozen=True)
class PartFacts:
    """A part as it is to be."""

    name: str
    unit: str = Unit.PIECE
    mass_mg: int | None = None
    """Of one piece; None where it is not known."""
    spread_mg: int | None = None
    """Standard deviation of the mass from piece to piece."""
    needs_check: bool = True
    needs_clearing: bool = True
    """Whether it has to be disinfected."""
    open_hours: int | None = None
    """How long a bag may stand open before it is packed; None for any time."""
    latex: bool = False
    manual: bool = False
    """Whether it is a text that has to say what is in the box."""


@dataclass(frozen=True)
class RevisionNote:
    """What is said of a revision that follows another one."""

    changed: str = ""
    approved_by: str = ""
    from_lot: str = ""
    """The first lot of it, as far as that is known."""
    old_stock: str = ""
    """What becomes of pieces of the revision before."""
    manual_changes: bool = False
    """Whether the manual has to say what is new in it."""


@dataclass(frozen=True)
class KeptPart:
    """A part that stands in the set-up."""

    code: str
    name: str


@dataclass(frozen=True)
class KeptRevision:
    """A revision that stands in the set-up."""

    part: str
    """Code of the part."""
    name: str
    """Name of the part."""
    revision: str


def add_part(*, code: str, revision: str, to: PartFacts, sign: Sign) -> KeptPart:
    """Add a part or a raw material with its first revision.

    Args:
        code: Its code; it stays.
        revision: Code of its first revision.
        to: What it is.
        sign: Who, when and the operation key.

    Returns:
        Its code and name.

    Raises:
        Conflict: ``code_taken``, in capitals or not.
        Refused: ``code_malformed``, ``set_up_name_missing``, ``entry_too_long``,
            ``revision_malformed``, and what ``need_figures`` refuses.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> KeptPart:
        row = row_to_keep(act, Part, code)
        fill(row, to)
        need_figures(row)
        row.save(force_insert=True)
        Revision.objects.create(part=row, code=need_revision_code(revision))
        return KeptPart(row.code, row.name)

    return perform(
        "add_part", work, KeptPart, sign, code=code, revision=revision, **asdict(to)
    )


def change_part(*, code: str, to: PartFacts, sign: Sign, seen: str = "") -> KeptPart:
    """Change a part. Its unit, and whether it is disinfected, stay once it has lots.

    Whether it is checked is set with how it is checked, by ``set_check_plan``.

    Args:
        code: The part.
        to: What it is from now on; ``needs_check`` counts for nothing here.
        sign: Who, when and the operation key.
        seen: ``mark_of`` the part that was looked at before; empty to change it
            whatever it is by now.

    Returns:
        Its code and name.

    Raises:
        Conflict: ``page_is_old`` if somebody changed it meanwhile.
        Missing: If there is no such part.
        Refused: ``set_up_name_missing``, ``entry_too_long``, ``part_stays``, and what
            ``need_figures`` refuses.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> KeptPart:
        row = row_to_change(act, Part.objects.filter(code=code), seen)
        rests = {"unit": to.unit, "needs_clearing": to.needs_clearing}
        changes = any(getattr(row, name) != value for name, value in rests.items())
        if changes and row.lots.exists():
            raise Refused("part_stays", part=row.name)
        fill(row, replace(to, needs_check=row.needs_check))
        need_figures(row)
        row.save()
        return KeptPart(row.code, row.name)

    return perform(
        "change_part", work, KeptPart, sign, code=code, seen=seen, **asdict(to)
    )


def add_revision(
    *, part: str, code: str, note: RevisionNote, sign: Sign
) -> KeptRevision:
    """Add a revision of a part, with what changed and what becomes of the old stock.

    Nothing else changes by it: recipes pin it in a new version of their own.

    Args:
        part: Code of the part.
        code: Code of the revision; it stays.
        note: What is said of it.
        sign: Who, when and the operation key.

    Returns:
        The revision.

    Raises:
        Conflict: ``revision_taken``, in capitals or not.
        Missing: If there is no such part.
        Refused: ``revision_malformed``, ``revision_note_missing``, ``entry_too_long``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> KeptRevision:
        locking.lock_row(Workshop, act.workshop.pk)
        of = named(Part, part)
        row = Revision(part=of, code=need_revision_code(code), **asdict(note))
        if of.revisions.filter(code__iexact=row.code).exists():
            raise Conflict("revision_taken", part=of.name, revision=row.code)
        need_notes(row, first=not of.revisions.exists())
        row.save(force_insert=True)
        return KeptRevision(of.code, of.name, row.code)

    return perform(
        "add_revision", work, KeptRevision, sign, part=part, code=code, **asdict(note)
    )


def change_revision(
    *,
    part: str,
    code: str,
    active: bool,
    sign: Sign,
    note: RevisionNote | None = None,
    seen: str = "",
) -> KeptRevision:
    """Correct what is said of a revision, close it, or open it again.

    What is said stays once lots are made of it, or somebody signed that it is covered. Of a closed revision no new lot is
    taken in; what there is of it is used up.

    Args:
        part: Code of the part.
        code: Code of the revision.
        active: Whether new lots of it are taken in.
        sign: Who, when and the operation key.
        note: What is said of it from now on; None to leave it.
        seen: ``mark_of`` the revision that was looked at before; empty to change it
            whatever it is by now.

    Returns:
        The revision.

    Raises:
        Conflict: ``page_is_old`` if somebody changed it meanwhile.
        Missing: If there is no such revision.
        Refused: ``revision_stays``, ``revision_note_missing``, ``entry_too_long``.
        OperationKeyReused: If the key was used for another act.
    """
    said = asdict(note) if note else {}

    def work(act: Act) -> KeptRevision:
        found = Revision.objects.filter(part__code=part, code=code)
        row = row_to_change(act, found, seen, "part")
        if said and rests_on(row):
            raise Refused("revision_stays", part=row.part.name, revision=row.code)
        for name, text in said.items():
            setattr(row, name, text)
        if said:
            older = Revision.objects.filter(part=row.part, pk__lt=row.pk)
            need_notes(row, first=not older.exists())
        row.active = active
        row.save()
        return KeptRevision(row.part.code, row.part.name, row.code)

    return perform(
        "change_revision",
        work,
        KeptRevision,
        sign,
        part=part,
        code=code,
        active=active,
        seen=seen,
        **said,
    )
