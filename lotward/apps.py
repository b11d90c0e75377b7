"""Registers the system checks."""

from __future__ import annotations

from django.apps import AppConfig


class LotwardConfig(AppConfig):
    name = "lotward"

    def ready(self) -> None:
        from lotward import checks  # noqa: F401
        from lotward.catalogue import words  # noqa: F401
