"""What a file leaves open: several angles or M-conditions, an unknown white, a light that is not stated.

Between the format readers, which give every row all that the file states of it, and the Samples. The usual one of
several is taken and said; where two readings are possible and nothing tells which, it is asked for.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from matcher.colour.types import Floats
from matcher.errors import Caveat, InstrumentFileError
from matcher.instrument.measured import Measured, Sample, best_sample, lightness_with, the_best
from matcher.instrument.written import (
    FROM_THE_FRONT,
    GLOSS_LEFT_OUT,
    GLOSS_TAKEN_IN,
    SPHERE,
    angle_of,
    condition_of,
    illuminant_name,
    observer_name,
)
from matcher.typed import number

MOST_FACTOR, LIKELY_FACTOR, LEAST_BLACK, MOST_RISE = 2.0, 1.2, 0.2, 10.0
"""What tells a white of 1 from one of 100. No surface reflects twice what a perfect white does, and few more than 1.2
times. Percents below 2 would be of a black: none reflects less than 0.2 % on the mean (black velvet: 0.4 %), nor ten
times as much at one wavelength as at another, since its surface alone reflects some tenths of a percent (from memory).
"""
NEAR_LIGHTNESS, FAR_LIGHTNESS = 3.0, 6.0
"""A file's own L* tells its white when one white gives it and the other does not."""
NOT_STATED = "not stated"
LIGHTS = ("D50", "D55", "D65", "D75", "A", "C", "FL2", "FL7", "FL11", "LED-B3")
OBSERVERS = ("2", "10")


class Asked(StrEnum):
    """What a question is about."""

    ANGLE = "angle"
    CONDITION = "condition"
    WHITE = "white"
    ILLUMINANT = "illuminant"
    OBSERVER = "observer"


@dataclass(frozen=True)
class Question:
    """What a file leaves open.

    options: the answers. taken: the one that was taken; None when none can be without asking. example, lightness: the
    name of a sample and its L* with each option, where the question is about the white.
    """

    about: Asked
    options: tuple[str, ...]
    taken: str | None
    example: str = ""
    lightness: tuple[float, ...] = ()


@dataclass(frozen=True, eq=False)
class Row:
    """All that a file states of one sample. sample: what it is already, without anything to choose.

    caveats: what was chosen of it.
    """

    name: str
    stated: tuple[Measured, ...] = ()
    sample: Sample | None = None
    caveats: tuple[Caveat, ...] = ()


def settled(rows: Sequence[Row], answers: Mapping[str, str]) -> tuple[tuple[Sample, ...], tuple[Question, ...]]:
    """Return the Sample of every row, and what was open; no samples while a question has no answer.

    answers: by what they are about (``Asked``). Raises InstrumentFileError for an answer to what is not open, or one
    that the file does not have, and for rows that give no colour.
    """
    answers = {key: value for key, value in answers.items() if value != NOT_STATED or key == Asked.ANGLE}
    questions: list[Question] = []
    for about in (Asked.ANGLE, Asked.CONDITION):
        rows, question = _picked(rows, about, answers.get(about))
        questions += [question] if question is not None else []
    rows = _with_white(rows, answers, questions)
    _refuse_against_its_own_lightness(rows)
    rows = _with_light(rows, answers, questions)
    unasked = [key for key in answers if key not in {question.about.value for question in questions}]
    if unasked:
        raise InstrumentFileError(f"Leave out the {unasked[0]}: the file leaves no choice of it.")
    if any(question.taken is None for question in questions):
        return (), tuple(questions)
    samples = tuple(row.sample or best_sample(row.name, row.stated, row.caveats) for row in rows)
    return samples, tuple(questions)


def _picked(rows: Sequence[Row], about: Asked, wanted: str | None) -> tuple[Sequence[Row], Question | None]:
    """Keep of every row what has the angle, or the M-condition, that was asked for, else the most usual one."""
    of, order = (_angle, _angle_order) if about is Asked.ANGLE else (_condition, _condition_order)
    several = [sorted({of(stated) for stated in row.stated}, key=order) for row in rows]
    there = sorted({option for options in several for option in options}, key=order)
    if all(len(options) < 2 for options in several):
        settled_already = wanted is not None and there == [wanted]
        return rows, Question(about, tuple(there), wanted) if settled_already else None
    if wanted is not None and wanted not in there:
        raise InstrumentFileError(f"Choose the {about} from {', '.join(there)}: {wanted[:40]!r} is not in the file.")
    kept = []
    for row, options in zip(rows, several, strict=True):
        taken = wanted if wanted in options else options[0] if options else None
        said = (_caveat(about, options, taken),) if taken is not None and len(options) > 1 else ()
        stated = tuple(one for one in row.stated if of(one) == taken)
        kept.append(replace(row, stated=stated, caveats=(*row.caveats, *said)))
    return kept, Question(about, tuple(there), wanted or there[0])


