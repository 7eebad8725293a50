"""What CI runs is what the README tells a person to run, and one failed check is enough to fail."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import settings

from tests import __main__ as checks
from tests.example_counts import examples

ROOT = Path(__file__).resolve().parents[1]
SAYS = ("this",)  # a module that prints a poem and ends well
FAILS = ("no_such_check",)


def test_ci_ends_with_the_readmes_test_command():
    last = (ROOT / ".ci" / "run").read_text().strip().splitlines()[-1]
    assert last.endswith("python -m tests")
    assert last in (ROOT / "README.md").read_text(encoding="utf-8").splitlines()


def outcome(monkeypatch, capfd, beside, tests, *arguments):
    monkeypatch.setattr(checks, "BESIDE", beside)
    monkeypatch.setattr(checks, "TESTS", tests)
    code = checks.main(list(arguments))
    out, _ = capfd.readouterr()
    return code, out


def test_every_outcome_is_printed_and_the_tests_closing_line_comes_last(monkeypatch, capfd):
    code, out = outcome(monkeypatch, capfd, (FAILS, SAYS), ("pytest", "--version"))
    assert code == 1
    assert "No module named no_such_check" in out and "Zen of Python" in out
    assert [line for line in out.splitlines() if line][-2:] == [
        "FAILED no_such_check (see above)",
        f"pytest {pytest.__version__}",
    ]


@pytest.mark.parametrize(
    ("beside", "tests", "expected"),
    [
        ((SAYS, SAYS), ("this",), 0),
        ((SAYS,), ("pytest", "--no-such-option"), 4),
        ((SAYS, FAILS), ("pytest", "--no-such-option"), 1),
    ],
    ids=["all well", "the tests", "a check and the tests"],
)
def test_the_exit_code_is_that_of_the_first_check_that_failed(beside, tests, expected, monkeypatch, capfd):
    assert outcome(monkeypatch, capfd, beside, tests)[0] == expected


def test_arguments_go_to_pytest_alone(monkeypatch, capfd):
    _, out = outcome(monkeypatch, capfd, (SAYS,), ("pytest", "--version"), "-k", "nothing")
    assert re.findall(r"^\$ (.*)", out, re.MULTILINE).count("python -m pytest --version -k nothing") == 1
    assert out.count("nothing") == 1


def test_random_cases_are_counted_by_the_profile_alone():
    """A test that named a count of its own would draw as few by night as by day."""
    counted = re.compile(r"\bmax_examples=")
    named = [path.name for path in (ROOT / "tests").rglob("*.py") if counted.search(path.read_text(encoding="utf-8"))]
    assert named == ["example_counts.py"]
    counts = {name: settings.get_profile(name).max_examples for name in ("ci", "default", "nightly")}
    assert counts["ci"] <= counts["default"] < counts["nightly"]
    assert examples(50).max_examples == round(settings.default.max_examples / 2)
    assert examples(0).max_examples == 1


def test_random_cases_are_the_same_ones_every_time_in_ci_alone():
    assert {name: settings.get_profile(name).derandomize for name in ("ci", "default", "nightly")} == {
        "ci": True,
        "default": False,
        "nightly": False,
    }
    assert "--hypothesis-profile=ci" in checks.TESTS


def test_the_real_photographs_are_measured_on_where_they_lie_beside_the_checkout(tmp_path):
    """The lines of `.ci/run` that look for them, run in a checkout with and without the folder."""
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    looking = re.search(r"^if \[\[ -d \.\./shared.*?^fi$", script, re.MULTILINE | re.DOTALL)
    assert looking is not None
    checkout = tmp_path / "checkout"
    checkout.mkdir()
    said = [sys.executable, "-c", "import os; print(os.environ.get('MATCHER_REAL_PHOTOS'))"]

    def seen():
        command = ["bash", "-c", f'unset MATCHER_REAL_PHOTOS\n{looking[0]}\n"$@"', "bash", *said]
        return subprocess.run(command, cwd=checkout, capture_output=True, text=True, check=True).stdout.strip()

    assert seen() == "None"
    (tmp_path / "shared" / "real_photos").mkdir(parents=True)
    assert seen() == str(tmp_path / "shared" / "real_photos")
