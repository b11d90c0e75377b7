"""The workshop named, people and their accounts, badges issued and revoked."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Final
from zoneinfo import available_timezones

from django.contrib.auth.hashers import make_password
from django.contrib.auth.models import Group
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError

from kitting.domain import badges, gs1
from kitting.domain.errors import Conflict, Missing, Refused
from kitting.domain.shown import shown
from kitting.labels.postal import country_name
from kitting.ledger import locking
from kitting.ledger.operations import Act, Sign, outcome_of, perform
from kitting.ledger.setup import COMMAND_LINE, MANAGER, ROLES
from kitting.models import Badge, Print, User, Workshop
from kitting.models.workshop import SCRAP_REASONS
from kitting.people.queries import role_of
from kitting.printing.steps import RENDERER

MOST_REASONS: Final = 20
"""Reasons that a list to choose from holds before nobody reads it any more."""
LONGEST_REASON: Final = 40


@dataclass(frozen=True)
class Particulars:
    """Who makes the goods, as it will stand on labels from now on."""

    name: str
    address: str
    time_zone: str
    gs1_prefix: str
    country: str
    """Two capitals, as in ISO 3166-1."""
    two_people: bool = True
    """Whether nobody lifts their own hold, or signs a protocol that they wrote."""
    scrap_reasons: str = SCRAP_REASONS
    """Why pieces are scrapped, a reason a line."""
    contact: str = ""
    """Whom a ward asks: a telephone number or an address."""


def change_workshop(*, to: Particulars, sign: Sign) -> Particulars:
    """Change the workshop's particulars, and whether some acts need two people.

    Boxes that have their identity keep it; labels printed again show the new name.

    Args:
        to: The new particulars; the prefix and the country may be empty.
        sign: Who, when and the operation key.

    Returns:
        The particulars as they stand now.

    Raises:
        CodeError: ``gs1_prefix`` for a prefix that is none, ``country_unknown``.
        Refused: ``name_missing``, ``time_zone_unknown``; ``scrap_reasons_wrong``
            without one, with too many or one that is too long.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Particulars:
        workshop = locking.lock_row(Workshop, act.workshop.pk)
        if not to.name.strip():
            raise Refused("name_missing")
        if to.time_zone not in available_timezones():
            raise Refused("time_zone_unknown", read=to.time_zone)
        if to.gs1_prefix:
            gs1.sscc(to.gs1_prefix, 1)
        if to.country:
            country_name(to.country)
        workshop.name = to.name.strip()
        workshop.address = to.address.strip()
        workshop.country = to.country
        workshop.time_zone = to.time_zone
        workshop.gs1_prefix = to.gs1_prefix
        workshop.contact = to.contact.strip()
        workshop.two_people = to.two_people
        workshop.scrap_reasons = _reasons(to.scrap_reasons)
        workshop.save(update_fields=list(vars(to)))
        return Particulars(
            name=workshop.name,
            address=workshop.address,
            time_zone=workshop.time_zone,
            gs1_prefix=workshop.gs1_prefix,
            country=workshop.country,
            two_people=workshop.two_people,
            scrap_reasons=workshop.scrap_reasons,
            contact=workshop.contact,
        )

    return perform("change_workshop", work, Particulars, sign, **vars(to))


def _reasons(text: str) -> str:
    """Read a list of reasons: a reason a line, none of them twice."""
    lines = [" ".join(line.split()) for line in text.splitlines()]
    reasons = list(dict.fromkeys(line for line in lines if line))
    longest = max(map(len, reasons), default=0)
    if not 1 <= len(reasons) <= MOST_REASONS or longest > LONGEST_REASON:
        raise Refused("scrap_reasons_wrong", most=MOST_REASONS, longest=LONGEST_REASON)
    return "\n".join(reasons)


@dataclass(frozen=True)
class Person:
    """A person as they stand after the act."""

    name: str
    role: str
    open: bool
    """Whether the account is open."""


