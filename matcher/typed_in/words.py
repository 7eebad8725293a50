"""What the command line tells a person: one line to a colour, a few to a suggestion or a plate."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from matcher.colour.uncertainty import plus_minus_95
from matcher.dates import ISO, shown
from matcher.files import whole_file
from matcher.recipe.recipe import describe
from matcher.suggest.wording import NEARNESS
from matcher.words import capital, listed, percent, plural, with_sign

if TYPE_CHECKING:
    from matcher.calibration.profile import CameraProfile
    from matcher.card.card import Card
    from matcher.card.reading import CardReading
    from matcher.commissions.read_again import Proposal
    from matcher.instrument.choices import Question
    from matcher.plates_beside import LaidBeside
    from matcher.reading.reading import Reading
    from matcher.reading.texture import Texture
    from matcher.suggest.suggestion import Apart, Prediction, Suggestion
    from matcher.trials.trial import Trial

AXES = ("L*", "a*", "b*")
LEAST_PART = 0.05  # ΔE00: a smaller part would be shown as ±0.0


def reading_line(what: str, reading: Reading) -> str:
    """Say a colour with its 95 % interval, each coordinate on its own."""
    named = zip(AXES, reading.lab, plus_minus_95(reading.covariance), strict=True)
    parts = ", ".join(f"{name} {with_sign(value)} ± {half_width:.1f}" for name, value, half_width in named)
    glare = f", {percent(reading.left_out_share)} left out as glare" if reading.left_out_share >= 0.005 else ""
    return f"{what}: {parts} (95 %){glare}"


def trust_lines(reading: Reading, laid: LaidBeside | None = None) -> list[str]:
    """Say how far a reading can be trusted, which plates to lay beside it, what its ± is made of, what would help."""
    from matcher.reading.advice import budget_table, trust_sentence, what_would_help

    lines = [f"    {trust_sentence(reading)}", *beside_lines(laid)]
    for part in budget_table(reading):
        if part.delta_e00 >= LEAST_PART:
            lines.append(f"    ±{part.delta_e00:4.1f}  {part.name}" + (f": {part.remedy}" if part.remedy else ""))
    return [*lines, *(f"    What would help: {item.words}." for item in what_would_help(reading))]


def beside_lines(laid: LaidBeside | None) -> list[str]:
    """Say which plates are worth laying beside a finish; nothing where none are."""
    return [] if laid is None else [f"    {capital(laid.words)}."]


def beside_as_dict(laid: LaidBeside | None) -> dict[str, Any] | None:
    """Return the same as plain JSON types."""
    return None if laid is None else laid.as_dict()


def texture_lines(texture: Texture) -> list[str]:
    """Say what colours a finish is made of, and the size of its mottle."""
    colours = [
        " ".join(
            [percent(colour.share), *(f"{name} {with_sign(at)}" for name, at in zip(AXES, colour.lab, strict=True))]
        )
        for colour in texture.palette
    ]
    lines = [f"    Made of {'; '.join(colours)}"]
    strongest = texture.mottle.strongest
    if strongest is not None:
        spread = f"L* ±{strongest.lightness:.1f}, a* and b* ±{strongest.colour:.1f}"
        lines.append(
            f"    Mottle strongest at {strongest.size_px:.0f} pixels ({percent(strongest.share)} of it): {spread}"
        )
    return lines


def difference_line(item: Mapping[str, Any]) -> str:
    """Say how two finishes in one photograph differ."""
    (low, high), (first, second) = item["delta_e00_interval"], item["between"]
    said = f"ΔE00 {item['delta_e00']:.1f} ({low:.1f} to {high:.1f}, what both have in common cancelled)"
    return f"Finish {first} to {second}: {said}; {item['words']}"


def again_lines(one: Proposal, kept: bool) -> list[str]:
    """Say what reading a photograph again gives: before, after, and how far the two are apart."""
    from matcher.colour.difference import delta_e_2000
    from matcher.commissions.read_again import nothing_changed
    from matcher.reading.wording import known_by_in_words

    stage = "" if one.owner.stage == "finished" else f", {one.owner.stage}"
    lines = [f"{capital(one.owner.kind)} {one.owner.number}{stage}{f' ({one.name})' if one.name else ''}"]
    lines.append("    " + reading_line("before", one.before))
    by_before = known_by_in_words(one.before)
    lines += [f"    {by_before}"] if by_before else []
    if one.after is None:
        return [*lines, f"    stays as it is: {one.why}"]
    apart = float(delta_e_2000(one.before.lab, one.after.lab))
    done = "kept; the earlier reading stays in the history" if kept else "not kept: give --keep REASON to keep it"
    by_now = known_by_in_words(one.after)
    now = ["    " + reading_line("now", one.after), *([f"    {by_now}"] if by_now else [])]
    if nothing_changed(one.before, one.after):
        now.append("    Nothing changed: the colour and its ± are as they were.")
    return [*lines, *now, f"    ΔE00 {apart:.1f} apart; {done}"]


def profile_lines(profile: CameraProfile) -> list[str]:
    """Say one camera profile: name, light, day, kind, error."""
    from matcher.calibration.profile_report import camera_in_words, temperature_in_words

    error = profile.as_dict()["leave_one_out_delta_e00"]
    day, camera, kelvin = shown(profile.made_at, ISO), camera_in_words(profile), temperature_in_words(profile)
    about = [profile.light, day, camera, profile.encoding, kelvin]
    retired = "" if profile.retired is None else f" (retired: {profile.retired})"
    return [
        f"{profile.name}{retired}: {', '.join(filter(None, about))}",
        f"    {profile.kind}; patches left out are read to ΔE00 {error['mean']:.1f} on average, "
        f"95 % to {error['p95']:.1f}",
    ]


def photo_line(photo: Mapping[str, Any], card: CardReading | None) -> str:
    found = "no card" if card is None else f"{card.card.title}, found by {card.found_by}"
    return f"{photo['name']}: {photo['width']} × {photo['height']} pixels, {photo['encoding']}; {found}"


def suggestion_lines(rank: int, item: Suggestion, tolerance: float) -> list[str]:
    """Say one ranked answer; the first line is empty."""
    low, high = item.delta_e00_interval
    plate = "" if item.trial is None else f", plate {item.trial.id}"
    tied = f" Not to be told apart from {', '.join(map(str, item.tied_with))}." if item.tied_with else ""
    chance = f"{percent(item.chance_within(tolerance))} chance within {tolerance:g}"
    nearness = NEARNESS[item.standing(tolerance)]
    again = "worth making again next" if item.trial is not None else "the next plate to make"
    following = f", {again}" if item.is_next else ""
    return [
        "",
        f"{rank}.  ΔE00 {item.delta_e00:.1f} ({low:.1f} to {high:.1f}), {chance}, {item.basis}{plate}{following}",
        f"    {describe(item.recipe)}",
        f"    {capital(nearness)}. {item.because}{tied}",
    ]


def prediction_lines(prediction: Prediction, to_target: Apart | None, tolerance: float) -> list[str]:
    """Say what a recipe would give: colour, how far to trust it, distance from a target if any, plates, doubts."""
    numbers = [str(trial.id) for trial in prediction.nearest if trial.id is not None]
    one = " ".join(f"{value:.1f}" for value in plus_minus_95(prediction.one_plate_covariance))
    return [
        describe(prediction.recipe),
        f"    {reading_line('Would give', prediction.reading)}; one plate of it ± {one}",
        f"    How far to trust it: {prediction.sureness}.",
        *([] if to_target is None else [f"    {apart_line('Against the target', to_target, tolerance)}"]),
        *([f"    Most from {plural('plate', len(numbers))} {listed(numbers)}."] if numbers else []),
        *(f"    {doubt}" for doubt in prediction.doubts),
    ]


def apart_line(what: str, apart: Apart, tolerance: float) -> str:
    """Say how far an expected colour is from another, and the chance that it lies within a tolerance."""
    low, high = apart.delta_e00_interval
    chance = f"{percent(apart.chance_within(tolerance))} chance within {tolerance:g}"
    return f"{what}: {apart.difference}, ΔE00 {apart.delta_e00:.1f} ({low:.1f} to {high:.1f}), {chance}"


def trial_lines(trial: Trial) -> list[str]:
    """Say one plate: number, day, colour; recipe."""
    head = f"{trial.id}  {shown(trial.made_at, ISO)}{aside(trial.set_aside)}"
    return [reading_line(head, trial.reading), f"    {describe(trial.recipe)}"]


def aside(reason: str | None) -> str:
    return "" if reason is None else f" (set aside: {reason})"


def warning_lines(warned: Sequence[Mapping[str, str]]) -> list[str]:
    return [f"Warning: {item['message']}" for item in warned]


def card_as_dict(card: Card) -> dict[str, Any]:
    """Return a card's definition as plain JSON types."""
    patches = [
        {"name": patch.name, "lab": patch.lab.tolist(), "tolerance": patch.tolerance.tolist()} for patch in card.patches
    ]
    return {"name": card.name, "title": card.title, "layout": card.layout, "source": card.source, "patches": patches}


@dataclass(frozen=True)
class Answer:
    """What a command has to say: plain JSON types, and lines for a person."""

    document: dict[str, Any]
    lines: Sequence[str]


def write(path: str, data: bytes, overwrite: bool = False) -> None:
    """Write a file that a command was asked for; what is there is kept unless ``overwrite``. Raises StudioError."""
    with whole_file(Path(path), overwrite) as temporary:
        temporary.write_bytes(data)


def unprinted_lines(*things: object) -> list[str]:
    """Say which signs of what stands on a sheet it can't print."""
    from matcher.sheets.paper import lacking, lacking_in_words

    said = lacking_in_words(lacking(*things))
    return [said] if said else []


def choice_lines(questions: Sequence[Question]) -> list[str]:
    """Say with which option something else is taken of an instrument's file."""
    return [
        f"--{question.about} can be {', '.join(question.options)} for this file: {question.taken} was taken."
        for question in questions
        if len(question.options) > 1
    ]
