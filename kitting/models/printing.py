"""Label stock, printers, print jobs, and the log of what was printed."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import Q

from kitting.domain.stages import PrintState
from kitting.models.base import Guarded, check, once, one_of, word_field


class Stock(models.Model):
    """One kind of label paper, on a roll or n up on a sheet, and the printer's dots."""

    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=60)
    width_um = models.PositiveIntegerField()
    height_um = models.PositiveIntegerField()
    margin_um = models.PositiveIntegerField(default=0)
    gap_um = models.PositiveIntegerField(default=0)
    head_dots = models.PositiveIntegerField(default=8)
    head_um = models.PositiveIntegerField(default=1000)
    page_width_um = models.PositiveIntegerField(null=True)
    page_height_um = models.PositiveIntegerField(null=True)
    left_um = models.PositiveIntegerField(default=0)
    top_um = models.PositiveIntegerField(default=0)
    columns = models.PositiveSmallIntegerField(default=1)
    rows = models.PositiveSmallIntegerField(default=1)
    gap_across_um = models.PositiveIntegerField(default=0)
    gap_down_um = models.PositiveIntegerField(default=0)
    active = models.BooleanField(default=True)

    class Meta:
        default_permissions = ()
        ordering = ["code"]
        constraints = [
            check(
                "kitting_stock_roll_or_sheet",
                Q(page_width_um__isnull=True, page_height_um__isnull=True)
                | Q(page_width_um__isnull=False, page_height_um__isnull=False),
            ),
            check(
                "kitting_stock_has_a_size",
                width_um__gte=1,
                height_um__gte=1,
                head_dots__gte=1,
                head_um__gte=1,
                columns__gte=1,
                rows__gte=1,
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def sheet(self) -> bool:
        """Whether its labels stand n up on a page."""
        return self.page_width_um is not None


class Printer(models.Model):
    """A label printer that is reached by IPP, and the stock that is in it."""

    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=60)
    address = models.CharField(max_length=255)
    stock = models.ForeignKey(Stock, on_delete=models.PROTECT, related_name="printers")
    head_dots = models.PositiveIntegerField(default=8)
    head_um = models.PositiveIntegerField(default=1000)
    bench = models.ForeignKey(
        "kitting.Bench", on_delete=models.PROTECT, null=True, related_name="printers"
    )
    active = models.BooleanField(default=True)
    asleep_until = models.DateTimeField(null=True)
    """Not asked again before; set when it could not be reached."""

    unsealed: ClassVar = {
        "asleep_until": "when the print worker tries again",
    }

    class Meta:
        default_permissions = ()
        ordering = ["code"]
        constraints = [
            check("kitting_printer_has_dots", head_dots__gte=1, head_um__gte=1),
        ]

    def __str__(self) -> str:
        return self.name


class PrintJob(models.Model):
    """A document on its way to a printer; its labels stand in the log already."""

    printer = models.ForeignKey(Printer, on_delete=models.PROTECT, related_name="jobs")
    name = models.CharField(max_length=60, unique=True)
    """By which the printer's own list shows whether it ever arrived."""
    kind = models.CharField(max_length=12)
    title = models.CharField(max_length=80)
    labels = models.PositiveIntegerField()
    width_um = models.PositiveIntegerField()
    height_um = models.PositiveIntegerField()
    document = models.BinaryField(null=True)
    pdf_sha = models.BinaryField(max_length=32)
    state = word_field(PrintState, default=PrintState.QUEUED)
    asked_at = models.DateTimeField()
    asked_by = models.CharField(max_length=150)
    sent_at = models.DateTimeField(null=True)
    sent_to = models.CharField(max_length=255, null=True)
    """The printer's address when the job was sent: at another one nobody knows it."""
    ended_at = models.DateTimeField(null=True)
    up_time = models.PositiveBigIntegerField(null=True)
    """The printer's own clock when the job was sent: it falls when it starts anew."""
    ipp_job = models.PositiveBigIntegerField(null=True)
    naps = models.PositiveSmallIntegerField(default=0)
    """How often in a row its printer could not be asked."""
    next_try = models.DateTimeField(null=True)
    worked_until = models.DateTimeField(null=True)
    """Until when a worker has it in hand."""
    trouble = models.CharField(max_length=40, blank=True)
    told = models.JSONField(default=dict)
    """Figures for the sentence of the trouble."""
    unsure = models.BooleanField(default=False)
    """Whether some of its labels may have come out although it failed."""
    stop_asked = models.BooleanField(default=False)

    unsealed: ClassVar = {
        "state": "what the print worker did",
        "sent_at": "what the print worker did",
        "sent_to": "what the print worker did",
        "ended_at": "what the print worker did",
        "up_time": "what the print worker did",
        "ipp_job": "what the print worker did",
        "naps": "what the print worker did",
        "next_try": "what the print worker did",
        "worked_until": "what the print worker did",
        "trouble": "what the print worker did",
        "told": "what the print worker did",
        "unsure": "what the print worker did",
        "document": "its hash",
    }

    class Meta:
        default_permissions = ()
        ordering = ["-id"]
        indexes = [
            models.Index(fields=["state", "id"], name="kitting_printjob_state"),
        ]
        constraints = [
            one_of("kitting_printjob_state_known", "state", PrintState),
            check(
                "kitting_printjob_has_a_document",
                Q(document__isnull=False)
                | Q(state__in=[PrintState.DONE, PrintState.CANCELLED]),
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Print(Guarded):
    """One print of a label, with the hashes of what was printed."""

    box = models.ForeignKey(
        "kitting.Box",
        on_delete=models.PROTECT,
        null=True,
        related_name="prints",
        db_index=False,
    )
    """Whose box label it is; other labels that name a box have none."""
    bag = models.ForeignKey(
        "kitting.Bag",
        on_delete=models.PROTECT,
        null=True,
        related_name="prints",
        db_index=False,
    )
    kind = models.CharField(max_length=12)
    """Name of the labels, as ``printing.queries.labels`` has them."""
    number = models.CharField(max_length=40)
    """What the label names; with the kind it says which label it is."""
    copy = models.PositiveSmallIntegerField()
    nth = models.PositiveIntegerField()
    """Place among the labels of its document, from 1."""
    data_sha = models.BinaryField(max_length=32)
    pdf_sha = models.BinaryField(max_length=32)
    renderer = models.CharField(max_length=40)
    paper = models.CharField(max_length=120)
    """What it was laid out for: stock, dots and position, as ``queries.stocks``."""
    printer = models.ForeignKey(
        Printer, on_delete=models.PROTECT, null=True, related_name="prints"
    )
    job = models.ForeignKey(
        PrintJob, on_delete=models.PROTECT, null=True, related_name="prints"
    )
    reason = models.CharField(max_length=200, blank=True)
    first = models.CharField(max_length=12, null=True)
    """What became of the label before a reprint: scanned or destroyed."""

    class Meta:
        default_permissions = ()
        indexes = [
            models.Index(fields=["pdf_sha"], name="kitting_print_document"),
        ]
        constraints = [
            once("kitting_print_box_copy", "box", "copy"),
            once("kitting_print_bag_copy", "bag", "copy"),
            once("kitting_print_label_copy", "kind", "number", "copy"),
            check(
                "kitting_print_one_subject", Q(box__isnull=True) | Q(bag__isnull=True)
            ),
            check("kitting_print_reprint_has_a_reason", Q(copy=1) | ~Q(reason="")),
        ]

    def __str__(self) -> str:
        return f"copy {self.copy} for {self.kind} {self.number}"