def add_person(*, name: str, role: str, password: str, sign: Sign) -> Person:
    """Add a person who may sign in, with the rights of one role.

    Args:
        name: The name to sign in with; the journal names the person by it.
        role: One of ``kitting.ledger.setup.ROLES``.
        password: The password; only its hash is kept, and none of it in the journal.
        sign: Who, when and the operation key.

    Returns:
        The person.

    Raises:
        Conflict: ``person_exists``.
        Refused: ``role_unknown``, ``person_name_wrong``, ``password_weak``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Person:
        if role not in ROLES:
            raise Refused("role_unknown", read=role, roles=", ".join(ROLES))
        if User.objects.filter(username__iexact=name).exists():
            raise Conflict("person_exists", name=name)
        person = User(username=name, password=make_password(None))
        try:
            person.full_clean()
        except ValidationError as error:
            raise Refused("person_name_wrong", read=shown(name)) from error
        person.password = _hashed(password, person)
        person.save(force_insert=True)
        person.groups.add(Group.objects.get(name=role))
        return Person(name=name, role=role, open=True)

    return perform("add_person", work, Person, sign, name=name, role=role)


def _hashed(password: str, person: User) -> str:
    try:
        validate_password(password, person)
    except ValidationError as error:
        raise Refused("password_weak", why=" ".join(error.messages)) from error
    return make_password(password)


def open_account(*, name: str, open: bool, sign: Sign) -> Person:
    """Close a person's account, or open it again; what they signed stays theirs.

    Whoever is signed in with it is signed out with the next page they ask for, and not
    signed in again when it is opened.

    Args:
        name: The name to sign in with.
        open: Whether it is open from now on.
        sign: Who, when and the operation key.

    Returns:
        The person.

    Raises:
        Missing: ``person_unknown``.
        Refused: ``last_manager``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Person:
        # Of managers who close each other at once, the second waits here for the first.
        managers = locking.lock_found(Group.objects.filter(name=MANAGER))
        person = _known(name)
        left = User.objects.filter(groups__in=managers, is_active=True)
        if not open and list(left) == [person]:
            raise Refused("last_manager", name=name)
        person.is_active = open
        person.sign_outs += not open
        person.save(update_fields=["is_active", "sign_outs"])
        return _stands(person)

    return perform("open_account", work, Person, sign, name=name, open=open)


def set_password(*, name: str, password: str, sign: Sign) -> Person:
    """Set a person's password anew, where the old one is lost.

    Whoever is signed in by the old one is signed out with the next page they ask for.

    Args:
        name: The name to sign in with.
        password: As for ``add_person``.
        sign: Who, when and the operation key.

    Returns:
        The person.

    Raises:
        Missing: ``person_unknown``, for the command line as well.
        Refused: ``password_weak``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Person:
        person = _known(name)
        person.password = _hashed(password, person)
        person.save(update_fields=["password"])
        return _stands(person)

    return perform("set_password", work, Person, sign, name=name)


def _known(name: str) -> User:
    found = User.objects.filter(username=name).exclude(username=COMMAND_LINE)
    person = found.first()
    if person is None:
        raise Missing("person_unknown", name=name)
    return person


def _stands(person: User) -> Person:
    roles = person.groups.order_by("name").values_list("name", flat=True)
    return Person(person.username, role=", ".join(roles), open=person.is_active)


@dataclass(frozen=True)
class SignedOut:
    """Somebody whose sessions are all ended."""

    person: int
    name: str


def sign_out_everywhere(*, user_id: int, sign: Sign) -> SignedOut:
    """End all sessions of a person, wherever they are signed in.

    Args:
        user_id: The person.
        sign: Who, when and the operation key.

    Returns:
        The person.

    Raises:
        Missing: ``row_missing`` if there is no such person.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> SignedOut:
        person = locking.lock_row(User, user_id)
        person.sign_outs += 1
        person.save(update_fields=["sign_outs"])
        return SignedOut(person.pk, str(person))

    return perform("sign_out_everywhere", work, SignedOut, sign, person=user_id)


MOST_AT_ONCE = 100
LABELS = "badge"
"""What the print log calls them; each is the first and only copy."""


@dataclass(frozen=True)
class NewBadge:
    """What the label of a new badge says."""

    user_id: int
    name: str
    """The person, as shown."""

    role: str
    """Roles in words; empty for who has none."""

    token: str = field(repr=False)
    badge_id: int = 0
    """0 until it is made."""


@dataclass(frozen=True)
class Drawn:
    """The labels of new badges as one document: hashes, which tell no token."""

    pdf_sha: bytes
    data_shas: tuple[bytes, ...]
    """What each label says, in order."""

    paper: str
    """What they are laid out on, as ``queries.stocks.Laid.text``."""


