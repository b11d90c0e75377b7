"""Forms for printing: where labels come out, and what a reprint needs to be told."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from kitting.domain.prints import DESTROYED, Again, Onto
from kitting.labels.kinds import Kind
from kitting.models import Stock
from kitting.printing.queries.printers import printers_for
from kitting.printing.queries.stocks import stocks_for
from kitting.web.forms import KeyedForm, ScanField

LONGEST_REASON = 200
PRINTER, STOCK, PDF = "printer", "stock", "pdf"


class WhereField(forms.ChoiceField):
    """Where labels come out; what names no place asks for a PDF."""

    def clean(self, value: Any) -> Any:
        return super().clean(value or PDF)


class PrintForm(KeyedForm):
    """Printing labels of one kind.

    Args:
        *args: As for any form.
        kind: The kind of label: its size decides on which stock it can be printed.
        again: Whether one of the labels was printed before.
        many: Whether more than one was: no single scan shows all of those in hand.
        **kwargs: As for any form.
    """

    where = WhereField(
        label=_("Printer or PDF"),
        widget=forms.RadioSelect,
        help_text=_(
            "A printer prints it directly. A PDF opens here: print it at its actual"
            " size, without fitting it to the page."
        ),
    )
    start = forms.IntegerField(
        label=_("First position on the sheet"),
        min_value=1,
        max_value=500,
        initial=1,
        required=False,
        help_text=_("Counted along the rows; for a sheet that is partly used."),
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

    def __init__(
        self,
        *args: Any,
        kind: Kind[Any],
        again: bool,
        many: bool = False,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.again = again
        stocks = stocks_for(kind)
        choices = _places(kind, stocks)
        self.offer("where", choices)
        self.fields["where"].initial = choices[0][0]
        if not any(stock.sheet for stock in stocks):
            del self.fields["start"]
        if not again:
            for name in ("reason", "scanned", "destroyed"):
                del self.fields[name]
        elif many:
            del self.fields["scanned"]
            self.fields["destroyed"].label = _(
                "The labels that these replace are destroyed"
            )

    @property
    def entries(self) -> dict[str, Any]:
        """Where the labels come out, and what is said of the one before."""
        return {"onto": self._onto(), "again": self._told()}

    def _onto(self) -> Onto:
        """Where a valid form wants its labels."""
        what, _blank, code = self.cleaned_data["where"].partition(" ")
        start = self.cleaned_data.get("start") or 1
        return Onto(
            printer=code if what == PRINTER else "",
            stock=code if what == STOCK else "",
            start=start if what == STOCK else 1,
        )

    def _told(self) -> Again:
        """What a valid form says of the label before."""
        if not self.again:
            return Again()
        destroyed = DESTROYED if self.cleaned_data["destroyed"] else ""
        return Again(
            reason=self.cleaned_data["reason"],
            first=scanned(self.cleaned_data.get("scanned")) or destroyed,
        )


def _places(kind: Kind[Any], stocks: list[Stock]) -> list[tuple[str, Any]]:
    """Where labels of a kind can come out: printers first, then PDFs."""
    found: list[tuple[str, Any]] = [
        (
            f"{PRINTER} {printer.code}",
            _("Printer %(printer)s, with %(stock)s")
            % {"printer": printer.name, "stock": printer.stock.name},
        )
        for printer in printers_for(kind)
    ]
    found.append((PDF, _("A PDF, one label to a page of its size")))
    for stock in stocks:
        if stock.sheet:
            words = _("A PDF for sheets: %(stock)s, %(count)s labels to a page")
        else:
            words = _("A PDF for %(stock)s")
        values = {"stock": stock.name, "count": stock.columns * stock.rows}
        found.append((f"{STOCK} {stock.code}", words % values))
    return found


def scanned(text: str | None) -> str:
    """What was scanned; the word that stands for a declaration is no scan of ours."""
    text = (text or "").strip()
    return text.upper() if text == DESTROYED else text
