"""Sentences for people and badges.

Keep the codes in alphabetical order.
"""

from __future__ import annotations

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from kitting.web.messages import register

SENTENCES: dict[str, str | Promise] = {
    "badge_for_closed_account": _(
        "The account of %(name)s is closed. Open it first, or do not tick this person."
    ),
    "badge_for_nobody": _("Nobody was chosen. Tick the people who get a badge."),
    "badge_made_already": _(
        "These badges were made already, and a badge is shown once. If the labels did"
        " not come out, load the page again, revoke these badges and issue new ones."
    ),
    "badge_malformed": _("This is no badge that can be read. Scan it again."),
    "badge_revoked_before": _(
        "This badge of %(name)s was revoked before, so nothing was changed."
    ),
    "badges_too_many": _(
        "More than %(most)s people were chosen. Issue their badges in smaller groups."
    ),
    "idle_too_long": _("Somebody is signed out after 0 to %(most)s minutes."),
    "last_manager": _(
        "%(name)s is the last manager, and somebody must be one. Make somebody else a"
        " manager first."
    ),
    "name_missing": _(
        "The workshop needs a name: it is printed on every label. Enter one."
    ),
    "name_of_lines": _(
        "The name of the workshop has to be one line: it is on labels and in the"
        " subject of e-mails. Write it without the end of a line."
    ),
    "password_as_before": _("This is the password that you have. Choose another one."),
    "password_for_closed_account": _(
        "The account of %(name)s is closed. Open it first: they sign in with the"
        " password that they had."
    ),
    "password_for_oneself": _(
        "Your own password you choose yourself, on the page behind your name."
    ),
    "password_weak": _("This password is too weak. %(why)s Choose another."),
    "passwords_differ": _("The two passwords are not the same. Enter both once more."),
    "person_exists": _(
        "There is a person “%(name)s” already. Choose another name; who forgot the"
        " password is given one on the page of that person."
    ),
    "person_name_wrong": _(
        "“%(read)s” is no name to sign in with. Use 1 to 150 letters and digits; the"
        " signs @ . + - _ may be in it."
    ),
    "person_unknown": _("There is no person “%(name)s”. Check the spelling."),
    "pin_blocked": _(
        "With this badge the PIN was wrong too often. Set a new PIN on your own page, or"
        " ask a manager to allow it again."
    ),
    "pin_easy": _(
        "This PIN is tried first: its digits are the same, follow each other or repeat."
        " Choose another."
    ),
    "pin_malformed": _("A PIN has %(least)s to %(most)s digits and nothing else."),
    "pin_wait": _(
        "That was too soon after a wrong PIN. Wait %(seconds)s seconds, then enter it"
        " again."
    ),
    "pin_wrong": _(
        "Badge and PIN do not belong together. Enter the PIN again, or scan the badge"
        " again. Who has no PIN yet sets one on their own page, with the password."
    ),
    "pins_differ": _("This is not the same PIN again. Enter both once more."),
    "role_unknown": _("“%(read)s” is no role. The roles are: %(roles)s."),
    "scrap_reasons_wrong": _(
        "The list of reasons for scrapping has 1 to %(most)s lines of at most"
        " %(longest)s characters each. Correct it."
    ),
    "shift_questions_wrong": _(
        "The list of questions has at most %(most)s lines of at most %(longest)s"
        " characters each, and each ends with a question mark. Correct it."
    ),
    "tablet_blocked": _(
        "At this tablet the PIN was wrong too often, with whatever badges. Ask a manager"
        " to tie the tablet anew, or sign in with your name and password."
    ),
    "time_zone_unknown": _(
        "%(read)s is no time zone. Enter one by its name, such as Europe/Lisbon."
    ),
}

register(SENTENCES)
