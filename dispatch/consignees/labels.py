"""In which words that is written which goes along to a consignee."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from django.utils.translation import gettext_lazy as _

from dispatch.labels import spoken
from dispatch.models import Consignee
from kitting.domain.errors import NotFit
from kitting.ledger import upheld
from kitting.ledger.upheld import Rows
from kitting.models import LabelWord
from kitting.printing import fitting
from kitting.printing.queries.label_words import SPEAKERS, Speaker, words_in

LISTS: Final = Speaker(Consignee, _("Consignees"), spoken.COMPLETE)
"""Packing lists and labels of pallets: each in the language of its consignee."""

SPEAKERS.append(LISTS)


def words_for(language: str) -> dict[str, str]:
    """Give every word of the papers and labels that are written for a consignee.

    Args:
        language: As the consignee has it.

    Returns:
        By what each is called.

    Raises:
        NotFit: ``label_word_missing``.
    """
    return words_in(language, demo=False, of=LISTS)


def _unspoken(touched: Rows) -> Iterator[NotFit]:
    """Find languages in which some packing list could not be written."""
    every = {} if LabelWord in touched else touched
    rows = fitting.those(Consignee.objects.order_by(), every)
    for language in rows.values_list("language", flat=True).distinct():
        try:
            words_for(language)
        except NotFit as error:
            yield error


upheld.register(_unspoken, Consignee, LabelWord)
