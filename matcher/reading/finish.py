"""A marked region of a photograph becomes a Reading: CIELAB, its covariance, lights and darks, palette."""

from __future__ import annotations

from collections.abc import Sequence
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import ArrayLike

from matcher.calibration.calibrate import CHART_IN_PICTURE
from matcher.calibration.calibration import Calibration
from matcher.calibration.references.discrepancy import LIGHT_SPREAD, LIGHT_SPREAD_WITHOUT_CARD, USUAL, Discrepancy
from matcher.calibration.references.mistaken import conditioned
from matcher.calibration.references.reference import LeftOut, Reference, SeenReference
from matcher.calibration.references.update import KNOWN_BETTER, Conditioned
from matcher.card.detect import NEUTRAL_SPOT
from matcher.card.reading import CardReading
from matcher.colour.cielab import checked_lab
from matcher.colour.sources import Source
from matcher.colour.types import Floats
from matcher.colour.uncertainty import BudgetTerm, sum_of
from matcher.errors import Caveat, ReadingError
from matcher.photo.photo import Photo
from matcher.photo.region import Pixels, area_inside, block_means, covariance_of_mean, pixels_inside, share_within
from matcher.reading.glare import Glare, PaleSpots, find_glare, room_mirrored, wide_glare
from matcher.reading.reading import CardAsRead, Conditions, Reading, ReferenceAsRead
from matcher.words import capital, counted, listed, percent

FEWEST_PIXELS = 9
FEW_PIXELS = 400
LEAST_LIGHT = 1e-5
MUCH_GLARE = 0.2
MUCH_CARD = 0.03  # of a region
NEARLY_ALL = 0.9  # of the picture
PALE_SPOTS_CODE = "region-pale-spots"
OF_NO_HELP = "of no help here for its colours"
"""What is said of a known finish of which a picture's camera learns nothing."""
UNSEEN = 0.1  # CIELAB: nobody needs to be asked about it
SEEN = 1.0  # CIELAB: a difference that is seen on textured metal (common practice, no source)


def read_finish(
    photo: Photo, calibration: Calibration, region: ArrayLike, pale_spots: PaleSpots = "unknown"
) -> Reading:
    """Read the colour of the finish inside an outline.

    What is glare is left out; all the rest is averaged in linear light, because that is what the eye makes of a
    texture from a distance.

    Parameters
    ----------
    photo : Photo
        The photograph, upright.
    calibration : Calibration
        Of the same photograph.
    region : array_like, shape (n, 2)
        Outline of the finish in pixels, n at least 3.
    pale_spots : "unknown", "glare" or "finish"
        What a person knows of spots of the lamp's own colour: that they are glare, or the finish itself (a white
        bloom). While that is unknown, the whole difference that it makes is part of the uncertainty.

    Returns
    -------
    Reading
        CIELAB under D50 for 2 degrees (ISO/CIE 11664-4) with its covariance, the parts that it is made of (JCGM 100),
        and what gives reason to doubt it.

    Raises
    ------
    ReadingError
        When the region is outside the picture, too small, or all glare.

    Examples
    --------
    >>> from matcher import calibrate, open_photo
    >>> from matcher.shipped import shipped
    >>> photo = open_photo(shipped("demo_images") / "plate_no_card.jpg")
    >>> reading = read_finish(photo, calibrate(photo, None), [(680, 420), (980, 460), (940, 850), (620, 810)])
    >>> reading.source, reading.lab.shape, reading.covariance.shape
    ('photograph', (3,), (3, 3))
    >>> [caveat.code for caveat in reading.caveats]
    ['no-card']
    """
    return read_with(photo, calibration, region, pale_spots, known_besides(photo, calibration, region))


def known_besides(photo: Photo, calibration: Calibration, marked: ArrayLike) -> Conditioned | None:
    """Return what the references besides the finish itself tell, None where there are none: it may have been waxed
    since it was known. marked: (n, 2) pixels, its outline."""
    known = known_finishes(photo, calibration)
    if known is None:
        return None
    region = np.asarray(marked, dtype=float)
    if region.ndim != 2 or region.shape[-1] != 2 or len(region) < 3 or not np.isfinite(region).all():
        return known  # refused in words when it is read
    for row in reversed(range(len(known.used))):
        outline = known.used[row].reference.region
        if _overlap(region, outline):
            known = known.without(row)
    return known


