"""What a command line must bear: files that are there, names that no disk takes, values that are no numbers, a stop.

Plates, names and values are invented.
"""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from matcher import Coat, Reading, Recipe, Studio, Trial
from matcher.cli import app as page
from matcher.cli.main import main
from matcher.errors import StudioError, sentence_of
from tests.plates import a_profile

MINE = b"of the studio's own"


@pytest.fixture
def studio(tmp_path):
    with Studio.open(tmp_path / "studio") as opened:
        opened.record(Trial(Recipe("bronze", None, (Coat("ferric nitrate", 0.5, 3, 105.0),)), Reading(lab=(50, 9, 9))))
        opened.save_profile(a_profile())
    return tmp_path / "studio"


WRITING = {
    "sheet.pdf": ("cards", "--sheet"),
    "first.csv": ("first-plates", "--chemical", "ferric nitrate", "--plates", 4, "--table"),
    "log.zip": ("trials", "export"),
    "log.csv": ("trials", "export"),
    "all.zip": ("backup",),
    "profile.json": ("camera", "--export", "shop tubes"),
}


@pytest.mark.parametrize("name", WRITING)
def test_what_is_there_is_written_over_only_when_asked(name, told, refused, studio, tmp_path):
    file, where = tmp_path / name, ("--studio", studio)
    file.write_bytes(MINE)
    assert "is there already" in refused(*WRITING[name], file, *where)
    assert file.read_bytes() == MINE
    told(*WRITING[name], file, "--overwrite", *where)
    assert file.read_bytes() not in (b"", MINE)
    assert not list(tmp_path.glob(".writing*"))


def test_a_sheet_that_is_refused_keeps_no_card_either(told, refused, studio, tmp_path):
    (tmp_path / "sheet.pdf").write_bytes(MINE)
    add = ("cards", "--add", "ours", "--lab", "49,0,0", "--sheet", tmp_path / "sheet.pdf", "--studio", studio)
    refused(*add)
    assert told("cards", "--studio", studio)["own_cards"] == []


LAB = ("--lab", "38,14,22")
LONG, NINES = "x" * 300, "9" * 5000
TYPED = {
    "a count of 5,000 digits": (("suggest", *LAB, "--count", NINES), "a whole number"),
    "a reading after 5,000 digits": (("bench", *LAB, "--trial", 1, "--after", f"{NINES}:52,12,26"), "passes:L,a,b"),
    "an option whose value is --": (("targets", "--add=--", *LAB), "Give a value after --add"),
    "two names that are --": (("camera", "--rename=--", "new"), "Give a value after --rename"),
    "a number over all": (("suggest", "--lab", "1e400,0,0"), "L,a,b"),
    "a tolerance over all": (("suggest", *LAB, "--tolerance", "1e400"), "a number"),
    "a tolerance that is none": (("suggest", *LAB, "--tolerance", "nan"), "a number"),
    "warmth that is none": (("record", "--alloy", "bronze", *LAB, "--air", "nan"), "a number"),
    "a corrected number over all": (("trials", "correct", 1, "--target", NINES), "a whole number or none"),
    "a photograph's long name": (("read", f"{LONG}.jpg", "--finish", "1,1 9,1 9,9"), "too long"),
    "a recipe's long name": (("record", "--recipe", LONG, *LAB), "too long"),
    "a studio's long name": (("trials", "--studio", LONG), "too long"),
    "a new studio's long name": (("record", "--alloy", "bronze", *LAB, "--studio", LONG), "too long"),
    "an export's long name": (("trials", "export", f"{LONG}.zip"), "too long"),
    "an export's long name without an ending": (("trials", "export", LONG), "too long|ends in"),
    "a sheet's long name": (("cards", "--sheet", LONG), "too long"),
    "an import's long name": (("trials", "import", LONG), "too long"),
    "a home that nobody has": (("trials", "--studio", "~nobody-of-this-name/x"), "home"),
    "a photograph not named in UTF-8": (("read", "\udcff.jpg", "--finish", "1,1 9,1 9,9"), "not there"),
    "a table not named in UTF-8": (("trials", "import", "\udcff.csv"), "not there|no file"),
    "a NUL in a photograph's name": (("read", "a\0b.jpg", "--finish", "1,1 9,1 9,9"), "null|NUL"),
    "a NUL in a studio's name": (("trials", "--studio", "a\0b"), "no studio|null"),
    "a recipe nested deep": (("record", "--recipe", "deep.json", *LAB), "not JSON"),
    "a profile nested deep": (("camera", "--import", "deep.json"), "no camera profile"),
    "a pipe for a recipe": (("record", "--recipe", "pipe", *LAB), "a pipe or a device"),
    "a pipe for a table": (("trials", "import", "pipe"), "a pipe or a device"),
    "a pipe for a profile": (("camera", "--import", "pipe"), "a pipe or a device"),
    "a pipe for a photograph": (("read", "pipe", "--finish", "1,1 9,1 9,9"), "a pipe or a device"),
    "a pipe for an instrument's file": (("targets", "--from", "pipe"), "a pipe or a device"),
}


@pytest.mark.parametrize("what", TYPED)
def test_what_no_command_can_use_is_refused_in_a_short_sentence(what, refused, studio, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "deep.json").write_text("[" * 100_000)
    os.mkfifo(tmp_path / "pipe")
    arguments, words = TYPED[what]
    where = () if "--studio" in arguments else ("--studio", studio)
    said = refused(*arguments, *where)
    assert any(word in said for word in words.split("|")), said
    assert len(said) <= 300


