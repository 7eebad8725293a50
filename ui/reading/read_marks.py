"""A mark on a photograph becomes a reading: by card, light, profile, and whatever more the person brought.

Nothing is shown here. What took time is kept, so that a page that runs again answers at once.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.errors import CardError, MatcherError
from ui.draw import Shape
from ui.photograph.card_step import card_reading
from ui.photograph.photographs import photo_of
from ui.photograph.plates_there import plates_there
from ui.state.cache_keys import Key, light_key, more_key
from ui.state.light import CardChoice, Frame, Light, More

if TYPE_CHECKING:
    from pathlib import Path

    from matcher.calibration.calibration import Calibration
    from matcher.calibration.illumination import LightField
    from matcher.card.reading import CardReading
    from matcher.colour.types import Floats, Mask
    from matcher.errors import Caveat
    from matcher.photo.photo import Photo
    from matcher.plates_in_picture import PlateSeen
    from matcher.reading.reading import Reading
    from matcher.reading.texture import Texture
    from matcher.studio import Studio


def finish_reading(studio: Studio, sha256: str, light: Light, shape: Shape) -> Reading:
    """Return the reading of one mark. Raises MatcherError."""
    return _finish_reading(light_key(studio, sha256, light), shape, studio, sha256, light)


def finish_texture(studio: Studio, sha256: str, light: Light, shape: Shape) -> Texture:
    """Return what the finish in one mark is made of, in the first photograph. Raises MatcherError."""
    return _finish_texture(light_key(studio, sha256, light), shape, studio, sha256, light)


def frames_that_fit(studio: Studio, sha256: str, light: Light, shape: Shape) -> tuple[Light, list[str]]:
    """Return the light with those frames only that can be read with the photograph, and why the others cannot.

    Raises MatcherError when the cards or the mark cannot be used at all.
    """
    from matcher.reading.exposures import unfit_exposures

    stack = _stack(light_key(studio, sha256, light), studio, sha256, light)
    unfit = unfit_exposures(*stack.photos_and_calibrations, shape.points)
    frames = tuple(frame for index, frame in enumerate(light.more.frames, start=1) if index not in unfit)
    return replace(light, more=More(frames=frames)), list(unfit.values())


def light_field(studio: Studio, sha256: str, card: CardChoice, more: More) -> LightField | None:
    """Return the light over the photograph, from the paper or the second card; None without. Raises MatcherError."""
    if more.paper is None and more.second is None:
        return None
    found = card_reading(studio, sha256, card)
    if found is None:
        raise CardError("Lay a card in the picture: without one, the light over it cannot be levelled.")
    if more.paper is not None:
        return _flat_field(more_key(studio, sha256, card, more), studio, sha256, card, studio.photo_path(more.paper))
    return _two_cards(studio, sha256, card, found, more)


def card_in_frame(studio: Studio, frame: Frame, card: CardChoice) -> tuple[CardReading | None, tuple[Caveat, ...]]:
    """Return the card in a further photograph, and what to mind of it. Raises MatcherError, which names the file."""
    from matcher.reading.exposures import card_of_exposure

    def find(corners: Any) -> CardReading | None:
        return card_reading(studio, frame.photo, replace(card, corners=corners))

    try:
        return card_of_exposure(find, card.corners, frame.name)
    except MatcherError as error:
        raise CardError(f"{frame.name}: {error}") from error


@st.cache_resource(show_spinner=False, max_entries=64)
def _finish_reading(key: Key, shape: Shape, _studio: Studio, _sha256: str, _light: Light) -> Reading:
    from matcher.plates_in_picture import noting_left_out
    from matcher.reading.exposures import read_frames
    from matcher.reading.finish import read_finish

    if not _light.more.frames:
        calibration = _calibration(key, _studio, _sha256, _light)
        reading = read_finish(photo_of(_studio, _sha256), calibration, shape.points, _light.pale_spots)
        if _light.plates_out:
            reading = noting_left_out(reading, plates_there(_studio, _sha256), _light.plates_out)
        return _minding(reading, () if calibration.field is None else calibration.field.caveats)
    stack = _stack(key, _studio, _sha256, _light)
    reading = read_frames(*stack.photos_and_calibrations, shape.points, _light.pale_spots)
    if _light.plates_out:
        reading = noting_left_out(reading, plates_there(_studio, _sha256), _light.plates_out)
    return _minding(reading, stack.caveats)


@st.cache_resource(show_spinner=False, max_entries=8)
def _finish_texture(key: Key, shape: Shape, _studio: Studio, _sha256: str, _light: Light) -> Texture:
    import numpy as np

    from matcher.reading.texture import read_texture

    calibration = _calibration(key, _studio, _sha256, _light)
    rng = np.random.default_rng(1)  # the same photograph gives the same answer
    return read_texture(photo_of(_studio, _sha256), calibration, shape.points, rng, _light.pale_spots)


def pixels_left_out(studio: Studio, sha256: str, light: Light, shape: Shape) -> tuple[Floats, Mask]:
    """Return the places (n, 2) of a mark's pixels and which of them are pale spots. Raises MatcherError."""
    from matcher.reading.finish import finish_pixels

    shown, glare = finish_pixels(photo_of(studio, sha256), calibration_of(studio, sha256, light), shape.points)
    return shown.xy, glare.doubtful


