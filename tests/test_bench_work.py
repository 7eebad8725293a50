"""A piece on the bench: its steps, what may happen to it, what was really done; the shelf that keeps any number.

Recipes and plates invented.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import sqlalchemy as sa

from matcher.bench.passes import course_of, course_of_last_coat
from matcher.bench.seal import learn_seal_shift
from matcher.bench.shelf import now
from matcher.bench.steps import cautions_at, steps_of
from matcher.bench.wording import against_the_list, look_and_sound, step_name, what_goes_on
from matcher.bench.work import GROUND, After, Piece, Taken
from matcher.errors import StudioError
from matcher.reading.reading import Reading
from matcher.recipe.recipe import Coat, Recipe, Seal, Undercoat
from matcher.recipe.stages import is_on_the_way
from matcher.studio import Studio
from matcher.suggest.suggester import Suggester
from matcher.words import percent
from tests.benchmarks.invented_processes import film

UNDER = Undercoat("liver of sulphur", 0.5, 0.25)
FERRIC, CUPRIC = Coat("ferric nitrate", 0.5, 9, 105.0, stock="F-12"), Coat("cupric nitrate", 0.25, 3, 100.0)
RECIPE = Recipe("silicon bronze", UNDER, (FERRIC, CUPRIC), Seal("wax", 3))


def piece(counts: tuple[int, ...] = (), at: int = 0, **told: Any) -> Piece:
    return Piece("p1", told.pop("recipe", RECIPE), counts=counts, at=at, **told)


def read(coat: int, passes: int, lab: Any = (50.0, 12.0, 24.0)) -> Taken:
    return Taken(After(coat, passes), Reading(lab=lab), {"way": "typed"})


# Steps


def test_every_step_of_the_recipe_is_there_in_the_order_of_the_bench() -> None:
    assert [step.kind for step in steps_of(RECIPE)] == ["undercoat", "wash", "burnish", "coat", "coat", "seal"]
    assert [step.planned for step in steps_of(RECIPE)] == [1, 1, 1, 9, 3, 3]
    plain = replace(RECIPE, undercoat=Undercoat("liver of sulphur", 0.5))
    assert "burnish" not in [step.kind for step in steps_of(plain)], "it is not burnished back"
    assert steps_of(Recipe("tin bronze")) == ()


def test_each_step_has_its_own_cautions_and_those_of_what_it_meets() -> None:
    under, wash, burnish, ferric, cupric, seal = (
        [caution.code for caution in cautions_at(RECIPE, step)] for step in steps_of(RECIPE)
    )
    assert "hydrogen_sulphide" in under and "nitrogen_oxides" not in under
    assert wash[0] == burnish[0] == ferric[0] == cupric[0] == "sulphide_meets_acid"
    assert "rinse_water" in wash
    assert "nitrogen_oxides" in ferric and "iron_salt" in ferric and "wax" not in ferric
    assert "iron_salt" not in cupric
    assert "wax" in seal and "nitrogen_oxides" not in seal
    assert all(codes[-1] == "defer" for codes in (under, wash, burnish, ferric, cupric, seal))


# What may happen


def test_a_piece_goes_through_all_its_steps_and_the_log_gets_what_was_done() -> None:
    one = piece()
    for _ in range(3):  # undercoat, wash and burnish: once each
        one = one.count(one.at, now())
    assert one.step is not None and one.step.kind == "coat" and one.done == 0
    for _ in range(7):
        one = one.count(3, now())
    one = one.gone_on(3)
    one = one.count(4, now()).count(4, now()).gone_on(4)
    for _ in range(3):
        one = one.count(5, now())
    assert one.step is None, "after the last coat of wax nothing is left to do"
    assert one.as_done() == replace(RECIPE, coats=(replace(FERRIC, passes=7), replace(CUPRIC, passes=2)))


def test_what_was_left_out_is_not_logged() -> None:
    one = piece((1, 1, 0, 0, 2, 0), 5)
    done = one.as_done()
    assert done.undercoat == replace(UNDER, burnish=0.0), "it was not burnished"
    assert done.coats == (replace(CUPRIC, passes=2),) and done.seal is None
    assert piece((0, 0, 0, 4), 3).as_done().undercoat is None
    assert piece().as_done() == Recipe("silicon bronze")


def test_a_count_for_another_step_than_the_one_on_is_refused() -> None:
    one = piece((1, 1, 1, 4), 4)
    with pytest.raises(StudioError, match="was not counted"):
        one.count(3, now())
    with pytest.raises(StudioError, match="another step"):
        one.gone_on(3)


def test_undoing_goes_back_step_by_step_and_loses_no_count_of_a_coat() -> None:
    one = piece((1, 1, 1, 4, 1), 4)
    one = one.undone()
    assert one.counts[3:5] == (4, 0) and one.at == 4
    one = one.undone()
    assert (one.at, one.counts[3]) == (3, 4), "back to the coat below, which keeps its passes"
    for _ in range(4):
        one = one.undone()
    assert one.undone().counts[:3] == (1, 1, 0), "then the burnishing is taken back"
    with pytest.raises(StudioError, match="Nothing was counted yet"):
        piece().undone()


def test_a_pass_is_not_undone_from_under_a_reading() -> None:
    one = piece((1, 1, 1, 4), 3).with_reading(read(0, 4))
    with pytest.raises(StudioError, match="reading after 4 passes of coat 1"):
        one.undone()
    assert one.without_reading(After(0, 4)).undone().counts[3] == 3


def test_a_reading_is_left_out_and_put_back_and_never_lies_ahead() -> None:
    one = piece((1, 1, 1, 4), 3).with_reading(read(0, 2)).with_reading(read(0, 4))
    gone = one.without_reading(After(0, 2))
    assert [taken.after for taken in gone.readings] == [After(0, 4)]
    assert [taken.after for taken in gone.put_back().readings] == [After(0, 2), After(0, 4)]
    anew = gone.with_reading(read(0, 2, (41.0, 12, 24)))
    kept = anew.put_back().reading_after(After(0, 2))
    assert kept is not None and kept.reading.lab[0] == 41.0, "one taken anew stays"
    with pytest.raises(StudioError, match="has not come so far"):
        one.with_reading(read(0, 5))
    back = one.without_reading(After(0, 4)).undone()
    assert back.put_back().taken_out is not None, "its pass was taken back: it waits"


def test_readings_are_logged_at_the_stage_at_which_they_were_taken() -> None:
    one = piece((1, 1, 1, 7, 2), 4)
    stages = [one.stage_of(after) for after in (GROUND, After(0, 3), After(0, 7), After(1, 2))]
    assert stages == ["undercoat", "coat 1, pass 3", "coat 1", "pass 2"]
    assert all(is_on_the_way(stage) for stage in stages[1:])
    assert piece((1, 1, 1, 0, 2), 4).stage_of(After(1, 2)) == "pass 2", "the coat below was left out"


def test_a_piece_comes_back_from_plain_json() -> None:
    one = piece((1, 1, 1, 4), 3, name="H-7", target_id=2, run="session").with_reading(read(0, 4))
    again = Piece.from_dict(one.as_dict())
    assert again.as_dict() == one.as_dict() and again.recipe == RECIPE
    with pytest.raises(StudioError, match="can't be read"):
        Piece.from_dict({"uid": "p"})


# The shelf


def test_any_number_of_pieces_stay_each_where_it_was_left(studio: Studio) -> None:
    for number in range(5):
        one = Piece(f"p{number}", RECIPE, f"plate {number}", counts=(1, 1, 1, number), at=3)
        studio.shelf.put(one)
    studio.shelf.change("p2", lambda one: one.count(3, now()))
    assert [(one.name, one.done) for one in studio.shelf.pieces()] == [
        ("plate 0", 0), ("plate 1", 1), ("plate 2", 3), ("plate 3", 3), ("plate 4", 4),
    ]  # fmt: skip
    studio.shelf.take_off("p2")
    studio.shelf.take_off("p2")
    assert studio.shelf.find("p2") is None and len(studio.shelf.pieces()) == 4
    with pytest.raises(StudioError, match="no longer on the bench"):
        studio.shelf.change("p2", lambda one: one)


def test_a_mark_that_cannot_be_logged_is_refused_and_nothing_changes(studio: Studio) -> None:
    kept = studio.shelf.put(piece(name="  H-7 \0 "))
    assert kept.name == "H-7" and kept.number == 1
    with pytest.raises(StudioError, match="Shorten the mark on the plate"):
        studio.shelf.change("p1", lambda one: replace(one, name="x" * 300))
    assert studio.shelf.piece("p1").name == "H-7"


def test_no_pass_is_lost_when_several_count_at_once(studio: Studio) -> None:
    studio.shelf.put(piece((1, 1, 1), 3))
    with ThreadPoolExecutor(6) as screens:
        list(screens.map(lambda _: studio.shelf.change("p1", lambda one: one.count(3, now())), range(24)))
    assert studio.shelf.piece("p1").done == 24


# Guidance for a coat with others below or after it


@pytest.fixture(scope="module")
def two_coats() -> Any:
    """A log of an invented process, in which cupric coats lie over ferric ones, some of them waxed."""
    process, rng = film(800), np.random.default_rng(3)
    trials = []
    for _ in range(60):
        ferric = Coat("ferric nitrate", float(rng.choice([0.25, 0.5])), int(rng.integers(1, 13)), 105.0)
        cupric = Coat("cupric nitrate", 0.25, int(rng.integers(1, 7)), 105.0)
        coats = ((ferric,), (cupric,), (ferric, cupric))[int(rng.integers(3))]
        seal = Seal("wax", 3) if rng.random() < 0.5 else None
        trials.append(process.trial(Recipe("silicon bronze", None, coats, seal), rng))
    return process, Suggester(trials)


def planned(ferric: int, cupric: int, seal: Seal | None = None) -> Recipe:
    return Recipe(
        "silicon bronze",
        None,
        (Coat("ferric nitrate", 0.5, ferric, 105.0), Coat("cupric nitrate", 0.25, cupric, 105.0)),
        seal,
    )


def course(recipe: Recipe, counts: tuple[int, ...], at: int, *taken: Taken) -> Any:
    one = Piece("p", recipe, counts=counts, at=at)
    for each in taken:
        one = one.with_reading(each)
    return course_of(one)


def test_the_first_coat_is_not_stopped_for_the_colour_that_the_last_one_brings(two_coats: Any) -> None:
    """The target is what the plan gives: the first coat goes on to its planned passes, and says what it ends at."""
    process, suggester = two_coats
    recipe = planned(6, 4)
    path = suggester.piece_path(Reading(process.true(recipe)), course(recipe, (2,), 0))
    assert not path.last_coat and path.stop_at == 6 and path.instruction == "4 more passes of this coat"
    assert path.expected[6] < 3.0
    first_alone = process.true(replace(recipe, coats=recipe.coats[:1]))
    assert np.abs(path.labs[6] - first_alone).max() < 4.0, "what the eye sees is the first coat alone"
    done = suggester.piece_path(Reading(process.true(recipe)), course(recipe, (6,), 0))
    assert done.instruction == "This coat is done" and not done.past


def test_a_coat_over_one_that_got_more_passes_is_led_by_what_was_laid(two_coats: Any) -> None:
    process, suggester = two_coats
    target = Reading(process.true(planned(9, 3)))
    path = suggester.piece_path(target, course(planned(4, 3), (9,), 1))
    assert path.last_coat and path.expected[3] < 3.0, "nine were laid, though four were planned"
    other = suggester.piece_path(target, course(planned(4, 3), (4,), 1))
    assert other.expected[3] > path.expected[3] + 1.0


def test_readings_of_the_coat_below_correct_what_comes_over_it_and_say_how_surely(two_coats: Any) -> None:
    """Pieces that take their first coat faster or slower by a fifth: read on the way, their end is predicted better."""
    process, suggester = two_coats
    plan, target, rng = planned(6, 3), Reading((40.0, 14.0, 22.0)), np.random.default_rng(5)
    blind = suggester.piece_path(target, course(plan, (6,), 1))
    errors, held = [], []
    for _ in range(20):
        faster, shift = float(np.exp(rng.normal(0, 0.2))), rng.normal(0, 0.5, 3)
        ferric = replace(plan.coats[0], strength=min(1.0, 0.5 * faster))

        def true(ferric_passes: int, cupric: int, ferric: Coat = ferric, shift: Any = shift) -> Any:
            over = (replace(plan.coats[1], passes=cupric),) if cupric else ()
            return process.true(replace(plan, coats=(replace(ferric, passes=ferric_passes), *over))) + shift

        taken = [
            Taken(After(0, n), Reading(true(n, 0) + rng.normal(0, 0.3, 3), np.eye(3) * 0.09)) for n in (3, 6)
        ]  # fmt: skip
        told = suggester.piece_path(target, course(plan, (6,), 1, *taken))
        miss = np.array([true(6, n) for n in (1, 2, 3)]) - told.ends[1:4]
        off = np.array([true(6, n) for n in (1, 2, 3)]) - blind.ends[1:4]
        errors.append([np.linalg.norm(miss, axis=1).mean(), np.linalg.norm(off, axis=1).mean()])
        within = np.einsum("ni,ni->n", miss, np.linalg.solve(told.covariances[1:4], miss[..., None])[..., 0])
        held += list(within < 7.815)
    seen, unseen = np.mean(errors, axis=0)
    assert seen < 0.6 * unseen
    assert 0.85 <= np.mean(held) <= 1.0 and seen > 0.3, "sure of no more than the readings tell"


def test_a_waxed_recipe_is_said_alike_in_list_and_at_the_bench(two_coats: Any) -> None:
    """The list's figure is of the waxed recipe; the bench reaches the same, and what its own scatter makes of it."""

    process, suggester = two_coats
    target = Reading(process.true(planned(6, 4, Seal("wax", 3))), np.eye(3) * 0.25)
    listed = next(item for item in suggester.suggest(target, 12) if item.basis == "predicted" and item.recipe.seal)
    path = suggester.bench_path(target, listed.recipe, seal=learn_seal_shift([], "wax"))
    passes = listed.recipe.coats[-1].passes
    assert path.planned == passes
    assert path.expected[passes] == pytest.approx(listed.delta_e00, abs=0.05)
    assert path.chance_of_recipe(2.0, passes) == pytest.approx(listed.chance_within(2.0), abs=0.04)
    assert path.chance_within(2.0, passes) <= path.chance_of_recipe(2.0, passes) + 0.02, "one piece scatters"
    assert path.seal is not None
    here = path.seal.before_sealing(replace(target, lab=path.seal.lab + path.seal.shift))
    assert here.lab == pytest.approx(path.seal.lab, abs=1e-6), "what it does to this piece, taken back"
    assert path.goal.lab == pytest.approx(target.lab - path.seal.shift, abs=0.2), "the target is near that"


