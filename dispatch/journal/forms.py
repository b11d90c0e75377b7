"""What the journal is narrowed to, and which part of it goes into a file."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from dispatch.journal.acts import ACTS
from dispatch.journal.queries.acts import Filters, links_between
from dispatch.journal.queries.things import things_named
from dispatch.log.forms import PeriodForm
from kitting.domain.errors import LotwardError
from kitting.ledger import export
from kitting.models import User
from kitting.web.forms import NamedField
from kitting.web.messages import sentence


class JournalForm(PeriodForm):
    """From, to, person, act and thing; each may stay empty."""

    things = {
        "by": _("the person"),
        "act": _("the act"),
        "about": _("the number"),
    }

    by = forms.ModelChoiceField(
        User.objects.order_by("first_name", "username"),
        label=_("by"),
        required=False,
        to_field_name="username",
        empty_label=_("anybody"),
    )
    act = forms.ChoiceField(label=_("of the kind"), required=False)
    about = NamedField(things_named, label=_("with number"))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        acts = sorted(((name, str(said)) for name, said in ACTS.items()), key=_by_words)
        self.offer("act", [("", _("anything")), *acts])
        self.order_fields(["act", "by", "about", "from", "to"])

    def filters(self) -> Filters:
        """What a valid form asks for."""
        data = self.cleaned_data
        return Filters(
            since=self.since,
            until=self.until,
            name=data["act"],
            by_id=data["by"].pk if data["by"] else None,
            things=data["about"],
        )


def _by_words(choice: tuple[str, str]) -> str:
    return choice[1]


class ExportForm(PeriodForm):
    """Days, or numbers of links; all of the journal where nothing is said."""

    things = {
        "first": _("the number of the first act"),
        "last": _("the number of the last act"),
    }

    first = forms.IntegerField(
        label=_("First act"), required=False, min_value=1, max_value=10**15
    )
    last = forms.IntegerField(
        label=_("Last act"), required=False, min_value=1, max_value=10**15
    )

    chosen: export.Span

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["from"].label = _("First day")
        self.fields["to"].label = _("Last day")

    def clean(self) -> dict[str, Any]:
        """Find the links."""
        data = super().clean()
        if self.errors:
            return data
        days = data["from"] or data["to"]
        if days and (data["first"] or data["last"]):
            words = _("Choose days or numbers of acts, not both.")
            raise ValidationError(words, code="days_and_links")
        ends = (data["first"] or 1, data["last"])
        if days:
            found = links_between(self.since, self.until)
            if found is None:
                words = _("Nothing was done on these days. Choose others.")
                raise ValidationError(words, code="nothing_done")
            ends = found
        try:
            self.chosen = export.span(*ends)
        except LotwardError as error:
            raise ValidationError(sentence(error), code=error.code) from error
        return data
