"""Profiles: how truly they read, what they say of themselves, and what they refuse.

Simulated from published tables (colour-science): chart BabelColor Average, two measured sensors (NPL), CIE lights.
Bars: those set for this tool before it was built.
"""

import json
import os
from dataclasses import replace
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from matcher.calibration.calibrate import calibrate
from matcher.calibration.profile import CameraProfile, best_profile
from matcher.calibration.profile_from_chart import profile_from_chart
from matcher.card.card import load_cards
from matcher.card.detect import find_card
from matcher.colour.cielab import lab_to_xyz
from matcher.colour.difference import delta_e_2000
from matcher.colour.uncertainty import CHI2_95
from matcher.errors import CardError, MatcherError, ReadingError
from matcher.photo.camera import CameraInfo
from matcher.photo.photo import open_photo
from matcher.reading.finish import read_finish
from tests import pictures
from tests.example_counts import examples
from tests.plates import a_profile
from tests.scenes import png
from tests.simulation import CARD, PLATE, Shop, chart_photo, patinas, plate_photo, truth

CHART = load_cards()["24-patch chart"]
BARS = {"D50": 0.5, "D65": 0.5, "A": 0.9, "FL2": 0.9, "LED-B3": 0.9, "FL11": 1.2}
COUNT = 60


@lru_cache(maxsize=32)
def profile_of(shop):
    photo, chart = chart_photo(shop, np.random.default_rng(8), noise=0.0)
    return profile_from_chart(photo, chart, "bench", shop.light)


def plate_of(shop, spectrum, seed=1, **how):
    photo = plate_photo(shop, spectrum, np.random.default_rng(seed), noise=how.pop("noise", 0.0), **how)
    return photo, find_card(photo, corners=CARD, lab=[49.496, 0, 0])


def read(shop, spectrum, profile, **how):
    photo, card = plate_of(shop, spectrum, **how)
    light = "unknown" if profile is None else "profile"
    return read_finish(photo, calibrate(photo, card, profile, light=light), PLATE)


@lru_cache(maxsize=32)
def errors(shop, with_profile=True):
    """ΔE00 (COUNT,) of patina-like finishes that are not the chart's own colours."""
    spectra = patinas(COUNT, np.random.default_rng(7))
    profile = profile_of(shop) if with_profile else None
    return np.array(
        [
            float(delta_e_2000(read(shop, spectrum, profile).lab, lab))
            for spectrum, lab in zip(spectra, truth(spectra), strict=True)
        ]
    )


@pytest.mark.parametrize(("light", "bar"), BARS.items())
def test_patinas_read_with_a_profile_are_within_the_bar(light, bar):
    """Simulated, camera A, JPEG-like, no noise, exact card: mean ΔE00."""
    assert errors(Shop("A", light)).mean() <= bar
    assert errors(Shop("A", light)).mean() >= 0.05, "too good for a real sensor: the truth has leaked into the picture"


@pytest.mark.parametrize("light", ["A", "FL2", "LED-B3", "FL11"])
def test_a_profile_beats_the_card_alone_under_shop_lamps(light):
    """Simulated: less than half the card's mean error with camera A."""
    assert errors(Shop("A", light)).mean() < 0.5 * errors(Shop("A", light), with_profile=False).mean()


@pytest.mark.parametrize("light", ["FL2", "FL11", "LED-B3"])
def test_linear_values_read_truer_than_a_jpeg_with_a_bent_tone_curve(light):
    """Simulated, both with a profile of their own: the same shop, as sensor values and as a camera's JPEG."""
    assert errors(Shop("A", light, linear=True)).mean() < errors(Shop("A", light, curve=0.5)).mean()


@pytest.mark.parametrize("linear", [False, True])
@pytest.mark.parametrize("light", ["D50", "FL2"])
def test_half_the_exposure_reads_the_same(light, linear):
    """Root-polynomials are exposure-invariant (Finlayson, Mackiewicz and Hurlbert 2015).

    Simulated, with the sensor's noise: without it every pixel of a square rounds alike to 8 bits, 0.6 ΔE00 by itself.
    """
    shop = Shop("A", light, linear=linear)
    profile = profile_of(shop)
    for spectrum in patinas(8, np.random.default_rng(3)):
        full, half = (read(shop, spectrum, profile, exposure=exposure, noise=0.004) for exposure in (0.8, 0.4))
        assert delta_e_2000(full.lab, half.lab) < 0.3