def test_left_out_coats_and_grounds_are_not_in_the_course() -> None:
    found = course_of(piece((0, 0, 0, 0, 2), 4))
    assert found is not None and found.recipe.undercoat is None
    assert [coat.chemical for coat in found.recipe.coats] == ["cupric nitrate"]
    assert (found.coat, found.done, found.recipe.coats[0].passes) == (0, 2, 3), "the plan of the coat that is on"
    over = course_of(piece((1, 1, 1, 9, 4, 1), 5))
    assert over is not None and (over.coat, over.done, over.is_last) == (1, 4, True)
    assert course_of(piece((1,), 1, recipe=Recipe("silicon bronze", UNDER))) is None
    assert course_of(piece((1, 1, 1, 0, 0), 5)) is None, "no coat was laid, and none is to come"


# Words


def test_a_coat_is_described_by_its_heat_and_by_what_lies_below_it() -> None:
    """Common practice, no source: a hiss at some 104 °C, skating above, wet below; darker from the first pass on."""

    def said(recipe: Recipe) -> str:
        return " ".join(look_and_sound(recipe, next(step for step in steps_of(recipe) if step.kind == "coat")))

    bare = Recipe("silicon bronze", None, (replace(FERRIC, surface_temp_c=104.0),))
    assert "hiss, and the water flashes off" in said(bare) and "pale yellow through orange-brown" in said(bare)
    assert "darker and less yellow from the first pass on" in said(replace(bare, undercoat=UNDER))
    hot = replace(bare, coats=(replace(FERRIC, surface_temp_c=150.0),))
    assert "may skate off" in said(hot) and "flashes" not in said(hot)
    cool = replace(bare, coats=(replace(FERRIC, surface_temp_c=60.0, application="brush"),))
    assert "stays wet" in said(cool) and "mist stays even" not in said(cool)
    green = replace(bare, coats=(CUPRIC,))
    assert "No pass lightens it" not in said(green), "that is a fact of ferric coats"
    for name, first, stop in (
        ("Copper nitrate", "blue-green", "ground still shows"),
        ("bismuth nitrate", "white veil", "stop whiter than wanted"),
        ("silver nitrate", "silvery", "stop lighter than wanted"),
    ):
        coat = said(replace(bare, coats=(replace(CUPRIC, chemical=name),)))
        assert first in coat and stop.casefold() in coat.casefold()
    unheard = said(replace(bare, coats=(replace(CUPRIC, chemical="a salt of our own"),)))
    assert "hiss" in unheard and "wanted" not in unheard, "of what is not known nothing is said"
    base = replace(bare, undercoat=replace(UNDER, chemical="liver of sulphur"))
    assert "Rinse at once" in " ".join(look_and_sound(base, steps_of(base)[0]))
    wax, lacquer = (
        " ".join(look_and_sound(replace(bare, seal=Seal(kind, 2, hot)), steps_of(replace(bare, seal=Seal(kind)))[-1]))
        for kind, hot in (("wax", True), ("lacquer", False))
    )
    assert "warm metal, the torch out" in wax and "darks more than lights" in wax and "cool, dry metal" in lacquer


