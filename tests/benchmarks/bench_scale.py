"""A log of a million invented plates on PostgreSQL: ranking and the front page, beside reading the whole log.

Run: MATCHER_TEST_POSTGRES=postgresql://… python -m tests.benchmarks.bench_scale --plates 10000 100000 1000000

Each size is a database of its own, copied in and dropped at the end. What was there before (the log read whole, ranked
in memory) is measured up to --before plates. The lists are compared with brute force.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from functools import partial
from uuid import uuid4

import numpy as np
import sqlalchemy as sa

from matcher.colour.difference import delta_e_2000, near_uniform
from matcher.colour.types import Floats
from matcher.colour.words_for_colours import shade_place
from matcher.ranking.finding import ANY, FACETS, ORDERS, Wanted
from matcher.ranking.in_log import ALL, Among
from matcher.ranking.nearest import nearest
from matcher.reading.reading import Reading
from matcher.studio import Studio
from tests.postgres_server import fresh_database, server_url

ALLOYS = ("silicon bronze", "tin bronze", "brass", "copper")
CHEMICALS = ("ferric nitrate", "cupric nitrate", "liver of sulphur", "bismuth nitrate", "ammonium chloride")
UNDERCOATS = (None, "liver of sulphur", "ammonium sulphide")
STRENGTHS, TEMPS_C = (0.25, 0.5, 0.75, 1.0), (80.0, 90.0, 100.0, 110.0, 120.0)
MAKERS = ("A. Quill-Marsh", "B. Oduya-Lind", "C. Fennick", "D. Tarrow-Vale")
FIRST_DAY = datetime(2014, 1, 6, tzinfo=UTC)
_FRONT_PAGE = """
import os, re, sys, time
os.environ["MATCHER_STUDIO"] = sys.argv[1]
from streamlit.testing.v1 import AppTest
started = time.perf_counter()
app = AppTest.from_file("ui/app.py", default_timeout=600).run()
assert not app.exception and "Newest plates" in [one.value for one in app.header]
if sys.argv[2] == "1":
    from ui.state.open_studio import logged, the_studio
    logged(the_studio())
took = time.perf_counter() - started
peak = re.search(r"VmHWM:\\s+(\\d+)", open("/proc/self/status").read())[1]  # ru_maxrss would be the parent's too
print(took, int(peak) / 1024)
"""
EVERY_MIN = 6
AT_ONCE = 20_000
TIMES = 200


def main() -> None:
    """Print what was measured for each size; stop when a list differs from brute force."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--plates", type=int, nargs="+", default=[10_000, 100_000, 1_000_000])
    parser.add_argument("--before", type=int, default=100_000, help="the longest log that is read whole")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    with server_url() as server:
        for count in options.plates:
            with fresh_database(server) as url:
                _measure(url, count, options.seed, count <= options.before)


def _measure(url: str, count: int, seed: int, before: bool) -> None:
    rng = np.random.default_rng(seed)
    print(f"{count:,} plates")
    started = time.perf_counter()
    labs = build(url, count, rng)
    print(f"  copied in          {time.perf_counter() - started:8.1f} s")
    with Studio.open(url) as studio:
        started = time.perf_counter()
        studio.ranking.rank((40, 10, 20), 1)
        print(f"  index made         {time.perf_counter() - started:8.1f} s")
        _rank(studio, labs, rng)
        _find(studio)
        _start(url, before)
        if before:
            _rank_before(studio, labs, rng)


def _rank(studio: Studio, labs: Floats, rng: np.random.Generator) -> None:
    beside = labs[rng.integers(len(labs), size=TIMES)] + rng.normal(0, 2, (TIMES, 3))
    beside[:, 0] = np.clip(beside[:, 0], 0, 100)
    far = np.array([(95.0, 0, 0), (20, 35, 45), (60, -50, 40), (5, 0, 0), (50, 0, -60)])
    since = FIRST_DAY + timedelta(minutes=EVERY_MIN * len(labs) * 3 / 4)
    asked: tuple[tuple[str, Floats, int, Among], ...] = (
        ("beside plates, 5", beside, 5, ALL),
        ("beside plates, 100", beside, 100, ALL),
        ("far from all, 5", far, 5, ALL),
        ("one alloy, 5", beside, 5, Among(alloy="tin bronze")),
        ("one chemical, 5", beside, 5, Among(chemical="bismuth nitrate")),
        ("made lately, 5", beside, 5, Among(made_since=since)),
    )
    for name, targets, count, among in asked:
        times, compared = [], []
        for target in targets:
            started = time.perf_counter()
            ranked = studio.ranking.rank(target, count, among)
            times.append(1000 * (time.perf_counter() - started))
            compared.append(ranked.compared)
            if among is ALL and len(times) <= 20:
                _check(name, labs, target, ranked.numbers, ranked.delta_e00)
        print(f"  {name:18s} {_spread(times)}   compared {int(np.median(compared)):,} (most {max(compared):,})")


