"""A page whose loading is broken off by a change of the network, as a cable laid for another test makes one."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from tests.browser import NETWORK_CHANGED, Served, Visitor

Visit = Callable[..., Visitor]


def test_a_page_broken_off_by_another_tests_cable_is_opened_once_more(read_demo: Served, visit: Visit) -> None:
    broken: list[object] = []

    def break_off(route: object) -> None:
        broken.append(route)
        route.abort()  # type: ignore[attr-defined]

    other = visit(read_demo)
    other.page.route("**/log", break_off)
    with pytest.raises(AssertionError, match="log did not come"):
        other.open("log")
    assert len(broken) == 1, "any other fault is told at once"
    visitor = visit(read_demo)
    visitor.console.append(NETWORK_CHANGED)
    visitor.page.route("**/log", break_off, times=1)
    visitor.open("log")
    visitor.sees("The log")
    assert len(broken) == 2
