"""What tests of passwords that a manager gives have in common."""

from __future__ import annotations

import re
import uuid
from typing import Any

from django.test import Client
from django.urls import reverse

from tests.assertions import text_of

OWN = reverse("kitting:account-password")
NEW = "seven lamps and a half"


def shown_in(answer: Any) -> str:
    """The password that a page shows once."""
    assert answer.status_code == 200, text_of(answer)
    (shown,) = re.findall(r'class="shown-once">([^<]+)<', answer.content.decode())
    return str(shown)


def sign_in(browser: Client, name: str, password: str) -> Any:
    said = {"username": name, "password": password}
    return browser.post(reverse("sign-in"), said)


def chosen(before: str, new: str = NEW, same: str = "") -> dict[str, str]:
    """What is sent to choose a password."""
    said = {"password": before, "new_password": new, "same": same or new}
    return {"op_key": str(uuid.uuid4()), **said}