def _find(studio: Studio) -> None:
    """Print what the log's page waits for: what searches it, the first plates of each order, the next, rare words."""
    print(f"  finder made        {_ms(studio.finder):8.0f} ms", end="")
    finder = studio.finder()
    print(f"   values of all facets {_ms(lambda: [finder.choices(facet) for facet in FACETS]):.0f} ms")
    for order in ORDERS:
        like = (38.0, 12.0, 20.0) if order == "likeness" else None
        pages = [_ms(partial(finder.find, ANY, order, like, most)) for most in (300, 600, 900)]
        print(f"  {order:18s} first 300, then twice as many more: {', '.join(f'{ms:,.0f}' for ms in pages)} ms")
    for name, wanted in (
        ("one of 5 chemicals", Wanted(chosen=(("chemical", ("bismuth nitrate",)),))),
        ("a colour", Wanted(colours=("dark brown",))),
        ("words of a fifth", Wanted(words="bismuth")),
        ("words of none", Wanted(words="nothing-of-the-kind")),
    ):
        found = finder.find(wanted, "newest", most=1)  # the first look fills the server's memory
        took = _ms(partial(finder.find, wanted, "newest", None, 300))
        found = finder.find(wanted, "newest", most=300)
        print(f"  {name:18s} {took:,.0f} ms, {len(found.trials)} found, looked through {found.looked_through}")


def _start(url: str, before: bool) -> None:
    """Print how long the first page takes in a process of its own, and its memory; before: with the log read whole."""
    for said, reads_all in (("front page", "0"), *([("before: front page", "1")] if before else [])):
        done = subprocess.run(
            [sys.executable, "-c", _FRONT_PAGE, url, reads_all], capture_output=True, text=True, check=True
        )
        seconds, megabytes = done.stdout.split()[-2:]
        print(f"  {said:18s} {float(seconds):8.1f} s   {float(megabytes):,.0f} MB")


def _check(name: str, labs: Floats, target: Floats, numbers: tuple[int, ...], delta: Floats) -> None:
    rows, every = nearest(target, labs, len(numbers))
    if [number - 1 for number in numbers] != rows.tolist() or delta.tolist() != every.tolist():
        raise SystemExit(f"The list for {name} at {target} differs from that of every plate.")
    if len(labs) <= 100_000 and delta.tolist() != np.sort(delta_e_2000(target, labs))[: len(numbers)].tolist():
        raise SystemExit(f"The list for {name} at {target} differs from brute force.")


def _rank_before(studio: Studio, labs: Floats, rng: np.random.Generator) -> None:
    started = time.perf_counter()
    trials = studio.trials()
    read_s = time.perf_counter() - started
    own = np.array([trial.reading.lab for trial in trials])
    times = [_ms(lambda: nearest(labs[rng.integers(len(labs))], own, 5)) for _ in range(20)]
    print(f"  before: log read   {read_s:8.1f} s, then {_spread(times)}")


