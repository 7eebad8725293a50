"""Many people at once: how long a page takes each of them, on a studio of many plates that is served by HTTPS.

Run: python -m tests.benchmarks.bench_sessions --sessions 50 --plates 5000

Every session signs in and speaks to the server as a browser does: a websocket, Streamlit's own messages. Each opens
page after page, with a pause between (--pause, seconds: how long a person looks at one). The time of a page is from the
request to the end of its run, which is when a browser has all that it draws. The server has the machine to itself but
for this. The plates are invented. A whole process of sessions shares the machine's cores with the server.
"""

from __future__ import annotations

import argparse
import asyncio
import random
import ssl
import tempfile
import time
from collections import defaultdict
from pathlib import Path

import numpy as np
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from websockets.asyncio.client import ClientConnection, connect

from matcher.hands import Role
from matcher.reading.reading import Reading
from matcher.studio import Studio
from matcher.trials.trial import Target
from tests.benchmarks.bench_wall import invented_plates
from tests.served_network import COOKIE, GOOD, Server, on_the_network

PAGES = {
    "start": ("start", ""),
    "wall": ("log", ""),
    "a plate": ("log", "plate={plate}"),
    "wall, searched": ("log", "q=ferric"),
    "suggestions": ("suggestions", "target=1"),
    "bench": ("bench", ""),
    "record": ("record", ""),
    "solutions": ("solutions", ""),
}
"""Pages that are opened, by what the table calls them: address and query."""
END_OF_RUN_S = 120.0


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--plates", type=int, default=5000)
    options.add_argument("--sessions", type=int, default=50)
    options.add_argument("--pages", type=int, default=8, help="how many each session opens")
    options.add_argument("--pause", type=float, default=10.0, help="seconds between two pages of one session")
    chosen = options.parse_args()
    with tempfile.TemporaryDirectory() as top:
        folder = Path(top) / "studio"
        with Studio.open(folder) as studio:
            studio.record_all(invented_plates(chosen.plates))
            studio.save_target(Target("Hall", Reading(lab=(38.0, 12.0, 22.0))))
            studio.access.people.add("Ines Invented", Role.OWNER, GOOD)
        with on_the_network(Path(top), folder) as server:
            secret = server.enter("Ines Invented", GOOD)
            asyncio.run(_measure(server, secret, chosen))


async def _measure(server: Server, secret: str, chosen: argparse.Namespace) -> None:
    alone: dict[str, list[float]] = defaultdict(list)
    for _ in range(2):  # the first time what is kept for all is worked out
        alone.clear()
        for name in PAGES:
            async with _session(server, secret) as one:
                alone[name].append(await _page(one, name, random.Random(1), chosen.plates))
    taken: dict[str, list[float]] = defaultdict(list)
    began = time.monotonic()
    await asyncio.gather(*(_person(server, secret, number, chosen, taken) for number in range(chosen.sessions)))
    whole = time.monotonic() - began
    print(f"{chosen.sessions} sessions, {chosen.plates} plates, a page every {chosen.pause:g} s each; {whole:.0f} s")
    print(f"{'page':<18}{'alone':>8}{'p50':>8}{'p95':>8}{'most':>8}{'count':>7}   seconds")
    for name, times in sorted(taken.items()):
        p50, p95 = np.percentile(times, (50, 95))
        print(f"{name:<18}{alone[name][0]:8.2f}{p50:8.2f}{p95:8.2f}{max(times):8.2f}{len(times):7d}")
    every = [value for times in taken.values() for value in times]
    p50, p95 = np.percentile(every, (50, 95))
    print(f"{'all':<18}{'':>8}{p50:8.2f}{p95:8.2f}{max(every):8.2f}{len(every):7d}")


async def _person(
    server: Server, secret: str, number: int, chosen: argparse.Namespace, taken: dict[str, list[float]]
) -> None:
    dice = random.Random(number)
    await asyncio.sleep(dice.uniform(0, chosen.pause))
    async with _session(server, secret) as one:
        names = list(PAGES)
        for _ in range(chosen.pages):
            name = dice.choice(names)
            taken[name].append(await _page(one, name, dice, chosen.plates))
            await asyncio.sleep(dice.uniform(0.5, 1.5) * chosen.pause)


def _session(server: Server, secret: str) -> connect:
    context = ssl.create_default_context()
    context.load_verify_locations(cafile=str(server.authority))
    return connect(
        f"wss://{server.host}/_stcore/stream",
        ssl=context,
        origin=f"https://{server.host}",  # type: ignore[arg-type]
        additional_headers={"Cookie": f"{COOKIE}={secret}"},
        subprotocols=["streamlit"],  # type: ignore[list-item]
        max_size=None,
        open_timeout=60,
    )


async def _page(one: ClientConnection, name: str, dice: random.Random, plates: int) -> float:
    """Open a page and return the seconds until its run is over."""
    address, query = PAGES[name]
    asked = BackMsg()
    asked.rerun_script.page_name = address
    asked.rerun_script.query_string = query.format(plate=dice.randint(1, plates))
    began = time.perf_counter()
    await one.send(asked.SerializeToString())
    while True:
        heard = ForwardMsg.FromString(await asyncio.wait_for(one.recv(), END_OF_RUN_S))  # type: ignore[arg-type]
        if heard.WhichOneof("type") == "script_finished":
            if heard.script_finished == ForwardMsg.FINISHED_SUCCESSFULLY:
                return time.perf_counter() - began
            if heard.script_finished == ForwardMsg.FINISHED_WITH_COMPILE_ERROR:
                raise RuntimeError(f"{name} failed")


if __name__ == "__main__":
    main()
