"""How surely tags are found, and what it costs: `python -m tests.benchmarks.bench_tags`.

Shares found by one thing at a time: the tag's size (given as a share of a picture 4,000 pixels wide; only its own
pixels count, so the scenes are small, and are searched as parts of such a picture would be), tilt, blur, shade, JPEG
quality, noise. Seconds of one processor at 12 megapixels by the number of tags. And numbers that are wrong, or not
there, over many invented scenes, with and without tags: none may be.
``--others`` reads the same pictures with OpenCV's own detectors.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from matcher.card.card import load_cards
from matcher.colour.cielab import XYZ_D50_TO_SRGB, lab_to_xyz
from matcher.photo.photo import Photo
from matcher.tags import search
from matcher.tags.code import SIGNS, TagCode, carried, code_carried
from matcher.tags.mark import MARGIN, ROUND, symbol, tag_squares
from matcher.tags.search import find_plates
from tests.tag_scenes import INK, PAPER, Taken, bench, lay, photographed, scene, seen_corners, tag_face, with_margin

ADDRESS = "192.168.1.20:8501"
WIDTH = 4000
"""Pixels across a picture of 12 megapixels."""
USUAL = Taken(tilt=30, blur=1.0, shade=0.5, quality=85)
SMALL = (320, 240)
PART = (480, 400)
Finder = Callable[[Photo], list[str]]
Made = tuple[NDArray[np.float32], list[str]]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--scenes", type=int, default=10_000, help="for wrong numbers")
    parser.add_argument("--each", type=int, default=40, help="scenes for each share found")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--others", action="store_true", help="OpenCV's own detectors too")
    options = parser.parse_args()
    finders: dict[str, Finder] = {"find_plates": lambda photo: [seen.tag for seen in find_plates(photo)]}
    if options.others:
        finders |= {"QRCodeDetector": _by(cv2.QRCodeDetector()), "QRCodeDetectorAruco": _by(cv2.QRCodeDetectorAruco())}
    for name, finder in finders.items():
        print(f"\n{name}")
        with _as_parts_of_a_large_picture():
            _shares(options.each, options.seed, finder)
        _seconds(options.seed, finder)
    _wrong(options.scenes, options.seed)


@contextmanager
def _as_parts_of_a_large_picture() -> Iterator[None]:
    """Search small scenes in copies as coarse as those of a picture WIDTH pixels wide."""
    sides, least = search.SIDES, search.LEAST_SHARE
    part = PART[0] / WIDTH
    search.SIDES, search.LEAST_SHARE = tuple(round(side * part) for side in sides), least / part
    try:
        yield
    finally:
        search.SIDES, search.LEAST_SHARE = sides, least


def _by(detector: cv2.QRCodeDetector | cv2.QRCodeDetectorAruco) -> Finder:
    def find(photo: Photo) -> list[str]:
        grey = cv2.cvtColor(photo.preview(max(photo.width, photo.height)), cv2.COLOR_RGB2GRAY)
        try:
            _, texts, _, _ = detector.detectAndDecodeMulti(grey)
        except (cv2.error, UnicodeDecodeError):
            return []
        return [str(code) for code in map(code_carried, texts) if code is not None]

    return find


def some_text(rng: np.random.Generator, address: str | None = None) -> str:
    signs = "".join(rng.choice(list(SIGNS), 5))
    number = int(rng.integers(1, 10 ** int(rng.integers(1, 8))))
    return carried(TagCode(signs, number), rng.choice(["", ADDRESS]) if address is None else address)


def _shares(each: int, seed: int, finder: Finder) -> None:
    """Print the share found by one thing at a time, tilted by 30 degrees and a little blurred where it is not that."""
    ways: dict[str, Sequence[tuple[float, Taken]]] = {
        "size, % of the width": [(share / 100, USUAL) for share in (1.5, 2, 2.5, 3, 4, 6)],
        "size, 45° of tilt": [(share / 100, replace(USUAL, tilt=45)) for share in (1.5, 2, 2.5, 3, 4, 6)],
        "tilt, degrees": [(0.03, replace(USUAL, tilt=tilt)) for tilt in (0, 15, 30, 45, 55, 65)],
        "blur, pixels": [(0.03, replace(USUAL, blur=blur)) for blur in (0.5, 1.0, 1.5, 2.0, 2.5, 3.0)],
        "light left in shade": [(0.03, replace(USUAL, shade=shade)) for shade in (1.0, 0.5, 0.3, 0.2, 0.1, 0.05)],
        "JPEG quality": [(0.03, replace(USUAL, quality=quality)) for quality in (95, 85, 70, 50, 30, 20)],
        "noise, % of white": [(0.03, replace(USUAL, noise=noise)) for noise in (0.005, 0.01, 0.03, 0.06, 0.1, 0.15)],
    }
    for name, cases in ways.items():
        line = []
        for share, taken in cases:
            rng, found = np.random.default_rng(seed), 0
            for _ in range(each):
                made = scene(rng, [some_text(rng, ADDRESS)], share * WIDTH, PART, taken)
                found += finder(made.photo) == [str(code_carried(made.tags[0]))]
            of = {"size": 100 * share, "tilt": taken.tilt, "blur": taken.blur, "light": taken.shade}
            of |= {"JPEG": taken.quality, "noise": 100 * taken.noise}
            line.append(f"{of[name.replace(',', ' ').split()[0]]:g}: {found / each:4.0%}")
        print(f"{name:>22}   " + "   ".join(line), flush=True)


def _seconds(seed: int, finder: Finder) -> None:
    for count in (0, 1, 10, 30):
        rng = np.random.default_rng(seed)
        texts = [some_text(rng, ADDRESS) for _ in range(count)]
        made = scene(rng, texts, 0.03 * WIDTH, (WIDTH, 3000), USUAL)
        spent, found = [], list[str]()
        for _ in range(3):
            began = time.process_time()
            found = finder(made.photo)
            spent.append(time.process_time() - began)
        right = len(set(found) & {str(code_carried(text)) for text in texts})
        print(f"12 megapixels, {count:2} tags: {right:2} found, {min(spent):.2f} s of one processor", flush=True)


def _wrong(scenes: int, seed: int) -> None:
    """Print, by kind of scene, how many tags were found and missed, and numbers that were wrong or not there."""
    counts: dict[str, Counter[str]] = {name: Counter() for name in KINDS}
    names = list(KINDS)
    for number in range(scenes):
        rng = np.random.default_rng([seed, number])
        name = names[number % len(names)]
        picture, there = KINDS[name](rng)
        taken = Taken(
            0, rng.uniform(0.3, 2.2), rng.uniform(0.1, 1.5), rng.uniform(0.003, 0.05), int(rng.integers(30, 96))
        )
        through = np.array(SMALL) / 2 + rng.normal(0, 20, 2)
        seen = Counter(sighting.tag for sighting in find_plates(photographed(rng, picture, taken, through)[0]))
        right = seen & Counter(there)
        wrong = (seen - right).total()
        counts[name].update(scenes=1, tags=len(there), found=right.total(), wrong=wrong)
        if wrong:
            print(f"scene {number} ({name}): {dict(seen)} where there is {there}", flush=True)
    print(f"\n{'scenes':>28} {'tags':>7} {'found':>7} {'wrong':>7}")
    for name, count in [*counts.items(), ("all", sum(counts.values(), Counter()))]:
        print(f"{name:>20} {count['scenes']:>7} {count['tags']:>7} {count['found']:>7} {count['wrong']:>7}")


def _place(rng: np.random.Generator) -> NDArray[np.float64]:
    centre = np.array(SMALL) / 2 + rng.uniform(-20, 20, 2)
    tilt = np.radians(rng.uniform(0, 55))
    return seen_corners(centre, rng.uniform(70, 150), rng.uniform(0, 6.3), tilt, rng.uniform(0, 6.3))


def _with(
    rng: np.random.Generator, text: str, face: NDArray[np.float32]
) -> tuple[NDArray[np.float32], NDArray[np.float64]]:
    picture, corners = bench(rng, *SMALL), _place(rng)
    lay(picture, face, with_margin(corners, text))
    return picture, corners


def _a_tag(rng: np.random.Generator) -> Made:
    text = some_text(rng)
    return _with(rng, text, tag_face(text))[0], [str(code_carried(text))]


def _damaged(rng: np.random.Generator) -> Made:
    """A tag with some of its symbol's squares the other way, all over or in one corner."""
    text = some_text(rng)
    black = tag_squares(text)
    inner = black[ROUND:-ROUND, ROUND:-ROUND]
    flip = rng.random(inner.shape) < rng.uniform(0, 0.3)
    if rng.random() < 0.5:
        down, across = rng.integers(0, len(inner), 2)
        flip[:down], flip[:, :across] = False, False
    inner ^= flip
    face = np.where(np.pad(black, MARGIN), INK, PAPER).astype(np.float32)
    return _with(rng, text, face)[0], [str(code_carried(text))]


