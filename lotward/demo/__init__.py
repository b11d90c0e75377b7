"""The demo workshop: two invented weeks at Harrow Lane, built through the services."""

from __future__ import annotations
