"""Secrets that an act gives out: a tablet's code, a scale's token, a password for once.

Each is made out of the act's operation key and the server's own secret, so that an answer
which was lost on its way can be had again under the same key, and by nobody else. Of
none more is kept than a hash.
"""

from __future__ import annotations

import hashlib

from django.utils.crypto import salted_hmac


def secret_of(what: str, *known: object) -> str:
    """Make a secret out of what is known; nobody else makes it without the server's own.

    Args:
        what: What it is for; the same of something else is another secret.
        *known: What it is made from, such as the operation key of the act.

    Returns:
        64 hexadecimal digits.
    """
    text = " ".join(str(each) for each in known)
    return salted_hmac(f"kitting.{what}", text, algorithm="sha256").hexdigest()


def mark_of(token: str) -> str:
    """Give what is kept of a token that is as long as ``secret_of`` makes it.

    Args:
        token: The token; anything else gives the mark of none.

    Returns:
        SHA-256 of it, in hexadecimal.
    """
    return hashlib.sha256(token.encode(errors="replace")).hexdigest()
