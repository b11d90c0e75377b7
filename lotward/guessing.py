"""Who was locked out for wrong passwords, noted for managers."""

from __future__ import annotations

from datetime import timedelta
from typing import Any, Final

from axes.handlers.database import AxesDatabaseHandler
from django.db.models import Q

from kitting.ledger import clock
from kitting.models import Workshop

ONCE_IN: Final = timedelta(minutes=1)
"""So often it is noted at most for one name, however fast somebody tries."""


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
            name, at = str(credentials.get("username", ""))[:150], clock.now()
            known = Q(guessed_name=name, guessed_at__gt=at - ONCE_IN)
            # It is no act: nobody is known to have done it.
            news = Workshop.objects.exclude(known)
            news.update(guessed_at=at, guessed_name=name)
