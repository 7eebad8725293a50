"""Fixtures that run one command of the command line in this process and look at its streams."""

from __future__ import annotations

import json

import pytest

from matcher.cli.main import main


@pytest.fixture
def run(capsys, monkeypatch, tmp_path):
    """Run one command in this process; the studio that no option names lies in a scratch folder."""
    monkeypatch.setenv("MATCHER_STUDIO", str(tmp_path / "default studio"))

    def run(*arguments):
        code = main([str(argument) for argument in arguments])
        out, err = capsys.readouterr()
        return code, out, err

    return run


@pytest.fixture
def told(run):
    """Run one command with --json and return its document; nothing else may stand on standard output."""

    def told(*arguments):
        code, out, err = run(*arguments, "--json")
        assert (code, err) == (0, "") and out.count("\n") == 1
        return json.loads(out)

    return told


@pytest.fixture
def refused(run):
    """Run one command that must fail: exit code 2, one plain sentence on standard error, nothing on standard output."""

    def refused(*arguments):
        for as_json in ((), ("--json",)):
            code, out, err = run(*arguments, *as_json)
            assert code == 2 and out == ""
            assert err.endswith(".\n") and err.count("\n") == 1 and "Traceback" not in err
        return err

    return refused