def _overlap(first: Floats, second: Floats) -> bool:
    """Tell whether two outlines overlap, as far as their hulls do."""
    import cv2

    hulls = [cv2.convexHull(outline.astype(np.float32)) for outline in (first, second)]
    return bool(cv2.intersectConvexConvex(*hulls)[0] > 0)


def read_with(
    photo: Photo,
    calibration: Calibration,
    region: ArrayLike,
    pale_spots: PaleSpots = "unknown",
    known: Conditioned | None = None,
    shines: bool = False,
) -> Reading:
    """Read a finish by the calibration, and by what known finishes in its picture tell of its errors.

    As ``read_finish`` does, which finds out what they tell. shines: whether other photographs show that it does.
    """
    shown, glare = finish_pixels(photo, calibration, region)
    keep = ~glare.left_out(pale_spots)
    left_out = 1.0 - float(keep.mean())
    if keep.sum() < FEWEST_PIXELS:
        raise ReadingError(
            "The marked region is all glare or overexposed: retake the photo with the lamp moved."
            if len(keep) >= FEWEST_PIXELS
            else f"Mark a larger region: this one holds {counted(len(keep), 'pixel')}, and {FEWEST_PIXELS} are needed."
        )
    kept = shown.only(keep)
    light = _mean_light(kept)
    lab, place = calibration.lab_of_light(light), kept.xy.mean(axis=0)
    _refuse_impossible(lab, calibration)
    quarters = _lights_and_darks(kept)
    lights, darks = (_lab_at(part.rgb.mean(axis=0), place, calibration, known) for part in quarters)
    spots = _spots_between_quarters(shown, glare, calibration) if pale_spots == "unknown" else None
    budget: tuple[BudgetTerm, ...] = (
        *calibration.budget(light, covariance_of_mean(kept), place),
        *(_pale_spots_term(shown, glare, calibration) if pale_spots == "unknown" else ()),
        *_wide_glare_term(kept, light, calibration),
        *(_room_mirrored_term(kept, light, calibration) if shines or glare.shines(pale_spots) else ()),
    )
    if known is not None and known.used:
        lab, budget = known.corrected(lab, budget, place)
        _refuse_impossible(lab, calibration)
    return Reading(
        lab=lab,
        covariance=sum_of(budget),
        source="photograph",
        lights=lights,
        darks=darks,
        quarters_covariance=_between_quarters(*quarters, place, calibration, spots),
        left_out_share=left_out,
        pixels=int(keep.sum()),
        budget=budget,
        caveats=(
            *photo.caveats,
            *calibration.caveats_for(light),
            *_region_caveats(int(keep.sum()), left_out),
            *_glare_caveats(budget),
            *(() if known is None else reference_caveats(known.left_out, calibration.references)),
            *(() if known is None else _as_unknown_caveats(known, calibration.references)),
            *_place_caveats(photo, calibration, np.asarray(region, dtype=float), shown.xy),
        ),
        region=np.asarray(region, dtype=float),
        photo=photo.sha256,
        conditions=_conditions(photo, calibration, pale_spots, known),
    )


_KNOWN: WeakKeyDictionary[Calibration, Conditioned] = WeakKeyDictionary()


def known_finishes(photo: Photo, calibration: Calibration) -> Conditioned | None:
    """Return what the references of a calibration tell of its errors, None where there are none. Worked out once."""
    if not calibration.references:
        return None
    if calibration not in _KNOWN:
        seen: list[SeenReference] = []
        left_out: list[LeftOut] = []
        for index, reference in enumerate(calibration.references):
            try:
                reading = read_with(photo, calibration, reference.region)
            except ReadingError as error:
                left_out.append(LeftOut(index, "unreadable", said=str(error)))
                continue
            seen.append(SeenReference(index, reference, reading))
        local = USUAL if calibration.profile is None else calibration.profile.local
        spread = LIGHT_SPREAD if calibration.card is not None else LIGHT_SPREAD_WITHOUT_CARD
        _KNOWN[calibration] = conditioned(
            seen, left_out, photo.sha256, Discrepancy(local, max(photo.width, photo.height), spread)
        )
    return _KNOWN[calibration]


