"""How many random cases a test draws: the profile says, and a test of a property only its share of that.

``default`` draws new cases every time; ``ci`` the same ones, and fewer; ``nightly`` new ones, and many. A simulation
names both of its counts itself: its seeds are fixed, and its bars hold for either.
"""

from __future__ import annotations

from typing import Any

from hypothesis import settings

HUNDRED = 100


def register_profiles() -> None:
    settings.register_profile("default", max_examples=HUNDRED, deadline=None, derandomize=False)
    settings.register_profile("ci", max_examples=HUNDRED // 4, deadline=None, derandomize=True, print_blob=True)
    settings.register_profile("nightly", max_examples=10 * HUNDRED, deadline=None, derandomize=False, print_blob=True)
    settings.load_profile("default")


def examples(in_a_hundred: int, **others: Any) -> settings:
    """Return the settings of a test that draws ``in_a_hundred`` cases for a hundred of the profile's, at least one."""
    return settings(max_examples=max(1, round(settings.default.max_examples * in_a_hundred / HUNDRED)), **others)


def draws(full: int, ci: int) -> int:
    """Return how many draws a simulation makes under the profile in force."""
    return ci if settings.get_current_profile_name() == "ci" else full
