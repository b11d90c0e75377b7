"""``manage.py migrate``: Django's own, the one command that makes a new database."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.commands import migrate
from django.db import connections

from lotward.env import make_private


class Command(migrate.Command):
    def execute(self, *args: Any, **options: Any) -> str | None:
        # Before the system checks, which look into the database.
        database = connections[options["database"]]
        if database.vendor == "sqlite":
            make_private(Path(database.settings_dict["NAME"]))
        return super().execute(*args, **options)
