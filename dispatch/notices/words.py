"""Sentences for those who are told of a case, and what came of a call.

Keep the codes in alphabetical order.
"""

from __future__ import annotations

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from dispatch.domain.notices import Outcome, Way
from kitting.web.messages import register

OUTCOMES: dict[str, str | Promise] = {
    Outcome.REACHED: _("reached"),
    Outcome.SILENT: _("nobody answered"),
    Outcome.WRONG: _("wrong number"),
}

WAYS: dict[str, str | Promise] = {
    Way.EMAIL: _("by e-mail"),
    Way.PAPER: _("on paper"),
}

SENTENCES: dict[str, str | Promise] = {
    "answer_day": _(
        "%(day)s is over, or more than %(most)s days away. Choose a day from today on by"
        " which they are to answer."
    ),
    "box_not_replaced": _(
        "Box %(box)s cannot be replaced for %(consignee)s: it is not there, was passed"
        " on, or came back unopened, and the request that it served is open again."
    ),
    "box_replaced": _(
        "Box %(box)s is replaced already, by request %(request)s. Cancel that one first,"
        " if it is wrong; if a box of it has left, take down what lacks as a request."
    ),
    "call_reached_nobody": _(
        "Nobody was reached, so nobody can have said who they are or what they did."
        " Choose “reached”, or leave these empty."
    ),
    "call_undone": _("The note of this call was undone already."),
    "case_not_there": _(
        "Case %(case)s reaches no box at %(consignee)s. Go back to the case and choose"
        " one that it names."
    ),
    "email_not_known": _(
        "No e-mail address of %(consignee)s is on record. Write it on its page, or send"
        " the letter on paper."
    ),
    "email_not_set_up": _(
        "This server sends no e-mail: nobody said through which server it may"
        " (LOTWARD_EMAIL_URL). Print the letters and send them on paper."
    ),
    "email_of_demo": _(
        "A demo writes to nobody by e-mail: its consignees are invented, and somebody may"
        " have their addresses."
    ),
    "letter_back": _("Somebody said already that this letter did not arrive."),
    "letter_not_gone": _(
        "That time the letter was not sent, so it cannot have come back. Send it."
    ),
    "letter_not_recalled": _(
        "Nothing that the letter to %(consignee)s names is recalled any more. Leave it out:"
        " nobody is to give up what is good."
    ),
    "letter_says_nothing": _(
        "Write what can happen to whom, and what is to be done with the product, in each"
        " language that those speak to whom you write."
    ),
    "letter_way_missing": _("Say how it went: by which post, or who took it along."),
    "letter_without_boxes": _(
        "%(consignee)s has no box of case %(case)s that is still in its scope, so there"
        " is nothing to write to it."
    ),
    "letters_to_nobody": _("Choose to whom you write: at least one."),
    "nobody_to_call": _(
        "A letter names whom to call by day and at night. Ask who sets up the workshop to"
        " write both on the page “Set-up”, then make the letters."
    ),
    "spoke_to_missing": _("Write who was reached: a name, or what they are there."),
}

register(SENTENCES)
