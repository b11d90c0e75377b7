"""What consignees say of the boxes that a recall case reaches."""

from __future__ import annotations

from datetime import datetime

from django.db import models
from django.db.models import Q

from dispatch.domain.replies import LONGEST, MOST_DAYS, Answer, By
from dispatch.models.cases import Case
from dispatch.models.consignees import Consignee
from kitting.models.base import Guarded, check, once, one_of, word_field


class Reply(Guarded):
    """That a consignee said something of boxes of a case; a later one supersedes it."""

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="replies")
    consignee = models.ForeignKey(
        Consignee, on_delete=models.PROTECT, related_name="+", db_index=False
    )
    """Who has the boxes."""
    way = word_field(By)
    told_by = models.CharField(max_length=LONGEST["told_by"])
    """Who said so, as written."""
    nth = models.PositiveSmallIntegerField(null=True)
    """By which of its links, where it came by one."""
    note = models.CharField(max_length=LONGEST["note"], blank=True)
    said_at = models.DateTimeField(null=True)
    """When it was said, to the minute; empty where it was noted at once."""

    class Meta:
        default_permissions = ()
        constraints = [
            one_of("dispatch_reply_way_known", "way", By),
            check(
                "dispatch_reply_by_a_link",
                Q(way=By.LINK, nth__isnull=False) | ~Q(way=By.LINK) & Q(nth=None),
            ),
        ]

    @property
    def when(self) -> datetime:
        """When it was said."""
        return self.said_at or self.operation.at

    def __str__(self) -> str:
        return f"consignee {self.consignee_id} in case {self.case_id}"


class ReplyBox(Guarded):
    """What became of some sets of one box; of all that were out, a reply has lines."""

    reply = models.ForeignKey(
        Reply, on_delete=models.PROTECT, related_name="lines", db_index=False
    )
    box = models.ForeignKey(
        "kitting.Box", on_delete=models.PROTECT, related_name="replies"
    )
    answer = word_field(Answer)
    sets = models.PositiveIntegerField()
    whom = models.CharField(max_length=LONGEST["whom"], blank=True)
    """Who has them now, in words."""
    consignee = models.ForeignKey(
        Consignee,
        on_delete=models.PROTECT,
        null=True,
        related_name="+",
        db_index=False,
    )
    """That one, where it is on record."""

    class Meta:
        default_permissions = ()
        constraints = [
            once("dispatch_replybox_once", "reply", "box", "answer"),
            one_of("dispatch_replybox_answer_known", "answer", Answer),
            check("dispatch_replybox_sets", sets__gte=1),
            check(
                "dispatch_replybox_passed_to_somebody",
                (Q(answer=Answer.PASSED) & ~Q(whom=""))
                | (~Q(answer=Answer.PASSED) & Q(whom="", consignee=None)),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.sets} sets of box {self.box_id} {self.answer}"


class ReplyLink(Guarded):
    """That a consignee's link to a case was ended: only the one after it is good."""

    case = models.ForeignKey(
        Case, on_delete=models.PROTECT, related_name="ended_links", db_index=False
    )
    consignee = models.ForeignKey(
        Consignee, on_delete=models.PROTECT, related_name="+", db_index=False
    )
    nth = models.PositiveSmallIntegerField()
    """Which of its links it was, from 1."""

    class Meta:
        default_permissions = ()
        constraints = [once("dispatch_replylink_nth", "case", "consignee", "nth")]

    def __str__(self) -> str:
        return f"link {self.nth} of consignee {self.consignee_id} in {self.case_id}"


class ReplyTerm(Guarded):
    """By when a case wants answers: so many days after this; the newest counts."""

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="terms")
    days = models.PositiveSmallIntegerField()

    class Meta:
        default_permissions = ()
        constraints = [check("dispatch_replyterm_days", days__lte=MOST_DAYS)]

    def __str__(self) -> str:
        return f"{self.days} days in case {self.case_id}"
