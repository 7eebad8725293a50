"""Three benches log into one database while they, the server and its database are killed at random moments.

Run: python -m tests.benchmarks.bench_three_benches --runs 200 --seed 1

Each bench is a process of its own that keeps photographs, logs plates, corrects them, and counts passes of pieces on
the bench, as fast as it can, and writes down what it was told is kept; one of them counts on the page, by its button.
In each run some of them are killed (SIGKILL), or a process of the database, or the whole server; its disk is flushed as
in a workshop (fsync on). Afterwards nothing that was acknowledged may be lost, nothing may be there twice, and every
photograph must be whole. A bench that was stopped does again what it was not told is kept, under the same uid, as a
person would.
"""

from __future__ import annotations

import argparse
import hashlib
import logging
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace
from multiprocessing.context import ForkServerProcess
from pathlib import Path
from typing import TextIO

import numpy as np

from matcher.bench.shelf import now
from matcher.bench.work import Piece
from matcher.errors import StudioError
from matcher.recipe.recipe import Coat, Recipe
from matcher.studio import Studio
from matcher.studio.keeping.check import check
from matcher.trials.facts import facts_of
from tests.app_pages import open_page, said_on
from tests.forked import forked
from tests.plates import a_photograph, a_trial
from tests.postgres_server import free_port, fresh_database, programs

PAGE = "page"
NAMES = ("bench", "another", PAGE)
PASSES = 3
RECIPE = Recipe("silicon bronze", coats=(Coat("ferric nitrate", 0.5, passes=6, surface_temp_c=105.0),))
RUNS_A_DATABASE = 10
"""After so many runs a new one: looking through a long log would take most of the time."""
PATIENCE_S = 120.0


# What a bench does


def work(url: str, name: str, folder: Path) -> None:
    """Work until told to stop; write a line for each thing that is begun, and once it is kept."""
    os.environ["MATCHER_PHOTOS"] = str(folder / f"{name} photographs")
    os.environ["MATCHER_STUDIO"] = url
    logging.disable(logging.ERROR)  # Streamlit's own, that nothing is served
    said_in, stop = folder / f"{name}.said", folder / "stop"
    said_before = list(_said(said_in)) if said_in.exists() else []
    at = max((number for _, number, _ in said_before), default=0)
    told = {(what, *rest) for what, number, rest in said_before if number == at}
    with said_in.open("a") as said:
        studio: Studio | None = None
        while not stop.exists():
            try:
                studio = studio or Studio.open(url)
                _one_plate(studio, name, at, told, said)
                at, told = at + 1, set()
            except StudioError:  # what was not acknowledged is done again; what was is not
                time.sleep(0.02)
            except Exception:
                with (folder / "faults").open("a") as faults:
                    traceback.print_exc(file=faults)
                raise
        if studio is not None:
            studio.close()


def _one_plate(studio: Studio, name: str, at: int, told: set[tuple[object, ...]], said: TextIO) -> None:
    """Do what is not told to be kept of one plate: keep its photograph, log it, correct it, lay passes of its piece."""

    def say(what: str, *rest: int) -> None:
        print(what, at, *rest, file=said, flush=True)
        told.add((what, *rest))

    uid = uid_of(name, at)
    if ("begun",) not in told:
        say("begun")
    data = photograph(name, at)
    sha256 = hashlib.sha256(data).hexdigest()
    if ("photograph",) not in told:
        studio.keep_photo(data, f"{uid}.jpg")
        say("photograph")
    if ("plate",) not in told:
        studio.record(a_trial(20.0 + at % 60, uid=uid, photos=(sha256,), piece=uid), who=name)
        say("plate")
    if ("correction",) not in told:
        (number,) = [trial.id or 0 for trial in studio.trials() if trial.uid == uid]
        was = facts_of(studio.trial(number))
        studio.correct(number, replace(was, notes=corrected(uid)), instead_of=was, who=name)
        say("correction")
    piece = studio.shelf.find(uid) or studio.shelf.put(Piece(uid, RECIPE, name=uid))
    counting = _on_the_page(uid) if name == PAGE else _in_the_log(studio, uid)
    for done in range(sum(piece.counts), PASSES):  # what was counted without being acknowledged is seen on the piece
        counting()
        say("pass", done + 1)