def _lab_at(light: Floats, place: Floats, calibration: Calibration, known: Conditioned | None) -> Floats:
    """Return CIELAB (3,) of scene light (3,) at place (2,), what known finishes tell taken in."""
    lab = calibration.lab_of_light(light)
    if known is None or not known.used:
        return lab
    return known.corrected(lab, calibration.budget(light, np.zeros((3, 3)), place), place)[0]


def shift_of(photo: Photo, calibration: Calibration, region: ArrayLike, light: Floats) -> Floats:
    """Return (3,) CIELAB: what known finishes add to a finish of scene light (3,) inside an outline (n, 2) pixels.

    For what is shown of a finish besides its reading, so that it is of one colour with it.
    """
    known = known_besides(photo, calibration, region)
    place = np.asarray(region, dtype=float).mean(axis=0)
    return _lab_at(light, place, calibration, known) - calibration.lab_of_light(light)


def _conditions(photo: Photo, calibration: Calibration, pale_spots: PaleSpots, known: Conditioned | None) -> Conditions:
    """Note all that the photograph was read with, so that it can be read again."""
    card, profile = calibration.card, calibration.profile
    return Conditions(
        encoding=photo.encoding,
        light=calibration.declared_light,
        card=None if card is None else _card_as_read(card),
        profile=None if profile is None or profile.name == CHART_IN_PICTURE else profile.name,
        pale_spots=pale_spots,
        evened=calibration.field is not None,
        references=()
        if known is None
        else tuple(_as_read(item.reference) for item in known.used if not item.as_unknown),
        noted=True,
    )


def _as_read(reference: Reference) -> ReferenceAsRead:
    outline = tuple((float(x), float(y)) for x, y in reference.region)
    known = reference.reading
    return ReferenceAsRead(
        reference.name, outline, _triple(known.lab), tuple(_triple(row) for row in known.covariance), reference.uid
    )


def _card_as_read(card: CardReading) -> CardAsRead:
    spot = card.found_by == NEUTRAL_SPOT
    corners = card.patches[0].outline if spot else card.corners
    to = card.card.measured_to
    lab = None if to is None else tuple(_triple(item.patch.lab) for item in card.patches)
    return CardAsRead(card.card.name, tuple((float(x), float(y)) for x, y in corners), card.found_by, lab, to)


def _triple(lab: Floats) -> tuple[float, float, float]:
    lightness, red, yellow = lab.tolist()
    return lightness, red, yellow


def _refuse_impossible(lab: Floats, calibration: Calibration) -> None:
    """Raise ReadingError for a colour that no surface has, and say what it must come from."""
    try:
        checked_lab(lab)
    except ReadingError as error:
        if calibration.profile is not None:
            message = (
                f"The camera profile {calibration.profile.name!r} gives a colour here that no surface has: it is of "
                "another light or camera. Choose another profile, or none."
            )
        else:
            message = (
                "This reads as a colour that no surface has: mark the card again, or take the photo in other light."
            )
        raise ReadingError(message) from error


def finish_pixels(photo: Photo, calibration: Calibration, region: ArrayLike) -> tuple[Pixels, Glare]:
    """Return the pixels inside an outline in scene light, and which of them are glare.

    Raises ReadingError when the region is outside the picture.
    """
    seen = pixels_inside(photo, region)
    shown = Pixels(seen.xy, calibration.light(seen.rgb, seen.xy), seen.clipped)
    return shown, find_glare(shown.xy, calibration.balanced(shown.rgb), shown.clipped)


def _mean_light(pixels: Pixels) -> Floats:
    return np.maximum(pixels.rgb.mean(axis=0), LEAST_LIGHT)


