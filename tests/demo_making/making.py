"""Makes what the demo studio ships: the pictures, what is true of them, and the log that was read from them.

Behind ``python -m tests.demo_making``. The readings are the project's own, of the rendered photographs; a wrongly found
card is put right by hand, as a person at the bench would.
"""

from __future__ import annotations

import json
import platform
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import PIL
from numpy.typing import ArrayLike
from PIL import features

from matcher.calibration.calibrate import calibrate
from matcher.card.detect import find_card
from matcher.card.reading import CardReading
from matcher.colour.difference import delta_e_2000
from matcher.demo_examples import EXAMPLES
from matcher.errors import CardError
from matcher.photo.photo import open_photo
from matcher.reading.finish import read_finish
from matcher.reading.reading import INSTRUMENT_SIGMA, Reading
from matcher.recipe.recipe import Recipe, describe
from matcher.trials.trial import StageReading, Target, Trial
from tests.demo_making import ledger
from tests.demo_making.example_readings import examples_document
from tests.demo_making.pictures import CLIENT_REFERENCE, NEXT_PLATE, generator_for, shots, taken, variation_of
from tests.demo_making.seen import FADING, STEADY, tags_document
from tests.demo_making.shelf import from_bottles, shelf_document
from tests.demo_making.tagged import BESIDE_A_BOARD, UNDER_A_LAMP, UNDER_TUBES, WITH_A_CHART
from tests.rendering.process import invented_process

TRUTH = "truth.json"
STUDIO = "studio.json"
GUIDE = "README.md"
DEFAULT_SEED = 7
TOLERANCE = 2.0


def make_pictures(
    folder: Path, seed: int = DEFAULT_SEED, only: Iterable[str] | None = None, tell: Callable[[str], None] | None = None
) -> dict[str, Any]:
    """Render the shipped pictures into ``folder`` and return what is true of each, by name.

    only: names of the pictures wanted, all when None. tell: called with each name as it is done. The same seed and
    the same libraries give the same bytes.
    """
    wanted = None if only is None else set(only)
    truths: dict[str, Any] = {}
    for shot in shots(seed):
        if wanted is not None and shot.name not in wanted:
            continue
        picture, file = taken(shot, seed)
        path = folder / shot.name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(file)
        truths[shot.name] = {"title": shot.title, "sha256": sha256(file).hexdigest(), **picture.truth}
        if tell is not None:
            tell(shot.name)
    return truths


def make_everything(folder: Path, seed: int = DEFAULT_SEED, tell: Callable[[str], None] | None = None) -> None:
    """Render all pictures, write what is true of them, read them, and write the studio's log and the guide."""
    truths = make_pictures(folder, seed, tell=tell)
    _write_json(folder / TRUTH, {"seed": seed, "made_with": made_with(), "pictures": truths})
    read_log(folder)


def read_log(folder: Path) -> None:
    """Read the pictures in ``folder`` again and write the studio's log, the examples and the guide from them."""
    document = json.loads((folder / TRUTH).read_text(encoding="utf-8"))
    truths, seed = document["pictures"], int(document["seed"])
    studio = _studio_document(folder, truths, seed)
    _write_json(folder / STUDIO, studio)
    _write_json(folder / EXAMPLES, examples_document(folder, truths, seed))
    (folder / GUIDE).write_text(_guide(studio, truths), encoding="utf-8")


def made_with() -> dict[str, str]:
    """Return what the bytes of the pictures depend on besides the seed."""
    simd = np.show_config(mode="dicts")["SIMD Extensions"]
    return {
        "pillow": PIL.__version__,
        "jpeg": f"{features.version('libjpeg_turbo') or features.version('jpg')}",
        "numpy": np.__version__,
        "opencv": cv2.__version__,
        "processor": f"{platform.machine()} {' '.join(simd.get('found', []))}",
    }


def reading_of(file: Path, truth: Mapping[str, Any]) -> Reading:
    """Read the first finish of a shipped picture with the project's own steps, its card confirmed by eye."""
    photo = open_photo(file)
    (card,) = truth["cards"]
    found = _confirmed_card(photo, card["kind"], np.array(card["corners"]))
    light = "daylight" if str(truth["light"]).startswith("D") else "unknown"
    return read_finish(photo, calibrate(photo, found, light=light), truth["finishes"][0]["polygon"])


