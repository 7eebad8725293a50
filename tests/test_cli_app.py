"""The demo and the page from the command line: the whole job on the demo's own pictures, and a page that answers."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest

from matcher import Studio
from matcher.cli.main import main
from matcher.demo import walk_through
from tests.browser import PATIENCE_MS

ROOT = Path(__file__).parents[1]
PATIENCE_S = PATIENCE_MS / 1000


def outline(points):
    return " ".join(f"{x},{y}" for x, y in points)


@pytest.fixture
def told(capsys):
    def told(*arguments):
        assert main([*map(str, arguments), "--json"]) == 0
        return json.loads(capsys.readouterr().out)

    return told


def test_the_whole_job_runs_on_the_demos_pictures(told, tmp_path, capsys):
    """Client's photograph to ranked list, next plate recorded, list better: as the demo's walk-through promises."""
    walk, studio = walk_through(), tmp_path / "demo"
    made = told("demo", studio)
    assert made["trials"] >= 80 and made["targets"] == 1
    assert main(["demo", str(studio)]) == 0
    assert f"is there already, with {made['trials']} plates: nothing was made" in capsys.readouterr().out
    client = ("suggest", walk.target_photo, "--finish", outline(walk.target_region), "--studio", studio)
    before = told(*client)["suggestions"]
    (tmp_path / "recipe.json").write_text(json.dumps(walk.next_recipe.as_dict()))
    plate = (walk.next_photo, "--finish", outline(walk.next_region), "--recipe", tmp_path / "recipe.json")
    recorded = told("record", "--studio", studio, *plate, "--by", walk.next_made_by, "--notes", walk.next_notes)
    after = told(*client)["suggestions"]
    first, then = (next(item for item in found if item["basis"] == "logged") for found in (before, after))
    assert then["trial"] == recorded["trial"]["id"]
    assert then["delta_e00"] < first["delta_e00"]


def test_a_demo_is_never_laid_over_another_studio(told, tmp_path, capsys):
    Studio.open(tmp_path / "ours").close()
    for command in (("demo", tmp_path / "ours"), ("app", "--demo", "--studio", tmp_path / "ours")):
        assert main([*map(str, command)]) == 2
        out, err = capsys.readouterr()
        assert out == "" and err.startswith("Name a new or empty folder") and err.count("\n") == 1


@contextmanager
def serving(tmp_path, *arguments, **environment) -> Iterator[tuple[str, subprocess.Popen[str]]]:
    """Run `app` in a process of its own, with a home of its own, until its page answers; give URL and process."""
    for folder in ("home", "data"):
        (tmp_path / folder).mkdir()
    kept = {name: value for name, value in os.environ.items() if name not in ("DISPLAY", "WAYLAND_DISPLAY")}
    kept |= {"HOME": str(tmp_path / "home"), "XDG_DATA_HOME": str(tmp_path / "data"), **environment}
    kept["PYTHONPATH"] = os.pathsep.join(path for path in sys.path if path)
    command = [sys.executable, "-m", "matcher", "app", "--json", *map(str, arguments)]
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=kept, cwd=tmp_path
    ) as process:
        try:
            assert process.stdout is not None
            url = json.loads(process.stdout.readline())["url"]
            wait_for(url)
            yield url, process
        finally:
            process.terminate()
            process.communicate(timeout=PATIENCE_S)


def wait_for(url: str) -> None:
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until:
        try:
            with urllib.request.urlopen(f"{url}/_stcore/health", timeout=5) as answer:
                if answer.status == 200:
                    return
        except (urllib.error.URLError, OSError):
            pass
        time.sleep(0.1)
    pytest.fail(f"the page did not answer within {PATIENCE_S} s")


def test_the_page_answers_on_this_machine_only_and_leaves_the_home_alone(tmp_path):
    with serving(tmp_path, "--demo") as (url, process):
        assert url.startswith("http://127.0.0.1:")
        with urllib.request.urlopen(url, timeout=PATIENCE_S) as answer:
            assert b"<html" in answer.read()
        listening = socket.socket()
        with listening, pytest.raises(OSError):
            listening.connect((own_address(), int(url.rpartition(":")[2])))
    assert not list((tmp_path / "home").iterdir())
    assert (tmp_path / "data" / "patina-matcher" / "demo").is_dir()
    assert process.returncode == 0


def own_address() -> str:
    """An address of this machine other than 127.0.0.1, or one of the loopback network where it has no other."""
    try:
        address = socket.gethostbyname(socket.gethostname())
    except OSError:
        return "127.0.0.2"
    return "127.0.0.2" if address == "127.0.0.1" else address


def test_the_page_opens_a_browser_where_there_is_a_display(tmp_path):
    """The desktop's own opener is called with the page's address; here a script that notes it."""
    programs, noted = tmp_path / "programs", tmp_path / "noted"
    programs.mkdir()
    (programs / "xdg-open").write_text(f'#!/bin/sh\necho "$1" > "{noted}"\n')
    (programs / "xdg-open").chmod(0o755)
    path = os.pathsep.join((str(programs), os.environ["PATH"]))
    with serving(tmp_path, "--studio", tmp_path / "studio", DISPLAY=":99", PATH=path) as (url, _):
        until = time.monotonic() + PATIENCE_S
        while time.monotonic() < until:
            if noted.exists() and noted.read_text().endswith("\n"):
                break
            time.sleep(0.05)
        assert noted.read_text().strip() == url


def test_the_next_free_port_is_taken_when_the_usual_one_is_not_free(tmp_path):
    from matcher.cli.app import FIRST_PORT, free_port

    with socket.socket() as taken:
        if os.name == "posix":
            taken.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)  # what was just served there does not count
        with suppress(OSError):  # somebody else's page has it: just as well
            taken.bind(("127.0.0.1", FIRST_PORT))
        taken.listen()
        assert FIRST_PORT < free_port("127.0.0.1", None) < FIRST_PORT + 50


@pytest.mark.skipif(os.name != "posix", reason="elsewhere a port that was left is free at once")
def test_a_port_that_was_just_left_is_free():
    """Its last connection, closed by who served, stays behind for a minute (TIME-WAIT, RFC 9293, section 3.6)."""
    from matcher.cli.app import free_port

    with socket.create_server(("127.0.0.1", 0)) as served:
        port = served.getsockname()[1]
        with socket.create_connection(("127.0.0.1", port)) as visitor:
            served.accept()[0].close()
            assert visitor.recv(1) == b""
    with socket.socket() as plain, pytest.raises(OSError):
        plain.bind(("127.0.0.1", port))
    assert free_port("127.0.0.1", port) == port


def test_what_the_server_runs_begins_without_a_word() -> None:
    """A line of the library's own stood among what the command says, beside the address and the code."""
    environment = os.environ | {"STREAMLIT_LOGGER_LEVEL": "warning"}
    begun = subprocess.run(
        [sys.executable, "-c", "import ui.served"],
        capture_output=True,
        text=True,
        check=True,
        cwd=ROOT,
        env=environment,
    )
    assert (begun.stdout, begun.stderr) == ("", "")
