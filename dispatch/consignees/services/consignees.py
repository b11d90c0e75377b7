"""Consignees: one is added, or is called or found otherwise from now on."""

from __future__ import annotations

from dataclasses import asdict, dataclass

from django.core.exceptions import ValidationError
from django.core.validators import validate_email

from dispatch.consignees.queries import (
    LONGEST,
    NAME_LONGEST,
    POINT_LONGEST,
    open_numbers,
    open_shipments,
)
from dispatch.consignees.steps import lock_with_merged, need_open, part
from dispatch.models import Consignee, Merging
from kitting.domain.errors import (
    CodeError,
    Conflict,
    Doubted,
    Refused,
)
from kitting.domain.gs1 import gln_ok
from kitting.labels.postal import country_name
from kitting.ledger import locking
from kitting.ledger.coded import (
    need_name,
    row_to_change,
    row_to_keep,
)
from kitting.ledger.needs import LONGEST_REASON, need_length, need_reason, need_row
from kitting.ledger.operations import Act, Sign, perform
from kitting.models import Workshop

LANGUAGE_LONGEST = 8


@dataclass(frozen=True)
class WhereTo:
    """A consignee as it is to be."""

    name: str
    country: str
    """Its two letters in ISO 3166-1, in capitals."""
    street: str
    """Its lines, such as the entrance and the street."""
    city: str
    postcode: str = ""
    region: str = ""
    contact: str = ""
    """Whom to ask there by day."""
    night_contact: str = ""
    email: str = ""
    """Where letters about a recall go."""
    opening: str = ""
    """When it takes deliveries."""
    gln: str = ""
    points: str = ""
    """Its delivery points and wards, a line for each."""
    language: str = "en"
    """That of its packing lists."""
    active: bool = True
    """Whether something can be asked for and sent there."""


@dataclass(frozen=True)
class KeptConsignee:
    """A consignee that is on record."""

    code: str
    name: str
    sure: str = ""
    """Why it is closed although something is open for it."""


def add_consignee(*, code: str, to: WhereTo, sign: Sign) -> KeptConsignee:
    """Add a consignee.

    Args:
        code: Its code; it stays.
        to: Its name and address.
        sign: Who, when and the operation key.

    Returns:
        Its code and name.

    Raises:
        CodeError: ``country_unknown``, ``gln_wrong``, ``email_wrong``.
        Conflict: ``code_taken``, in capitals or not; ``gln_taken``.
        NotFit: ``label_word_missing`` if packing lists have no words in the language.
        Refused: ``code_malformed``, ``set_up_name_missing``, ``entry_missing``,
            ``entry_too_long``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> KeptConsignee:
        row = row_to_keep(act, Consignee, code)
        fill_in(row, to)
        row.save(force_insert=True)
        return KeptConsignee(row.code, row.name)

    return perform("add_consignee", work, KeptConsignee, sign, code=code, **asdict(to))


def change_consignee(
    *, code: str, to: WhereTo, sign: Sign, seen: str = "", sure: str = ""
) -> KeptConsignee:
    """Give a consignee another name or address.

    What is printed from now on says the new one, on a shipment that is not sent yet as
    well.

    Args:
        code: The consignee.
        to: Its name and address from now on.
        sign: Who, when and the operation key.
        seen: ``mark_of`` the consignee that was looked at before; empty to change it
            whatever it is by now.
        sure: Why it is closed although requests or shipments are open for it; empty to
            be asked.

    Returns:
        Its code and name.

    Raises:
        CodeError: ``country_unknown``, ``gln_wrong``, ``email_wrong``.
        Doubted: ``consignee_asked``, which names what is open.
        Conflict: ``page_is_old`` if somebody changed it meanwhile; ``gln_taken``.
        Missing: If there is no such consignee.
        NotFit: ``label_word_missing`` if packing lists have no words in the language.
        Refused: ``set_up_name_missing``, ``entry_missing``, ``entry_too_long``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> KeptConsignee:
        asked = Consignee.objects.filter(code=code)
        family = lock_with_merged(act, asked)
        row = row_to_change(act, asked, seen)
        why = _why_closed(row, sure) if row.active and not to.active else ""
        if to.active:
            part(row, family)
        fill_in(row, to)
        row.save()
        return KeptConsignee(row.code, row.name, why)

    return perform(
        "change_consignee",
        work,
        KeptConsignee,
        sign,
        code=code,
        seen=seen,
        sure=sure,
        **asdict(to),
    )


