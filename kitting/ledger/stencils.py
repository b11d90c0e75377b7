"""Rows written in advance, but for what is known only under the write lock.

Many rows of a burst are alike but for their ids and numbers. What goes into the table of
each, and what links and seals hash of it, is put together once, before the lock is taken;
under it the rest is filled in.
"""

from __future__ import annotations

from collections.abc import Sequence
from operator import itemgetter
from typing import Any

from django.db.models import CharField, Model, TextField

from kitting.ledger import bulk
from kitting.ledger.canon import quote, with_blanks


class Stencil:
    """A row but for its id and some other columns.

    Args:
        row: A new row; what it has in those columns does not matter.
        blanks: Attribute names of the columns that are filled in later, with whole
            numbers or texts; all of them are hashed.
        sealed: The columns that its seal says; None where a link hashes all of it.
    """

    def __init__(
        self, row: Model, *blanks: str, sealed: tuple[str, ...] | None = None
    ) -> None:
        self.model = model = type(row)
        fields = [field.attname for field in model._meta.local_concrete_fields]
        self._values = [*bulk.values_of(model)(row)]
        self._at = [fields.index(name) for name in blanks]
        self._texts = [
            nth
            for nth, name in enumerate(blanks)
            if isinstance(model._meta.get_field(name), CharField | TextField)
        ]
        in_order = sorted(blanks)
        self._in_order = itemgetter(*(blanks.index(name) for name in in_order))
        self._text = with_blanks(row, in_order, sealed)

    def values(self, said: Sequence[Any]) -> list[Any]:
        """What goes into the table.

        Args:
            said: What stands in the blanks, in their order.

        Returns:
            As ``bulk.insert_values`` takes it.
        """
        values = self._values.copy()
        for at, value in zip(self._at, said, strict=True):
            values[at] = value
        return values

    def text(self, said: Sequence[Any]) -> str:
        """What a link or a seal hashes.

        Args:
            said: As for ``values``.

        Returns:
            As ``canon.written`` writes it; of a row that is sealed as ``seals.copy`` does.
        """
        if self._texts:
            said = [*said]
            for nth in self._texts:
                said[nth] = quote(said[nth])
        text: str = self._text % self._in_order(said)
        return text
