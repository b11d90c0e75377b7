"""The form of printers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from kitting.domain.stocks import PrinterFacts
from kitting.ledger.coded import CODE_LONGEST, NAME_LONGEST
from kitting.models import Bench, Printer, Stock
from kitting.printing.forms.stocks import KeptForm, capitals


class PrinterForm(KeptForm):
    """A printer, new or changed.

    Args:
        *args: As for any form.
        stocks: Those that may be in it.
        benches: Those that it may stand at.
        printer: The one that is changed; None for a new one.
        seen: Its mark when the page was made.
        **kwargs: As for any form.
    """

    things = {
        "stock": _("the stock that is in it"),
        "bench": _("its bench"),
    }

    code = forms.CharField(
        label=_("Code"),
        max_length=CODE_LONGEST,
        help_text=_("Capitals, digits and hyphens, such as BENCH-1."),
    )
    name = forms.CharField(label=_("Name"), max_length=NAME_LONGEST)
    address = forms.CharField(
        label=_("Address"),
        max_length=1023,
        help_text=_(
            "Such as ipp://192.0.2.7/ipp/print, or ipps:// where it encrypts. The"
            " server connects to it, so it has to be a fixed address in the workshop’s"
            " own network."
        ),
    )
    stock = forms.ChoiceField(label=_("Stock that is in it"))
    bench = forms.ChoiceField(
        label=_("Its bench"),
        required=False,
        help_text=_("Labels of boxes closed there come out here."),
    )
    active = forms.BooleanField(label=_("In use"), required=False, initial=True)

    def __init__(
        self,
        *args: Any,
        stocks: Sequence[Stock],
        benches: Sequence[Bench],
        printer: Printer | None = None,
        seen: str = "",
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.offer_heads((printer.head_dots, printer.head_um) if printer else (8, 1000))
        self.offer("stock", [(one.code, f"{one.name} ({one.code})") for one in stocks])
        none = ("", _("none: it is nobody’s own"))
        own = printer.bench if printer else None
        near = [*benches, *([own] if own is not None and own not in benches else [])]
        self.offer("bench", [none, *((one.code, one.name) for one in near)])
        self.order_fields(["code", "name", "address", "stock", "dots"])
        if printer is None:
            del self.fields["active"]
            return
        self.initial = {
            "code": printer.code,
            "name": printer.name,
            "address": printer.address,
            "stock": printer.stock.code,
            "bench": printer.bench.code if printer.bench else "",
            "active": printer.active,
            "seen": seen,
        }

    @property
    def facts(self) -> PrinterFacts:
        """The printer of a valid form."""
        given = self.cleaned_data
        dots, um = self.head
        return PrinterFacts(
            code=capitals(given["code"]),
            name=given["name"],
            address=given["address"],
            stock=given["stock"],
            head_dots=dots,
            head_um=um,
            bench=given["bench"],
            active=given.get("active", True),
        )
