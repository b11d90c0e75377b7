"""Who somebody is and what they may do, by kept queries: every page asks both."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.backends import ModelBackend
from django.contrib.auth.models import Group, Permission
from django.db.models import F, Q, QuerySet

from kitting.ledger.kept import Kept
from kitting.models import User


def _rights(pk: int) -> QuerySet[Permission]:
    """A person's own and their groups' rights, each once."""
    own = User.user_permissions.through.objects.filter(user=pk)
    groups = Group.permissions.through.objects.filter(group__user=pk)
    given = Q(pk__in=own.values("permission")) | Q(pk__in=groups.values("permission"))
    rights = Permission.objects.filter(given).order_by()
    return rights.annotate(app=F("content_type__app_label"))


_USER = Kept(lambda pk: User.objects.filter(pk=pk))
_RIGHTS = Kept(_rights)


class RightsBackend(ModelBackend):
    """Django's own people and rights; it reads their own and their groups' at once."""

    def get_user(self, user_id: int) -> User | None:
        """Give the person of a session, whose account is open."""
        user = next(iter(_USER(user_id)), None)
        return user if user and self.user_can_authenticate(user) else None

    def get_all_permissions(self, user_obj: Any, obj: Any = None) -> set[str]:
        """Give every right of a person, in the form in which views ask for it."""
        known = hasattr(user_obj, "_perm_cache")
        if known or obj is not None or not user_obj.is_active or user_obj.is_superuser:
            return super().get_all_permissions(user_obj, obj)
        every: list[Any] = _RIGHTS(user_obj.pk)
        user_obj._perm_cache = {f"{each.app}.{each.codename}" for each in every}
        return user_obj._perm_cache  # type: ignore[no-any-return]
