"""Every invented studio by name: those of one process and the common recipes, and those of their own."""

from __future__ import annotations

from collections.abc import Callable

from tests.benchmarks.invented_processes import PROCESSES
from tests.benchmarks.invented_studios import (
    Studio,
    eight,
    messy,
    of_process,
    reacting,
    scorch,
    six_by_four,
    window,
)

STUDIOS: dict[str, Callable[[int], Studio]] = {
    **{name: of_process(make) for name, make in PROCESSES.items()},
    "window": window,
    "scorch": scorch,
    "reacting": reacting,
    "six by four": six_by_four,
    "eight": eight,
    "messy": messy,
}