def _caveat(about: Asked, options: Sequence[str], taken: str) -> Caveat:
    others = ", ".join(option for option in options if option != taken)
    named = {NOT_STATED: "what has none beside it"}.get(taken, taken)
    if about is Asked.ANGLE:
        return Caveat("angle-chosen", f"The file has this finish at several angles: {named} was taken, not {others}.")
    words = f"The file has this finish under several measurement conditions: {named} was taken, not {others}."
    return Caveat("condition-chosen", words)


def _angle(stated: Measured) -> str:
    return stated.angle or NOT_STATED


def _condition(stated: Measured) -> str:
    return stated.condition or NOT_STATED


def _angle_order(angle: str) -> tuple[float, str]:
    """45/0 first, as a photograph sees it from the front; then without gloss, then what is nearest to 25°."""
    named = {FROM_THE_FRONT: 0.0, GLOSS_LEFT_OUT: 1.0, SPHERE: 500.0, NOT_STATED: 501.0, GLOSS_TAKEN_IN: 502.0}
    degrees = number(angle.removesuffix("°")) if angle.endswith("°") else None
    return (named.get(angle, 400.0) if degrees is None else 2.0 + abs(degrees - 25.0), angle)


def _condition_order(condition: str) -> tuple[float, str]:
    """M1 first (daylight, as D50 has it), else M0."""
    return (float({"M1": 0, "M0": 1, "M2": 2, NOT_STATED: 3, "M3": 4}[condition]), condition)


def _with_white(rows: Sequence[Row], answers: Mapping[str, str], questions: list[Question]) -> list[Row]:
    """Say of every spectrum and XYZ what a perfect white is in it: by the whole file, or by the answer."""
    whites: dict[str, float | None] = {}
    for kind in ("spectrum", "xyz"):
        unknown = [one for row in rows for one in row.stated if one.kind == kind and one.white is None]
        if not unknown:
            continue
        whites[kind] = (
            None
            if _on_two_scales(unknown)
            else (_white_of_values(unknown) or _white_of_colours(unknown) or _white_by_lightness(rows, kind))
        )
        if whites[kind] is None and _matters(rows, kind):
            whites[kind] = _white_answered(answers)
            if not any(question.about is Asked.WHITE for question in questions):
                questions.append(_white_question(rows, kind, whites[kind]))
    if Asked.WHITE in answers and not any(question.about is Asked.WHITE for question in questions) and whites:
        wanted = _white_answered(answers)
        if set(whites.values()) == {wanted}:
            questions.append(Question(Asked.WHITE, (f"{wanted:g}",), f"{wanted:g}"))
    return [
        replace(
            row,
            stated=tuple(
                replace(one, white=whites[one.kind]) if one.white is None and one.kind in whites else one
                for one in row.stated
            ),
        )
        for row in rows
    ]


def _on_two_scales(stated: Sequence[Measured]) -> bool:
    """Tell whether some samples can only be percent while others would be darker than any black in percent."""
    seen = [values for one in stated if len(values := _visible(one))]
    return any(values.max() > MOST_FACTOR for values in seen) and any(0 < one.mean() < LEAST_BLACK for one in seen)


def _white_of_values(stated: Sequence[Measured]) -> float | None:
    """Return 1 or 100 when the figures of all samples leave no other, else None."""
    seen = [values for one in stated if len(values := _visible(one))]
    if not seen:
        return None
    if max(values.max() for values in seen) > MOST_FACTOR:
        return 100.0
    some_black = all(values.mean() >= LEAST_BLACK for values in seen)
    if some_black and any(values.max() > LIKELY_FACTOR for values in seen):
        return None
    return None if some_black and all(values.max() <= MOST_RISE * values.min() for values in seen) else 1.0


def _white_of_colours(stated: Sequence[Measured]) -> float | None:
    """Return 1 or 100 when only that makes a colour of every sample, else None; 1 when neither does."""
    possible = [white for white in (1.0, 100.0) if all(lightness_with(one, white) is not None for one in stated)]
    return None if len(possible) == 2 else (*possible, 1.0)[0]


def _visible(stated: Measured) -> Floats:
    if stated.wavelengths_nm is None:
        return np.asarray(stated.values)
    return np.asarray(stated.values[(stated.wavelengths_nm >= 400) & (stated.wavelengths_nm <= 700)])


def _white_by_lightness(rows: Sequence[Row], kind: str) -> float | None:
    """Return 1 or 100 when only that gives the L* that the file has of the same samples, else None."""
    possible = {1.0, 100.0}
    for row in rows:
        own = [one.values[0] for one in row.stated if one.kind == "lab"]
        unknown = [one for one in row.stated if one.kind == kind and one.white is None]
        if own and unknown:
            apart = {white: _apart(lightness_with(unknown[0], white), own[0]) for white in (1.0, 100.0)}
            near = {white for white in apart if apart[white] < NEAR_LIGHTNESS}
            far = {white for white in apart if apart[white] > FAR_LIGHTNESS}
            possible &= near if len(near) == len(far) == 1 else set()
    return possible.pop() if len(possible) == 1 else None


