"""Sessions in the database, read by a kept query: every request reads one."""

from __future__ import annotations

from typing import Any

from django.contrib.sessions.backends import db
from django.contrib.sessions.models import Session

from kitting.ledger import clock
from kitting.ledger.kept import Kept

_SESSION = Kept(lambda key: Session.objects.filter(session_key=key))


class SessionStore(db.SessionStore):
    """Django's own sessions."""

    def _get_session_from_db(self) -> Any:
        found = _SESSION(self.session_key) if self.session_key else []
        if not found or found[0].expire_date <= clock.of_machine():
            self._session_key = None
            return None
        return found[0]
