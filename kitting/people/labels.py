"""The badge of a person: it is issued and printed once, never composed again."""

from __future__ import annotations

from collections.abc import Iterator

from django.utils.translation import gettext_lazy as _

from kitting.domain.badges import RANDOM_BYTES, make_token
from kitting.labels.cards import BadgeLabel
from kitting.labels.kinds import BADGE
from kitting.ledger.setup import NOT_PEOPLE
from kitting.ledger.upheld import Rows
from kitting.models import User
from kitting.people.queries import role_of
from kitting.printing import fitting
from kitting.printing.queries.labels import mark_of


def _longest(touched: Rows) -> Iterator[tuple[str, BadgeLabel]]:
    mark, token = mark_of(), make_token(bytes(RANDOM_BYTES))
    people = User.objects.filter(is_active=True).exclude(username__in=NOT_PEOPLE)
    for person in fitting.those(people, touched):
        yield str(person), BadgeLabel(str(person), role_of(person), token, mark)


fitting.register(
    fitting.Longest("badge", BADGE, _("badge"), _longest, (User,), "kitting:badges")
)
