"""The demo workshop: three invented weeks at Harrow Lane, built through the services."""

from __future__ import annotations
