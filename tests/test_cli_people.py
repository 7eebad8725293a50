"""people, devices: who may come in, from the machine that has the studio."""

from __future__ import annotations

import io
import re

import pytest

from matcher import Studio
from matcher.access.codes import TO_INVITE
from matcher.hands import Role, at_work
from tests.app_pages import open_page, said_on

GOOD = "warm torch, cold water"


@pytest.fixture
def at(tmp_path):
    return ("--studio", tmp_path / "studio")


def test_somebody_is_added_comes_in_by_the_code_changes_and_is_let_go(told, refused, at, tmp_path):
    added = told("people", "add", "Ines", "--role", "owner", *at)
    assert added["person"]["role"] == "owner" and not added["person"]["has_way_in"]
    assert re.fullmatch(r"\w{4}-\w{4}", added["code"]["text"])
    assert "called ines already" in refused("people", "add", "ines", *at)
    told("people", "add", "Marek", *at)
    with Studio.open(tmp_path / "studio") as studio:
        studio.access.sign_in_by_code(added["code"]["text"], "Computer", "192.0.2.1", passphrase=GOOD)
    assert [(one["name"], one["has_way_in"]) for one in told("people", *at)["people"]] == [
        ("Ines", True),
        ("Marek", False),
    ]
    assert told("people", "role", "marek", "reader", *at)["person"]["role"] == "reader"
    assert "somebody else an owner first" in refused("people", "let-go", "Ines", *at)
    told("people", "let-go", "Marek", *at)
    assert "Nobody of the name 'Marek'" in refused("people", "code", "Marek", *at)


def test_devices_are_listed_and_signed_out(told, at, tmp_path):
    code = told("people", "add", "Ines", "--role", "owner", *at)["code"]["text"]
    with Studio.open(tmp_path / "studio") as studio:
        secret = studio.access.sign_in_by_code(code, "Phone or tablet", "192.0.2.1", passphrase=GOOD)
    [device] = told("devices", *at)["devices"]
    assert (device["person"], device["name"], device["how"]) == ("Ines", "Phone or tablet", "code")
    assert told("devices", "list", "Ines", *at)["devices"] == [device]
    assert told("devices", "sign-out", "Ines", *at) == {"signed_out": 1}
    with Studio.open(tmp_path / "studio") as studio:
        assert studio.access.devices.signed_in(secret) is None


def test_a_passphrase_is_read_from_standard_input_and_never_shown(run, at, monkeypatch, tmp_path):
    monkeypatch.setattr("sys.stdin", io.StringIO(f"{GOOD}\n"))
    code, out, err = run("people", "add", "Ines", "--role", "owner", "--passphrase", *at)
    assert (code, err) == (0, "") and GOOD not in out and "Code" not in out
    with Studio.open(tmp_path / "studio") as studio:
        assert studio.access.sign_in("Ines", GOOD, "Computer", "192.0.2.1")
    monkeypatch.setattr("sys.stdin", io.StringIO("short\n"))
    code, out, err = run("people", "passphrase", "Ines", *at)
    assert code == 2 and "longer passphrase" in err


def test_a_code_says_until_when_it_is_good(run, at):
    run("people", "add", "Ines", "--role", "owner", *at)
    _, out, _ = run("people", "code", "Ines", *at)
    assert re.search(r"Code \w{4}-\w{4}, good once until \d+ \w+ \d{4}, \d\d:\d\d", out)
    assert TO_INVITE.days == 3


def test_a_forgotten_passphrase_is_replaced_by_the_code(told, at, tmp_path):
    code = told("people", "add", "Ines", "--role", "owner", *at)["code"]["text"]
    with Studio.open(tmp_path / "studio") as studio:
        studio.access.sign_in_by_code(code, "Computer", "192.0.2.1", passphrase=GOOD)
    assert told("people", "code", "Ines", *at)["person"]["has_way_in"]
    assert not told("people", "code", "Ines", "--new-passphrase", *at)["person"]["has_way_in"]


def test_who_made_a_code_for_whom_is_told_on_the_command_line_and_on_the_page(run, told, at, tmp_path, monkeypatch):
    """An owner's code for somebody else signs the owner in as them just as well: it stood nowhere."""
    told("people", "add", "Ines", "--role", "owner", *at)
    with Studio.open(tmp_path / "studio") as studio:
        ines, marek = studio.access.people.named("Ines"), studio.access.people.add("Marek <b>", Role.HELPER)
        with at_work(ines.hand):
            studio.access.codes.make(marek.uid)
    [made, added] = told("people", "history", "Marek <b>", *at)["changes"]
    assert (made["who"], made["what"], added["what"]) == ("Ines", "code made", "added")
    assert "tells nothing of 'nobody'" in run("people", "history", "nobody", *at)[1]
    _, out, _ = run("people", "history", *at)
    assert out.splitlines()[0].endswith(": Ines made a code for Marek <b>.") and len(out.splitlines()) == 4
    monkeypatch.setenv("MATCHER_STUDIO", str(tmp_path / "studio"))
    assert "Ines made a code for Marek &lt;b&gt;." in said_on(open_page("people"))
