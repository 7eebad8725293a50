"""The command for the plates nearest to a colour, which serves a log of any length: trials nearest."""

from __future__ import annotations

import argparse
from typing import Any

from matcher.typed_in import values, words
from matcher.typed_in.options import Commands
from matcher.typed_in.photographs import studio_that_is_there
from matcher.typed_in.words import Answer


def add_nearest(parts: Commands) -> None:
    about = "List the plates nearest to a colour, however long the log is."
    part = parts.add("nearest", about, nearest)
    part.add_argument("like", metavar="PLATE|L,a,b", help="a plate's number, or CIELAB")
    part.add_argument("--count", metavar="N", type=values.whole, default=20, help="how many (20)")
    part.add_argument("--alloy", metavar="NAME", help="only plates of this alloy")
    part.add_argument("--chemical", metavar="NAME", help="only plates with a coat of this")
    part.add_argument("--since", metavar="DAY", help="only plates made on this day or later: 2026-05-04")


def nearest(options: argparse.Namespace) -> Answer:
    """List the plates nearest to a colour."""
    from matcher.dates import moment_made
    from matcher.ranking.in_log import Among

    since = None if options.since is None else moment_made(options.since)
    with studio_that_is_there(options) as studio:
        text = options.like.strip()
        is_plate = text.isascii() and text.isdigit()
        lab = studio.trial(values.whole(text)).reading.lab if is_plate else values.colour(text)
        found = studio.ranking.plates(lab, options.count, Among(options.alloy, options.chemical, since))
        name = studio.name
    document: dict[str, Any] = {
        "studio": name,
        "like": [float(value) for value in lab],
        "trials": [trial.as_dict() for trial in found.trials],
        "delta_e00": [round(float(value), 4) for value in found.delta_e00],
        "found_by": found.how.by,
        "compared": found.how.compared,
        "why_no_index": found.how.why_no_index,
    }
    lines = [
        line
        for trial, value in zip(found.trials, found.delta_e00, strict=True)
        for line in (f"{words.trial_lines(trial)[0]}  ΔE00 {value:.1f}", *words.trial_lines(trial)[1:])
    ]
    slow = [found.how.why_no_index] if found.how.why_no_index else []
    return Answer(document, [*(lines or [f"No plate is logged in {name} with all of that."]), *slow])
