"""What a person may do, read in one question: every page asks it."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.backends import ModelBackend
from django.contrib.auth.models import Permission


class RightsBackend(ModelBackend):
    """Django's own people and rights; it reads their own and their groups' at once."""

    def get_all_permissions(self, user_obj: Any, obj: Any = None) -> set[str]:
        """Give every right of a person, in the form in which views ask for it."""
        known = hasattr(user_obj, "_perm_cache")
        if known or obj is not None or not user_obj.is_active or user_obj.is_superuser:
            return super().get_all_permissions(user_obj, obj)
        rights = Permission.objects.order_by().values_list(
            "content_type__app_label", "codename"
        )
        own = rights.filter(user=user_obj)
        every = own.union(rights.filter(group__user=user_obj))
        user_obj._perm_cache = {f"{app}.{name}" for app, name in every}
        return user_obj._perm_cache  # type: ignore[no-any-return]