def test_a_curved_camera_gets_a_tone_curve_and_a_straight_one_does_not():
    """Simulated: a camera that bends its tones, read with and without the curve that its chart teaches."""
    bent = profile_of(Shop("A", "D50", curve=0.5))
    assert "with tone curve" in bent.kind
    assert "without tone curve" in profile_of(Shop("A", "D50", linear=True)).kind
    codes = np.linspace(1e-5, 1.0, 400)[:, None] * np.ones(3)
    assert (np.diff(bent.tone(codes), axis=0) > 0).all()


@pytest.mark.parametrize("light", ["D50", "FL2", "FL11"])
@pytest.mark.parametrize("camera", ["A", "B"])
def test_patches_left_out_fit_worse_than_patches_fitted(camera, light):
    """Simulated: leave-one-out error on average at least that of the fit itself on its own patches."""
    photo, chart = chart_photo(Shop(camera, light), np.random.default_rng(5))
    profile = profile_from_chart(photo, chart, "bench")
    labs = calibrate(photo, chart, profile).lab([item.rgb for item in chart.patches])
    fitted = delta_e_2000(labs, [item.patch.lab for item in chart.patches]).mean()
    assert profile.leave_one_out.mean() >= 0.98 * fitted


def test_a_chart_in_the_picture_makes_a_profile_on_the_spot():
    photo, chart = chart_photo(Shop("A", "FL2"), np.random.default_rng(5))
    assert calibrate(photo, chart).profile is not None
    with pytest.raises(CardError, match="24-patch chart"):
        profile_from_chart(*plate_of(Shop("A", "FL2"), np.full(36, 0.1)), "bench")


# Keeping


def test_a_profile_survives_json():
    photo, card = plate_of(Shop("A", "FL2"), patinas(1, np.random.default_rng(1))[0])
    profile = profile_of(Shop("A", "FL2"))
    back = CameraProfile.from_json(profile.to_json())
    assert back.as_dict() == profile.as_dict()
    first, second = (read_finish(photo, calibrate(photo, card, item), PLATE) for item in (profile, back))
    assert first.lab == pytest.approx(second.lab, abs=1e-9)
    assert first.covariance == pytest.approx(second.covariance, abs=1e-9)
    assert CameraProfile.from_json(replace(profile, camera=CameraInfo("Invented")).to_json()).camera.make == "Invented"
    assert profile.renamed("  tubes \n over bench ").name == "tubes over bench"
    with pytest.raises(CardError, match="name"):
        profile.renamed("  ")


json_values = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=6), inner, max_size=4),
    max_leaves=12,
)


def one_sentence(error):
    text = str(error)
    return text[0].isupper() and text.endswith(".") and "\n" not in text and len(text) < 300


@examples(150)
@given(st.text(max_size=60) | json_values.map(json.dumps) | st.binary(max_size=40))
def test_json_that_is_no_profile_is_refused_with_one_sentence(text):
    with pytest.raises(CardError) as refused:
        CameraProfile.from_json(text)
    assert one_sentence(refused.value)


@examples(250)
@given(key=st.sampled_from(sorted(profile_of(Shop()).as_dict())), value=json_values, inner=st.integers(0, 50))
def test_a_profile_with_one_field_spoilt_is_refused_or_still_gives_finite_light(key, value, inner):
    data = json.loads(profile_of(Shop()).to_json())
    if isinstance(data[key], list) and inner % 2 and data[key]:
        data[key][inner % len(data[key])] = value
    else:
        data[key] = value
    try:
        back = CameraProfile.from_json(json.dumps(data))
    except CardError as error:
        assert one_sentence(error)
    else:
        assert np.isfinite(back.light_of(lab_to_xyz([49.5, 0, 0]))).all()
        assert best_profile([profile_of(Shop()), back], *plate_of(Shop(), np.full(36, 0.1)))
        json.dumps(back.as_dict())


