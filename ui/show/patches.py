"""Finishes as they look, cropped to what was read, under one white and one exposure: alone, and touching in a strip."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from matcher.colour.words_for_colours import colour_in_words
from matcher.photo.small import PATCH_SIDES
from ui.escaped import escaped
from ui.state.addresses import patch_address

if TYPE_CHECKING:
    from matcher.reading.reading import Reading
    from matcher.trials.trial import Target, Trial

SMALL, LIST, LARGE = PATCH_SIDES


def plate_patch(trial: Trial, side: int = LIST) -> str:
    """Return the patch of a logged plate as an HTML image."""
    return _patch(patch_address("plate", str(trial.id), trial.reading, side), f"Plate {trial.id}", trial.reading, side)


def stage_patch(trial: Trial, place: int, side: int = LIST) -> str:
    """Return the patch of a plate's stage, the ``place``-th of its list, as an HTML image."""
    step = trial.stages[place]
    address = patch_address("stage", f"{trial.id}-{place}", step.reading, side)
    return _patch(address, f"Plate {trial.id}, {step.stage}", step.reading, side)


def target_patch(target: Target, side: int = LIST) -> str:
    """Return the patch of a saved target as an HTML image."""
    address = patch_address("target", str(target.id), target.reading, side)
    return _patch(address, f"Target {target.name}", target.reading, side)


def patch_strip(patches: Sequence[str], names: Sequence[str] = ()) -> str:
    """Return patches edge to edge on neutral grey, so that the eye compares at the seam, with their names below.

    patches: HTML images, as the functions above give them. names: one for each, or none.
    """
    said = "".join(f"<span>{escaped(name)}</span>" for name in names)
    below = f'<p class="pm-names tight">{said}</p>' if names else ""
    return f'<div class="pm-mat tight"><div class="pm-strip">{"".join(patches)}</div></div>{below}'


def said_of(name: str, reading: Reading) -> str:
    """Return what stands for a patch where it cannot be seen: its name, its colour in words, whether it is plain."""
    plain = "" if reading.photo is not None and reading.region is not None else ", a plain colour: no photograph"
    return f"{name}: {colour_in_words(reading.lab)}{plain}"


def _patch(address: str, name: str, reading: Reading, side: int) -> str:
    said = escaped(said_of(name, reading))
    return (
        f'<img class="pm-patch" src="{address}" width="{side}" height="{side}" loading="lazy" decoding="async" '
        f'alt="{said}" title="{said}">'
    )
