"""Sessions in the database, read with the workshop: every request reads both."""

from __future__ import annotations

from typing import Any

from django.contrib.sessions.backends import db
from django.contrib.sessions.models import Session
from django.db.models import QuerySet, Subquery

from kitting.ledger import clock
from kitting.ledger.kept import Kept
from kitting.ledger.locking import WITH_HEAD
from kitting.models import Workshop

_SESSION = Kept(lambda key: Session.objects.filter(session_key=key))


def _with_session(key: str) -> QuerySet[Workshop]:
    of = Session.objects.filter(session_key=key)
    read = {name: Subquery(of.values(name)) for name in ("session_data", "expire_date")}
    return Workshop.objects.annotate(**WITH_HEAD, **read).order_by("pk")[:1]


_BOTH = Kept(_with_session)


class SessionStore(db.SessionStore):
    """Django's own sessions."""

    _read: Session | None = None

    def workshop(self) -> Workshop | None:
        """Read the workshop, and the session that is asked for next.

        Returns:
            The workshop with the newest end of its journal; None if there is none, or
            no session to read with it.
        """
        key = self.session_key
        found: Any = next(iter(_BOTH(key)), None) if key else None
        if found is not None and found.session_data is not None:
            data = {
                "session_data": found.session_data,
                "expire_date": found.expire_date,
            }
            self._read = Session(session_key=key or "", **data)
        return found  # type: ignore[no-any-return]

    def _get_session_from_db(self) -> Any:
        read, self._read = self._read, None
        if read is not None and read.session_key == self.session_key:
            found = [read]
        else:
            found = _SESSION(self.session_key) if self.session_key else []
        if not found or found[0].expire_date <= clock.of_machine():
            self._session_key = None
            return None
        return found[0]