def _pale_spots_term(shown: Pixels, glare: Glare, calibration: Calibration) -> tuple[BudgetTerm, ...]:
    """Return the whole difference that it makes whether doubtful spots are glare or finish."""
    kept, cut = ~glare.left_out("finish"), ~glare.left_out("glare")
    if not glare.doubtful.any() or not cut.any():
        return ()
    labs = [calibration.lab_of_light(_mean_light(shown.only(keep))) for keep in (kept, cut)]
    if np.linalg.norm(labs[0] - labs[1]) < UNSEEN:
        return ()
    remedy = "say whether the pale spots are glare or the finish, or photograph it again with the lamp moved"
    return (BudgetTerm(Source.PALE_SPOTS, (labs[0] - labs[1])[:, None], remedy),)


def _wide_glare_term(kept: Pixels, light: Floats, calibration: Calibration) -> tuple[BudgetTerm, ...]:
    """Return the whole of what a wide, faint image of a lamp or a window adds over the finish, where one is seen."""
    places, means = block_means(kept)
    added = wide_glare(places, calibration.balanced(means))
    if added == 0.0:
        return ()
    remedy = "turn the plate or move the lamp until the shine is gone"
    return (BudgetTerm(Source.WIDE_GLARE, _effect_of_white(added, light, calibration), remedy),)


def _room_mirrored_term(kept: Pixels, light: Floats, calibration: Calibration) -> tuple[BudgetTerm, ...]:
    """Return what a finish that shines may mirror evenly of the room: no photograph shows how much it is."""
    _, means = block_means(kept)
    added = room_mirrored(calibration.balanced(means))
    remedy = "hang a dark cloth where the finish mirrors the room"
    return (BudgetTerm(Source.ROOM_MIRRORED, _effect_of_white(added, light, calibration), remedy),)


def _effect_of_white(added: float, light: Floats, calibration: Calibration) -> Floats:
    """Return how CIELAB moved (3, 1) when neutral light, 1 for a perfect white, was added to make scene light (3,)."""
    without = np.maximum(light * (1 - added / calibration.balanced(light)), LEAST_LIGHT)
    effect = calibration.lab_of_light(light) - calibration.lab_of_light(without)
    return np.asarray(effect[:, None])


def _glare_caveats(budget: tuple[BudgetTerm, ...]) -> tuple[Caveat, ...]:
    """Say what may be mirrored and may be the finish, where it makes a difference that is seen."""
    said = {
        Source.PALE_SPOTS: Caveat(
            PALE_SPOTS_CODE,
            "Pale spots on the finish may be glare or the finish itself: say which, or photograph it again with the "
            "lamp moved.",
        ),
        Source.WIDE_GLARE: Caveat(
            "region-wide-glare",
            "A lamp or a window seems to be mirrored faintly over the whole finish: turn the plate until it is gone.",
        ),
        Source.ROOM_MIRRORED: Caveat(
            "region-mirrors-room",
            "The finish shines, and so mirrors the room evenly too, which lightens it and cannot be seen: hang a dark "
            "cloth where it mirrors the room, and move the lamp until nothing shines.",
        ),
    }
    large = [term for term in budget if np.linalg.norm(term.effect) > SEEN]
    return tuple(said[Source(term.name)] for term in large if term.name in said)


def called(index: int, references: Sequence[Reference]) -> str:
    """Return how a reference is called where it is told: "plate 88", else by its place among those given."""
    return references[index].name or f"known finish {index + 1}"


def reference_caveats(left_out: Sequence[LeftOut], references: Sequence[Reference]) -> tuple[Caveat, ...]:
    """Name the references that were left out, and say why and what to do."""
    odd, two = ([called(item.index, references) for item in left_out if item.why == why] for why in ("odd", "at odds"))
    caveats = []
    if odd:
        message = (
            f"Left out, because {'it looks' if len(odd) == 1 else 'they look'} otherwise here than logged: "
            f"{listed(odd)}. Check for glare, wax, wear, or the tag of another plate."
        )
        caveats.append(Caveat("reference-odd", message))
    if two:
        message = (
            f"Left out, because they contradict each other here: {listed(two)}. Lay a third plate beside them, or "
            "leave the wrong one out."
        )
        caveats.append(Caveat("reference-at-odds", message))
    for item in left_out:
        if item.why == "unreadable":
            message = f"Left out, because it can't be read here: {called(item.index, references)}. {item.said}"
            caveats.append(Caveat("reference-unreadable", message))
    return tuple(caveats)