def _refuse_against_its_own_lightness(rows: Sequence[Row]) -> None:
    """Refuse a spectrum or XYZ whose white, as declared, makes another colour than the CIELAB beside it.

    Raises InstrumentFileError where the other white would make that colour.
    """
    for row in rows:
        own = [one.values[0] for one in row.stated if one.kind == "lab"]
        for one in row.stated:
            if own and one.kind != "lab" and one.white is not None:
                other = 101.0 - one.white
                as_declared, otherwise = (_apart(lightness_with(one, white), own[0]) for white in (one.white, other))
                if as_declared > FAR_LIGHTNESS and otherwise < NEAR_LIGHTNESS:
                    raise InstrumentFileError(
                        f"Export it again: the L* {own[0]:.1f} of {row.name!r} is that of its other figures only if a "
                        f"perfect white is {other:g} in them, and the file says or shows {one.white:g}."
                    )


def _apart(lightness: float | None, own: float) -> float:
    return np.inf if lightness is None else abs(lightness - own)


def _matters(rows: Sequence[Row], kind: str) -> bool:
    """Tell whether any sample would be made of what has no known white."""
    return any(row.stated and the_best(row.stated).kind == kind and the_best(row.stated).white is None for row in rows)


def _white_question(rows: Sequence[Row], kind: str, answer: float | None) -> Question:
    row, stated = next((row, one) for row in rows for one in row.stated if one.kind == kind and one.white is None)
    lightness = tuple(value for white in (1.0, 100.0) if (value := lightness_with(stated, white)) is not None)
    return Question(Asked.WHITE, ("1", "100"), None if answer is None else f"{answer:g}", row.name, lightness)


def _white_answered(answers: Mapping[str, str]) -> float | None:
    answer = answers.get(Asked.WHITE)
    if answer is None:
        return None
    if answer not in ("1", "100"):
        raise InstrumentFileError(f"Give the white as 1 or 100: {answer[:20]!r} is neither.")
    return float(answer)


def _with_light(rows: Sequence[Row], answers: Mapping[str, str], questions: list[Question]) -> list[Row]:
    """Let the answers stand where a file does not say for which light or observer its figures are."""
    open_ones = [the_best(row.stated) for row in rows if row.stated]
    open_ones = [one for one in open_ones if one.kind != "spectrum"]
    light = observer = None
    if any(one.illuminant is None for one in open_ones):
        light = answers.get(Asked.ILLUMINANT)
        light = None if light is None else illuminant_name(light)
        options = LIGHTS if light is None or light in LIGHTS else (*LIGHTS, light)
        if any(one.kind == "xyz" and one.illuminant is None for one in open_ones):  # a grey's XYZ are the light's own
            questions.append(Question(Asked.ILLUMINANT, options, light))
        else:
            questions.append(Question(Asked.ILLUMINANT, (NOT_STATED, *options), light or NOT_STATED))
    if any(one.observer is None for one in open_ones):
        observer = answers.get(Asked.OBSERVER)
        observer = None if observer is None else observer_name(observer)
        questions.append(Question(Asked.OBSERVER, (NOT_STATED, *OBSERVERS), observer or NOT_STATED))
    return [
        replace(
            row,
            stated=tuple(
                replace(one, illuminant=one.illuminant or light, observer=one.observer or observer)
                for one in row.stated
            ),
        )
        for row in rows
    ]


def answer_as_named(about: Asked, text: str) -> str:
    """Return an answer as it is named here: "SCE" is "specular excluded", "m1" is M1, "as25" 25°."""
    plain = text.strip()
    if about is Asked.ANGLE:
        return angle_of(plain) or plain
    if about is Asked.CONDITION:
        return condition_of(plain) or plain
    return plain


def what_is_open(question: Question) -> str:
    """Say what must be answered before a file can be used."""
    if question.about is Asked.ILLUMINANT:
        return "It does not say what light its XYZ are for, and each light makes quite another colour of them."
    lightness = " or ".join(f"{value:.0f}" for value in question.lightness)
    return (
        f"Its perfect white could be 1 or 100: {question.example!r} has L* {lightness} then, and nothing in the file "
        "tells which."
    )


def option_in_words(question: Question, option: str) -> str:
    """Return an answer as a list of choices shows it."""
    if option == NOT_STATED:
        return "Not stated"
    if question.about is Asked.WHITE and len(question.lightness) == len(question.options):
        return f"{option} ({question.example} has L* {question.lightness[question.options.index(option)]:.0f})"
    if question.about is Asked.OBSERVER:
        return f"{option}°"
    if question.about is Asked.ANGLE and option.endswith("°"):
        return f"{option} from the mirror direction"
    return _OPTIONS.get(option, option)


_OPTIONS = {
    "M0": "M0 (a lamp)",
    "M1": "M1 (daylight)",
    "M2": "M2 (without ultraviolet)",
    "M3": "M3 (polarized)",
    FROM_THE_FRONT: "45/0",
    GLOSS_LEFT_OUT: "Specular excluded (SCE)",
    GLOSS_TAKEN_IN: "Specular included (SCI)",
    SPHERE: "Sphere, gloss not stated",
}