def _covered(rng: np.random.Generator) -> Made:
    text = some_text(rng)
    picture, corners = _with(rng, text, tag_face(text))
    over = seen_corners(corners[rng.integers(4)], rng.uniform(30, 150), rng.uniform(0, 6.3), 0.0, 0.0)
    lay(picture, np.full((4, 4, 3), rng.uniform(0.02, 0.8, 3), np.float32), over)
    return picture, [str(code_carried(text))]


def _mirrored(rng: np.random.Generator) -> Made:
    text = some_text(rng)
    return _with(rng, text, tag_face(text)[:, ::-1])[0], []


def _spliced(rng: np.random.Generator) -> Made:
    """A tag of which one half is another tag's: no number may come of it but one of the two."""
    one, other = some_text(rng, ADDRESS), some_text(rng, ADDRESS)
    faces = tag_face(one), tag_face(other)
    if faces[0].shape != faces[1].shape:
        return _with(rng, one, faces[0])[0], [str(code_carried(one))]
    cut = int(rng.integers(len(faces[0])))
    face = np.concatenate([faces[0][:cut], faces[1][cut:]])
    return _with(rng, one, face)[0], [str(code_carried(one)), str(code_carried(other))]


def _other_text(rng: np.random.Generator) -> str:
    code = code_carried(some_text(rng))
    assert code is not None
    wrong = f"{(int(code.check) + int(rng.integers(1, 97))) % 100:02}"
    others = (f"TAG {code}.{wrong}", str(code), f"HTTP://{ADDRESS}/PLATE/{code}", "".join(rng.choice(list(SIGNS), 24)))
    text = str(rng.choice(others))
    return text if code_carried(text) is None else str(code)