def _confirmed_card(photo: Any, kind: str, corners: np.ndarray[Any, Any]) -> CardReading:
    """Take the card that is found if it is the card; else mark its corners, as the page asks for."""
    try:
        found = find_card(photo, kind)
    except CardError:
        return find_card(photo, kind, corners=corners)
    size = float(np.linalg.norm(corners[0] - corners[2]))
    off = min(float(np.abs(np.roll(found.corners, turn, axis=0) - corners).max()) for turn in range(4))
    return found if off < 0.06 * size else find_card(photo, kind, corners=corners)


def _studio_document(folder: Path, truths: Mapping[str, Any], seed: int) -> dict[str, Any]:
    target_reading = reading_of(folder / CLIENT_REFERENCE, truths[CLIENT_REFERENCE])
    target = Target(
        name=ledger.COMMISSION,
        reading=target_reading,
        tolerance=TOLERANCE,
        photo=truths[CLIENT_REFERENCE]["sha256"],
        notes="The client wants the herons to sit beside this piece of theirs. Outdoors, wants wax.",
        made_at=datetime(2024, 4, 10, 12, 0, tzinfo=UTC),
        uid="demo-target-1",
    )
    trials, plates, book = [], [], ledger.entries()
    for entry in book:
        name = f"trials/{entry.number:03}.jpg"
        trial = _trial(entry, reading_of(folder / name, truths[name]), truths[name]["sha256"], seed)
        plates.append(trial)
        trials.append({**_tidy(trial.as_dict()), "picture": name, "for_target": "the herons" in entry.notes})
    following = ledger.next_plate_recipe()
    process = invented_process()

    def true_lab(number: int) -> np.ndarray[Any, Any]:
        entry = book[number - 1]
        return process.true_lab(entry.recipe, variation_of(entry, seed))

    tags = tags_document(folder, truths[WITH_A_CHART], plates, true_lab, seed)
    return {
        "title": ledger.STUDIO_TITLE,
        "ends_on": ledger.ENDS_ON.isoformat(),
        **_tidy(tags),
        "target": _tidy(target.as_dict()),
        "target_photo": CLIENT_REFERENCE,
        **_tidy(shelf_document(book, seed)),
        "commission": ledger.FOUNTAIN,
        "journal": ledger.FOUNTAIN_JOURNAL,
        "trials": trials,
        "next_plate": {
            "photo": NEXT_PLATE,
            "recipe": following.as_dict(),
            "recipe_in_words": describe(following),
            "made_by": "T.R.",
            "notes": ledger.NEXT_PLATE_NOTES,
            "region": truths[NEXT_PLATE]["finishes"][0]["polygon"],
            "lab": np.round(reading_of(folder / NEXT_PLATE, truths[NEXT_PLATE]).lab, 2).tolist(),
        },
    }


def _trial(entry: ledger.Entry, reading: Reading, photo: str, seed: int) -> Trial:
    return Trial(
        recipe=from_bottles(entry),
        reading=reading,
        made_at=entry.made_at,
        made_by=entry.made_by,
        piece=f"plate {entry.number}",
        ambient_temp_c=entry.ambient_temp_c,
        ambient_humidity_percent=entry.ambient_humidity_percent,
        stages=_stages(entry, seed),
        photos=(photo,),
        notes=entry.notes,
        set_aside=entry.set_aside,
        uid=f"demo-{entry.number:03}",
    )


def _stages(entry: ledger.Entry, seed: int) -> tuple[StageReading, ...]:
    """T.R. takes the instrument to a sealed plate twice on the way: on the undercoat, and cool before the wax."""
    recipe = entry.recipe
    if entry.made_by != "T.R." or recipe.seal is None or recipe.undercoat is None:
        return ()
    before = {
        "undercoat": Recipe(recipe.alloy, recipe.undercoat, (), None, recipe.surface),
        "cool": replace(recipe, seal=None),
    }
    process, variation, rng = (
        invented_process(),
        variation_of(entry, seed),
        generator_for(seed, f"stages {entry.number}"),
    )
    return tuple(
        StageReading(
            stage, Reading(np.round(process.true_lab(so_far, variation) + rng.normal(0, INSTRUMENT_SIGMA, 3), 2))
        )
        for stage, so_far in before.items()
    )


def _tidy(value: Any) -> Any:
    """Round for keeping: five significant figures are more than any reading holds; numbers of a log are not ours."""
    if isinstance(value, dict):
        return {key: _tidy(item) for key, item in value.items() if key not in ("id", "target_id")}
    if isinstance(value, list):
        return [_tidy(item) for item in value]
    return float(f"{value:.5g}") if isinstance(value, float) else value