@pytest.mark.parametrize(
    ("field", "value"),
    [("transform", [[0.0] * 6] * 3), ("neutral", [0.0, 0.0, 0.0]), ("neutral", [-1.0, 1.0, 1.0]), ("spread", [[]] * 3)],
)
def test_numbers_that_no_fit_could_give_are_refused(field, value):
    data = {**profile_of(Shop()).as_dict(), field: value}
    with pytest.raises(CardError):
        CameraProfile.from_dict(data)


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("name", None, "its name is not in words"),
        ("name", float("nan"), "its name is not in words"),
        ("name", " ", "its name is not in words"),
        ("light", None, "its light is not in words"),
        ("encoding", "Ω", "its encoding 'Ω' is none"),
        ("kind", "Ω", "its kind 'Ω' is none"),
        ("tone", 5, "something in it"),
        ("neutral", [0.0, 0.0, 0.0], "its grey is no grey"),
    ],
)
def test_a_profiles_faults_are_told_in_plain_words(field, value, words):
    with pytest.raises(CardError, match=words):
        CameraProfile.from_dict({**profile_of(Shop()).as_dict(), field: value})


def test_what_is_missing_of_a_profile_is_named():
    with pytest.raises(CardError, match="against an exported one: version is missing") as refused:
        CameraProfile.from_json("{}")
    assert "Error" not in str(refused.value)


def test_a_profile_of_another_version_is_refused():
    with pytest.raises(CardError, match="another version"):
        CameraProfile.from_dict({**profile_of(Shop()).as_dict(), "version": 99})


# The wrong profile

KIT = CameraInfo("Invented", "One", "50 mm", datetime(2024, 5, 14))


def codes(caveats):
    return [caveat.code for caveat in caveats]


@pytest.mark.parametrize(
    ("code", "then", "now"),
    [
        ("profile-camera", {}, {"camera": replace(KIT, model="Two")}),
        ("profile-camera", {}, {"camera": replace(KIT, lens="24 mm")}),
        ("profile-encoding", {"encoding": "Display P3"}, {}),
        ("profile-old", {"made_at": datetime(2022, 5, 1, tzinfo=UTC)}, {}),
    ],
)
def test_a_wrong_or_stale_profile_is_noticed(code, then, now):
    photo, card = plate_of(Shop("A", "FL2"), np.full(36, 0.1))
    right = replace(profile_of(Shop("A", "FL2")), camera=KIT, made_at=datetime(2024, 5, 14, tzinfo=UTC))
    photo = replace(photo, camera=KIT)
    assert codes(calibrate(photo, card, right, light="profile").caveats) == []
    calibration = calibrate(replace(photo, **now), card, replace(right, **then), light="profile")
    assert codes(calibration.caveats) == [code]


@pytest.mark.parametrize("then", [{"camera": replace(KIT, model="Two")}, {"encoding": "Display P3"}])
def test_another_cameras_profile_widens_the_interval(then):
    photo, card = plate_of(Shop("A", "FL2"), patinas(2, np.random.default_rng(2))[1])
    photo, right = replace(photo, camera=KIT), replace(profile_of(Shop("A", "FL2")), camera=KIT)
    narrow, wide = (
        read_finish(photo, calibrate(photo, card, profile, light="profile"), PLATE)
        for profile in (right, replace(right, **then))
    )
    assert np.trace(wide.covariance) > 2 * np.trace(narrow.covariance)


def test_a_moved_light_is_noticed_and_widens_the_interval():
    """Simulated: a profile of tubes, and a plate photographed in daylight, white balance left as it was."""
    spectrum = patinas(2, np.random.default_rng(2))[1]
    tubes, day = Shop("A", "FL2", honesty=0.0), Shop("A", "D65", honesty=0.0)
    there, moved = read(tubes, spectrum, profile_of(tubes)), read(day, spectrum, profile_of(tubes))
    assert "profile-light" not in codes(there.caveats)
    assert "profile-light" in codes(moved.caveats)
    assert np.trace(moved.covariance) > 2 * np.trace(there.covariance)
    assert "light has moved" in [term.name for term in moved.budget]


def test_the_profile_of_this_camera_and_light_is_chosen():
    """Simulated: three lights with a fixed white balance; the card alone tells them apart."""
    shops = [Shop("A", light, honesty=0.0) for light in ("A", "FL2", "D65")]
    profiles = [replace(profile_of(shop), camera=KIT, name=shop.light) for shop in shops]
    for shop in shops:
        photo, card = plate_of(shop, np.full(36, 0.1))
        photo = replace(photo, camera=KIT)
        chosen, caveats = best_profile(profiles, photo, card)
        assert (chosen.name, caveats) == (shop.light, ())
        others = [profile for profile in profiles if profile.name != shop.light]
        none, why = best_profile(others, photo, card)
        assert (none, codes(why)) == (None, ["profile-none-fits"])
        retired = [replace(profile, retired="lamp changed") for profile in profiles]
        assert best_profile(retired, photo, card) == (None, ())
        assert best_profile(profiles, replace(photo, camera=replace(KIT, model="Two")), card) == (None, ())


