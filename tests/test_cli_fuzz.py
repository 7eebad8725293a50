"""Whatever is typed after any option of any command: a result or one short sentence, and never a traceback.

Plates, names and values are invented. Whatever a command writes stays in a folder of its own.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import os
import signal
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given
from hypothesis import strategies as st

from matcher import Coat, Reading, Recipe, Studio, Trial
from matcher.cli import app as page
from matcher.cli.main import main, whole_command_line
from matcher.commissions.commission import Area, Commission
from matcher.hands import Role
from tests import scenes
from tests.example_counts import examples
from tests.plates import a_profile

OUTLINE = "215,65 365,65 365,225 215,225"
LONGEST_ERROR, SECONDS = 300, 60
THERE, MINE = ("there.csv", "there.zip", "there.json"), b"of the studio's own"

ENOUGH: dict[str, tuple[str, ...]] = {
    "read": ("plate.png", "--finish", OUTLINE),
    "repeat": ("plate.png", "plate.png", "plate.png", "--finish", OUTLINE),
    "camera": (),
    "read-again": ("--plate", "1"),
    "suggest": ("--lab", "38,14,22"),
    "predict": ("--trial", "1", "--lab", "38,14,22"),
    "next": ("--lab", "38,14,22"),
    "first-plates": ("--chemical", "ferric nitrate", "--plates", "4", "--max-passes", "2"),
    "mottled": ("--lab", "38,14,22"),
    "advise": ("--trial", "1", "--lab", "38,14,22"),
    "bench": ("--lab", "38,14,22", "--trial", "1"),
    "trust": (),
    "record": ("--alloy", "bronze", "--lab", "38,14,22"),
    "trials": (),
    "trials list": (),
    "trials export": ("new.zip",),
    "trials import": ("table.csv",),
    "trials columns": ("table.csv",),
    "trials set-aside": ("1", "the torch was too near"),
    "trials take-back": ("1",),
    "trials checked": ("1",),
    "trials doubt": ("1",),
    "trials correct": ("1", "--notes", "even"),
    "trials history": ("1",),
    "trials card": ("1", "new.pdf"),
    "trials patch": ("1", "new.jpg"),
    "trials add-reading": ("1", "--stage", "waxed", "--lab", "38,14,22"),
    "backup": ("new.zip",),
    "tags": (),
    "tags list": (),
    "tags print": ("--out", "new.pdf", "--count", "2"),
    "tags board": ("--out", "new.pdf"),
    "tags find": ("plate.png",),
    "tags mark": ("1", "plate.png", "--finish", OUTLINE),
    "tags give": ("1", "K7QX2-88"),
    "tags move": ("K7QX2-88", "2", "it is on this one"),
    "tags take": ("1", "came off"),
    "tags history": ("--plate", "1"),
    "tags whose": ("K7QX2-88",),
    "tags sightings": ("1",),
    "targets": ("--add", "heron", "--lab", "38,14,22"),
    "commissions": (),
    "commissions list": (),
    "commissions show": ("1",),
    "commissions add": ("Heron", "--alloy", "bronze"),
    "commissions change": ("1", "--casts", "3"),
    "commissions add-area": ("1", "tail"),
    "commissions change-area": ("1", "--surface", "300"),
    "commissions order-areas": ("1", "1"),
    "commissions note": ("1", "warmer"),
    "commissions sign-off": ("1", "1", "--signed-by", "A. Quill", "--light", "daylight"),
    "commissions withdraw": ("1", "seen outdoors"),
    "commissions cast": ("1", "2", "1"),
    "commissions deliver": ("1", "--on", "2026-01-31"),
    "commissions take-delivery-back": ("1", "--cast", "1"),
    "commissions repair": ("1", "a scratch"),
    "commissions set-area-aside": ("1", "not wanted"),
    "commissions take-area-back": ("1",),
    "commissions edition": ("1",),
    "commissions sign-off-sheet": ("1", "new.pdf"),
    "commissions record": ("1", "new.pdf"),
    "commissions set-aside": ("1", "postponed"),
    "commissions take-back": ("1",),
    "people": (),
    "people list": (),
    "people add": ("Noor",),
    "people role": ("Ines", "owner"),
    "people code": ("Ines",),
    "people passphrase": ("Ines",),
    "people let-go": ("Marek",),
    "people history": (),
    "devices": (),
    "devices list": (),
    "devices sign-out": ("Ines",),
    "share": (),
    "share list": (),
    "share place": ("new",),
    "share show": ("1",),
    "share give": ("1",),
    "share withdraw": ("1",),
    "share others": ("--lab", "38,14,22"),
    "trials nearest": ("38,14,22",),
    "cards": (),
    "solutions": (),
    "solutions list": (),
    "solutions add": ("Fe 2", "--chemical", "ferric nitrate", "--grams-per-litre", "400"),
    "solutions open": ("Fe 1",),
    "solutions used-up": ("Fe 1",),
    "solutions move": ("Fe 1", "cabinet"),
    "solutions weigh": ("--chemical", "ferric nitrate", "--grams-per-litre", "400", "--volume", "500"),
    "solutions dilute": ("--volume", "200", "--strength", "0.5"),
    "solutions mix": ("--trial", "1"),
    "solutions use": ("Fe 1", "--ml", "5"),
    "solutions take-back-use": ("none",),
    "demo": ("demo",),
    "studio": (),
    "studio move": ("--studio", "another", "--to", "elsewhere"),
    "studio check": (),
    "studio backups": ("--folder", "kept"),
    "restore": ("kept.zip", "restored"),
    "app": (),
}
"""What each command needs to run at all."""

NASTY = (
    "", " ", "-", "--", "-1", "0", "1e400", "-1e400", "nan", "inf", "1_0", "0x10", "9" * 5000, "1" + "0" * 30, "²",
    "1,2", ",", ",,,", "1,2,3", "nan,nan,nan", "1e400,0,0", "100,200,-200", "0,0", "a b c", "x" * 300, "x y " * 1500,
    "é\udcff", "\udcff.jpg", "\ud800", "a\0b", "\r\n", "none", "auto", "any", "~", "~nobody-of-this-name/x", ".",
    "missing", "pipe", "folder", "there.csv", "there.zip", "there.json", "deep.json", "long.json", "plate.png",
    "new.csv", "new.pdf", "://", "sqlite://", "postgresql://", "3:52,12,26", "9" * 5000 + ":52,12,26", "wax,1e400,hot",
    "f,0.5,1e400,105", "f,nan,6,105", "'" * 200, "5YR 3/4", "5YR 1e9/4", "2025-03-31", "0001-01-01",
    "9999-12-31T23:59", "{}", "[" * 5000, OUTLINE, "1e300,1e300 -1e300,1e300 0,-1e300", "0,0 0,0 0,0",
    "0,0 0,0 0,0 0,0", "0.0.0.0", "::0",
)  # fmt: skip
"""Values that some option may stumble over; the files are in the folder that the commands run in."""


def commands() -> dict[str, argparse.ArgumentParser]:
    """Every command by its name, parts of one with it before them, with the parser of its options."""
    found: dict[str, argparse.ArgumentParser] = {}
    waiting = [("", whole_command_line())]
    while waiting:
        name, parser = waiting.pop()
        parts = [action for action in parser._actions if isinstance(action, argparse._SubParsersAction)]
        waiting += [(f"{name} {part}".strip(), one) for action in parts for part, one in action.choices.items()]
        if name:
            found[name] = parser
    return found


def test_every_command_is_tried() -> None:
    assert set(commands()) == set(ENOUGH)


@st.composite
def typed(draw: st.DrawFn, name: str) -> list[str]:
    """What is needed to run a command, and after it one to three of its options with values that do not suit."""
    parser = commands()[name]
    options = [action for action in parser._actions if action.dest not in ("help", "version", "command")]
    values = st.one_of(st.sampled_from(NASTY), st.text(st.characters(exclude_characters="/"), max_size=20))
    arguments = list(ENOUGH[name])
    for option in draw(st.lists(st.sampled_from(options), min_size=1, max_size=3)):
        count = option.nargs if isinstance(option.nargs, int) else 1
        given = [] if count == 0 else [draw(values) for _ in range(count)]
        if not option.option_strings:
            arguments = [draw(values), *arguments[1:]]
        elif len(given) == 1 and draw(st.booleans()):
            arguments.append(f"{option.option_strings[0]}={given[0]}")
        else:
            arguments += [option.option_strings[0], *given]
    return [*name.split(), *arguments]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A folder with a studio of three invented plates and files of all sorts; commands run in it, and it is home."""
    folder = tmp_path_factory.mktemp("bench")
    with Studio.open(folder / "studio") as studio:
        studio.record_all(
            Trial(
                Recipe("bronze", None, (Coat("ferric nitrate", 0.5, passes, 105.0),)), Reading(lab=(60 - passes, 9, 9))
            )
            for passes in (2, 5, 9)
        )
        for name, role in (("Ines", Role.OWNER), ("Marek", Role.HELPER)):
            studio.access.people.add(name, role)
        studio.save_profile(a_profile())
        studio.save_stock("Fe 1", "ferric nitrate", 400.0)
        studio.commissions.save(Commission("Heron", "bronze", areas=(Area("bird"),)))
        studio.backup(folder / "kept.zip")
    Studio.open(folder / "another").close()
    scene = scenes.Scene(400, 300).lay(scenes.box(30, 75, 150, 165), scenes.GREY)
    (folder / "plate.png").write_bytes(scenes.png(scene.lay(scenes.box(210, 60, 370, 230), scenes.BROWN).codes()))
    (folder / "folder").mkdir()
    os.mkfifo(folder / "pipe")
    (folder / "table.csv").write_text("alloy,lab_l,lab_a,lab_b\nbronze,38,14,22\n")
    lay_out(folder)
    (folder / "deep.json").write_text("[" * 100_000)
    (folder / "long.json").write_text('{"alloy": "bronze", "' + "very long " * 500 + '": ' + "9" * 5000 + "}")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("MATCHER_STUDIO", str(folder / "studio"))
        for home in ("HOME", "XDG_DATA_HOME"):
            patch.setenv(home, str(folder / "home"))
        patch.setattr(page, "serve", lambda *_: None)
        patch.setattr("sys.stdin", io.StringIO())
        patch.setattr("matcher.demo.make_demo_studio", Studio.open)  # the demo's many files take long to copy
        patch.chdir(folder)
        yield folder


