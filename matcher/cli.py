"""The command line, `patina-matcher` or `python -m matcher`: parses, calls, prints.

A thin skin over the Python API. Each command returns what `--json` prints and what a person reads; errors are one
plain sentence on standard error with exit code 2.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import sys
import warnings
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from matcher import cli_page
from matcher import cli_values as values
from matcher import cli_words as words
from matcher.cli_options import PROGRAM, command_line
from matcher.errors import MatcherError

if TYPE_CHECKING:
    from matcher.cards import Card, CardReading
    from matcher.finish import Reading
    from matcher.studio import Studio
    from matcher.trials.trial import Trial


@dataclass(frozen=True)
class Answer:
    """What a command has to say: plain JSON types, and lines for a person."""

    document: dict[str, Any]
    lines: Sequence[str]


@dataclass(frozen=True, eq=False)
class Photographed:
    """What was read from a photograph on the command line."""

    photo: dict[str, Any]
    card: CardReading | None
    readings: list[Reading]


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; return the exit code: 0, or 2 after an error that was told on standard error."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8")  # whatever the terminal's locale: ΔE00 has a Δ
    try:
        options = command_line(_commands()).parse_args(arguments)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what matters comes as a caveat or an error
            answer: Answer | None = options.command(options)
    except MatcherError as error:
        print(" ".join(str(error).split()), file=sys.stderr)
        return 2
    if answer is not None:
        _say(answer, options.json)
    return 0


def _say(answer: Answer, as_json: bool) -> None:
    with contextlib.suppress(BrokenPipeError):  # the reader, "head" perhaps, has seen enough
        print(json.dumps(answer.document, ensure_ascii=False) if as_json else "\n".join(answer.lines), flush=True)


def _commands() -> dict[str, Callable[[argparse.Namespace], Answer | None]]:
    return {
        "read": _read,
        "suggest": _suggest,
        "record": _record,
        "trials": _list_trials,
        "list": _list_trials,
        "export": _export,
        "import": _import,
        "set-aside": _set_aside,
        "take-back": _take_back,
        "targets": _targets,
        "cards": _cards,
        "backup": _backup,
        "demo": _demo,
        "app": _app,
    }


def _read(options: argparse.Namespace) -> Answer:
    found = _photographed(options)
    warned = _warnings(found.readings)
    document = {
        "photo": found.photo,
        "card": None if found.card is None else found.card.as_dict(),
        "finishes": [reading.as_dict() for reading in found.readings],
        "warnings": warned,
    }
    lines = [
        words.photo_line(found.photo, found.card),
        *(words.reading_line(f"Finish {n}", r) for n, r in enumerate(found.readings, 1)),
    ]
    return Answer(document, [*lines, *words.warning_lines(warned)])


def _suggest(options: argparse.Namespace) -> Answer:
    from matcher.cautions import cautions_for

    if options.target is not None and (options.photo, options.lab) != (None, None):
        raise values.TypingError("Give one target: a photograph, a colour with --lab, or a kept one with --target.")
    with _studio(options) as studio:
        target = _one_reading(options)[0] if options.target is None else studio.target(options.target).reading
        ranked = studio.suggester(tolerance=options.tolerance).suggest(target, count=options.count)
    cautions = list(dict.fromkeys(caution for item in ranked for caution in cautions_for(item.recipe)))
    warned = _warnings([target])
    document = {
        "target": target.as_dict(),
        "tolerance_delta_e00": options.tolerance,
        "suggestions": [
            {"rank": rank, **item.as_dict(), "chance_within_tolerance": item.chance_within(options.tolerance)}
            for rank, item in enumerate(ranked, 1)
        ],
        "cautions": [caution.as_dict() for caution in cautions],
        "warnings": warned,
    }
    lines = [words.reading_line("Target", target), *words.warning_lines(warned)]
    lines += [
        line for rank, item in enumerate(ranked, 1) for line in words.suggestion_lines(rank, item, options.tolerance)
    ]
    return Answer(document, [*lines, "", *(f"Caution: {caution.message}" for caution in cautions)])


def _record(options: argparse.Namespace) -> Answer:
    from matcher.cautions import cautions_for
    from matcher.trials.trial import Trial, moment

    steps = (options.alloy, options.surface, options.undercoat, options.coat, options.seal)
    if options.recipe is not None and any(steps):
        raise values.TypingError("Give the recipe either as a file or step by step, not both.")
    recipe = values.recipe(*steps) if options.recipe is None else values.recipe_file(options.recipe)
    with _studio(options) as studio:
        target_id = None if options.target is None else studio.target(options.target).id
        reading, photo = _one_reading(options)
        trial = Trial(
            recipe,
            reading,
            made_at=moment(datetime.now(UTC) if options.made_at is None else options.made_at),
            made_by=options.by,
            piece=options.piece,
            notes=options.notes,
            photos=() if photo is None else (studio.keep_photo(photo),),
            target_id=target_id,
        )
        trial, name = studio.record(trial, who=options.by), studio.name
    warned = _warnings([trial.reading])
    cautions = [caution.as_dict() for caution in cautions_for(recipe)]
    document = {"trial": trial.as_dict(), "studio": name, "warnings": warned, "cautions": cautions}
    said = f"Logged as trial {trial.id} in {name}."
    return Answer(document, [said, *words.trial_lines(trial), *words.warning_lines(warned)])


def _list_trials(options: argparse.Namespace) -> Answer:
    with _studio(options) as studio:
        trials = studio.trials(include_set_aside=options.all)
        document = {"studio": studio.name, "trials": [trial.as_dict() for trial in trials]}
    lines = [line for trial in trials for line in words.trial_lines(trial)]
    return Answer(document, lines or [f"No trial is logged in {document['studio']} yet."])


def _export(options: argparse.Namespace) -> Answer:
    with _studio(options) as studio:
        return _written(studio.export(options.file))


def _backup(options: argparse.Namespace) -> Answer:
    with _studio(options) as studio:
        return _written(studio.backup(options.file))


def _import(options: argparse.Namespace) -> Answer:
    with _studio(options) as studio:
        brought = studio.import_file(options.file, skip_bad=options.skip_bad, who=options.by)
    said = f"{brought.trials} trials are new, {brought.trials_here_before} were here before."
    differing = [
        f"Trial {number} differs from the file's copy and stays as it is here." for number in brought.differing
    ]
    return Answer(asdict(brought), [said, *differing, *brought.problems])


def _set_aside(options: argparse.Namespace) -> Answer:
    with _studio(options) as studio:
        return _changed(studio.set_aside(options.id, options.reason, who=options.by))


def _take_back(options: argparse.Namespace) -> Answer:
    with _studio(options) as studio:
        return _changed(studio.take_back(options.id, who=options.by))


def _targets(options: argparse.Namespace) -> Answer:
    from matcher.trials.trial import Target

    with _studio(options) as studio:
        if options.add is not None:
            reading, photo = _one_reading(options)
            kept = None if photo is None else studio.keep_photo(photo)
            studio.save_target(Target(options.add, reading, options.tolerance, kept, options.notes))
        targets = studio.targets(include_set_aside=options.all)
        document = {"studio": studio.name, "targets": [target.as_dict() for target in targets]}
    lines = [words.reading_line(f"{t.id}  {t.name}{words.aside(t.set_aside)}", t.reading) for t in targets]
    return Answer(document, lines or ["No target is kept yet: add one from a client's photograph or by its L,a,b."])


def _cards(options: argparse.Namespace) -> Answer:
    from matcher.cards import load_cards

    defined = load_cards()
    with _studio(options) as studio:
        if options.add is not None:
            lab = _measured_lab(options, defined)
            studio.save_card(options.add, options.kind, lab, options.tolerance)
        own = studio.own_cards()
    lines = [f"{card.name}: {card.title}. {card.source}." for card in defined.values()]
    lines += [f"{card.name}: measured {card.kind}, CIELAB {card.lab.round(2).tolist()}" for card in own]
    if options.sheet is not None:
        from matcher.sheets import carrier_sheet

        _write(options.sheet, carrier_sheet(defined["carrier sheet"]))
        lines = [f"Wrote {options.sheet}: print it at actual size."]
    cards = [words.card_as_dict(card) for card in defined.values()]
    return Answer({"cards": cards, "own_cards": [card.as_dict() for card in own], "sheet": options.sheet}, lines)


def _demo(options: argparse.Namespace) -> Answer:
    from matcher.demo import make_demo_studio

    with make_demo_studio(Path(options.folder)) as studio:
        document = {"studio": studio.name, "trials": len(studio.trials()), "targets": len(studio.targets())}
    said = f"Made the demo studio in {document['studio']}: {document['trials']} invented trials."
    return Answer(document, [said, f"Open it with: {PROGRAM} app --studio {options.folder}"])


def _app(options: argparse.Namespace) -> None:
    """Serve the page until it is stopped."""
    where = cli_page.demo_folder(options.studio) if options.demo else options.studio
    if where is not None:
        os.environ["MATCHER_STUDIO"] = str(where)
    port = cli_page.free_port(options.host, options.port)
    url = cli_page.address(options.host, port)
    _say(Answer({"url": url}, [f"The page is at {url} (stop it with Ctrl+C)."]), options.json)
    with contextlib.redirect_stdout(sys.stderr):  # only our own answer belongs on standard output
        cli_page.serve(options.host, port)


# What commands share


def _studio(options: argparse.Namespace) -> Studio:
    from matcher.studio import Studio

    return Studio.open(options.studio)


def _photographed(options: argparse.Namespace) -> Photographed:
    from matcher.calibration import calibrate
    from matcher.finish import read_finish
    from matcher.photo import open_photo

    outlines = [values.outline(text) for text in options.finish]
    if not outlines:
        raise values.TypingError('Mark the finish with --finish "x,y x,y x,y ...", an outline in pixels.')
    with _without_library_noise():
        photo = open_photo(options.photo, encoding=options.encoding)
    card = _card(photo, options)
    calibration = calibrate(photo, card)
    about = {"name": Path(options.photo).name, "width": photo.width, "height": photo.height,
             "encoding": photo.encoding, "sha256": photo.sha256,
             "camera": None if photo.camera is None else photo.camera.as_dict()}  # fmt: skip
    return Photographed(about, card, [read_finish(photo, calibration, region) for region in outlines])


def _card(photo: Any, options: argparse.Namespace) -> CardReading | None:
    """Find the card as the options say; a name that is not a defined kind is one of the studio's own cards."""
    from matcher.cards import find_card, load_cards, neutral_patch

    lab: Any = None if options.card_lab is None else values.colours(options.card_lab)
    if options.no_card:
        return None
    if options.neutral is not None:
        return neutral_patch(photo, values.outline(options.neutral), lab=lab)
    marked = None if options.card_corners is None else values.corners(options.card_corners)
    kind = None if options.card == "any" else options.card
    if kind is not None and kind not in load_cards():
        with _studio(options) as studio:
            own = {card.name: card for card in studio.own_cards()}
        if kind in own:
            kind, lab = own[kind].kind, own[kind].lab if lab is None else lab
    return find_card(photo, kind=kind, corners=marked, lab=lab)


