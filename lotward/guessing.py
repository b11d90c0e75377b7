"""Who was locked out for wrong passwords, noted for managers."""

from __future__ import annotations

from typing import Any

from axes.handlers.database import AxesDatabaseHandler

from kitting.ledger import clock
from kitting.models import Workshop


class Handler(AxesDatabaseHandler):  # type: ignore[misc]  # it has no types
    """The lockout's own, wherever a password is asked for."""

    def user_login_failed(
        self,
        sender: Any,
        credentials: dict[str, Any],
        request: Any = None,
        **kwargs: Any,
    ) -> None:
        """Count a wrong password; note for whom it was the last one."""
        super().user_login_failed(sender, credentials, request, **kwargs)
        if getattr(request, "axes_locked_out", False):
            name = str(credentials.get("username", ""))[:150]
            # It is no act: nobody is known to have done it.
            Workshop.objects.update(guessed_at=clock.now(), guessed_name=name)