def _in_the_log(studio: Studio, uid: str) -> Callable[[], None]:
    def count() -> None:
        studio.shelf.change(uid, lambda piece: piece.count(piece.at, now()))

    return count


def _on_the_page(uid: str) -> Callable[[], None]:
    """Return what presses the page's button; a press counts once the page, worked out anew, stands at another count."""
    page = open_page("bench", piece=uid)

    def stands() -> str:
        found = re.search(r'class="pm-laid">([^<]*)<', said_on(page))
        if found is None:
            raise StudioError("The page says that something else is wrong.")
        return found[1]

    def count() -> None:
        before = stands()
        found = [item for item in page.button if item.key == "bench-pass"]
        if not found:
            raise StudioError("The page has no button for it just now.")
        found[0].click().run()
        if stands() == before:
            raise StudioError("The page says that it was not counted.")

    return count


def uid_of(name: str, at: int) -> str:
    return f"{name}-{at}"


def corrected(uid: str) -> str:
    return f"Corrected at the bench: {uid}."


def photograph(name: str, at: int) -> bytes:
    """Return what is taken for a photograph, every third one of several pieces."""
    seed = int.from_bytes(hashlib.sha256(uid_of(name, at).encode()).digest()[:4], "big")
    size = 2_500_000 if at % 3 == 0 else 200_000
    return a_photograph(seed) + np.random.default_rng(seed).bytes(size)


# The server


class Server:
    """A PostgreSQL of its own, that flushes its disk, and can be killed and started again."""

    def __init__(self, folder: Path) -> None:
        found = programs()
        if found is None:
            raise SystemExit("Install PostgreSQL first.")
        self._programs, self._folder, self._data, self.port = found, folder, folder / "data", free_port()
        self._as_server = []
        if os.geteuid() == 0:  # the server refuses to run as the superuser
            shutil.chown(folder, "postgres")
            self._as_server = ["runuser", "-u", "postgres", "--"]
        self._run(
            "initdb", "-D", str(self._data), "-U", "studio", "-A", "trust", "-E", "UTF8", "--locale=C", "--no-sync"
        )

    @property
    def url(self) -> str:
        return f"postgresql://studio@127.0.0.1:{self.port}/postgres"

    def start(self) -> None:
        options = f"-p {self.port} -c listen_addresses=127.0.0.1 -c unix_socket_directories={self._folder} -c fsync=on"
        if b" 13." not in subprocess.check_output([self._programs / "postgres", "--version"]):
            options += " -c recovery_init_sync_method=syncfs"  # the whole disk at once, not file by file
        until = time.monotonic() + PATIENCE_S
        while True:  # what a killed server leaves behind ends by itself, and holds the next one up until then
            try:
                self._run(
                    "pg_ctl", "-D", str(self._data), "-o", options, "-l", str(self._folder / "log"), "-w", "start"
                )
                return
            except subprocess.CalledProcessError:
                if time.monotonic() > until:
                    raise
                time.sleep(0.2)

    def stop(self) -> None:
        with suppress(subprocess.CalledProcessError):
            self._run("pg_ctl", "-D", str(self._data), "-m", "immediate", "stop")

    def wait(self) -> None:
        """Wait until it answers; one that gave up, because it was hit again while it recovered, is started again."""
        until = time.monotonic() + PATIENCE_S
        while True:
            if not self._runs():
                self.start()
            try:
                self._run("pg_isready", "-h", "127.0.0.1", "-p", str(self.port))
                return
            except subprocess.CalledProcessError:
                if time.monotonic() > until:
                    raise
                time.sleep(0.05)

    def kill(self) -> None:
        """End the server as a power cut would, for all that it can tell."""
        with suppress(OSError):  # it may have given up by itself
            os.kill(self._pid(), signal.SIGKILL)

    def kill_one_process(self, dice: np.random.Generator) -> None:
        """Kill one process of the server, upon which it ends all connections and recovers."""
        children = sorted(int(entry.name) for entry in Path("/proc").iterdir() if self._is_mine(entry.name))
        if children:
            with suppress(ProcessLookupError):
                os.kill(int(dice.choice(children)), signal.SIGKILL)

    def _is_mine(self, pid: str) -> bool:
        """Tell whether a process is the server's child: proc(5), the second word behind the name in stat."""
        with suppress(OSError):
            return (
                pid.isdecimal()
                and int(Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[1]) == self._pid()
            )
        return False

    def _runs(self) -> bool:
        with suppress(OSError):
            os.kill(self._pid(), 0)
            return True
        return False

    def _pid(self) -> int:
        return int((self._data / "postmaster.pid").read_text().split()[0])

    def _run(self, program: str, *arguments: str) -> None:
        command = [*self._as_server, str(self._programs / program), *arguments]
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, cwd=self._folder)


