"""Tokens of signed links: what a link is about, and a signature; none is kept.

A token is made out of the server's secret whenever it is asked for. Whoever has it reads
one page and answers there; nobody makes one up, and another salt makes other ones.
"""

from __future__ import annotations

from typing import Final

from django.core.signing import BadSignature, Signer

LONGEST_TOKEN: Final = 100


def token_for(salt: str, *about: object) -> str:
    """Make the token of a link.

    Args:
        salt: What kind of link it is.
        *about: Numbers that say what it is about; none has a dot in it.

    Returns:
        These, and a signature.
    """
    return Signer(salt=salt).sign(".".join(map(str, about)))


def read_token(salt: str, token: str) -> list[str] | None:
    """Read what a token is about.

    Args:
        salt: What kind of link it is.
        token: What stood in the address.

    Returns:
        The numbers as they were signed; None where the token is forged.
    """
    if len(token) > LONGEST_TOKEN:
        return None
    try:
        return Signer(salt=salt).unsign(token).split(".")
    except BadSignature:
        return None
