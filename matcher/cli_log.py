"""The commands on the log: record, and trials with its parts; backup. Each thin over ``matcher.studio``."""

from __future__ import annotations

import argparse
from dataclasses import asdict
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from matcher import cli_values as values
from matcher import cli_words as words
from matcher.cli_answer import Answer
from matcher.cli_photographs import opened_studio, studio_that_is_there
from matcher.cli_taken import readings_after, taken

if TYPE_CHECKING:
    from matcher.recipe import Recipe
    from matcher.trials.trial import StageReading, Trial


def record(options: argparse.Namespace) -> Answer:
    """Log a plate."""
    from matcher.cautions import cautions_for
    from matcher.trials.trial import Trial, moment_made

    recipe = values.recipe_given(options)
    made_at = datetime.now(UTC) if options.made_at is None else moment_made(options.made_at)
    stages = _stages(options, recipe)
    with opened_studio(options) as studio:
        target_id = None if options.target is None else studio.target(options.target).id
        colour = taken(options)
        trial = Trial(
            recipe,
            colour.reading,
            made_at=made_at,
            made_by=options.by,
            piece=options.piece,
            ambient_temp_c=options.air,
            ambient_humidity_percent=options.humidity,
            notes=options.notes,
            stages=stages,
            photos=tuple(studio.keep_photos(colour.files)),
            target_id=target_id,
        )
        trial, name = studio.record(trial, who=options.by), studio.name
    document = {
        "trial": trial.as_dict(),
        "studio": name,
        "profile": colour.profile,
        "warnings": colour.warnings,
        "cautions": [caution.as_dict() for caution in cautions_for(recipe)],
    }
    said = [f"Logged as trial {trial.id} in {name}.", *words.trial_lines(trial), *colour.profile_lines]
    return Answer(document, [*said, *words.warning_lines(colour.warnings)])


def _stages(options: argparse.Namespace, recipe: Recipe) -> tuple[StageReading, ...]:
    """Return the readings that were taken on the way."""
    if not options.after:
        return ()  # without them the suggester need not be loaded
    most = recipe.coats[-1].passes if recipe.coats else 0
    readings = readings_after(options)
    if max(readings) > most:
        raise values.TypingError(f"Check --after: there is a reading after {max(readings)} passes of {most}.")
    from matcher.suggest.passes_laid import stage_after
    from matcher.trials.trial import StageReading

    return tuple(StageReading(stage_after(recipe, count), one) for count, one in readings.items())


def list_trials(options: argparse.Namespace) -> Answer:
    """List the logged trials."""
    with studio_that_is_there(options) as studio:
        trials = studio.trials(include_set_aside=options.all)
        document = {"studio": studio.name, "trials": [trial.as_dict() for trial in trials]}
    lines = [line for trial in trials for line in words.trial_lines(trial)]
    return Answer(document, lines or [f"No trial is logged in {document['studio']} yet."])


def export(options: argparse.Namespace) -> Answer:
    """Write the log to a file."""
    with studio_that_is_there(options) as studio:
        return _written(studio.export(options.file))


def backup(options: argparse.Namespace) -> Answer:
    """Write a copy of the whole studio."""
    with studio_that_is_there(options) as studio:
        return _written(studio.backup(options.file))


def take_in(options: argparse.Namespace) -> Answer:
    """Take in an exported studio or a table of trials."""
    with opened_studio(options) as studio:
        brought = studio.import_file(options.file, skip_bad=options.skip_bad, who=options.by)
    said = f"{brought.trials} trials are new, {brought.trials_here_before} were here before."
    differing = [
        f"Trial {number} differs from the file's copy and stays as it is here." for number in brought.differing
    ]
    return Answer(asdict(brought), [said, *differing, *brought.problems])


def set_aside(options: argparse.Namespace) -> Answer:
    """Let a trial no longer count."""
    with studio_that_is_there(options) as studio:
        return _changed(studio.set_aside(options.id, options.reason, who=options.by))


def take_back(options: argparse.Namespace) -> Answer:
    """Let a trial count again."""
    with studio_that_is_there(options) as studio:
        return _changed(studio.take_back(options.id, who=options.by))


def add_reading(options: argparse.Namespace) -> Answer:
    """Add a reading taken later to a logged plate."""
    from matcher.trials.trial import StageReading

    with studio_that_is_there(options) as studio:
        studio.trial(options.id)  # said before a photograph is read for nothing
        colour = taken(options)
        for sha256 in studio.keep_photos(colour.files):
            studio.add_photo(options.id, sha256, who=options.by)
        trial = studio.add_stage(options.id, StageReading(options.stage, colour.reading), who=options.by)
    document = {"trial": trial.as_dict(), "profile": colour.profile, "warnings": colour.warnings}
    said = [*words.trial_lines(trial), *(words.reading_line(f"    {s.stage}", s.reading) for s in trial.stages)]
    return Answer(document, [*said, *colour.profile_lines, *words.warning_lines(colour.warnings)])


def _written(exported: Any) -> Answer:
    said = f"Wrote {exported.path}: {exported.trials} trials, {exported.photos} photographs."
    lost = [f"A photograph that the log names is not in the studio: {sha256}." for sha256 in exported.missing_photos]
    return Answer({**asdict(exported), "path": str(exported.path)}, [said, *lost])


def _changed(trial: Trial) -> Answer:
    return Answer({"trial": trial.as_dict()}, words.trial_lines(trial))
