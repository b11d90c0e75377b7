from __future__ import annotations

from django.apps import AppConfig


class DispatchConfig(AppConfig):
    default_auto_field = "django.db.models.BigAutoField"
    name = "dispatch"
    verbose_name = "Dispatch"

    def ready(self) -> None:
        """Let the print log draw the labels of shipments as well."""
        from dispatch.queries.labels import SHIPMENTS
        from kitting.queries.labels import register

        register(SHIPMENTS)
