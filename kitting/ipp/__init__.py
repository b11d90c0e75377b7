"""Speaking to a printer by the Internet Printing Protocol (RFC 8010 and RFC 8011)."""

from __future__ import annotations
