"""Sentences for what consignees say of the boxes of a case, and the words of answers.

Keep the codes in alphabetical order.
"""

from __future__ import annotations

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from dispatch.domain.replies import Answer, By
from kitting.web.messages import register

ANSWERS: dict[str, str | Promise] = {
    Answer.FOUND: _("still there, unused"),
    Answer.QUARANTINE: _("in quarantine there"),
    Answer.RETURNED: _("on the way back"),
    Answer.USED: _("used"),
    Answer.DESTROYED: _("destroyed"),
    Answer.PASSED: _("passed on"),
    Answer.UNKNOWN: _("nobody knows"),
    "": _("no answer"),
}

WAYS: dict[str, str | Promise] = {
    By.CALL: _("telephone"),
    By.LETTER: _("letter, e-mail or reply form"),
    By.VISIT: _("visit"),
    By.LINK: _("page of the consignee"),
}

SENTENCES: dict[str, str | Promise] = {
    "answer_older": _(
        "%(told_by)s answered after that moment, and a later answer counts instead of an"
        " earlier one. Look at the day and the time; what was said before belongs in the"
        " note of a call."
    ),
    "answered_since": _(
        "Somebody answered for box %(box)s while this page was open: %(told_by)s, written"
        " down by %(by)s. Look at it, and send this again only where it is newer."
    ),
    "answers_missing": _("Answer for at least one box."),
    "box_not_theirs": _(
        "Box %(box)s is not one that %(name)s has of case %(case)s now. Load this page"
        " again."
    ),
    "reply_days": _("Answers are due after 0 to %(most)s days. Write how many."),
    "reply_link_ended": _(
        "Somebody ended this link of %(name)s already; another one is good. Load this page"
        " again."
    ),
    "reply_way": _("Say how the answer came: by telephone, on paper or at a visit."),
    "said_before_box": _(
        "Box %(box)s came onto the list of the case after that moment. Look at the day and"
        " the time, or ask again about this box."
    ),
    "sets_not_all": _(
        "%(out)s sets of box %(box)s are out, and %(sets)s are answered for. Answer for"
        " each set; where nobody knows, say that."
    ),
    "whom_missing": _("Say to whom the boxes were passed on."),
}

register(SENTENCES)