@contextmanager
def running_server() -> Iterator[Server]:
    folder = Path(tempfile.mkdtemp(prefix="three-benches-"))
    try:
        server = Server(folder)
        server.start()
        try:
            yield server
        finally:
            server.stop()
    finally:
        shutil.rmtree(folder, ignore_errors=True)


# The runs


@dataclass
class Found:
    """What the runs came to. lost, doubled: each a line that says what."""

    runs: int = 0
    kills: Counter[str] = field(default_factory=Counter)
    acknowledged: Counter[str] = field(default_factory=Counter)
    lost: list[str] = field(default_factory=list)
    doubled: list[str] = field(default_factory=list)
    unsound: list[str] = field(default_factory=list)


def one_run(server: Server, url: str, folder: Path, dice: np.random.Generator, found: Found, names: list[str]) -> None:
    """Let the benches work, kill what the dice say, and look at what is kept."""
    stop = folder / "stop"
    stop.unlink(missing_ok=True)
    benches = {name: _begin(url, name, folder) for name in names}
    try:
        _until_all_work(folder, names)
        for _ in range(int(dice.integers(1, 4))):
            time.sleep(float(dice.uniform(0.05, 0.8)))
            victim = str(dice.choice(["bench", "all benches", "database process", "server", "all"]))
            found.kills[victim] += 1
            if victim in ("bench", "all benches", "all"):
                for name in names if victim != "bench" else [str(dice.choice(names))]:
                    benches[name].kill()
                    benches[name].join()
                    if victim != "all":
                        benches[name] = _begin(url, name, folder)
            if victim == "database process":
                server.kill_one_process(dice)
            if victim in ("server", "all"):
                server.kill()
                server.start()
            if victim == "all":
                benches = {name: _begin(url, name, folder) for name in names}
        server.wait()
        time.sleep(0.5)
        stop.touch()
        for bench in benches.values():
            bench.join(PATIENCE_S)
    finally:
        for bench in benches.values():
            bench.kill()
    found.runs += 1
    look(url, folder, names, found)


def _begin(url: str, name: str, folder: Path) -> ForkServerProcess:
    return forked(work, url, name, folder)


def _until_all_work(folder: Path, names: list[str]) -> None:
    """Wait until each bench has begun something; ``said`` grows with every run."""
    until = time.monotonic() + PATIENCE_S
    sizes = {name: _size(folder / f"{name}.said") for name in names}
    while any(_size(folder / f"{name}.said") == sizes[name] for name in names):
        if time.monotonic() > until:
            raise SystemExit(f"A bench did not begin: see {folder}.")
        time.sleep(0.02)


def _size(path: Path) -> int:
    return path.stat().st_size if path.exists() else 0