def _why_closed(row: Consignee, sure: str) -> str:
    """Why a consignee is closed for which something is open; empty where nothing is."""
    opened = open_numbers(row)
    if not opened:
        return ""
    why = need_length("reason", sure, LONGEST_REASON)
    if not why:
        which = ", ".join(opened)
        raise Doubted("consignee_asked", consignee=row.name, which=which)
    return why


@dataclass(frozen=True)
class MergedConsignee:
    """A consignee that was another one under a second code."""

    code: str
    name: str
    into: str
    """The code that stays."""
    reason: str


def merge_consignees(
    *, code: str, into_id: int, reason: str, sign: Sign
) -> MergedConsignee:
    """Say that two consignees are one; the first is closed and leads to the other.

    What went to it, and what it asked for, stays under its own code and is shown with
    the other; its open requests and what is promised to them go on as the other's.
    Opening it again on its page undoes this.

    Args:
        code: The consignee that is closed; nothing is being loaded for it.
        into_id: The one that stays; open.
        reason: How it is known that they are one.
        sign: Who, when and the operation key.

    Returns:
        Both codes.

    Raises:
        Conflict: ``consignee_merged`` if it was merged already.
        Missing: If there is no such consignee.
        Refused: ``reason_missing``, ``merged_with_itself``, ``consignee_closed`` of the
            one that stays, ``merged_while_loading``, which names the shipments.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> MergedConsignee:
        why = need_reason(reason)
        locking.lock_row(Workshop, act.workshop.pk)
        gone = need_row(Consignee.objects.filter(code=code))
        # Those that lead to it lead to the other from now on, so that none leads in turns.
        ids = {gone.pk, into_id, *gone.merged.values_list("pk", flat=True)}
        rows = locking.lock_rows(Consignee, ids)
        if gone.pk == into_id:
            raise Refused("merged_with_itself", consignee=gone.name)
        row, stays = rows.pop(gone.pk), rows.pop(into_id)
        _refuse_unmergeable(row, stays)
        row.active = False
        for each in (row, *rows.values()):
            each.merged_into = stays
            each.save()
        act.write(Merging(consignee=row, into=stays))
        return MergedConsignee(row.code, row.name, stays.code, why)

    return perform(
        "merge_consignees",
        work,
        MergedConsignee,
        sign,
        code=code,
        into=into_id,
        reason=reason,
    )


def _refuse_unmergeable(row: Consignee, stays: Consignee) -> None:
    if row.merged_into_id is not None:
        raise Conflict("consignee_merged", consignee=row.name)
    need_open(stays)
    begun = ", ".join(open_shipments(row))
    if begun:
        raise Refused("merged_while_loading", consignee=row.name, which=begun)


def _tidy(text: str) -> list[str]:
    return [line.strip() for line in text.splitlines() if line.strip()]


def _each_point_once(text: str) -> list[str]:
    bare = [" ".join(line.split()) for line in _tidy(text)]
    points = [need_length("point", one, POINT_LONGEST) for one in bare]
    return [*{one.casefold(): one for one in reversed(points)}.values()][::-1]


def _need_email(text: str) -> None:
    try:
        validate_email(text)
    except ValidationError as error:
        raise CodeError("email_wrong", read=text) from error


def _need_gln(row: Consignee, text: str) -> str | None:
    gln = "".join(text.split())
    if not gln:
        return None
    if not gln_ok(gln):
        raise CodeError("gln_wrong", read=gln)
    other = Consignee.objects.filter(gln=gln).exclude(pk=row.pk).first()
    if other is not None:
        raise Conflict("gln_taken", read=gln, name=other.name)
    return gln


def fill_in(row: Consignee, to: WhereTo) -> None:
    """Let a consignee say what was entered of it, tidied.

    Args:
        row: The consignee, locked or new.
        to: As it is to be.

    Raises:
        CodeError: ``gln_wrong``, ``email_wrong``, or a country that there is not.
        Conflict: ``gln_taken``.
        Refused: ``set_up_name_missing``, ``entry_missing``, ``entry_too_long``.
    """
    row.name = need_name(to.name, NAME_LONGEST)
    country_name(to.country)
    row.country = to.country
    row.language = need_length("language", to.language, LANGUAGE_LONGEST)
    row.active, row.gln = to.active, _need_gln(row, to.gln)
    if row.active:
        row.merged_into = None
    for name, most in LONGEST.items():
        setattr(row, name, need_length(name, getattr(to, name), most))
    if row.email:
        _need_email(row.email)
    row.street = "\n".join(_tidy(row.street))
    row.points = "\n".join(_each_point_once(row.points))
    for name in ("street", "city"):
        if not getattr(row, name):
            raise Refused("entry_missing", what=name)
