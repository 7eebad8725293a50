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
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from matcher.cli import bench as cli_bench
from matcher.cli import log as cli_log
from matcher.cli import page as cli_page
from matcher.cli import reading as cli_reading
from matcher.cli import suggest as cli_suggest
from matcher.cli import values, words
from matcher.cli.parser import PROGRAM, command_line
from matcher.cli.photographs import as_warnings, opened_studio, studio_is_there, studio_that_is_there
from matcher.cli.taken import taken
from matcher.cli.words import Answer, write
from matcher.errors import MatcherError

if TYPE_CHECKING:
    from matcher.card.card import Card
    from matcher.reading.reading import Reading
    from matcher.studio import Studio
    from matcher.trials.own_cards import OwnCard
    from matcher.trials.trial import Target

MOST_TARGETS_AT_ONCE = 100


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
        "read": cli_reading.read,
        "repeat": cli_reading.repeat,
        "camera": cli_reading.camera,
        "suggest": cli_suggest.suggest,
        "next": cli_suggest.next_plates,
        "first-plates": cli_suggest.first_plates,
        "mottled": cli_suggest.mottled,
        "advise": cli_bench.advise,
        "bench": cli_bench.bench,
        "trust": cli_bench.trust,
        "record": cli_log.record,
        "trials": cli_log.list_trials,
        "list": cli_log.list_trials,
        "export": cli_log.export,
        "import": cli_log.take_in,
        "set-aside": cli_log.set_aside,
        "take-back": cli_log.take_back,
        "correct": cli_log.correct,
        "history": cli_log.history,
        "add-reading": cli_log.add_reading,
        "targets": _targets,
        "cards": _cards,
        "backup": cli_log.backup,
        "demo": _demo,
        "app": _app,
    }


def _targets(options: argparse.Namespace) -> Answer:
    keeps = any(getattr(options, name) is not None for name in ("add", "from_file", "munsell", "photo", "lab"))
    with opened_studio(options) if keeps else studio_that_is_there(options) as studio:
        added = _added_targets(studio, options)
        targets = studio.targets(include_set_aside=options.all)
        document = {
            "studio": studio.name,
            "targets": [target.as_dict() for target in targets],
            "added": [target.id for target in added],
        }
    lines = [words.reading_line(f"{t.id}  {t.name}{words.aside(t.set_aside)}", t.reading) for t in targets]
    warned = as_warnings([caveat for target in added for caveat in target.reading.caveats])
    lines = lines or ["No target is kept yet: add one from a client's photograph or by its L,a,b."]
    return Answer({**document, "warnings": warned}, [*lines, *words.warning_lines(warned)])


def _added_targets(studio: Studio, options: argparse.Namespace) -> list[Target]:
    """Keep what is to be added: from an instrument's file, a Munsell notation, a photograph or a typed CIELAB."""
    from matcher.trials.trial import Target

    elsewhere = [name for name in ("from_file", "munsell") if getattr(options, name) is not None]
    if len(elsewhere) + ((options.photo, options.lab) != (None, None)) > 1:
        raise values.TypingError("Give one source: a file, a Munsell notation, a photograph, or a colour with --lab.")
    if options.sample and options.from_file is None:
        raise values.TypingError("Give --sample with --from: it names a colour of an instrument's file.")
    photo = None
    if elsewhere:
        named = _from_elsewhere(options)
    elif options.add is not None:
        colour = taken(options)
        photo = studio.keep_photo(colour.files[0]) if colour.files else None
        named = [(options.add, colour.reading)]
    elif (options.photo, options.lab) != (None, None):
        raise values.TypingError("Give the target a name with --add.")
    else:
        return []
    return [
        studio.save_target(Target(name, reading, options.tolerance, photo, options.notes)) for name, reading in named
    ]


def _from_elsewhere(options: argparse.Namespace) -> list[tuple[str, Reading]]:
    """Return the names and readings of a Munsell notation, or of the samples asked for of an instrument's file."""
    from matcher.instrument.files import read_targets
    from matcher.instrument.munsell import munsell_reading

    if options.munsell is not None:
        return [(options.add or options.munsell.strip(), munsell_reading(options.munsell))]
    samples = read_targets(options.from_file)
    if options.sample:
        samples = values.chosen(samples, options.sample, options.from_file)
    if len(samples) > MOST_TARGETS_AT_ONCE:
        raise values.TypingError(f"Choose with --sample: the file has {len(samples)} colours.")
    if options.add is not None and len(samples) > 1:
        raise values.TypingError(f"Choose one with --sample to name it: the file has {len(samples)} colours.")
    return [(options.add or sample.name, sample.reading) for sample in samples]


def _cards(options: argparse.Namespace) -> Answer:
    from matcher.card.card import load_cards

    defined = load_cards()
    if options.add is None and options.lab is not None:
        raise values.TypingError("Give the measured card a name with --add: without one it is not kept.")
    if options.add is not None and " ".join(options.add.split()) in (*defined, "any"):
        raise values.TypingError(f"Give the measured card a name of its own: {options.add!r} is a kind of card.")
    own: list[OwnCard] = []
    if options.add is not None or studio_is_there(options.studio):
        with opened_studio(options) as studio:
            if options.add is not None:
                lab = _measured_lab(options, defined)
                studio.save_card(options.add, options.kind, lab, options.tolerance)
            own = studio.own_cards()
    lines = [f"{card.name}: {card.title}. {card.source}." for card in defined.values()]
    lines += [f"{card.name}: measured {card.kind}, CIELAB {card.lab.round(2).tolist()}" for card in own]
    if options.sheet is not None:
        from matcher.card.printable import carrier_sheet

        write(options.sheet, carrier_sheet(defined["carrier sheet"]))
        lines = [f"Wrote {options.sheet}: print it at actual size."]
    cards = [words.card_as_dict(card) for card in defined.values()]
    return Answer({"cards": cards, "own_cards": [card.as_dict() for card in own], "sheet": options.sheet}, lines)


def _demo(options: argparse.Namespace) -> Answer:
    from matcher.demo.studio import make_demo_studio

    was_there = studio_is_there(options.folder)
    with make_demo_studio(Path(options.folder)) as studio:
        document = {"studio": studio.name, "trials": len(studio.trials()), "targets": len(studio.targets())}
    said = (
        f"The demo studio in {document['studio']} is there already, with {document['trials']} trials: nothing was made."
        if was_there
        else f"Made the demo studio in {document['studio']}: {document['trials']} invented trials that count."
    )
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


def _measured_lab(options: argparse.Namespace, defined: Mapping[str, Card]) -> Any:
    """Return the typed CIELAB of a card of the studio's own, which must fit the kind of card that it is."""
    if options.lab is None:
        raise values.TypingError("Give the card's own measured CIELAB with --lab L,a,b.")
    if options.kind not in defined:
        raise values.TypingError(f"Choose the kind of card from {', '.join(defined)}: {options.kind!r} is not one.")
    lab = values.colours(options.lab)
    defined[options.kind].with_lab(lab)  # raises CardError when patches are missing
    return lab
