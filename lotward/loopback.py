"""Keeps a demo on its own machine: everybody knows its passwords."""

from __future__ import annotations

from collections.abc import Iterable
from ipaddress import ip_address

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest

from kitting.models import Workshop
from lotward.env import LOOPBACK_HOSTS, refuse

ALLOWED = ", ".join(LOOPBACK_HOSTS)


def is_loopback(host: str) -> bool:
    """Tell whether an address or a host name, without a port, is this machine's own."""
    if host in LOOPBACK_HOSTS:
        return True
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return False


def is_demo() -> bool:
    return Workshop.objects.filter(demo=True).exists()


def refuse_names_beyond(hosts: Iterable[str]) -> None:
    """Refuse host names under which other machines would find a demo."""
    wanted = list(hosts)
    if not all(map(is_loopback, wanted)):
        refuse("LOTWARD_HOSTS", ",".join(wanted), f"for a demo {ALLOWED} and no other")


def refuse_demo_beyond(host: str) -> None:
    """Refuse to listen where other machines could reach a demo."""
    if not is_loopback(host) and is_demo():
        refuse("The address to listen on", host, f"for a demo {ALLOWED} and no other")


def keep_demo_home(request: HttpRequest) -> None:
    """Let nobody from beyond this machine sign in to a demo, whatever serves it.

    Raises:
        PermissionDenied: If the request came from elsewhere, or by another name.
    """
    name = request.get_host().rsplit(":", 1)[0].lower()
    here = is_loopback(request.META.get("REMOTE_ADDR", "")) and is_loopback(name)
    if not here and is_demo():
        raise PermissionDenied("A demo takes sign-ins on its own machine only.")