def test_a_profile_of_an_unknown_camera_stands_behind_one_of_the_right_camera_and_says_so():
    photo, card = plate_of(Shop(), np.full(36, 0.1))
    photo = replace(photo, camera=KIT)
    right = replace(profile_of(Shop()), name="right", camera=KIT, neutral=profile_of(Shop()).neutral * [1.03, 1, 1])
    stray = replace(profile_of(Shop()), name="stray", camera=None)
    assert stray.light_moved(card) < right.light_moved(card)
    chosen, caveats = best_profile([stray, right], photo, card)
    assert (chosen.name, caveats) == ("right", ())
    chosen, caveats = best_profile([stray], photo, card)
    assert (chosen.name, codes(caveats)) == ("stray", ["profile-camera-unknown"])
    chosen, caveats = best_profile([right], replace(photo, camera=None), card)
    assert (chosen.name, codes(caveats)) == ("right", ["profile-camera-unknown"])
    assert "this photo" in caveats[0].message


@pytest.mark.parametrize("part", ["gain", "slope", "bow"])
@pytest.mark.parametrize("value", [1e300, 1e6, 50.0, -50.0, -1e6, -1e300])
def test_a_profile_whose_tone_no_camera_has_is_refused_in_a_sentence(part, value):
    known = profile_of(Shop()).as_dict()
    with pytest.raises(CardError, match=r"tone curve|profile"):
        CameraProfile.from_dict({**known, "tone": {**known["tone"], part: [value] * 3}})


@pytest.mark.parametrize("depth", [600, 5_000, 200_000])
def test_a_profile_nested_deep_is_refused_in_a_sentence(depth):
    known = profile_of(Shop()).as_dict()
    nested = "[" * depth + "]" * depth
    with pytest.raises(CardError, match=r": .*\.$"):
        CameraProfile.from_json(nested)
    for name in ("photo", "retired", "camera", "tone", "transform", "patch_labs", "name", "warnings"):
        with pytest.raises(CardError, match=r": .*\.$"):
            CameraProfile.from_json(json.dumps({**known, name: "here"}).replace('"here"', nested))


def test_a_profile_from_a_png_with_a_gamma_of_its_own_can_be_kept_and_used():
    """W3C PNG, third edition: gAMA 55 556 is the exponent 1/1.8."""
    png = pictures.png_with_chunk(pictures.saved(pictures.plain((90, 90, 90)), "PNG"), b"gAMA", bytes((0, 0, 217, 4)))
    encoding = open_photo(png).encoding
    assert encoding != "sRGB"
    profile = replace(profile_of(Shop()), encoding=encoding)
    assert CameraProfile.from_json(profile.to_json()).encoding == encoding
    photo, card = plate_of(Shop(), np.full(36, 0.1))
    chosen, _ = best_profile([profile], replace(photo, encoding=encoding), card)
    assert chosen is profile


def test_a_photograph_that_tells_only_its_date_is_by_no_other_camera():
    photo, card = plate_of(Shop(), np.full(36, 0.1))
    dated = CameraInfo(taken_at=KIT.taken_at)
    right = replace(profile_of(Shop()), name="right", camera=KIT, made_at=datetime(2024, 5, 14, tzinfo=UTC))
    for then, now in ((KIT, dated), (dated, KIT), (dated, dated)):
        chosen, caveats = best_profile([replace(right, camera=then)], replace(photo, camera=now), card)
        assert (chosen.name, codes(caveats)) == ("right", ["profile-camera-unknown"])


def test_without_a_card_no_profile_is_chosen_but_a_named_one_is_used():
    profile = profile_of(Shop())
    photo, _ = plate_of(Shop(), np.full(36, 0.1))
    none, why = best_profile([profile], photo, None)
    assert (none, codes(why)) == (None, ["profile-none-fits"])
    assert "card" in why[0].message
    reading = read_finish(photo, calibrate(photo, None, profile), PLATE)
    assert "no-card" in codes(reading.caveats)


# Any chart


