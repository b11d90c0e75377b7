"""How long a property is searched for a case that breaks it."""

from __future__ import annotations

import os

import hypothesis

# The gate finds the same examples every time; a long search is asked for by name:
# LOTWARD_TEST_SEARCH=long python -m pytest tests/…
hypothesis.settings.register_profile(
    "gate",
    derandomize=True,
    deadline=None,
    max_examples=60,
    suppress_health_check=[hypothesis.HealthCheck.too_slow],
)
hypothesis.settings.register_profile(
    "few", hypothesis.settings.get_profile("gate"), max_examples=6
)
hypothesis.settings.register_profile("more", deadline=None, max_examples=300)
hypothesis.settings.register_profile(
    "long", deadline=None, max_examples=2_000, print_blob=True
)


def choose() -> None:
    """Search as the environment asks, and in the gate where it does not."""
    hypothesis.settings.load_profile(os.environ.get("LOTWARD_TEST_SEARCH", "gate"))