def _as_unknown_caveats(known: Conditioned, references: Sequence[Reference]) -> tuple[Caveat, ...]:
    """Name the references that were known by a camera as unknown as this one."""
    names = [called(item.index, references) for item in known.used if item.as_unknown]
    if not names:
        return ()
    message = (
        f"Read for the log by a camera that no chart has shown, as this picture is, and so {OF_NO_HELP}: "
        f"{listed(names)}. {capital(KNOWN_BETTER)}."
    )
    return (Caveat("reference-as-unknown", message),)


def _lights_and_darks(kept: Pixels) -> tuple[Pixels, Pixels]:
    """Return the lightest and the darkest quarter of the pixels."""
    brightness = kept.rgb.sum(axis=1)
    low, high = np.quantile(brightness, [0.25, 0.75])
    return kept.only(brightness >= high), kept.only(brightness <= low)


OWN_TO_A_COLOUR = frozenset({Source.REGION, Source.UNLIKE_THE_CHART})
"""Parts of a budget that two colours of one finish do not share, or of which it is not known: they add up."""


def _between_quarters(
    lights: Pixels, darks: Pixels, place: Floats, calibration: Calibration, spots: Floats | None
) -> Floats:
    """Return the covariance (3, 3) of lights − darks: one card, light and camera move both, and largely cancel.

    spots: (3,) the whole difference that doubtful pale spots make to it. What known finishes in the picture tell of the
    camera is not taken off: it is never narrower for want of it.
    """
    budgets = [
        calibration.budget(
            np.maximum(part.rgb.mean(axis=0), LEAST_LIGHT),
            covariance_of_mean(part) if len(part.rgb) >= FEWEST_PIXELS else np.zeros((3, 3)),
            place,
        )
        for part in (lights, darks)
    ]
    found = np.zeros((3, 3)) if spots is None else np.outer(spots, spots)
    for light, dark in zip(*budgets, strict=True):
        if light.name in OWN_TO_A_COLOUR or light.effect.shape != dark.effect.shape:
            found = found + light.covariance + dark.covariance
        else:
            apart = light.effect - dark.effect
            found = found + apart @ apart.T
    return found


def _spots_between_quarters(shown: Pixels, glare: Glare, calibration: Calibration) -> Floats | None:
    """Return (3,) how lights − darks move when doubtful spots are glare and not the finish; None without such spots."""
    parts = [shown.only(~glare.left_out("finish")), shown.only(~glare.left_out("glare"))]
    if not glare.doubtful.any() or len(parts[1].rgb) < FEWEST_PIXELS:
        return None
    labs = [
        np.subtract(*(calibration.lab_of_light(quarter.rgb.mean(axis=0)) for quarter in _lights_and_darks(part)))
        for part in parts
    ]
    return np.asarray(labs[0] - labs[1])


def _region_caveats(pixels: int, left_out: float) -> tuple[Caveat, ...]:
    caveats = []
    if pixels < FEW_PIXELS:
        caveats.append(Caveat("region-tiny", "The marked region is tiny: mark more of the finish, or go nearer."))
    if left_out > MUCH_GLARE:
        caveats.append(
            Caveat(
                "region-glare",
                f"{percent(left_out)} of the marked region is glare and was left out: move the lamp and take it again.",
            )
        )
    return tuple(caveats)


def _place_caveats(photo: Photo, calibration: Calibration, region: Floats, places: Floats) -> tuple[Caveat, ...]:
    """Say when a region holds what is no finish: the card, or nearly everything in the picture."""
    caveats = []
    card = calibration.card
    if card is not None and card.found_by != "neutral spot" and share_within(places, card.corners) > MUCH_CARD:
        caveats.append(Caveat("region-card", "The marked region covers the card: mark the finish alone."))
    if area_inside(region, photo.width, photo.height) > NEARLY_ALL * photo.width * photo.height:
        message = "The marked region is nearly the whole picture: check that it holds nothing but the finish."
        caveats.append(Caveat("region-all", message))
    return tuple(caveats)