def build(url: str, count: int, rng: np.random.Generator) -> Floats:
    """Make a studio of invented plates at a URL; return their colours (n, 3), plate 1 first."""
    Studio.open(url).close()
    engine = sa.create_engine(sa.make_url(url).set(drivername="postgresql+psycopg"))
    tables = {
        "trials": "id,uid,made_at,made_by,piece,alloy,surface,undercoat_chemical,undercoat_strength_of_stock,"
        "undercoat_burnish,notes,logged_at",
        "coats": "trial_id,position,chemical,strength_of_stock,passes,surface_temp_c,application",
        "readings": "trial_id,position,stage,lab_l,lab_a,lab_b,variance_l,variance_a,variance_b,covariance_la,"
        "covariance_lb,covariance_ab,source,whole",
        "plate_colours": "trial_id,lab_l,lab_a,lab_b,near_l,near_a,near_b,shade",
        "history": "at,who,what,kind,subject,detail",
    }
    parts = []
    with engine.begin() as connection:
        driver = connection.connection.dbapi_connection
        assert driver is not None
        for start in range(0, count, AT_ONCE):
            labs, rows = _plates(start, min(AT_ONCE, count - start), rng)
            parts.append(labs)
            for table, columns in tables.items():
                with driver.cursor().copy(f"COPY {table} ({columns}) FROM STDIN") as copy:
                    for row in rows[table]:
                        copy.write_row(row)
        connection.execute(sa.text("SELECT setval('trials_id_seq', :last)"), {"last": count})
        connection.execute(sa.text("UPDATE studio SET trials_revision = trials_revision + 1"))
    with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.execute(sa.text("VACUUM ANALYZE"))
    engine.dispose()
    return np.concatenate(parts)


def _plates(start: int, count: int, rng: np.random.Generator) -> tuple[Floats, dict[str, Iterator[tuple[object, ...]]]]:
    """Return colours (n, 3) of plates and the rows of each table; recipes and their chemistry are invented."""
    alloy, chemical, undercoat, strength, temp, maker = (
        rng.integers(len(names), size=count) for names in (ALLOYS, CHEMICALS, UNDERCOATS, STRENGTHS, TEMPS_C, MAKERS)
    )
    passes = rng.integers(1, 13, count)
    dose = passes * np.array(STRENGTHS)[strength] * (0.6 + 0.01 * (np.array(TEMPS_C)[temp] - 80))
    film = 1 - np.exp(-dose / 3)
    hue = np.radians(np.array([55.0, 170.0, 75.0, 95.0, 200.0])[chemical] + 12 * alloy - 15 * (undercoat > 0))
    chroma = 38 * film * np.exp(-film) * 1.6 + 4
    labs = np.stack([72 - 50 * film - 8 * undercoat, chroma * np.cos(hue), chroma * np.sin(hue)], 1)
    labs = labs + rng.normal(0, [1.5, 0.8, 1.0], (count, 3))
    labs[:, 0] = np.clip(labs[:, 0], 2, 98)
    near, whole = near_uniform(labs), Reading((50.0, 0.0, 0.0)).as_dict()
    days = [FIRST_DAY + timedelta(minutes=EVERY_MIN * (start + at)) for at in range(count)]
    numbers = range(start + 1, start + count + 1)

    def under(at: int) -> tuple[object, ...]:
        name = UNDERCOATS[undercoat[at]]
        return (name, None, None) if name is None else (name, 0.5, 0.25)

    rows: dict[str, Iterator[tuple[object, ...]]] = {
        "trials": (
            (
                number, uuid4().hex, days[at], MAKERS[maker[at]], "", ALLOYS[alloy[at]], "bright", *under(at), "",
                days[at],
            )
            for at, number in enumerate(numbers)
        ),
        "coats": (
            (
                number, 0, CHEMICALS[chemical[at]], STRENGTHS[strength[at]], int(passes[at]), TEMPS_C[temp[at]],
                "fine mist",
            )
            for at, number in enumerate(numbers)
        ),
        "readings": (
            (
                number, 0, "finished", *labs[at].tolist(), 0.09, 0.09, 0.09, 0.0, 0.0, 0.0, "instrument",
                json.dumps({**whole, "lab": labs[at].tolist()}),
            )
            for at, number in enumerate(numbers)
        ),
        "plate_colours": (
            (number, *labs[at].tolist(), *near[at].tolist(), shade_place(labs[at])) for at, number in enumerate(numbers)
        ),
        "history": ((days[at], MAKERS[maker[at]], "recorded", "trial", str(number), "")
                    for at, number in enumerate(numbers)),
    }  # fmt: skip
    return labs, rows


def _ms(asked: Callable[[], object]) -> float:
    started = time.perf_counter()
    asked()
    return 1000 * (time.perf_counter() - started)


def _spread(times: list[float]) -> str:
    half, most = np.percentile(times, [50, 95])
    return f"p50 {half:6.1f} ms  p95 {most:6.1f} ms"


if __name__ == "__main__":
    main()