def test_why_list_and_bench_differ_is_told_from_what_differs(two_coats: Any) -> None:
    process, suggester = two_coats
    recipe = planned(6, 4)
    target = Reading(process.true(recipe), np.eye(3) * 0.25)
    listed = {"delta_e00": 0.1, "chance": 0.99, "basis": "predicted"}
    one = Piece("p", recipe, counts=(6,), at=1, sealed="wax", listed=listed)
    path = suggester.piece_path(target, course_of(one), learn_seal_shift([], "wax"))
    assert "compares it unsealed, and here the wax to come is allowed for" in str(against_the_list(one, path, 2.0))
    plain = replace(one, sealed="no")
    path = suggester.piece_path(target, course_of(plain))
    same = {"delta_e00": float(path.expected[path.stop_at]), "chance": path.chance_within(2.0), "basis": "predicted"}
    assert against_the_list(replace(plain, listed=same), path, 2.0) is None, "the same figures need no words"
    assert against_the_list(replace(plain, listed=None), path, 2.0) is None
    path = suggester.piece_path(Reading(process.true(recipe), np.eye(3) * 1e-4), course_of(plain))
    within = next(d for d in np.arange(0.2, 4, 0.05) if path.chance_of_recipe(d) - path.chance_within(d) > 0.05)
    list_said = {**same, "chance": path.chance_of_recipe(within)}
    why = str(against_the_list(replace(plain, listed=list_said), path, within))
    assert why.endswith("and one piece scatters about it.") and f"(here {percent(list_said['chance'])})" in why