def lay_out(folder: Path) -> None:
    """Put the files there that no command may write over unasked."""
    for name in THERE:
        (folder / name).write_bytes(MINE)


@pytest.mark.parametrize("name", ENOUGH)
def test_whatever_is_typed_is_answered_or_refused_in_one_short_sentence(name: str, folder: Path) -> None:
    @examples(10, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
    @given(typed(name))
    def run(arguments: list[str]) -> None:
        for new in folder.glob("new.*"):
            new.unlink()
        lay_out(folder)
        out, err = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), ended_in_time():
            code = main(arguments)
        said = err.getvalue()
        if code == 0:
            assert said == ""
        else:
            assert code == 2 and out.getvalue() == ""
            assert said.endswith("\n") and said.count("\n") == 1 and len(said) <= LONGEST_ERROR + 1, said
        assert "--overwrite" in arguments or all((folder / name).read_bytes() == MINE for name in THERE)

    run()


@contextlib.contextmanager
def ended_in_time() -> Iterator[None]:
    """Fail where a command waits for ever, as on a pipe that nobody writes to."""

    def fail(*_: object) -> None:
        raise TimeoutError(f"not done after {SECONDS} s")

    before = signal.signal(signal.SIGALRM, fail)
    signal.alarm(SECONDS)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)