def test_a_file_that_is_not_named_in_utf8_is_read_and_told_of(studio, tmp_path):
    """Argument and answer in bytes, as a shell gives them: the name is escaped in what is printed."""
    done = subprocess.run(
        [sys.executable, "-m", "matcher", "backup", b"\xff.zip", "--studio", str(studio), "--json"],
        cwd=tmp_path, capture_output=True, check=False, timeout=60, env=environment(),
    )  # fmt: skip
    assert done.returncode == 0 and done.stderr == b"" and b"\\udcff.zip" in done.stdout
    assert (tmp_path / os.fsdecode(b"\xff.zip")).stat().st_size > 0


@pytest.mark.parametrize("host", ["", " ", "0", "0x0", "0.0", "000.0.0.0", "::0", "0:0:0:0:0:0:0:0", "::ffff:0.0.0.0"])
def test_only_the_plain_word_for_it_opens_the_page_to_the_network(host, refused, monkeypatch):
    monkeypatch.setattr(page, "serve", lambda *_: pytest.fail("the page was opened to the network"))
    assert "every machine on the network" in refused("app", "--host", host, "--port", 0)


@pytest.mark.parametrize(
    ("given", "host", "signs_in"),
    [
        ((), "127.0.0.1", False),
        (("--host", "127.0.0.1"), "127.0.0.1", False),
        (("--host", "localhost"), "localhost", False),
        (("--sign-in",), "127.0.0.1", True),
        (("--network",), "0.0.0.0", True),
        (("--host", "0.0.0.0"), "0.0.0.0", True),
        (("--host", "0.0.0.0", "--demo"), "0.0.0.0", True),
    ],
)
def test_on_any_address_but_its_own_the_page_is_served_by_https_and_people_sign_in(
    given, host, signs_in, told, monkeypatch, tmp_path
):
    served = []
    monkeypatch.setattr(page, "serve", lambda *how: served.append(how))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    said = told("app", *given, "--studio", tmp_path / "studio")
    [(listens, port, environment, certificate)] = served
    assert listens == host and (environment.get("MATCHER_SIGN_IN") == "on") is signs_in
    by_https = host == "0.0.0.0"
    assert said["url"].startswith("https://" if by_https else "http://") and said["url"].endswith(f":{port}")
    assert (certificate is not None) is by_https
    assert ("first_owner" in said) is signs_in, "who comes in first has a code, and nobody without one"
    assert environment["MATCHER_STUDIO"] == str(tmp_path / "studio")


def test_a_certificate_and_its_key_belong_together_and_to_the_network(refused, monkeypatch, tmp_path):
    from matcher.access.certificate import certificate_for

    monkeypatch.setattr(page, "serve", lambda *_: pytest.fail("the page was served"))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    one, other = (certificate_for(tmp_path / name, ["bench"], ["192.0.2.1"]) for name in ("one", "other"))
    assert "together" in refused("app", "--network", "--certificate", one.certificate)
    assert "Give --network too" in refused("app", "--certificate", one.certificate, "--key", one.key)
    assert "not that of" in refused("app", "--network", "--certificate", one.certificate, "--key", other.key)
    assert "PEM" in refused("app", "--network", "--certificate", one.key, "--key", one.key)
    assert "cannot be read" in refused("app", "--network", "--certificate", tmp_path / "no", "--key", one.key)


def test_what_a_message_echoes_is_shortened_and_what_it_says_is_not():
    name = "a name of many words " * 300
    said = sentence_of(StudioError(f"Choose another name: {name!r} is taken.\nIt is\x1b[31m red."))
    assert said.startswith("Choose another name: 'a name of many words") and said.endswith("is taken. It is�[31m red.")
    assert len(said) < 200 and "…" in said
    assert len(sentence_of(StudioError(f"{name} is not there."))) <= 300
    plain = "The card's patch can't be read in 'plate.jpg': mark the card's corners."
    assert sentence_of(StudioError(plain)) == plain


def environment():
    return {**os.environ, "PYTHONPATH": os.pathsep.join(path for path in sys.path if path)}


def piped(arguments, shell):
    command = f"{sys.executable} -m matcher {arguments} {shell}"
    return subprocess.run(
        ["bash", "-c", command], capture_output=True, text=True, check=False, timeout=60, env=environment()
    )


def test_a_reader_that_has_seen_enough_is_no_fault(studio):
    for arguments in (f"trials --studio {studio}", "--help"):
        done = piped(arguments, "| true; echo ${PIPESTATUS[0]}")
        assert (done.stdout, done.stderr) == ("0\n", "")


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="this system has no full device")  # noqa: PTH110
def test_an_answer_that_cannot_be_written_is_told(studio):
    done = piped(f"trials --studio {studio}", "> /dev/full")
    assert done.returncode == 2 and done.stderr.startswith("The answer cannot be written (No space left on device)")
    assert done.stderr.count("\n") == 1


def test_a_command_that_is_stopped_ends_quietly_with_its_own_code(monkeypatch, capsys, studio):
    def stop(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr(Studio, "trials", stop)
    assert main(["trials", "--studio", str(studio)]) == 130
    assert capsys.readouterr() == ("", "")