@examples(60)
@given(
    seed=st.integers(0, 2**32 - 1),
    spread=st.sampled_from([0.0, 0.05, 0.3, 1.0, 4.0]),
    exposure=st.floats(1e-4, 3.0),
    linear=st.booleans(),
)
def test_any_chart_gives_a_finite_profile_or_one_of_our_own_errors(seed, spread, exposure, linear):
    """A simulated chart with every patch off by a draw, from a little to wholly wrong, dark, bright or clipped."""
    rng = np.random.default_rng(seed)
    shop = Shop("A", "D50", linear=linear)
    photo, chart = chart_photo(shop, np.random.default_rng(1))
    patches = []
    for item in chart.patches:
        rgb = item.rgb * exposure * np.exp(rng.normal(0, spread, 3)) - rng.uniform(0, 1e-3)
        patches.append(replace(item, rgb=np.minimum(rgb, 1.0), clipped_share=float(rgb.max() >= 1)))
    chart = replace(chart, patches=tuple(patches))
    try:
        profile = profile_from_chart(photo, chart, "any")
    except MatcherError as error:
        assert one_sentence(error)
        return
    arrays = (profile.transform, profile.spread, profile.neutral, profile.patch_errors, profile.grey_light)
    assert all(np.isfinite(item).all() for item in arrays)
    assert (np.diff(profile.tone(np.geomspace(1e-5, 1, 200)[:, None] * np.ones(3)), axis=0) >= 0).all()
    assert CameraProfile.from_json(profile.to_json()).kind == profile.kind


@examples(60)
@given(
    width=st.integers(1, 90),
    height=st.integers(1, 90),
    corners=st.none() | st.lists(st.tuples(st.floats(-50, 150), st.floats(-50, 150)), min_size=4, max_size=4),
    level=st.integers(0, 255),
)
def test_any_picture_and_corners_fit_or_raise_one_of_our_own_errors(width, height, corners, level):
    rng = np.random.default_rng(width * 91 + height)
    photo = open_photo(png(np.clip(rng.normal(level, 40, (height, width, 3)), 0, 255).astype(np.uint8)))
    try:
        profile = profile_from_chart(photo, find_card(photo, CHART.name, corners=corners), "any")
    except MatcherError as error:
        assert one_sentence(error)
    else:
        assert np.isfinite(profile.transform).all()


# Real photographs

REAL = os.environ.get("MATCHER_REAL_PHOTOS")


@pytest.mark.skipif(not REAL, reason="MATCHER_REAL_PHOTOS does not name a folder of chart photographs")
@pytest.mark.parametrize(
    ("name", "encoding", "bar"),
    [("copy_stand_chart.jpg", None, 2.9), ("linear_tl84_chart.jpg", "linear", 2.9), ("outdoor_chart.jpg", None, 5.0)],
)
def test_real_charts_fit_their_published_values(name, encoding, bar):
    """Truth: published chart values (colour-science, after November 2014); mean leave-one-patch-out ΔE00."""
    photo = open_photo(Path(REAL) / name, encoding=encoding)
    profile = profile_from_chart(photo, find_card(photo, CHART.name), name)
    assert len(profile.patch_labs) == 24
    assert "chart-odd-patches" not in codes(profile.caveats)
    assert profile.leave_one_out.mean() <= bar


@pytest.mark.parametrize("kind", ["srgb", "linear"])
def test_a_profile_of_sensor_values_keeps_the_primaries_it_was_fitted_in(kind):
    """Simulated: greys stay as they are in them, and a profile kept before there were any reads as it did."""
    profile = profile_of(Shop("A", "D50", linear=kind == "linear"))
    assert np.allclose(profile.basis.sum(axis=1), 1.0)
    assert np.allclose(profile.basis, np.eye(3)) == (kind == "srgb")
    data = profile.as_dict()
    assert np.array_equal(CameraProfile.from_dict(data).basis, profile.basis)
    del data["basis"]
    assert np.array_equal(CameraProfile.from_dict(data).basis, np.eye(3))


# The light behind a white balance

TAKEN = CameraInfo("Invented", "One", "50 mm", datetime(2024, 5, 14, 10, 0), 1 / 60, 4.0, 100)