def look(url: str, folder: Path, names: list[str], found: Found) -> None:
    """Compare what the benches were told is kept with what is there, as another machine sees it."""
    os.environ["MATCHER_PHOTOS"] = str(folder / f"looking {found.runs}")
    with Studio.open(url) as studio:
        plates = Counter(str(trial.uid) for trial in studio.trials())
        by_uid = {trial.uid: trial for trial in studio.trials()}
        pieces = {piece.uid: piece for piece in studio.shelf.pieces()}
        lines = Counter((line.what, line.subject) for line in studio.history("trial"))
        photos = studio.photos.kept()
        for name in names:
            for what, at, rest in _said(folder / f"{name}.said"):
                if what == "begun":
                    continue
                uid = uid_of(name, at)
                found.acknowledged["pass on the page" if (what, name) == ("pass", PAGE) else what] += 1
                trial = by_uid.get(uid)
                kept = {
                    "photograph": hashlib.sha256(photograph(name, at)).hexdigest() in photos,
                    "plate": trial is not None and trial.piece == uid and len(trial.recipe.coats) == 2,
                    "correction": trial is not None and trial.notes == corrected(uid),
                    "pass": uid in pieces and bool(rest) and sum(pieces[uid].counts) >= rest[0],
                }[what]
                if not kept:
                    found.lost.append(f"run {found.runs}: {what} {uid} {rest}")
        found.doubled += [f"run {found.runs}: plate {uid}" for uid, count in plates.items() if count > 1]
        found.doubled += [f"run {found.runs}: {key}" for key, count in lines.items() if count > 1]
        found.doubled += [
            f"run {found.runs}: passes of {uid}" for uid, piece in pieces.items() if sum(piece.counts) > PASSES
        ]
        if (folder / "faults").exists():
            found.unsound.append(f"run {found.runs}: {(folder / 'faults').read_text()}")
        checked = check(studio)
        if not checked.sound:
            found.unsound.append(f"run {found.runs}: {checked}")
        for trial in list(by_uid.values())[-5:]:
            if hashlib.sha256(studio.photo_path(trial.photos[0]).read_bytes()).hexdigest() != trial.photos[0]:
                found.unsound.append(f"run {found.runs}: photograph of {trial.uid}")
    shutil.rmtree(os.environ["MATCHER_PHOTOS"], ignore_errors=True)


def _said(path: Path) -> Iterator[tuple[str, int, tuple[int, ...]]]:
    """Yield what was written down: what, of which plate, and how many passes."""
    for line in path.read_text().splitlines(keepends=True):
        words = line.split()
        if line.endswith("\n") and len(words) > 1:
            yield words[0], int(words[1]), tuple(map(int, words[2:]))


def runs(count: int, seed: int, tell: Callable[[str], None]) -> Found:
    """Make so many runs; ``tell`` is called with a line now and then."""
    found, dice = Found(), np.random.default_rng(seed)
    with running_server() as server:
        left = count
        while left:
            portion = min(left, RUNS_A_DATABASE)
            left -= portion
            with fresh_database(server.url) as url, tempfile.TemporaryDirectory(prefix="benches-") as name:
                for _ in range(portion):
                    one_run(server, url, Path(name), dice, found, list(NAMES))
            tell(
                f"{found.runs} runs, kills {dict(found.kills)}, acknowledged {dict(found.acknowledged)}, "
                f"lost {len(found.lost)}, doubled {len(found.doubled)}, unsound {len(found.unsound)}"
            )
    return found


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--runs", type=int, default=200)
    options.add_argument("--seed", type=int, default=1)
    typed = options.parse_args()
    from tests.benchmarks import bench_three_benches as itself  # by its name: its benches run in processes of their own

    found = itself.runs(typed.runs, typed.seed, lambda line: print(line, flush=True))
    for line in (*found.lost, *found.doubled, *found.unsound):
        print(line)
    sys.exit(bool(found.lost or found.doubled or found.unsound))


if __name__ == "__main__":
    main()
