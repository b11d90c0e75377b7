from __future__ import annotations

from django.apps import AppConfig


class DispatchConfig(AppConfig):
    default_auto_field = "django.db.models.BigAutoField"
    name = "dispatch"
    verbose_name = "Dispatch"

    def ready(self) -> None:
        from dispatch.rooms import ROOMS
        from kitting.rooms import load_offers

        load_offers("dispatch", ROOMS)
