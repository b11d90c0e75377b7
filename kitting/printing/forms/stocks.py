"""The forms of label stock, lengths in mm, and of dots, by choice."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, Any, Final

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from kitting.domain.figures import scaled, written
from kitting.domain.stocks import PrinterFacts, StockFacts
from kitting.ledger.coded import CODE_LONGEST, NAME_LONGEST
from kitting.models import Stock
from kitting.web.fields import FigureField
from kitting.web.forms import KeyedForm
from kitting.web.wording import UNSAID

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise

ROLL, OTHER = "roll", "other"
UM_IN_AN_INCH: Final = 25_400
PAGES: Final[dict[str, tuple[int, int]]] = {
    "a4": (210_000, 297_000),
    "letter": (215_900, 279_400),
}
"""Width and height in µm: ISO 216; 8.5 × 11 inches (ANSI/ASME Y14.1)."""

PAGE_WORDS: Final[list[tuple[str, Any]]] = [
    (ROLL, _("on a roll, one after the other")),
    ("a4", _("on sheets of A4, 210 × 297 mm")),
    ("letter", _("on sheets of US Letter, 215.9 × 279.4 mm")),
    (OTHER, _("on sheets of another size")),
]
HEADS: Final[dict[tuple[int, int], _StrPromise]] = {
    (8, 1000): _("8 to the mm (sold as 203 dpi)"),
    (12, 1000): _("12 to the mm (often sold as 300 dpi; it has 304.8)"),
    (300, UM_IN_AN_INCH): _("300 to the inch"),
    (600, UM_IN_AN_INCH): _("600 to the inch"),
}
ON_SHEETS: Final = ("left_um", "top_um", "gap_across_um", "gap_down_um")


class LengthField(FigureField):
    """A length in mm with up to three decimals, given in whole µm."""

    def __init__(self, **options: Any) -> None:
        super().__init__(unit="mm", by=1000, **options)

    def clean(self, value: Any) -> int | None:
        """Read the length; what is finer than a µm is refused and not rounded."""
        length = super().clean(value)
        if length is not None and scaled(str(value), 1000, up=True) != length:
            raise ValidationError(UNSAID, "length_too_fine")
        return length


class KeptForm(KeyedForm):
    """A stock or printer, and its dots: one of the usual ones, or so many to the inch."""

    things = {
        "seen": _("what was on record"),
        "dots_per_inch": _("the dots to the inch"),
    }

    seen = forms.CharField(widget=forms.HiddenInput, required=False, max_length=64)
    dots = forms.ChoiceField(label=_("Dots of the printer"))
    dots_per_inch = FigureField(
        label=_("Dots to the inch, if another number"),
        unit="dpi",
        by=10,
        required=False,
        help_text=_("As the printer’s data sheet has them, to a tenth: 406.4."),
    )

    def offer_heads(self, head: tuple[int, int]) -> None:
        """Offer the usual heads, and the one on record where it is another."""
        choices: list[tuple[str, Any]] = [
            (f"{dots}/{um}", words) for (dots, um), words in HEADS.items()
        ]
        if not self._usual(head):
            per_mm = round(head[0] * 1000 / head[1], 3)
            words = gettext("%(dots)s to the mm, as now") % {"dots": per_mm}
            choices.append((f"{head[0]}/{head[1]}", words))
        choices.append((OTHER, _("another number")))
        self.offer("dots", choices)
        usual = self._usual(head) or head
        self.fields["dots"].initial = f"{usual[0]}/{usual[1]}"

    @staticmethod
    def _usual(head: tuple[int, int]) -> tuple[int, int] | None:
        same = (one for one in HEADS if Fraction(*one) == Fraction(*head))
        return next(same, None)

    def clean(self) -> dict[str, Any]:
        """Ask for the number where another one was chosen."""
        given = super().clean() or self.cleaned_data
        wanted = given.get("dots") == OTHER and not given.get("dots_per_inch")
        if wanted and "dots_per_inch" not in self.errors:
            self.ask_for("dots_per_inch", "figure_missing")
        return given

    @property
    def facts(self) -> StockFacts | PrinterFacts:
        """What a valid form says."""
        raise NotImplementedError

    @property
    def entries(self) -> dict[str, Any]:
        """The facts, and which ones the page showed."""
        return {"facts": self.facts, "seen": self.cleaned_data["seen"]}

    @property
    def head(self) -> tuple[int, int]:
        """Dots, and on how many µm they stand, of a valid form."""
        chosen = self.cleaned_data["dots"]
        if chosen != OTHER:
            dots, _slash, um = chosen.partition("/")
            return int(dots), int(um)
        exact = Fraction(self.cleaned_data["dots_per_inch"], 10 * UM_IN_AN_INCH)
        return exact.numerator, exact.denominator


def capitals(code: str) -> str:
    """A code in capitals; letters that become others by it are left to be refused."""
    return code.upper() if code.isascii() else code


class StockForm(KeptForm):
    """A stock, new or changed.

    Args:
        *args: As for any form.
        stock: The one that is changed; None for a new one.
        seen: Its mark when the page was made.
        **kwargs: As for any form.
    """

    things = {
        "page": _("how the labels come"),
        "left_um": _("the distance from the left edge to the first label"),
        "top_um": _("the distance from the top edge to the first label"),
        "columns": _("how many labels are side by side"),
        "rows": _("how many labels are one below the other"),
    }

    code = forms.CharField(
        label=_("Code"),
        max_length=CODE_LONGEST,
        help_text=_("Capitals, digits and hyphens, such as A4-70X40."),
    )
    name = forms.CharField(label=_("Name"), max_length=NAME_LONGEST)
    width_um = LengthField(label=_("Width of a label"))
    height_um = LengthField(
        label=_("Height of a label"), help_text=_("Along the feed of the printer.")
    )
    margin_um = LengthField(
        label=_("Edge that the printer does not reach"),
        required=False,
        help_text=_("On each side of a label or a sheet; a test page shows it."),
    )
    page = forms.ChoiceField(label=_("The labels are"), choices=PAGE_WORDS)
    gap_um = LengthField(label=_("Gap to the next label"), required=False)
    page_width_um = LengthField(label=_("Width of the sheet"), required=False)
    page_height_um = LengthField(label=_("Height of the sheet"), required=False)
    columns = forms.IntegerField(
        label=_("Labels side by side"),
        min_value=1,
        max_value=500,
        initial=1,
        required=False,
    )
    rows = forms.IntegerField(
        label=_("Labels one below the other"),
        min_value=1,
        max_value=500,
        initial=1,
        required=False,
    )
    left_um = LengthField(
        label=_("From the left edge of the sheet to the first label"), required=False
    )
    top_um = LengthField(
        label=_("From the top edge to the first label"), required=False
    )
    gap_across_um = LengthField(label=_("Gap between columns"), required=False)
    gap_down_um = LengthField(label=_("Gap between rows"), required=False)
    active = forms.BooleanField(label=_("In use"), required=False, initial=True)

    def __init__(
        self, *args: Any, stock: Stock | None = None, seen: str = "", **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.offer_heads((stock.head_dots, stock.head_um) if stock else (8, 1000))
        self.fields["dots"].help_text = _(
            "Of the one that its PDFs are printed on. A printer that is set up here has"
            " its own."
        )
        if stock is None:
            del self.fields["active"]
        else:
            self.initial = {**_initial(stock), "seen": seen}

    def clean(self) -> dict[str, Any]:
        """Ask for what the kind of page needs."""
        given = super().clean()
        if given.get("page") == OTHER:
            for name in ("page_width_um", "page_height_um"):
                if given.get(name) is None and name not in self.errors:
                    self.ask_for(name, "figure_missing")
        return given

    @property
    def facts(self) -> StockFacts:
        """The stock of a valid form; what belongs to another kind of page is left out."""
        given = self.cleaned_data
        page, (dots, um) = given["page"], self.head
        own = (given["page_width_um"], given["page_height_um"])
        size = (None, None) if page == ROLL else PAGES.get(page, own)
        sheet = {name: given[name] or 0 for name in ON_SHEETS} if page != ROLL else {}
        return StockFacts(
            code=capitals(given["code"]),
            name=given["name"],
            width_um=given["width_um"],
            height_um=given["height_um"],
            margin_um=given["margin_um"] or 0,
            gap_um=(given["gap_um"] or 0) if page == ROLL else 0,
            head_dots=dots,
            head_um=um,
            page_width_um=size[0],
            page_height_um=size[1],
            columns=1 if page == ROLL else given["columns"] or 1,
            rows=1 if page == ROLL else given["rows"] or 1,
            active=given.get("active", True),
            **sheet,
        )


def _initial(stock: Stock) -> dict[str, Any]:
    """A stock as its form has it, in millimetres."""
    lengths = ("width_um", "height_um", "margin_um", "gap_um", *ON_SHEETS)
    initial: dict[str, Any] = {
        name: written(getattr(stock, name), 1000) for name in lengths
    }
    size = (stock.page_width_um, stock.page_height_um)
    known = [name for name, page in PAGES.items() if page == size]
    initial["page"] = known[0] if known else (OTHER if stock.sheet else ROLL)
    if initial["page"] == OTHER:
        for name in ("page_width_um", "page_height_um"):
            initial[name] = written(getattr(stock, name), 1000)
    for name in ("code", "name", "columns", "rows", "active"):
        initial[name] = getattr(stock, name)
    return initial
