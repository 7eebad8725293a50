"""What a list of 50 plates costs: bytes in the page and time on the server, with pictures in the page and by address.

Run: python -m tests.benchmarks.bench_pictures --plates 50 --kept 5000

Seconds of this process's own work in one run: compare them with each other. Written into the page, as it was once, each
small photograph is text in base64 that travels again whenever the page runs; by address, the server makes each once.
Last, what the made pictures of a large studio take on the disk, and how long it takes to find one among them.
"""

from __future__ import annotations

import argparse
import base64
import itertools
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from matcher.demo import make_demo_studio
from matcher.photo.photo import open_photo
from matcher.photo.small import patch_key, small_jpeg
from matcher.storage.made_pictures import MadePictures
from matcher.studio import Studio
from matcher.trials.trial import Trial

PHOTOGRAPH_SIDE, PATCH_SIDE = 480, 240


def main() -> None:
    """Print a line for each figure."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--plates", type=int, default=50)
    options.add_argument("--kept", type=int, default=5000)
    given = options.parse_args()
    with tempfile.TemporaryDirectory() as name, make_demo_studio(Path(name) / "demo") as studio:
        plates = [trial for trial in studio.trials() if trial.photos][: given.plates]
        _list_of(studio, plates)
        _many(studio, plates, Path(name) / "made", given.kept)


def _list_of(studio: Studio, plates: list[Trial]) -> None:
    from ui.photograph.photographs import image
    from ui.show.patches import plate_patch

    def in_the_page() -> str:
        photographs = (small_jpeg(open_photo(studio.photo_path(t.photos[0])), PHOTOGRAPH_SIDE) for t in plates)
        return "".join(
            f'<img src="data:image/jpeg;base64,{base64.b64encode(jpeg).decode()}" alt="">' for jpeg in photographs
        )

    def served() -> list[bytes]:
        return [studio.small_photo(trial.photos[0], PHOTOGRAPH_SIDE) for trial in plates]

    def patches() -> list[bytes]:
        return [studio.patch(patch_key(t.reading), PATCH_SIDE, lambda t=t: t.reading) for t in plates]  # type: ignore[misc]

    page, before = _timed(in_the_page)
    named, after = _timed(lambda: "".join(image(studio, t.photos[0], "", PHOTOGRAPH_SIDE) for t in plates))
    named_patches, after_patches = _timed(lambda: "".join(map(plate_patch, plates)))
    print(f"{len(plates)} plates, the page's own text:")
    print(f"  photographs in the page   {len(page):>9,} bytes  {before:.3f} s (anew on every run: the bytes)")
    print(
        f"  photographs by address    {len(named):>9,} bytes  {after:.3f} s  ({len(page) / len(named):.0f} times less)"
    )
    print(f"  patches by address        {len(named_patches):>9,} bytes  {after_patches:.3f} s")
    print("what the browser then asks for, once:")
    for what, ask in (("photographs", served), ("patches", patches)):
        (given, first), (_, again) = _timed(ask), _timed(ask)
        print(f"  {what:<25} {sum(map(len, given)):>9,} bytes  {first:.3f} s made, {again:.3f} s found again")


def _many(studio: Studio, plates: list[Trial], folder: Path, count: int) -> None:
    """Keep as many pictures as a large studio has, of the few that there are, under names of their own."""
    few = [studio.small_photo(trial.photos[0], PHOTOGRAPH_SIDE) for trial in plates]
    made = MadePictures(folder)
    jpegs = list(itertools.islice(itertools.cycle(few), count))

    def keep() -> None:
        for number, jpeg in enumerate(jpegs):
            made.get(str(number), lambda jpeg=jpeg: jpeg)  # type: ignore[misc]

    def find() -> None:
        for number in range(count):
            made.get(str(number), _not_again)

    (_, kept), (_, found) = _timed(keep), _timed(find)
    size = sum(path.stat().st_size for path in folder.glob("??/*"))
    most = made.most_bytes / 1e6
    print(f"{count:,} photographs of {PHOTOGRAPH_SIDE} pixels: {size / 1e6:.0f} MB of at most {most:.0f} MB,")
    print(f"  {kept / count * 1000:.2f} ms to keep one, {found / count * 1000:.2f} ms to find it")


def _not_again() -> bytes:
    raise AssertionError("this picture was kept")


def _timed(step: Callable[[], Any]) -> tuple[Any, float]:
    start = time.process_time()
    result = step()
    return result, time.process_time() - start


if __name__ == "__main__":
    main()
