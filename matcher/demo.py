"""Makes the demo studio: an invented foundry's log and photographs, copied from what travels with the package.

The last step of the demo's flow; ``making`` made what is copied here. Nothing is rendered, so it is quick.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

from matcher.commissions.commission import Commission, JournalLine
from matcher.dates import local, now
from matcher.errors import StudioError
from matcher.files import whole_folder
from matcher.recipe.recipe import Recipe
from matcher.shipped import shipped
from matcher.studio import Studio
from matcher.tags.sightings import KeptSighting
from matcher.trials.stocks import SolutionUse, Stock
from matcher.trials.trial import Target, Trial

LOG = "studio.json"
TWO_FINISHES = "two_plates.jpg"
DATES = ("made_at", "opened_at", "used_up_at", "at", "seen_at", "due_on")
"""What in the log that is shipped says a day or a moment."""
ONE_PLATE = ("plate_daylight.jpg", "plate_glare.jpg", "trials/024.jpg", "photographing/good.jpg")


@dataclass(frozen=True)
class WalkThrough:
    """The pictures and the recipe that lead a newcomer once round: client's photograph, ranking, next plate.

    region: the finish in each picture, corners in pixels, to be offered when the person wants it marked for them.
    """

    target_name: str
    target_photo: Path
    target_region: tuple[tuple[float, float], ...]
    next_photo: Path
    next_region: tuple[tuple[float, float], ...]
    next_recipe: Recipe
    next_made_by: str
    next_notes: str


def make_demo_studio(folder: str | Path, on: date | None = None) -> Studio:
    """Make the demo studio in a new or empty folder and open it; one that is there already is opened as it is.

    on: the day on which it is made, today when None; its log ends a few days before.

    Raises StudioError when the folder holds another studio or anything else.
    """
    folder = Path(folder).expanduser().absolute()
    if _holds_a_studio(folder):
        return _opened_demo(folder)
    with whole_folder(folder, "Make the demo studio in") as draft:
        _fill(draft, _moved_to(_shipped_log(), local(now()).date() if on is None else on))
    return Studio.open(folder)


def walk_through() -> WalkThrough:
    """Return what the demo's walk-through shows. Raises StudioError when the demo's files are missing."""
    log = _shipped_log()
    following, target = log["next_plate"], log["target"]
    return WalkThrough(
        target_name=target["name"],
        target_photo=_picture(log["target_photo"]),
        target_region=_points(target["reading"]["region"]),
        next_photo=_picture(following["photo"]),
        next_region=_points(following["region"]),
        next_recipe=Recipe.from_dict(following["recipe"]),
        next_made_by=following["made_by"],
        next_notes=following["notes"],
    )


def one_plate() -> tuple[Path, ...]:
    """Return photographs of one plate with a grey card in daylight, each set up anew. Raises StudioError."""
    return tuple(_picture(name) for name in ONE_PLATE)


def two_finishes() -> Path:
    """Return a photograph that shows two finishes and a grey card. Raises StudioError when it is missing."""
    return _picture(TWO_FINISHES)


def _holds_a_studio(folder: Path) -> bool:
    from matcher.storage.database import DATABASE_NAME

    return (folder / DATABASE_NAME).exists()


def _opened_demo(folder: Path) -> Studio:
    studio = Studio.open(folder)
    if not studio.is_demo:
        studio.close()
        raise StudioError(f"Name a new or empty folder for the demo studio: {folder} holds a studio of its own.")
    return studio


def _fill(folder: Path, log: dict[str, Any]) -> None:
    with Studio.open(folder) as studio:
        target = Target.from_dict(log["target"])
        trials = [Trial.from_dict(item) for item in log["trials"]]
        studio.uid = log["uid"]  # the tags in the pictures are this studio's
        pictures = (log["target_photo"], log["tagged_photo"], *(item["picture"] for item in log["trials"]))
        studio.keep_photos([_picture(name) for name in pictures])
        for bottle in log["bottles"]:  # before the recipes that name them
            studio.bottles.save(Stock.from_dict(bottle))
        saved = studio.save_target(target)
        linked = [
            replace(trial, target_id=saved.id) if item["for_target"] else trial
            for trial, item in zip(trials, log["trials"], strict=True)
        ]
        ids = [trial.id or 0 for trial in studio.record_all(linked)]
        _give_tags(studio, log, ids)
        _note_uses(studio, log, ids)
        _take_on(studio, log, saved)
        studio.title = log["title"]
        studio.is_demo = True


def _give_tags(studio: Studio, log: dict[str, Any], ids: list[int]) -> None:
    """Give plates their tags, with where their finishes lie by them and where they were seen. ids: of the log's."""
    for one in log["tags"]:
        plate = ids[one["plate"] - 1]
        studio.give_tag(plate, one["tag"], one["who"])
        studio.tag_log.keep_outline(plate, one["corners"], one["region"], one["who"])
    seen = [KeptSighting.from_dict(item) for item in log["sightings"]]
    studio.keep_sightings([replace(one, trial_id=ids[(one.trial_id or 0) - 1]) for one in seen])


def _note_uses(studio: Studio, log: dict[str, Any], ids: list[int]) -> None:
    """Note what was used of the bottles. ids: of the log's plates."""
    for one in log["uses"]:
        use = SolutionUse.from_dict({name: value for name, value in one.items() if name != "plate"})
        studio.bottles.note_use(replace(use, trial_id=None if one["plate"] is None else ids[one["plate"] - 1]))


def _take_on(studio: Studio, log: dict[str, Any], target: Target) -> None:
    """Keep the demo's commission, whose first area is to match the target, and what was written about it."""
    commission = Commission.from_dict(log["commission"])
    first, *others = commission.areas
    kept = studio.commissions.save(replace(commission, areas=(replace(first, target_id=target.id), *others)))
    for line in log["journal"]:
        studio.commissions.write(JournalLine.from_dict({**line, "commission_id": kept.id}))


def _moved_to(log: dict[str, Any], on: date) -> dict[str, Any]:
    """Return the log with all that is dated moved by one number of whole weeks, so that it ends not long before a day.

    What lies between two dates stays, and so does the day of the week.
    """
    by = timedelta(weeks=(on - date.fromisoformat(log["ends_on"])).days // 7)

    def moved(value: Any, name: str = "") -> Any:
        if isinstance(value, dict):
            return {key: moved(item, key) for key, item in value.items()}
        if isinstance(value, list):
            return [moved(item) for item in value]
        if name not in DATES or value is None:
            return value
        kind = date if name == "due_on" else datetime
        return (kind.fromisoformat(value) + by).isoformat()

    return {key: moved(value, key) for key, value in log.items()}


def _shipped_log() -> dict[str, Any]:
    path = shipped("demo_images") / LOG
    try:
        log: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise StudioError(f"The demo's files are not in {path.parent}: install the package again.") from error
    return log


def _picture(name: str) -> Path:
    path = shipped("demo_images") / name
    if not path.is_file():
        raise StudioError(f"The demo's picture {path} is missing: install the package again.")
    return path


def _points(listed: list[list[float]]) -> tuple[tuple[float, float], ...]:
    return tuple((float(x), float(y)) for x, y in listed)
