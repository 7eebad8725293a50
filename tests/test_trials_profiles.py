"""Camera-and-light profiles in the studio: kept, renamed, retired, carried elsewhere, chosen. All profiles invented."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import sqlalchemy as sa

from matcher.calibration.calibrate import calibrate
from matcher.calibration.profile import grey_of
from matcher.card.card import load_cards
from matcher.card.detect import find_card
from matcher.errors import MatcherError, StudioError
from matcher.storage.schema import CameraProfileRow
from matcher.studio import Studio
from tests import scenes
from tests.plates import MADE_AT, a_profile

CARD = scenes.box(60, 150, 300, 330)


@pytest.fixture
def studio(tmp_path: Path) -> Iterator[Studio]:
    with Studio.open(tmp_path / "studio") as opened:
        yield opened


def names(studio: Studio, **which: bool) -> list[str]:
    return [profile.name for profile in studio.profiles(**which)]


def test_a_profile_comes_back_as_it_was_kept(studio: Studio) -> None:
    kept = studio.save_profile(a_profile())
    (found,) = studio.profiles()
    assert kept.as_dict() == found.as_dict() == studio.profile("shop tubes").as_dict() == a_profile().as_dict()
    studio.save_profile(a_profile())
    assert names(studio, include_retired=True) == ["shop tubes"]
    assert [line.what for line in studio.history("camera profile")] == ["saved"]


def test_a_profile_made_anew_retires_the_older_one_and_loses_nothing(studio: Studio) -> None:
    for red in (1.02, 1.05, 1.08):
        studio.save_profile(a_profile(red=red))
    assert names(studio) == ["shop tubes"] and studio.profile("shop tubes").neutral[0] == 1.08
    older = [profile for profile in studio.profiles(include_retired=True) if profile.retired is not None]
    assert [profile.name for profile in older] == ["shop tubes, 2025-03-31", "shop tubes, 2025-03-31 (2)"]
    assert [profile.neutral[0] for profile in older] == [1.02, 1.05]
    assert {profile.retired for profile in older} == {"replaced by a newer one of its name"}


def test_a_profile_is_renamed_unless_the_name_is_taken(studio: Studio) -> None:
    studio.save_profile(a_profile())
    studio.save_profile(a_profile("window"))
    assert studio.rename_profile("window", " north   window ").name == "north window"
    assert names(studio) == ["north window", "shop tubes"]
    assert studio.history("camera profile", "north window")[-1].what == "renamed from window"
    with pytest.raises(StudioError, match="named 'shop tubes' already"):
        studio.rename_profile("north window", "shop tubes")
    for old, new in (("window", "other"), ("shop tubes", "  ")):
        with pytest.raises(StudioError):
            studio.rename_profile(old, new)
    assert names(studio) == ["north window", "shop tubes"]
    assert studio.rename_profile("shop tubes", "shop tubes").name == "shop tubes"


def test_a_profile_that_is_here_already_is_not_taken_in_twice(studio: Studio, tmp_path: Path) -> None:
    studio.save_profile(a_profile())
    studio.export_profile("shop tubes", tmp_path / "tubes.json")
    studio.rename_profile("shop tubes", "bench tubes")
    with pytest.raises(StudioError, match="here already, as 'bench tubes'"):
        studio.import_profile(tmp_path / "tubes.json")
    studio.retire_profile("bench tubes", "the lamp was changed")
    with pytest.raises(StudioError, match="as 'bench tubes', retired: take it back"):
        studio.import_profile(tmp_path / "tubes.json")
    assert names(studio, include_retired=True) == ["bench tubes"]


def test_a_retired_profile_is_kept_but_never_chosen(studio: Studio) -> None:
    photo, card = a_plate()
    studio.save_profile(fitting(card))
    assert studio.profile_for(photo, card)[0] is not None
    assert studio.retire_profile("shop tubes", "the lamp was changed").retired == "the lamp was changed"
    assert names(studio) == [] and names(studio, include_retired=True) == ["shop tubes"]
    assert studio.profile_for(photo, card)[0] is None
    with pytest.raises(StudioError, match="reason"):
        studio.retire_profile("shop tubes", " ")
    assert studio.take_back_profile("shop tubes").retired is None
    assert names(studio) == ["shop tubes"]
    with pytest.raises(StudioError, match="no camera profile named 'tubes'"):
        studio.retire_profile("tubes", "gone")


def test_a_profile_goes_from_studio_to_studio_as_plain_json(studio: Studio, tmp_path: Path) -> None:
    studio.save_profile(a_profile())
    studio.export_profile("shop tubes", tmp_path / "tubes.json")
    with Studio.open(tmp_path / "other") as other:
        assert other.import_profile(tmp_path / "tubes.json").as_dict() == a_profile().as_dict()
        assert names(other) == ["shop tubes"]
    with pytest.raises(StudioError, match="there already"):
        studio.export_profile("shop tubes", tmp_path / "tubes.json")
    with pytest.raises(StudioError, match="There is no folder"):
        studio.export_profile("shop tubes", tmp_path / "missing" / "tubes.json")


@pytest.mark.parametrize(
    "content", [None, b"", b"\xff\xfe\x00", b"[]", b'{"version": 99}', b'{"version": 1, "name": "x"}', b"x" * 4_000_001]
)
def test_a_file_that_is_no_profile_is_refused_in_one_sentence(
    studio: Studio, tmp_path: Path, content: bytes | None
) -> None:
    if content is not None:
        (tmp_path / "odd.json").write_bytes(content)
    with pytest.raises(MatcherError) as refused:
        studio.import_profile(tmp_path / "odd.json")
    assert "\n" not in str(refused.value) and names(studio, include_retired=True) == []


def test_a_profile_that_cannot_be_read_is_named_and_can_be_retired(studio: Studio) -> None:
    """As after a step back to an older version of this tool."""
    studio.save_profile(a_profile())
    studio.save_profile(a_profile("window"))
    body = {**a_profile("window").as_dict(), "version": 99}
    with studio.database.writing() as session:
        session.execute(sa.update(CameraProfileRow).where(CameraProfileRow.name == "window").values(body=body))
    with pytest.raises(StudioError, match="'window', which cannot be used"):
        studio.profiles()
    with pytest.raises(StudioError):  # it cannot be handed out, but it is retired all the same
        studio.retire_profile("window", "unreadable")
    assert names(studio) == ["shop tubes"]


def a_plate(cast: tuple[float, float, float] = (1.0, 1.0, 1.0)):  # type: ignore[no-untyped-def]
    scene = scenes.Scene().lay(CARD, scenes.GREY).lay(scenes.box(420, 120, 740, 460), scenes.BROWN)
    photo = scene.photo(cast=cast)
    return photo, find_card(photo, corners=CARD)


def fitting(card, name="shop tubes", **changed):  # type: ignore[no-untyped-def]
    """Return an invented profile under the very light that fell on a card."""
    grey = grey_of(card)
    return a_profile(name, neutral=grey / grey[1], **changed)


def test_the_profile_of_the_cards_light_is_chosen(studio: Studio) -> None:
    (photo, card), (warm_photo, warm_card) = a_plate(), a_plate(cast=(1.3, 1.0, 0.7))
    none, why = studio.profile_for(photo, card)
    assert none is None and "No camera profile is kept" in why[0].message
    studio.save_profile(fitting(card, "window"))
    none, why = studio.profile_for(warm_photo, warm_card)
    assert none is None and "under this light" in why[0].message
    studio.save_profile(fitting(warm_card, "bench lamp"))
    for picture, marked, name in ((photo, card, "window"), (warm_photo, warm_card, "bench lamp")):
        known = replace(picture, camera=studio.profile(name).camera)
        found, why = studio.profile_for(known, marked)
        assert found is not None and (found.name, why) == (name, ())
        assert [caveat.code for caveat in studio.profile_for(picture, marked)[1]] == ["profile-camera-unknown"]
        assert calibrate(picture, marked, found).profile is found


def test_without_what_tells_them_apart_no_profile_is_chosen(studio: Studio) -> None:
    photo, card = a_plate()
    studio.save_profile(fitting(card, encoding="camera raw"))
    assert "kind of file" in studio.profile_for(photo, card)[1][0].message
    studio.save_profile(fitting(card, "window"))
    assert "No card" in studio.profile_for(photo, None)[1][0].message
    chart = replace(card, card=load_cards()["24-patch chart"])
    assert studio.profile_for(photo, chart)[1][0].message == "The chart in the picture makes a profile of its own."
    assert all(profile.made_at == MADE_AT for profile in studio.profiles())
    np.testing.assert_allclose(studio.profile("window").neutral[1], 1.0)
