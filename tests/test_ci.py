"""What CI runs is what the README tells a person to run, and one failed check is enough to fail."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests import __main__ as checks

ROOT = Path(__file__).resolve().parents[1]


def test_ci_ends_with_the_readmes_test_command():
    last = (ROOT / ".ci" / "run").read_text().strip().splitlines()[-1]
    assert last.endswith("python -m tests")
    assert last in (ROOT / "README.md").read_text(encoding="utf-8").splitlines()


def test_a_failed_check_stops_the_run_with_its_code(monkeypatch, capfd):
    monkeypatch.setattr(checks, "CHECKS", (("no_such_check",), ("this",)))
    assert checks.main([]) == 1
    out, _ = capfd.readouterr()
    assert "python -m no_such_check" in out and "Zen" not in out


@pytest.mark.parametrize("arguments", [[], ["-k", "nothing"]])
def test_arguments_go_to_pytest_alone(arguments, monkeypatch):
    ran = []

    def run(command, **_):
        ran.append(command[2:])
        return type("Done", (), {"returncode": 0})()

    monkeypatch.setattr(checks.subprocess, "run", run)
    assert checks.main(arguments) == 0
    assert ran[-1] == [*checks.CHECKS[-1], *arguments] and all("nothing" not in command for command in ran[:-1])
    assert [command[0] for command in ran] == ["ruff", "ruff", "mypy", "pytest"]