def _write_json(path: Path, document: Mapping[str, Any]) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(_one_thing_a_line(document) + "\n", encoding="utf-8")


def _one_thing_a_line(document: Mapping[str, Any]) -> str:
    """JSON with each trial and each picture on a line of its own, so that a change shows as the lines it touches."""
    parts = []
    for key, value in document.items():
        if isinstance(value, list) and value:
            items = ",\n".join(json.dumps(item, ensure_ascii=False) for item in value)
            parts.append(f"{json.dumps(key)}: [\n{items}\n]")
        elif isinstance(value, dict):
            items = ",\n".join(
                f"{json.dumps(name)}: {json.dumps(item, ensure_ascii=False)}" for name, item in value.items()
            )
            parts.append(f"{json.dumps(key)}: {{\n{items}\n}}")
        else:
            parts.append(f"{json.dumps(key)}: {json.dumps(value, ensure_ascii=False)}")
    return "{\n" + ",\n".join(parts) + "\n}"


def _guide(studio: Mapping[str, Any], truths: Mapping[str, Any]) -> str:
    """The README of the folder: what the pictures are, and the walk from the client's photograph to a new plate."""
    target = studio["target"]["reading"]["lab"]
    counting = [trial for trial in studio["trials"] if not trial["set_aside"]]
    apart = sorted((_delta(trial["reading"]["lab"], target), trial["piece"]) for trial in counting)
    nearest = ", ".join(f"{piece} (ΔE00 {delta:.1f})" for delta, piece in apart[:3])
    following = studio["next_plate"]
    large = "\n".join(
        f"| `{name}` | {truth['title']} | {_found(truth)} |" for name, truth in truths.items() if "/" not in name
    )
    return GUIDE_TEXT.format(
        title=studio["title"],
        commission=studio["target"]["name"],
        count=len(studio["trials"]),
        nearest=nearest,
        recipe=following["recipe_in_words"],
        delta=f"{_delta(following['lab'], target):.1f}",
        pictures=large,
        tagged=len(studio["tags"]),
        chart=WITH_A_CHART,
        tubes=UNDER_TUBES,
        lamp=UNDER_A_LAMP,
        board=BESIDE_A_BOARD,
        steady=STEADY,
        fading=FADING,
    )


def _found(truth: Mapping[str, Any]) -> str:
    labs = [" ".join(f"{value:.1f}" for value in finish["lab"]) for finish in truth["finishes"]]
    return f"{truth['light']}; {', '.join(labs)}" if labs else f"{truth['light']}; no finish"


def _delta(lab: ArrayLike, other: ArrayLike) -> float:
    return float(delta_e_2000(np.asarray(lab, dtype=float), np.asarray(other, dtype=float)))


GUIDE_TEXT = """# Demo pictures

Everything here is invented: {title}, its makers, its plates and its commission, "{commission}".
No foundry, person or place of these names is meant. The pictures are not photographs: they are rendered from
spectra of an invented patina process through published camera sensitivities and CIE illuminants, with shading,
glare, noise and JPEG. `python -m tests.demo_making --seed 7 --into demo_images` makes all of it again.

## A walk through it

1. The client's piece is in `client_reference.jpg`, beside a grey card. Mark the finish; it is read and becomes the
   target.
2. The log of {count} plates is ranked against it. Nearest: {nearest}.
3. None is near enough, so another plate is made: {recipe}.
4. Its photograph is `next_plate.jpg`. Record it: it lands ΔE00 {delta} from the target and the list re-ranks.
5. `two_plates.jpg` has both side by side in one light, which is the better comparison: what the camera and the
   light get wrong is common to both.

## Plates with tags

{tagged} plates carry a tag of the invented studio. In `{chart}` ten of them lie beside a 24-patch chart in
daylight: there their finishes were marked by their tags, and the log knows six of them the better since. In
`{tubes}`, `{lamp}` and `{board}` some of them lie beside a finish to match: open one
as a target, and it is read by them. Plate {steady} was seen before and has not changed; plate {fading}, which hangs in
the yard, has.

## The large pictures

| file | shows | CIE light; true CIELAB (D50, 2 degrees) of each finish, left to right |
| --- | --- | --- |
{pictures}

`trials/` holds one small picture of each logged plate; `photographing/` one good photograph and the usual bad ones,
and `photographing.json` what was read from each. `truth.json` says what a perfect reading would find in each
picture, and where: outlines of finishes and cards in pixels, light, camera. `studio.json` is the log, read from the
small pictures by this project's own steps.
"""
