"""Where a printer is: what may be entered, and what may be connected to.

The server connects to what is entered here, so an address may not lead to where only the
server itself can look: link-local addresses and those at which clouds tell secrets.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from ipaddress import IPv4Address, IPv6Address, IPv6Network, ip_address, ip_network
from urllib.parse import SplitResult, urlsplit

from kitting.domain.errors import Refused

DEFAULT_PORT = 631
"""Of both schemes (RFC 3510 §4.2, RFC 7472 §4.2)."""
LONGEST = 1023
"""Octets of a URI (RFC 8011 §5.1.6)."""

LONGEST_HOST = 253

_NAME = re.compile(r"(?!-)[a-z0-9_-]{1,63}(?<!-)(?:\.(?!-)[a-z0-9_-]{1,63}(?<!-))*\.?")
_VISIBLE = re.compile(r"[\x21-\x7e]+")
_NUMBER = re.compile(r"(?:0x[0-9a-f]*|[0-9]+)\.?")

# Where clouds answer their own machines, beside 169.254.169.254, which is link-local.
# From the vendors' documentation, from memory.
_TELLERS = [
    ip_network(text)
    for text in ("100.100.100.200/32", "168.63.129.16/32", "192.0.0.0/24")
] + [ip_network("fd00:ec2::/32"), ip_network("fd20:ce::/32")]
_NOWHERE = ip_network("0.0.0.0/8")
_NAT64 = IPv6Network("64:ff9b::/96")
"""Addresses that carry one of version 4 in their last 32 bits (RFC 6052 §2.1)."""


@dataclass(frozen=True)
class Address:
    """A printer's address, taken apart."""

    text: str
    """The whole in its usual form: ``ipp://host/path``, with a port other than 631."""
    host: str
    """A name in lower case, or an address without brackets."""
    port: int
    path: str
    secure: bool
    """IPPS: the connection is encrypted and the printer's certificate checked."""


def read_address(text: str) -> Address:
    """Read what a manager entered.

    Args:
        text: Such as ``ipp://192.0.2.7/ipp/print``; blanks around it are left out.

    Returns:
        The address; its port is 631 where none was given, its path at least ``/``.

    Raises:
        Refused: ``printer_address_wrong`` with what was read and why, or
            ``printer_address_not_allowed`` for a number that may not be reached.
    """
    entered = text.strip()
    why = _fault_of_text(entered)
    # A password that was entered by mistake does not come back in a sentence.
    entered = re.sub(r"//[^/]*@", "//…@", entered)
    if why:
        raise Refused("printer_address_wrong", read=entered, why=why)
    try:
        parts = urlsplit(entered)
        port = DEFAULT_PORT if parts.port is None else parts.port
        host = (parts.hostname or "").removesuffix(".")
    except ValueError:
        why = "the host or the port cannot be read"
        raise Refused("printer_address_wrong", read=entered, why=why) from None
    why = _fault_of_parts(parts, host, port)
    if why:
        raise Refused("printer_address_wrong", read=entered, why=why)
    if _number(host) is not None:
        refuse_reach([host])
    path = parts.path or "/"
    shown = f"[{host}]" if ":" in host else host
    colon = "" if port == DEFAULT_PORT else f":{port}"
    whole = f"{parts.scheme}://{shown}{colon}{path}"
    return Address(whole, host, port, path, parts.scheme == "ipps")


def _fault_of_text(entered: str) -> str:
    """Say what is wrong before the address is taken apart, or nothing."""
    if not _VISIBLE.fullmatch(entered):
        return "only visible ASCII characters may stand in it"
    if len(entered) > LONGEST:
        return f"it is longer than {LONGEST} characters"
    if not entered.lower().startswith(("ipp://", "ipps://")):
        return "it does not begin with ipp:// or ipps://"
    if "?" in entered or "#" in entered:
        return "nothing may follow a ? or #"
    if "@" in entered.split("/")[2]:
        return "a user name or password may not stand in it"
    if "\\" in entered:
        return "it has a backslash"
    return ""


def _fault_of_parts(parts: SplitResult, host: str, port: int) -> str:
    """Say what is wrong with host and port, or nothing."""
    if not host:
        return "it names no host"
    if port == 0:
        return "the port is not from 1 to 65535"
    if _number(host) is not None:
        return ""
    if ":" in host:
        return "the host is no address of version 6 that is known everywhere"
    if len(host) > LONGEST_HOST or not _NAME.fullmatch(host):
        return "the host is no name"
    if _NUMBER.fullmatch(host.rpartition(".")[2]):
        return "the host is no address of four numbers from 0 to 255"
    return ""


def _number(host: str) -> IPv4Address | IPv6Address | None:
    """Return the address that a host is written as; none for a name or a zone."""
    try:
        return None if "%" in host else ip_address(host)
    except ValueError:
        return None


# -- What may be connected to ----------------------------------------------------------


def refuse_reach(host_addresses: Iterable[str]) -> tuple[str, ...]:
    """Keep the addresses that may be connected to.

    To be asked of what a name was resolved to, each time, and the connection made to
    one of those that are returned: a second look-up could give others.

    Args:
        host_addresses: Addresses of version 4 or 6, as numbers.

    Returns:
        Those allowed, in their order; at least one.

    Raises:
        Refused: ``printer_address_not_allowed`` if there is none, with the first one
            that was refused.
    """
    given = list(host_addresses)
    allowed = tuple(address for address in given if _may_reach(address))
    if not allowed:
        raise Refused("printer_address_not_allowed", address=given[0] if given else "-")
    return allowed


def _may_reach(text: str) -> bool:
    address = _number(text)
    if address is None:
        return False
    for one in (address, *_carried(address)):
        if (
            one.is_link_local
            or one.is_multicast
            or one.is_unspecified
            or (isinstance(one, IPv4Address) and one in _NOWHERE)
            or (one.is_reserved and isinstance(one, IPv4Address))
            or any(one in network for network in _TELLERS)
        ):
            return False
    return True


def _carried(address: IPv4Address | IPv6Address) -> list[IPv4Address]:
    """Return the address of version 4 that one of version 6 stands for, if any."""
    if isinstance(address, IPv4Address):
        return []
    inner = [address.ipv4_mapped, address.sixtofour]
    if address in _NAT64 or int(address) >> 32 == 0:
        inner.append(IPv4Address(int(address) & 0xFFFFFFFF))
    return [one for one in inner if one is not None and int(address) > 1]