@pytest.mark.parametrize(
    ("now", "proven"),
    [
        ({}, True),
        ({"taken_at": datetime(2024, 5, 14, 10, 14)}, True),
        ({"taken_at": datetime(2024, 5, 14, 10, 16)}, False),
        ({"exposure_s": 1 / 15}, False),  # two stops less light
        ({"exposure_s": 1 / 15, "iso": 25}, True),
        ({"model": "Two"}, False),
        ({"iso": None}, False),
        ({"taken_at": None, "white_balance": "manual", "light_source": 4}, True),
        ({"taken_at": None, "white_balance": "manual", "light_source": 10}, False),
        ({"taken_at": None, "white_balance": "manual"}, False),
        ({"taken_at": None, "white_balance": "auto", "light_source": 4}, False),
    ],
)
def test_what_a_file_proves_of_its_light(now, proven):
    photo, card = plate_of(Shop("A", "FL2"), np.full(36, 0.1))
    profile = replace(profile_of(Shop("A", "FL2")), camera=replace(TAKEN, white_balance="manual", light_source=4))
    photo = replace(photo, camera=replace(TAKEN, **now))
    assert profile.light_is_proven(photo, card) is proven
    asked = "profile-light-unproven" in codes(calibrate(photo, card, profile).caveats)
    assert asked is not proven
    assert "profile-light-unproven" not in codes(calibrate(photo, card, profile, light="profile").caveats)


def test_a_chart_in_the_picture_and_a_sensors_own_values_prove_their_light():
    photo, chart = chart_photo(Shop("A", "FL2"), np.random.default_rng(8))
    assert not calibrate(photo, chart).caveats
    linear, card = plate_of(Shop("A", "FL2", linear=True), np.full(36, 0.1))
    assert profile_of(Shop("A", "FL2", linear=True)).light_is_proven(linear, card)
    assert not profile_of(Shop("A", "D65", linear=True)).light_is_proven(linear, card)


def test_the_light_of_no_profile_is_refused():
    photo, card = plate_of(Shop("A", "FL2"), np.full(36, 0.1))
    for found in (card, None):
        with pytest.raises(CardError, match="Name the camera profile whose light it is"):
            calibrate(photo, found, light="profile")


def test_until_the_light_is_known_the_interval_holds_what_another_light_does():
    """Profiles of daylight and tubes, plates under lamps that the camera balances away, asked and unanswered; and the
    answer gives the narrow interval back."""
    inside, sure = [], []
    for made in ("D50", "FL2"):
        for light in ("A", "LED-B3", "FL11", "D65"):
            for spectrum in patinas(8, np.random.default_rng(5)):
                photo, card = plate_of(Shop("A", light), spectrum)
                ways = [
                    calibrate(photo, card, profile_of(Shop("A", made)), light=said) for said in ("unknown", "profile")
                ]
                asked, told = (read_finish(photo, way, PLATE) for way in ways)
                error = asked.lab - truth(spectrum[None])[0]
                inside.append(float(error @ np.linalg.solve(asked.covariance, error)) <= CHI2_95)
                sure.append(np.trace(told.covariance) / np.trace(asked.covariance))
                assert np.allclose(asked.lab, told.lab)
    assert np.mean(inside) >= 0.92, np.mean(inside)
    assert np.median(sure) < 0.5


def test_a_profile_that_gives_an_impossible_colour_is_named():
    photo, card = plate_of(Shop("A", "FL2"), np.full(36, 0.1))
    profile = profile_of(Shop("A", "FL2"))
    wild = replace(profile.local, residuals=profile.local.residuals + np.array([0.0, 2e4, 0.0]))
    with pytest.raises(ReadingError, match="The camera profile 'bench' gives a colour here that no surface has"):
        read_finish(photo, replace(calibrate(photo, card, profile), profile=replace(profile, local=wild)), PLATE)


def test_a_profile_of_the_version_before_still_reads_and_knows_how_far_off_it_is():
    profile = a_profile()
    document = profile.as_dict()
    old = {name: value for name, value in document.items() if name not in ("local", "shifts")}
    back = CameraProfile.from_dict({**old, "version": 1})
    light = back.grey_light * 0.3
    assert back.local.correction([40.0, 5, 5]) == pytest.approx(np.zeros(3))
    rms = np.sqrt(np.mean(np.square(profile.patch_errors), axis=0))
    assert np.sqrt(np.diag(back.local.covariance([40.0, 0, 0]))) == pytest.approx(rms)
    assert np.isfinite(back.moved(0).xyz(light)).all()
    assert CameraProfile.from_dict(back.as_dict()).local.correction([40.0, 5, 5]) == pytest.approx(np.zeros(3))
    with pytest.raises(CardError):
        CameraProfile.from_dict({**old, "version": 2})
