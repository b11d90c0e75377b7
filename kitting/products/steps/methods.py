"""Inner steps of methods: which are for a part, and what a new one must not be."""

from __future__ import annotations

from collections.abc import Collection

from django.db.models import QuerySet

from kitting.domain.errors import Conflict, Refused
from kitting.models import Method, Part


def with_parts(ids: Collection[int] | None = None) -> QuerySet[Method]:
    """Read methods with the parts that are made with them.

    Args:
        ids: Theirs; None for every method.

    Returns:
        The methods.
    """
    found = Method.objects.prefetch_related("made_with_it")
    return found if ids is None else found.filter(pk__in=ids)


def need_method_for(method: Method, part: Part) -> None:
    """Refuse a new lot of a part that is not made with a method.

    Args:
        method: The method, as ``with_parts`` reads it.
        part: The part.

    Raises:
        Refused: ``method_closed``, ``method_of_other_part``.
    """
    if not method.active:
        raise Refused("method_closed", method=method.code)
    makes = {each.part_id for each in method.made_with_it.all()}
    if makes and part.pk not in makes:
        raise Refused("method_of_other_part", method=method.code, part=part.name)


def need_new_settings(method: Method, parts: Collection[int]) -> None:
    """Refuse settings that another method in use has for one of the parts already.

    Args:
        method: The method, as it is to be.
        parts: Ids of the parts that are made with it; none for every part.

    Raises:
        Conflict: ``method_there``.
    """
    alike = Method.objects.filter(
        active=True,
        machine_group__iexact=method.machine_group,
        settings_version__iexact=method.settings_version,
    )
    for other in alike.exclude(pk=method.pk).prefetch_related("made_with_it"):
        makes = {each.part_id for each in other.made_with_it.all()}
        if not makes or not parts or makes & set(parts):
            raise Conflict(
                "method_there",
                machines=other.machine_group,
                version=other.settings_version,
                method=other.code,
            )
