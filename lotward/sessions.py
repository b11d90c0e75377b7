"""Sessions in the database, read with the workshop and the person: every request does.

What a session holds is signed as Django signs it. In front of that stands whose it is, so
that the database can find the person; who they are says what is signed.
"""

from __future__ import annotations

import re
from typing import Any, Final

from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.backends import db
from django.contrib.sessions.models import Session
from django.db.models import BigIntegerField, QuerySet, Subquery, Value
from django.db.models.functions import Cast, Left, StrIndex

from kitting.ledger import clock
from kitting.ledger.kept import Kept, foresee, foreseen
from kitting.ledger.locking import WITH_HEAD
from kitting.models import User, Workshop
from lotward.rights import PEOPLE, people

_SESSION = Kept(lambda key: Session.objects.filter(session_key=key))


def _with_session(key: str) -> QuerySet[Workshop]:
    of = Session.objects.filter(session_key=key)
    read = {name: Subquery(of.values(name)) for name in ("session_data", "expire_date")}
    return Workshop.objects.annotate(**WITH_HEAD, **read).order_by("pk")[:1]


_BOTH = Kept(_with_session)
_OWNED: Final = r"^[0-9]+:"
"""How what was written here begins: with the id of a person, or 0."""


def _of_session(key: str) -> QuerySet[User]:
    named = Session.objects.filter(session_key=key, session_data__regex=_OWNED)
    own = Left("session_data", StrIndex("session_data", Value(":")) - 1)
    return people(Subquery(named.values(of=Cast(own, BigIntegerField()))))


_OF_SESSION = Kept(_of_session)


class SessionStore(db.SessionStore):
    """Django's own sessions."""

    _read: Session | None = None

    def encode(self, session_dict: Any) -> str:
        """Write what a session holds, behind the id of whose it is."""
        return f"{session_dict.get(SESSION_KEY, 0)}:{super().encode(session_dict)}"

    def decode(self, session_data: Any) -> dict[str, Any]:
        """Read what a session holds, whether or not it says first whose it is."""
        return super().decode(re.sub(_OWNED, "", session_data))

    def workshop(self) -> Workshop | None:
        """Read the workshop, and the session and person that are asked for next.

        Returns:
            The workshop with the newest end of its journal; None if there is none, or
            no session to read with it.
        """
        key = self.session_key
        if not key:
            return None
        foresee((_BOTH, key), (_OF_SESSION, key))
        for person in (people := _OF_SESSION(key)):
            foreseen(people, PEOPLE, person.pk)
        found: Any = next(iter(_BOTH(key)), None)
        if found is not None and found.session_data is not None:
            data = {
                "session_data": found.session_data,
                "expire_date": found.expire_date,
            }
            self._read = Session(session_key=key, **data)
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