@dataclass(frozen=True)
class Issued:
    """What the journal keeps of new badges: never a token."""

    badges: list[int]
    names: list[str]


@dataclass(frozen=True)
class Revoked:
    """A badge that nobody signs in with any more."""

    badge: int
    name: str


def issue_badges(
    *,
    user_ids: Sequence[int],
    sign: Sign,
    draw: Callable[[Sequence[NewBadge]], Drawn] | None = None,
) -> list[NewBadge]:
    """Make one new badge for each person; older ones stay valid until revoked.

    Args:
        user_ids: The people, in the order of their labels; at most 100.
        sign: Who, when and the operation key.
        draw: Called before anything is written, outside the transaction, with the
            badges as they will be, still without ids. What it raises stops the act, so
            that no badge is made whose label cannot be. What it gives stands in the
            print log.

    Returns:
        The badges with their tokens, for the labels. They are given this once.

    Raises:
        Conflict: ``badge_made_already`` if the act is sent again.
        Missing: ``row_missing`` if there is no such person.
        Refused: ``badge_for_nobody``, ``badges_too_many``, ``badge_for_closed_account``.
        OperationKeyReused: If the key was used for another act.
    """
    wanted = list(dict.fromkeys(user_ids))
    new: list[NewBadge] = []
    drawn: Drawn | None = None
    if outcome_of(sign) is None:
        new = _new(wanted)
        drawn = None if draw is None else draw(new)
    made: list[NewBadge] = []

    def work(act: Act) -> Issued:
        rows = [
            Badge(
                user_id=each.user_id,
                token_sha256=badges.token_hash(each.token),
                issue=act.operation,
            )
            for each in new
        ]
        for row in rows:
            row.save(force_insert=True)
        made.extend(
            replace(each, badge_id=row.pk) for each, row in zip(new, rows, strict=True)
        )
        if drawn is not None:
            act.write(*_prints(made, drawn))
        return Issued([each.badge_id for each in made], [each.name for each in made])

    perform("issue_badges", work, Issued, sign, users=wanted)
    if not made:
        raise Conflict("badge_made_already")
    return made


def _prints(made: Sequence[NewBadge], drawn: Drawn) -> list[Print]:
    return [
        Print(
            kind=LABELS,
            number=f"{each.name[:20]} {each.badge_id}",
            copy=1,
            nth=nth,
            data_sha=data_sha,
            pdf_sha=drawn.pdf_sha,
            renderer=RENDERER,
            paper=drawn.paper,
        )
        for nth, (each, data_sha) in enumerate(
            zip(made, drawn.data_shas, strict=True), start=1
        )
    ]


def _new(user_ids: Sequence[int]) -> list[NewBadge]:
    if not user_ids:
        raise Refused("badge_for_nobody")
    if len(user_ids) > MOST_AT_ONCE:
        raise Refused("badges_too_many", most=MOST_AT_ONCE)
    people = User.objects.exclude(username=COMMAND_LINE).prefetch_related("groups")
    found = people.in_bulk(user_ids)
    new = []
    for user_id in user_ids:
        person = found.get(user_id)
        if person is None:
            raise Missing("row_missing", what="person")
        if not person.is_active:
            raise Refused("badge_for_closed_account", name=str(person))
        token = badges.make_token(secrets.token_bytes(badges.RANDOM_BYTES))
        new.append(NewBadge(person.pk, str(person), role_of(person), token))
    return new


def revoke_badge(*, badge_id: int, sign: Sign) -> Revoked:
    """Revoke a badge: from now on it is like any unknown one.

    Args:
        badge_id: The badge.
        sign: Who, when and the operation key.

    Returns:
        Whose badge it was.

    Raises:
        Conflict: ``badge_revoked_before``.
        Missing: ``row_missing`` if there is no such badge.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Revoked:
        badge = locking.lock_row(Badge, badge_id, "user")
        if badge.revoked_at is not None:
            raise Conflict("badge_revoked_before", name=str(badge.user))
        badge.revoked_at = act.now
        badge.revocation = act.operation
        badge.save(update_fields=["revoked_at", "revocation"])
        return Revoked(badge=badge.pk, name=str(badge.user))

    return perform("revoke_badge", work, Revoked, sign, badge=badge_id)
