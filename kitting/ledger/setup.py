"""What every database needs before the first act: workshop, counters, head, groups."""

from __future__ import annotations

from datetime import UTC, datetime

from django.apps import apps
from django.conf import settings
from django.contrib.auth.models import Group, Permission
from django.db import connection

from kitting.domain.numbers import Kind
from kitting.models import Counter, JournalHead, User, Workshop

ROLES: dict[str, tuple[str, ...]] = {
    "packer": ("see_work", "pack", "print_labels", "repack", "put_away", "count_bags"),
    "checker": (
        "see_work",
        "take_in",
        "check_lots",
        "keep_methods",
        "print_labels",
        "repack",
        "put_away",
        "count_bags",
        "record_results",
        "allow_masses",
    ),
    "line operator": ("see_work", "run_line", "print_labels", "repack", "put_away"),
    "clerk": ("see_work", "send_boxes", "print_labels", "recall", "put_away"),
    "quality officer": (
        "see_work",
        "check_lots",
        "accept_under_concession",
        "set_checks",
        "keep_methods",
        "release_methods",
        "print_labels",
        "recall",
        "place_holds",
        "lift_holds",
        "void_boxes",
        "allow_masses",
        "count_bags",
        "record_results",
        "repack",
        "put_away",
        "keep_meters",
        "sign_protocols",
    ),
    "manager": (
        "see_work",
        "take_in",
        "check_lots",
        "run_line",
        "repack",
        "put_away",
        "pack",
        "print_labels",
        "send_boxes",
        "recall",
        "place_holds",
        "lift_holds",
        "void_boxes",
        "allow_masses",
        "set_checks",
        "keep_methods",
        "release_methods",
        "count_bags",
        "keep_meters",
        "set_up",
    ),
}
"""Who may do what: the one place that says so. ``docs/roles.md`` shows it."""

MANAGER = "manager"
"""The role without which nobody could set anything up: somebody keeps it."""

COMMAND_LINE = "command-line"
"""User name of the command line itself; nobody can sign in as it."""

CONSIGNEE = "consignee"
"""User name of whatever consignees say of themselves; nobody can sign in as it."""

NOT_PEOPLE = (COMMAND_LINE, CONSIGNEE)
"""Accounts behind which there is no person of the workshop."""

COUNTERS = (*(kind.name.lower() for kind in Kind), "sscc")


def ensure_workshop(name: str = "Unnamed workshop", site: int = 1) -> Workshop:
    """Make what is missing; leaves what is there alone."""
    workshop, _ = Workshop.objects.get_or_create(
        pk=1, defaults={"name": name, "site": site, "version": settings.VERSION}
    )
    JournalHead.objects.get_or_create(
        site=workshop.site, defaults={"seq": 0, "hash": bytes(32)}
    )
    have = set(
        Counter.objects.filter(site=workshop.site).values_list("name", flat=True)
    )
    Counter.objects.bulk_create(
        Counter(site=workshop.site, name=counter)
        for counter in COUNTERS
        if counter not in have
    )
    ensure_roles()
    start_ids(workshop.site)
    for username, called in (
        (COMMAND_LINE, "command line"),
        (CONSIGNEE, "consignee"),
    ):
        User.objects.get_or_create(
            username=username,
            defaults={
                "first_name": called,
                "password": "!",
                "date_joined": datetime(2000, 1, 1, tzinfo=UTC),  # always there
            },
        )
    return workshop


def start_ids(site: int) -> None:
    """Let new ids of this site start at site × 10¹⁴, so that sites can be merged."""
    first = site * 10**14
    models = [
        model
        for label in ("kitting", "dispatch")
        for model in apps.get_app_config(label).get_models()
        if model is not Workshop
    ]
    with connection.cursor() as cursor:
        for model in models:
            table = model._meta.db_table
            if connection.vendor == "sqlite":
                cursor.execute(
                    "SELECT seq FROM sqlite_sequence WHERE name = %s", [table]
                )
                row = cursor.fetchone()
                if row is None:
                    cursor.execute(
                        "INSERT INTO sqlite_sequence (name, seq) VALUES (%s, %s)",
                        [table, first],
                    )
                elif row[0] < first:
                    cursor.execute(
                        "UPDATE sqlite_sequence SET seq = %s WHERE name = %s",
                        [first, table],
                    )
                continue
            # Never set back: somebody may be taking ids while this runs.
            cursor.execute(
                "SELECT setval(s, %s)"
                " FROM (SELECT pg_get_serial_sequence(%s, 'id')::regclass AS s) AS q"
                " WHERE coalesce(pg_sequence_last_value(s), 0) < %s",
                [first, table, first],
            )


def ensure_roles() -> None:
    """Make the groups and give each exactly its permissions."""
    known = {
        permission.codename: permission
        for permission in Permission.objects.filter(content_type__app_label="kitting")
    }
    for role, codenames in ROLES.items():
        group, _ = Group.objects.get_or_create(name=role)
        group.permissions.set([known[c] for c in codenames if c in known])