def test_a_damaged_piece_is_named_and_keeps_no_other_from_the_bench(studio: Studio) -> None:
    for uid in ("p1", "p2", "p3"):
        studio.shelf.put(Piece(uid, RECIPE))
    with studio.database.writing() as session:
        session.execute(sa.text("UPDATE drafts SET body = :body WHERE form = 'bench piece p2'"), {"body": '{"uid": 3}'})
    assert [piece.uid for piece in studio.shelf.pieces()] == ["p1", "p3"]
    assert [(one.kind, one.key) for one in studio.damaged()] == [("piece on the bench", "bench piece p2")]
    studio.shelf.take_off("p2")
    assert len(studio.shelf.pieces()) == 2 and not studio.damaged()


def test_a_last_coats_course_begins_where_the_coat_below_was_done():
    first, last = Coat("ferric nitrate", 0.5, 4, 105.0), Coat("cupric nitrate", 0.25, 2, 98.0)
    before, after = (Reading([lightness, 8, 16], np.eye(3)) for lightness in (45.0, 40.0))
    course = course_of_last_coat(Recipe("silicon bronze", None, (first, last)), {0: before, 1: after})
    assert (course.coat, course.done) == (1, 1)
    assert course.readings == {After(0, 4): before, After(1, 1): after}
    alone = course_of_last_coat(Recipe("silicon bronze", None, (first,)), {0: before})
    assert alone.readings == {GROUND: before}


def test_each_step_names_its_own_chemical_and_the_first_seal_alone_goes_on_warm_metal():
    recipe = Recipe(
        "silicon bronze",
        Undercoat("liver of sulphur", 0.5, 0.25),
        (Coat("ferric nitrate", 0.5, 6, 105.0), Coat("cupric nitrate", 0.25, 3, 95.0, "stipple")),
        Seal("wax", 2, hot=True),
    )
    steps = steps_of(recipe)
    assert [step_name(recipe, step) for step in steps] == [
        "undercoat", "wash", "burnish", "coat 1, ferric nitrate", "coat 2, cupric nitrate", "wax",
    ]  # fmt: skip
    assert [what_goes_on(recipe, step) for step in steps if step.kind == "coat"] == [
        "Ferric nitrate, half strength, 105 °C (221 °F), fine mist",
        "Cupric nitrate, quarter strength, 95 °C (203 °F), stipple",
    ]
    wax = steps[-1]
    assert [what_goes_on(recipe, wax, done) for done in (0, 1)] == ["Wax, on warm metal", "Wax, on cool metal"]
    cold = replace(recipe, seal=Seal("wax", 2, hot=False))
    assert what_goes_on(cold, wax) == "Wax, on cool metal"
