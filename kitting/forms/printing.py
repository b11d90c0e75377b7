"""Forms for printing: where labels come out, and what a reprint needs to be told."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext_lazy as _

from kitting.domain.prints import DESTROYED, Again, Onto
from kitting.forms.base import KeyedForm, ScanField
from kitting.queries.stocks import printers_for, stocks_for

if TYPE_CHECKING:
    from kitting.labels.kinds import Kind

LONGEST_REASON = 200
PRINTER, STOCK = "printer", "stock"


class PrintForm(KeyedForm):
    """Printing labels of one kind.

    Args:
        *args: As for any form.
        kind: The kind of label: its size decides on which stock it can be printed.
        again: Whether one of the labels was printed before.
        **kwargs: As for any form.
    """

    where = forms.ChoiceField(label=_("Where it comes out"))
    start = forms.IntegerField(
        label=_("First position on the sheet"),
        min_value=1,
        max_value=500,
        initial=1,
        required=False,
        help_text=_("Counted along the rows; for a sheet that was begun."),
    )
    reason = forms.CharField(
        label=_("Why it is printed again"),
        max_length=LONGEST_REASON,
        help_text=_("The record keeps it."),
    )
    scanned = ScanField(
        label=_("Scan the label that this one replaces"), required=False
    )
    destroyed = forms.BooleanField(
        label=_("The label that this one replaces is destroyed"), required=False
    )

    def __init__(self, *args: Any, kind: Kind[Any], again: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.again = again
        stocks = stocks_for(kind)
        choices: list[tuple[str, Any]] = [
            (f"{PRINTER} {printer.code}", _("Printer %s") % printer.name)
            for printer in printers_for(kind)
        ]
        choices.append(("", _("A PDF, one label a page")))
        choices += [
            (f"{STOCK} {stock.code}", _("A PDF for %s") % stock.name)
            for stock in stocks
        ]
        where = self.fields["where"]
        assert isinstance(where, forms.ChoiceField)  # noqa: S101
        where.choices = choices
        where.required = False
        where.initial = choices[0][0]
        if not any(stock.sheet for stock in stocks):
            del self.fields["start"]
        if not again:
            for name in ("reason", "scanned", "destroyed"):
                del self.fields[name]

    @property
    def onto(self) -> Onto:
        """Where a valid form wants its labels."""
        what, _blank, code = self.cleaned_data["where"].partition(" ")
        start = self.cleaned_data.get("start") or 1
        return Onto(
            printer=code if what == PRINTER else "",
            stock=code if what == STOCK else "",
            start=start if what else 1,
        )

    @property
    def told(self) -> Again:
        """What a valid form says of the label before."""
        if not self.again:
            return Again()
        destroyed = DESTROYED if self.cleaned_data["destroyed"] else ""
        return Again(
            reason=self.cleaned_data["reason"],
            first=self.cleaned_data["scanned"].strip() or destroyed,
        )
