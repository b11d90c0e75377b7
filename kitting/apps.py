from __future__ import annotations

from django.apps import AppConfig
from django.db.models.signals import post_migrate


class KittingConfig(AppConfig):
    default_auto_field = "django.db.models.BigAutoField"
    name = "kitting"
    verbose_name = "Kitting"

    def ready(self) -> None:
        from kitting.ledger import checks  # noqa: F401
        from kitting.rooms import ROOMS, load_offers

        load_offers("kitting", ROOMS)

        # Also runs after a flush, so that tests find what migrations promise.
        post_migrate.connect(_found, sender=self)


def _found(**_: object) -> None:
    from kitting.ledger.setup import ensure_workshop

    ensure_workshop()