def _other_in_a_frame(rng: np.random.Generator) -> Made:
    text = _other_text(rng)
    return _with(rng, text, tag_face(text))[0], []


def _other_bare(rng: np.random.Generator) -> Made:
    picture = bench(rng, *SMALL)
    bare = np.pad(np.where(symbol(_other_text(rng)), INK, PAPER).astype(np.float32), 4, constant_values=PAPER)
    lay(picture, bare, _place(rng))
    return picture, []


def _writing(rng: np.random.Generator) -> Made:
    page = np.full((SMALL[1], SMALL[0]), 255, np.uint8)
    for row in range(18, SMALL[1], int(rng.integers(14, 30))):
        words = "".join(rng.choice(list(SIGNS + "    []#"), 40))
        cv2.putText(page, words, (4, row), cv2.FONT_HERSHEY_SIMPLEX, rng.uniform(0.3, 0.9), 0, 1)
    for _ in range(4):
        corners = np.round(_place(rng)).astype(np.int32)
        cv2.polylines(page, [corners], True, 0, int(rng.integers(1, 6)))
    return (INK + (PAPER - INK) / 255 * np.repeat(page[..., None], 3, axis=2)).astype(np.float32), []


def _a_chart(rng: np.random.Generator) -> Made:
    picture = bench(rng, *SMALL)
    cards = [card for card in load_cards().values() if len(card.patches) > 1]
    card = cards[rng.integers(len(cards))]
    face = np.full((60, 90, 3), rng.choice([0.02, 0.8]), np.float32)
    for patch in card.patches:
        left, top, right, bottom = patch.box
        light = np.clip(XYZ_D50_TO_SRGB @ lab_to_xyz(patch.lab), 0, 1)
        face[round(60 * top) : round(60 * bottom), round(90 * left) : round(90 * right)] = light
    lay(picture, face, _place(rng) + rng.uniform(-30, 30, 2))
    return picture, []


def _markers(rng: np.random.Generator) -> Made:
    picture = bench(rng, *SMALL)
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_6X6_250)
    bits = cv2.aruco.generateImageMarker(dictionary, int(rng.integers(250)), 8, borderBits=1)
    lay(picture, np.pad(np.where(bits > 0, PAPER, INK).astype(np.float32), 1, constant_values=PAPER), _place(rng))
    return picture, []


def _squares(rng: np.random.Generator) -> Made:
    """A frame like a tag's, filled with squares by chance, or a chequered board."""
    picture = bench(rng, *SMALL)
    across = int(rng.choice([21, 25, 29]))
    inner = (
        rng.random((across, across)) < 0.5 if rng.random() < 0.7 else np.indices((across, across)).sum(axis=0) % 2 > 0
    )
    black = np.pad(np.pad(inner, 2), 1, constant_values=True)
    lay(picture, np.where(np.pad(black, MARGIN), INK, PAPER).astype(np.float32), _place(rng))
    return picture, []


def _no_more_than_noise(rng: np.random.Generator) -> Made:
    cell = int(rng.integers(1, 12))
    small = rng.uniform(0, 0.9, (SMALL[1] // cell + 1, SMALL[0] // cell + 1, 3)).astype(np.float32)
    return np.repeat(np.repeat(small, cell, axis=0), cell, axis=1)[: SMALL[1], : SMALL[0]].copy(), []


def _plates(rng: np.random.Generator) -> Made:
    return bench(rng, *SMALL), []


KINDS: dict[str, Callable[[np.random.Generator], Made]] = {
    "a tag": _a_tag,
    "damaged": _damaged,
    "partly covered": _covered,
    "two spliced": _spliced,
    "mirrored": _mirrored,
    "other code, framed": _other_in_a_frame,
    "other code, bare": _other_bare,
    "writing and frames": _writing,
    "chart": _a_chart,
    "marker": _markers,
    "squares in a frame": _squares,
    "noise": _no_more_than_noise,
    "plates": _plates,
}


if __name__ == "__main__":
    main()