def _one_reading(options: argparse.Namespace) -> tuple[Reading, Path | None]:
    """Return the one colour that was typed or photographed, and the photograph."""
    from matcher.finish import Reading

    if (options.photo is None) == (options.lab is None):
        raise values.TypingError("Give either a photograph or a measured colour with --lab L,a,b.")
    if options.lab is not None:
        return Reading(lab=values.colour(options.lab)), None  # type: ignore[arg-type]
    if len(options.finish) > 1:
        raise values.TypingError("Mark one finish: this command takes one colour at a time.")
    return _photographed(options).readings[0], Path(options.photo)


def _measured_lab(options: argparse.Namespace, defined: Mapping[str, Card]) -> Any:
    """Return the typed CIELAB of a card of the studio's own, which must fit the kind of card that it is."""
    if options.lab is None:
        raise values.TypingError("Give the card's own measured CIELAB with --lab L,a,b.")
    if options.kind not in defined:
        raise values.TypingError(f"Choose the kind of card from {', '.join(defined)}: {options.kind!r} is not one.")
    lab = values.colours(options.lab)
    defined[options.kind].with_lab(lab)  # raises CardError when patches are missing
    return lab


def _warnings(readings: Sequence[Reading]) -> list[dict[str, str]]:
    """Return what gives reason to doubt the readings, each once."""
    return [caveat.as_dict() for caveat in dict.fromkeys(caveat for reading in readings for caveat in reading.caveats)]


def _write(path: str, data: bytes) -> None:
    try:
        Path(path).write_bytes(data)
    except OSError as error:
        raise values.TypingError(f"{path} cannot be written ({error.strerror}): choose another place.") from error


def _written(exported: Any) -> Answer:
    said = f"Wrote {exported.path}: {exported.trials} trials, {exported.photos} photographs."
    lost = [f"A photograph that the log names is not in the studio: {sha256}." for sha256 in exported.missing_photos]
    return Answer({**asdict(exported), "path": str(exported.path)}, [said, *lost])


def _changed(trial: Trial) -> Answer:
    return Answer({"trial": trial.as_dict()}, words.trial_lines(trial))


@contextlib.contextmanager
def _without_library_noise() -> Iterator[None]:
    """Keep what C libraries write to the terminal about a damaged file away from it; the error says it."""
    with contextlib.ExitStack() as undo:
        with contextlib.suppress(OSError):
            kept, nowhere = os.dup(2), os.open(os.devnull, os.O_WRONLY)
            undo.callback(os.close, kept)
            undo.callback(os.dup2, kept, 2)
            os.dup2(nowhere, 2)
            os.close(nowhere)
        yield
