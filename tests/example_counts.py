"""How many random cases a test of a property draws: the profile says, and a test only its share of that.

``default`` draws new cases every time; ``ci`` the same ones, and fewer; ``nightly`` new ones, and many.
"""

from __future__ import annotations

from typing import Any

from hypothesis import settings

HUNDRED = 100


def register_profiles() -> None:
    settings.register_profile("default", max_examples=HUNDRED, deadline=None, derandomize=False)
    settings.register_profile("ci", max_examples=HUNDRED // 2, deadline=None, derandomize=True, print_blob=True)
    settings.register_profile("nightly", max_examples=10 * HUNDRED, deadline=None, derandomize=False, print_blob=True)
    settings.load_profile("default")


def examples(in_a_hundred: int, **others: Any) -> settings:
    """Return the settings of a test that draws ``in_a_hundred`` cases for a hundred of the profile's, at least one."""
    return settings(max_examples=max(1, round(settings.default.max_examples * in_a_hundred / HUNDRED)), **others)
