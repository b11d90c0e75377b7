"""Who somebody is and what they may do, in one kept question: every page asks it."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.backends import ModelBackend
from django.contrib.auth.models import Group, Permission
from django.db.models import F, Func, Q, QuerySet, Subquery, TextField, Value
from django.db.models.functions import Concat

from kitting.ledger.kept import Kept
from kitting.models import User


class _Together(Func):
    """Texts of all rows in one, with a space between them."""

    function = "STRING_AGG"
    output_field = TextField()

    def as_sqlite(self, compiler: Any, connection: Any, **changes: Any) -> Any:
        return self.as_sql(compiler, connection, function="GROUP_CONCAT", **changes)


def people(pk: int | Subquery) -> QuerySet[User]:
    """Find a person, with all rights in the form that views ask for.

    Args:
        pk: The id, or what finds it.

    Returns:
        The person, with their own and their groups' ``rights``.
    """
    own = User.user_permissions.through.objects.filter(user=pk)
    groups = Group.permissions.through.objects.filter(group__user=pk)
    given = Q(pk__in=own.values("permission")) | Q(pk__in=groups.values("permission"))
    name = Concat(F("content_type__app_label"), Value("."), F("codename"))
    every = Permission.objects.filter(given).order_by()
    together = every.values(all=_Together(name, Value(" ")))
    return User.objects.filter(pk=pk).annotate(rights=Subquery(together))


PEOPLE = Kept(people)


class RightsBackend(ModelBackend):
    """Django's own people and rights; it reads their own and their groups' at once."""

    def get_user(self, user_id: int) -> User | None:
        """Give the person of a session, whose account is open."""
        user: Any = next(iter(PEOPLE(user_id)), None)
        if user is None or not self.user_can_authenticate(user):
            return None
        if not user.is_superuser:
            user._perm_cache = set((user.rights or "").split())
        return user  # type: ignore[no-any-return]

    def get_all_permissions(self, user_obj: Any, obj: Any = None) -> set[str]:
        """Give every right of a person."""
        known = hasattr(user_obj, "_perm_cache")
        if known or obj is not None or not user_obj.is_active or user_obj.is_superuser:
            return super().get_all_permissions(user_obj, obj)
        user = self.get_user(user_obj.pk)
        user_obj._perm_cache = user._perm_cache if user else set()  # type: ignore[attr-defined]
        return user_obj._perm_cache  # type: ignore[no-any-return]
