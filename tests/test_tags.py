"""Tags: what they say, the printed symbol, finding them in photographs. All photographs are invented."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from matcher import find_plates, open_photo
from matcher.errors import TagError
from matcher.tags.code import (
    HIGHEST_NUMBER,
    MOST_OF_ADDRESS,
    SIGNS,
    TagCode,
    carried,
    code_carried,
    studio_signs,
    typed_tag,
)
from matcher.tags.mark import CAPACITY, VERSIONS, across_tag, always, modules_across, symbol, tag_squares
from matcher.tags.search import find_tags
from tests.example_counts import examples
from tests.tag_scenes import (
    Scene,
    Taken,
    bench,
    lay,
    photographed,
    scene,
    seen_corners,
    tag_face,
    with_margin,
)

ADDRESS = "192.168.1.20:8501"
studios = st.text(alphabet=SIGNS, min_size=5, max_size=5)
codes = st.builds(TagCode, studios, st.integers(1, HIGHEST_NUMBER))


def said(found: Scene) -> list[str]:
    return sorted(str(code_carried(text)) for text in found.tags)


def tags_in(found: Scene) -> list[str]:
    return sorted(seen.tag for seen in find_plates(found.photo))


def some_text(rng: np.random.Generator, address: str = ADDRESS) -> str:
    return carried(TagCode(studio_signs("invented"), int(rng.integers(1, 100_000))), address)


# What a tag says


def test_the_check_digits_are_those_of_mod_97_10() -> None:
    assert TagCode("00000", 794).check == "44"  # ISO/IEC 7064's example, 794 44 (from memory)


@given(codes, st.sampled_from(["", ADDRESS, "studio-mac.local:80"]))
@examples(100)
def test_what_a_symbol_carries_says_the_code_again(code: TagCode, address: str) -> None:
    assert code_carried(carried(code, address)) == code


def test_a_phone_is_led_to_https_as_the_page_is_served_on_a_network_and_older_tags_are_read_on() -> None:
    code = TagCode("K7QX2", 88)
    for address in ("192.168.1.20:8501", "https://192.168.1.20:8501/", " HTTPS://192.168.1.20:8501"):
        assert carried(code, address) == "HTTPS://192.168.1.20:8501/TAG/K7QX2-88.54"
    older = carried(code, "http://192.168.1.20:8501")
    assert older == "HTTP://192.168.1.20:8501/TAG/K7QX2-88.54" and code_carried(older) == code


@given(codes, st.data())
@examples(200)
def test_a_changed_sign_or_two_that_changed_places_are_caught(code: TagCode, data: st.DataObject) -> None:
    text = carried(code)
    at = data.draw(st.integers(4, len(text) - 1))
    changed = text[:at] + data.draw(st.sampled_from(SIGNS)) + text[at + 1 :]
    swapped = text[: at - 1] + text[at] + text[at - 1] + text[at + 1 :] if at > 4 else text
    for other in (changed, swapped):
        assert other == text or code_carried(other) is None


@pytest.mark.parametrize(
    "text",
    [
        "",
        "TAG K7QX2-88",
        "TAG K7QX2-088.54",
        "TAG K7QX2-0.41",
        "tag K7QX2-88.54",
        "HTTP://SHOP/K7QX2-88.54",
        "K7QX2-88",
    ],
)
def test_a_symbol_that_is_no_tag_of_ours_to_the_letter_is_not_one(text: str) -> None:
    assert code_carried(text) is None


@given(codes)
@examples(100)
def test_what_a_person_types_is_read_whatever_its_case_spaces_and_dash(code: TagCode) -> None:
    text = str(code)
    slack = text.lower().replace("0", "o").replace("1", "l").replace("-", " - ")
    assert typed_tag(slack) == typed_tag(text) == typed_tag(f" tag {text}.{code.check}") == code
    assert typed_tag(carried(code, "http://a.local:8501").lower()) == code
    assert typed_tag(str(code.number), code.studio) == code


@pytest.mark.parametrize(
    "text",
    ["", "88", "K7QX2", "K7QX2-", "K7QX2-0", "K7QX-88", "K7QU2-88", "K7QX2-99999999", "K7QX2-88.55", "１２３", "٣"],
)
def test_what_is_no_tag_is_refused_in_one_sentence(text: str) -> None:
    with pytest.raises(TagError) as refused:
        typed_tag(text)
    assert str(refused.value).count(". ") == 0


def test_studios_have_signs_of_their_own() -> None:
    signs = {studio_signs(f"uid {number}") for number in range(20_000)}
    assert len(signs) > 19_970  # 6 pairs are to be expected of 25 bits
    assert studio_signs("uid 1") == studio_signs("uid 1")


# The symbol


def test_tags_read_with_an_ordinary_reader() -> None:
    """A detector of OpenCV's that knows nothing of the frame stands in for a phone.

    Its other one, ``QRCodeDetector``, misses some sound codes.
    """
    rng = np.random.default_rng(4)
    for address in ("", ADDRESS):
        texts = [some_text(rng, address) for _ in range(12)]
        crisp = [np.pad(np.where(tag_squares(text), 0, 255).astype(np.uint8), 2, constant_values=255) for text in texts]
        reader = cv2.QRCodeDetectorAruco()
        assert [reader.detectAndDecode(one.repeat(6, axis=0).repeat(6, axis=1))[0] for one in crisp] == texts


def test_the_smallest_symbol_that_holds_the_text_is_drawn() -> None:
    code = TagCode("K7QX2", 88)
    assert len(symbol(carried(code))) == modules_across(1) == 21
    assert len(symbol(carried(code, ADDRESS))) == modules_across(2) == 25
    assert len(symbol(carried(TagCode("K7QX2", HIGHEST_NUMBER)))) == 21
    with pytest.raises(TagError, match="shorter address"):
        symbol("A" * (CAPACITY[VERSIONS[-1]][0] + 1))


@given(codes, st.sampled_from(["", ADDRESS, "A" * MOST_OF_ADDRESS]))
@examples(20)
def test_what_is_the_same_on_every_tag_is_so(code: TagCode, address: str) -> None:
    drawn = tag_squares(carried(code, address))
    version = next(version for version in VERSIONS if across_tag(version) == len(drawn))
    known, black = always(version)
    assert (drawn[known] == black[known]).all()


# Finding


@pytest.mark.parametrize(
    ("side", "taken"),
    [
        (120, Taken(tilt=0)),  # 3 % of 4,000 pixels
        (120, Taken(tilt=45)),
        (120, Taken(tilt=45, blur=1.6)),
        (120, Taken(tilt=45, blur=1.2, shade=0.3, quality=75)),
        (120, Taken(tilt=20, noise=0.03, quality=60)),
        (330, Taken(tilt=30, shade=0.2)),
    ],
)
def test_a_tag_is_found_where_it_lies(side: float, taken: Taken) -> None:
    for seed in range(3):
        rng = np.random.default_rng(seed)
        picture = scene(rng, [some_text(rng)], side, (600, 450), taken)
        (seen,) = find_plates(picture.photo)
        assert [seen.tag] == said(picture)
        assert np.abs(seen.corners - picture.corners[0]).max() < 0.01 * side
        middle = cv2.perspectiveTransform(np.array([[[0.5, 0.5]]]), seen.homography)[0, 0]
        assert np.linalg.norm(middle - picture.corners[0].mean(axis=0)) < 0.05 * side


def test_every_one_of_many_tags_is_found_twins_too() -> None:
    rng = np.random.default_rng(5)
    texts = [some_text(rng) for _ in range(11)]
    picture = scene(rng, [*texts, texts[0]], 120, (1000, 800), Taken(tilt=25))
    assert tags_in(picture) == said(picture)


def test_a_tag_of_another_studio_is_told_by_its_code() -> None:
    rng = np.random.default_rng(6)
    theirs = TagCode(studio_signs("another"), 88)
    (seen,) = find_plates(scene(rng, [carried(theirs)], 120, (400, 300)).photo)
    assert seen.code == theirs and seen.code.studio != studio_signs("invented")


def test_a_turned_photograph_gives_corners_from_the_tags_own_top_left() -> None:
    rng = np.random.default_rng(7)
    for turn in (0.0, np.pi / 2, np.pi, 4.0):
        picture = scene(rng, [some_text(rng)], 140, (400, 300), turn=turn)
        (seen,) = find_plates(picture.photo)
        assert np.abs(seen.corners - picture.corners[0]).max() < 1.0


def _made(rng: np.random.Generator, *laid: tuple[np.ndarray, np.ndarray], taken: Taken | None = None) -> Scene:
    picture = bench(rng, 480, 360)
    for face, corners in laid:
        lay(picture, face, corners)
    photo, data = photographed(rng, picture, taken or Taken())
    return Scene(photo, (), (), data)


def test_a_half_covered_tag_is_not_found() -> None:
    for seed in range(6):
        rng = np.random.default_rng(seed)
        text, corners = some_text(rng), seen_corners((240, 180), 150, rng.uniform(0, 6), 0.2, 1.0)
        over = seen_corners(corners[:2].mean(axis=0), 150, rng.uniform(0, 6), 0.0, 0.0)
        cover = np.full((8, 8, 3), rng.uniform(0.02, 0.8), np.float32)
        covered = _made(rng, (tag_face(text), with_margin(corners, text)), (cover, over))
        assert tags_in(covered) in ([], [str(code_carried(text))])
        wholly = seen_corners(corners.mean(axis=0) + (0, 75), 200, 0.0, 0.0, 0.0)
        assert tags_in(_made(rng, (tag_face(text), with_margin(corners, text)), (cover, wholly))) == []


def test_a_mirrored_tag_is_no_sighting_of_its_plate_and_is_told() -> None:
    """Its corners are those of the tag all the same, its own top left first."""
    rng = np.random.default_rng(8)
    for address in ("", ADDRESS) * 5:
        text, corners = some_text(rng, address), seen_corners((240, 180), 150, rng.uniform(0, 6), 0.2, 1.0)
        scene = _made(rng, (tag_face(text)[:, ::-1], with_margin(corners, text)))
        assert tags_in(scene) == []
        (seen,) = find_tags(scene.photo)
        assert seen.mirrored and seen.tag == str(code_carried(text))
        assert np.abs(seen.corners - corners[[1, 0, 3, 2]]).max() < 1.5
        upright = _made(rng, (tag_face(text), with_margin(corners, text)))
        assert [one.mirrored for one in find_tags(upright.photo)] == [False]


def test_another_qr_code_is_no_tag_even_in_a_frame() -> None:
    rng = np.random.default_rng(9)
    for text in ("HTTP://INVENTED.EXAMPLE/K7QX2-88", "K7QX2-88", "TAG K7QX2-88.55", "12345678901234567890"):
        corners = seen_corners((240, 180), 160, rng.uniform(0, 6), 0.3, 1.0)
        assert tags_in(_made(rng, (tag_face(text), with_margin(corners, text)))) == []
        bare = np.pad(np.where(symbol(text), 0.035, 0.82).astype(np.float32), 4, constant_values=0.82)
        assert tags_in(_made(rng, (bare, corners))) == []


def test_a_tag_photographed_from_a_screen_is_read_rightly_or_not_at_all() -> None:
    """The screen's stripes of red, green and blue against the camera's pixels make moiré."""
    found = 0
    for seed in range(6):
        rng = np.random.default_rng(seed)
        text, side = some_text(rng), 200
        face = cv2.resize(tag_face(text), (630, 630), interpolation=cv2.INTER_NEAREST)
        pixel = np.arange(630)
        lit = (pixel[:, None] % 3 == np.arange(3)) * 2.4 + 0.1
        gaps = np.where(np.arange(630) % 3 == 0, 0.3, 1.0)
        shown = (face[..., None] * lit[None] * gaps[:, None, None]).astype(np.float32)
        corners = seen_corners((240, 180), side, rng.uniform(0, 6), rng.uniform(0, 0.5), 1.0)
        tags = tags_in(_made(rng, (shown, with_margin(corners, text)), taken=Taken(blur=0.6)))
        assert tags in ([], [str(code_carried(text))])
        found += len(tags)
    assert found >= 3


def test_nothing_is_found_where_there_is_no_tag() -> None:
    rng = np.random.default_rng(10)
    for _ in range(4):
        assert tags_in(scene(rng, [], 0, (480, 360))) == []
    board = np.kron(np.indices((9, 12)).sum(axis=0) % 2, np.ones((40, 40)))[..., None] * np.full(3, 0.7) + 0.05
    grid = np.full((360, 480, 3), 0.7, np.float32)
    grid[::24], grid[:, ::24] = 0.03, 0.03
    for picture in (board.astype(np.float32), grid, rng.uniform(0, 1, (360, 480, 3)).astype(np.float32)):
        assert find_plates(photographed(rng, picture, Taken())[0]) == []


@given(st.integers(0, 2**32 - 1))
@examples(40)
def test_no_photograph_gives_a_number_that_is_not_there(seed: int) -> None:
    rng = np.random.default_rng(seed)
    taken = Taken(
        tilt=rng.uniform(0, 60), blur=rng.uniform(0, 3), shade=rng.uniform(0.1, 1), quality=int(rng.integers(20, 95))
    )
    picture = scene(rng, [some_text(rng, ("", ADDRESS)[seed % 2])], rng.uniform(40, 160), (360, 280), taken)
    assert tags_in(picture) in ([], said(picture))


@pytest.mark.parametrize("size", [(1, 1), (2, 3), (1, 400), (40, 9)])
def test_a_picture_too_small_for_a_tag_has_none(size: tuple[int, int]) -> None:
    coded = cv2.imencode(".png", np.zeros((*size, 3), np.uint8))[1].tobytes()
    assert find_plates(open_photo(coded)) == []


def test_sixteen_bits_linear_light_and_a_photograph_on_its_side_are_searched_too() -> None:
    rng = np.random.default_rng(11)
    text, corners = some_text(rng), seen_corners((240, 180), 130, 0.4, 0.3, 1.0)
    picture = bench(rng, 480, 360)
    lay(picture, tag_face(text), with_margin(corners, text))
    linear = np.rint(np.clip(picture, 0, 1) * 0.2 * 65535).astype(np.uint16)  # dark, as a camera's own values are
    for stored in (linear, np.rot90(linear)):
        coded = cv2.imencode(".png", np.ascontiguousarray(stored[..., ::-1]))[1].tobytes()
        (seen,) = find_plates(open_photo(coded, encoding="linear"))
        assert seen.tag == str(code_carried(text))