def calibration_of(studio: Studio, sha256: str, light: Light) -> Calibration:
    """Return what makes CIELAB of the photograph's values under this light. Raises MatcherError."""
    return _calibration(light_key(studio, sha256, light), studio, sha256, light)


@st.cache_resource(show_spinner=False, max_entries=8)
def _calibration(key: Key, _studio: Studio, _sha256: str, _light: Light) -> Calibration:
    from matcher.calibration.calibrate import calibrate
    from matcher.plates_in_picture import serving

    found = card_reading(_studio, _sha256, _light.card)
    field = light_field(_studio, _sha256, _light.card, _light.more)
    known = serving(plates_there(_studio, _sha256), _light.plates_out)
    return calibrate(
        photo_of(_studio, _sha256), found, camera=_light.profile, light=_light.kind, field=field, references=known
    )


def plates_seen(studio: Studio, sha256: str, light: Light) -> tuple[PlateSeen, ...]:
    """Return the studio's plates in a photograph, each as the others read it. Raises MatcherError."""
    return _plates_seen(light_key(studio, sha256, light), studio, sha256, light)


@st.cache_resource(show_spinner=False, max_entries=8)
def _plates_seen(key: Key, _studio: Studio, _sha256: str, _light: Light) -> tuple[PlateSeen, ...]:
    from matcher.plates_in_picture import seen_in
    from matcher.reading.seen_again import seen_again

    found = plates_there(_studio, _sha256)
    if not found:
        return ()
    again = seen_again(photo_of(_studio, _sha256), _calibration(key, _studio, _sha256, _light))
    return seen_in(found, again, _light.plates_out)


@dataclass(frozen=True, eq=False)
class _Stack:
    """The photographs of one plate, the calibration of each, and what to mind of their cards."""

    photos_and_calibrations: tuple[list[Photo], list[Calibration]]
    caveats: tuple[Caveat, ...]


@st.cache_resource(show_spinner=False, max_entries=1)
def _stack(key: Key, _studio: Studio, _sha256: str, _light: Light) -> _Stack:
    from matcher.calibration.calibrate import calibrate
    from matcher.photo.photo import open_photo

    photos = [photo_of(_studio, _sha256)]
    calibrations = [_calibration(key, _studio, _sha256, _light)]
    caveats: tuple[Caveat, ...] = ()
    for frame in _light.more.frames:
        card, minded = card_in_frame(_studio, frame, _light.card)
        photos.append(open_photo(_studio.photo_path(frame.photo)))
        calibrations.append(calibrate(photos[-1], card, camera=_light.profile, light=_light.kind))
        caveats += minded
    return _Stack((photos, calibrations), caveats)


@st.cache_resource(show_spinner=False, max_entries=4)
def _flat_field(key: Key, _studio: Studio, _sha256: str, _card: CardChoice, _paper: Path) -> LightField:
    from matcher.calibration.illumination import LightField
    from matcher.photo.photo import open_photo

    found = card_reading(_studio, _sha256, _card)
    assert found is not None
    return LightField.from_flat_field(open_photo(_paper), found, photo_of(_studio, _sha256))


def _two_cards(studio: Studio, sha256: str, card: CardChoice, found: CardReading, more: More) -> LightField:
    from matcher.calibration.illumination import LightField

    if card.way == "neutral":
        raise CardError("Mark a real card first: a neutral spot does not tell how the light falls over the picture.")
    kind = card.kind if card.own is not None else found.card.name
    second = card_reading(studio, sha256, replace(card, kind=kind, corners=more.second))
    assert second is not None
    return LightField.from_two_cards(found, second)


def _minding(reading: Reading, caveats: tuple[Caveat, ...]) -> Reading:
    new = tuple(caveat for caveat in caveats if caveat not in reading.caveats)
    return replace(reading, caveats=(*reading.caveats, *new)) if new else reading
