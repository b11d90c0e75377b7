"""The workshop itself, its people and its counters."""

from __future__ import annotations

from datetime import datetime
from typing import ClassVar

from django.contrib.auth.hashers import check_password
from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models import F
from django.utils.crypto import salted_hmac

from kitting.models.base import Guarded, check, once

LONGEST_IDLE_MIN = 12 * 60
"""Minutes; a session lasts no longer, whatever is done."""
SCRAP_REASONS = "Dropped\nDamaged\nSoiled\nCutting waste"
"""The list of reasons with which a workshop begins; it makes its own of it."""


class Workshop(models.Model):
    """One row: who makes the goods, and where."""

    site = models.PositiveSmallIntegerField(default=1)
    name = models.CharField(max_length=80)
    address = models.TextField(blank=True)
    country = models.CharField(max_length=2, blank=True)
    """As in ISO 3166-1: an address inside it is printed without its country."""
    time_zone = models.CharField(max_length=40, default="UTC")
    gs1_prefix = models.CharField(max_length=12, blank=True)
    contact = models.CharField(max_length=60, blank=True)
    """Whom a ward asks: a telephone number or an address, printed on box and slip."""
    night_contact = models.CharField(max_length=60, blank=True, default="")
    """Whom a ward asks at night, in letters about a recall."""
    two_people = models.BooleanField(default=True)
    """Whether nobody lifts their own hold, or signs a protocol that they wrote."""
    idle_min = models.PositiveSmallIntegerField(default=60)
    """Minutes after which whoever does nothing is signed out; 0 for never."""
    scrap_reasons = models.TextField(default=SCRAP_REASONS, blank=True)
    """Why pieces are scrapped, a reason a line."""
    shift_questions = models.TextField(default="", blank=True)
    """What a tied tablet asks at the start of a shift besides, a question a line."""
    demo = models.BooleanField(default=False)
    ahead_s = models.BigIntegerField(default=0)
    """How far a demo's clock is ahead of the machine's; it may be behind it."""
    print_worker_at = models.DateTimeField(null=True)
    """When a print worker last looked for work."""
    backup_at = models.DateTimeField(null=True)
    """Of what moment the newest backup is that was proved."""
    clock_said_at = models.DateTimeField(null=True)
    """When a manager last said that the date is right, by the machine's own clock."""
    clock_boot = models.CharField(max_length=36, blank=True)
    clock_ticks_s = models.BigIntegerField(default=0)
    """Seconds that the machine was up then, and since which start."""
    proved_at = models.DateTimeField(null=True)
    """When the whole record was proved last and found to hold."""
    proved_seq = models.PositiveBigIntegerField(null=True)
    """Its newest link then, which stands in the file of heads."""
    checked_at = models.DateTimeField(null=True)
    """When the acts since the newest link on file were checked, and held."""
    fault_at = models.DateTimeField(null=True)
    """When a proof found a fault; empty as soon as a whole one finds none."""

    version = models.CharField(max_length=20, blank=True, default="")
    """Of the program that did the newest acts: the first act of another one changes it."""
    guessed_at = models.DateTimeField(null=True)
    """When passwords were wrong so often, last, that signing in was locked."""
    guessed_name = models.CharField(max_length=150, blank=True, default="")
    """The name for which they were tried."""

    newest_id: int | None = None
    newest_at: datetime | None = None
    newest_seq: int | None = None
    newest_hash: bytes | None = None
    """The newest end of its journal, where it was read along: ``locking.WITH_HEAD``."""
    tied_token: str | None = None
    badge_valid: bool = True
    """What an act at a bench asks besides, where it was read along: ``tied``."""

    unsealed: ClassVar = {
        "ahead_s": "only a demo's clock is ahead",
        "print_worker_at": "the print worker's beat",
        "backup_at": "what the backup says",
        "proved_at": "the file of heads",
        "proved_seq": "the file of heads",
        "checked_at": "the file of heads",
        "fault_at": "what a proof says",
        "guessed_at": "passwords that were tried",
        "guessed_name": "passwords that were tried",
    }

    class Meta:
        default_permissions = ()
        permissions = [
            ("see_work", "See the work of the day"),
            ("take_in", "Take in lots and bags"),
            ("check_lots", "Check lots"),
            (
                "accept_under_concession",
                "Accept under concession, or reject a lot against its plan",
            ),
            ("keep_methods", "Add and change methods: machines and settings"),
            ("release_methods", "Release methods from their trial"),
            ("set_checks", "Set how parts are checked, and for which defects"),
            ("count_bags", "Count bags again and take samples"),
            ("record_results", "Record what laboratories found in samples"),
            ("repack", "Repack pieces, and scrap them"),
            ("put_away", "Put bags, carriers and boxes away"),
            ("sign_protocols", "Sign protocols and keep their evidence"),
            ("keep_meters", "Keep meters and lamps"),
            ("run_line", "Run the disinfection line"),
            ("pack", "Pack boxes at a bench"),
            ("print_labels", "Print labels"),
            ("send_boxes", "Make up and send shipments"),
            ("recall", "Trace lots and boxes"),
            ("place_holds", "Place holds"),
            ("lift_holds", "Lift holds"),
            ("void_boxes", "Void boxes"),
            ("allow_masses", "Let a box close at a mass outside its window"),
            ("set_up", "Change the set-up"),
        ]
        constraints = [
            check("kitting_workshop_one_row", pk=1),
            check("kitting_workshop_site_1_to_9", site__gte=1, site__lte=9),
            check(
                "kitting_workshop_only_a_demo_is_ahead",
                models.Q(demo=True) | models.Q(ahead_s=0),
            ),
            check(
                "kitting_workshop_proved_whole",
                models.Q(proved_at__isnull=True, proved_seq__isnull=True)
                | models.Q(proved_at__isnull=False, proved_seq__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def scrap_list(self) -> list[str]:
        """The reasons for scrapping pieces, in the workshop's order."""
        return _lines(self.scrap_reasons)

    @property
    def shift_list(self) -> tuple[str, ...]:
        """What is asked at the start of a shift besides, in the workshop's order."""
        return tuple(_lines(self.shift_questions))


def _lines(text: str) -> list[str]:
    return [line.strip() for line in text.splitlines() if line.strip()]


class User(AbstractUser):
    """A person who signs what they do."""

    unsealed: ClassVar = {"last_login": "signing in is no act"}

    sign_outs = models.PositiveIntegerField(default=0)
    """How often they were signed out everywhere; a session lasts to the next time."""
    pin = models.CharField(max_length=128, blank=True, default="")
    """Hashed like the password; it signs on with a badge, at a tablet that is tied."""
    password_until = models.DateTimeField(null=True, blank=True)
    """Until when the password is good that a manager gave; empty for one of their own."""

    class Meta(AbstractUser.Meta):
        default_permissions = ()

    def _get_session_auth_hash(self, secret: str | None = None) -> str:
        """What a session must have kept to be good; another one after each time."""
        known = f"{self.password} {self.sign_outs}"
        salt = "kitting.models.User.session"
        return salted_hmac(salt, known, secret=secret, algorithm="sha256").hexdigest()

    def check_password(self, raw_password: str) -> bool:  # type: ignore[override]
        """Tell whether it is the password; the hash changes by an act alone."""
        return check_password(raw_password, self.password)

    def __str__(self) -> str:
        return self.get_full_name() or self.username


class Badge(models.Model):
    """A card that is scanned in place of a name; only the hash of its token is kept."""

    user = models.ForeignKey(User, on_delete=models.PROTECT, related_name="badges")
    token_sha256 = models.BinaryField(max_length=32, unique=True)
    issue = models.ForeignKey(
        "kitting.Operation", on_delete=models.PROTECT, null=True, related_name="+"
    )
    """The act that made it."""
    revocation = models.ForeignKey(
        "kitting.Operation", on_delete=models.PROTECT, null=True, related_name="+"
    )
    revoked_at = models.DateTimeField(null=True, blank=True)
    pin_tries = models.PositiveSmallIntegerField(default=0)
    """PINs that were entered with it since the last right one."""
    tried_at = models.DateTimeField(null=True)

    unsealed: ClassVar = dict.fromkeys(
        ("pin_tries", "tried_at"), "trying a PIN is no act"
    )

    class Meta:
        default_permissions = ()
        constraints = [
            check(
                "kitting_badge_revoked_by_an_act",
                models.Q(revocation__isnull=True, revoked_at__isnull=True)
                | models.Q(revocation__isnull=False, revoked_at__isnull=False),
            )
        ]

    def __str__(self) -> str:
        return f"badge {self.pk} of {self.user_id}"


class Counter(models.Model):
    """The next number of one kind at one site; taken under a lock."""

    site = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=20)
    next = models.PositiveBigIntegerField(default=1)

    class Meta:
        default_permissions = ()
        constraints = [once("kitting_counter_once", "site", "name")]

    def __str__(self) -> str:
        return f"{self.site} {self.name}: {self.next}"


class SkippedNumbers(Guarded):
    """Numbers passed over when a backup was restored: labels may bear them already."""

    site = models.PositiveSmallIntegerField()
    counter = models.CharField(max_length=20)
    first = models.PositiveBigIntegerField()
    stop = models.PositiveBigIntegerField()
    """The first number after them."""

    class Meta:
        default_permissions = ()
        constraints = [
            check("kitting_skippednumbers_some", stop__gt=F("first")),
            once("kitting_skippednumbers_once", "operation", "site", "counter"),
        ]

    def __str__(self) -> str:
        return f"{self.site} {self.counter}: {self.first} to {self.stop - 1}"
