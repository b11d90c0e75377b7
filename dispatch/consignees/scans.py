"""What is found besides numbers: consignees, by their names."""

from __future__ import annotations

from django.urls import reverse
from django.utils.http import urlencode

from dispatch.consignees.queries import called
from kitting.web.scans import NAMED


def page_of(text: str) -> str:
    """Give the page of a consignee, or of several, from words of a name or a code.

    Args:
        text: As it was typed.

    Returns:
        The address; empty where nobody is called so.
    """
    found = {each.stays.code for each in called(text).select_related("merged_into")}
    if len(found) == 1:
        return reverse("dispatch:consignee-detail", args=[found.pop()])
    asked = urlencode({"q": text.strip()})
    return f"{reverse('dispatch:consignees')}?{asked}" if found else ""


NAMED.append(page_of)
