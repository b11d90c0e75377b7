"""System checks for what would hurt later."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Error, Tags, Warning, register

LABEL_FONTS = ("DejaVuSansCondensed.ttf", "DejaVuSansCondensed-Bold.ttf")
SQLITE = "lotward.sqlite"


@register(Tags.security)
def check_secret(**kwargs: Any) -> list[CheckMessage]:
    if getattr(settings, "SECRET_KEY", ""):
        return []
    return [
        Error(
            "There is no secret to sign sessions with.",
            hint="Set LOTWARD_SECRET_KEY, or let the data folder keep one.",
            id="lotward.E001",
        )
    ]


@register(Tags.compatibility)
def check_time_zone(**kwargs: Any) -> list[CheckMessage]:
    if settings.USE_TZ and settings.TIME_ZONE == "UTC":
        return []
    return [
        Error(
            f"TIME_ZONE is {settings.TIME_ZONE!r} and USE_TZ is {settings.USE_TZ!r}.",
            hint="The process runs in UTC; the workshop's time zone is set on a page.",
            id="lotward.E002",
        )
    ]


@register(Tags.security)
def check_proxy(**kwargs: Any) -> list[CheckMessage]:
    """Find a proxy that nobody named: TLS ends at one, and all come from its address."""
    if settings.PROXY or not settings.TLS:
        return []
    return [
        Warning(
            "LOTWARD_TLS is on, and no proxy is named: everybody seems to come from"
            " one address. Five wrong passwords for a name lock it for everybody.",
            hint="Set LOTWARD_PROXY to the address from which the proxy asks.",
            id="lotward.W002",
        )
    ]


@register(Tags.database)
def check_sqlite_transactions(**kwargs: Any) -> list[CheckMessage]:
    """Find an SQLite database whose writers would fail instead of waiting."""
    return [
        Error(
            f"The SQLite database {alias!r} does not begin transactions IMMEDIATE.",
            hint="Set OPTIONS['transaction_mode'] to 'IMMEDIATE'.",
            id="lotward.E003",
        )
        for alias, config in settings.DATABASES.items()
        if config["ENGINE"] == SQLITE
        and config.get("OPTIONS", {}).get("transaction_mode") != "IMMEDIATE"
    ]


@register()
def check_label_fonts(**kwargs: Any) -> list[CheckMessage]:
    folder = settings.BASE_DIR / "kitting" / "labels" / "fonts"
    return [
        Warning(
            f"The label font {name} is missing.",
            hint=f"Put it into {folder.relative_to(settings.BASE_DIR)}.",
            id="lotward.W001",
        )
        for name in LABEL_FONTS
        if not (folder / name).is_file()
    ]
