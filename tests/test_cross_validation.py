"""What is said of the predictions themselves, contradictions and palettes. All processes and plates are invented."""

import json
import math
import re
from dataclasses import replace

import numpy as np
import pytest

from matcher.colour.difference import delta_e_2000
from matcher.errors import SuggestionError
from matcher.reading.reading import PaletteColour, Reading
from matcher.recipe.recipe import Coat, Recipe, Undercoat
from matcher.suggest.cross_validation import in_words as kind_in_words
from matcher.suggest.palettes import palette_distance, palette_of
from matcher.suggest.suggester import Suggester
from matcher.suggest.validation_wording import coverage_by_chance, coverage_in_words, in_words, learned_from_in_words
from matcher.trials.trial import Trial
from tests.benchmarks.invented_processes import film, recipe_space


@pytest.fixture(scope="module")
def trials():
    process, rng, space = film(700), np.random.default_rng(1), recipe_space()
    made = [process.trial(space[k], rng) for k in rng.choice(len(space), 60, replace=False)]
    return [Trial(trial.recipe, trial.reading, id=k + 1) for k, trial in enumerate(made)]


@pytest.fixture(scope="module")
def figures(trials):
    return Suggester(trials).cross_validation()


def test_left_out_plates_are_predicted_well_and_inside_their_regions(figures):
    assert len(figures.left_out.errors) == 60
    assert np.median(figures.left_out.errors) < 2.0
    assert 0.85 <= figures.left_out.coverage <= 1.0


def test_plates_of_a_kind_never_seen_are_predicted_worse(figures):
    """Leaving out a whole kind costs more than leaving out one plate."""
    grouped = np.concatenate([figure.errors for _, figure in figures.groups])
    assert np.mean(grouped) > np.mean(figures.left_out.errors)


def test_error_falls_as_plates_are_added(figures):
    sizes, errors = zip(*figures.growth, strict=True)
    assert list(sizes) == sorted(sizes)
    assert errors[-1] < errors[0]


def test_a_region_without_plates_is_worth_more_than_the_best_known(figures, trials):
    gains = [region.expected_gain for region in figures.regions]
    assert gains == sorted(gains, reverse=True)
    assert all(region.doubt > 0 and region.expected_gain >= 0 for region in figures.regions)
    by_plates = sorted(figures.regions, key=lambda region: region.plates)
    assert by_plates[0].doubt > by_plates[-1].doubt
    assert sum(region.plates for region in figures.regions) <= len(trials)


def test_the_figures_are_plain_json(figures):
    data = json.loads(json.dumps(figures.as_dict()))
    assert data["left_out"]["plates"] == 60
    assert {"plates", "median_delta_e00"} == set(data["growth"][0])


def test_too_few_plates_to_judge_is_said(trials):
    with pytest.raises(SuggestionError, match="Log at least 4 plates"):
        Suggester(trials[:3]).cross_validation()


def test_every_figure_is_said_in_a_plain_sentence(figures):
    said = in_words(figures)
    assert said["left_out"].startswith(f"Half of the plates were predicted within ΔE00 {figures.left_out.median:.1f}")
    assert "Learned from all 60 plates" in said["learned_from"]
    assert f"of 60 plates ({100 * figures.left_out.coverage:.0f} %)" in said["coverage"]
    assert said["growth"].endswith("the error fell as plates were added.")
    assert figures.regions[0].kind.name in said["regions"]
    assert all(sentence.endswith(".") for sentence in said.values())


def test_what_chance_makes_of_95_percent_is_the_binomials():
    """Worked from the binomial distribution: of 60 at 0.95, fewer than 53 come less than once in 40."""
    least, most = coverage_by_chance(60)
    assert (least, most) == (53, 60)
    for many in (20, 60, 77, 150, 411):
        least, most = coverage_by_chance(many)
        exactly = [math.comb(many, k) * 0.95**k * 0.05 ** (many - k) for k in range(many + 1)]
        assert sum(exactly[:least]) < 0.025 <= sum(exactly[: least + 1])
        assert sum(exactly[:most]) < 0.975 <= sum(exactly[: most + 1])


def test_a_kind_of_recipe_is_named_by_its_coats_and_what_they_are_laid_over():
    assert kind_in_words((None, "ferric nitrate")).name == "ferric nitrate over bare metal"
    over = kind_in_words(("liver of sulphur", "ferric nitrate", "cupric nitrate"))
    assert over.name == "ferric nitrate, then cupric nitrate over liver of sulphur"
    assert kind_in_words(("liver of sulphur",)).name == "no coat over liver of sulphur"


@pytest.mark.parametrize(("held", "words"), [(0.5, "too narrow, trust them less"), (57 / 60, "can be trusted")])
def test_intervals_that_hold_too_seldom_are_called_too_narrow(figures, held, words):
    seen = replace(figures, left_out=replace(figures.left_out, coverage=held))
    assert words in coverage_in_words(seen)


def test_few_plates_are_not_said_to_prove_the_intervals(trials):
    assert "so few plates tell little yet" in coverage_in_words(Suggester(trials[:8]).cross_validation())


def test_a_long_log_says_which_plates_were_used(trials):
    many = [Trial(t.recipe, t.reading, id=k + 1) for k, t in enumerate(trials * 6)]
    suggester = Suggester(many)
    assert len(suggester.model([40, 14, 22]).trials) < 360
    figures = replace(Suggester(trials[:8]).cross_validation(), logged=360)
    assert "learned from 8 of its 360 plates" in learned_from_in_words(figures)


# Contradictions


def test_a_plate_that_disagrees_with_its_neighbours_is_pointed_out(trials):
    odd = Trial(trials[7].recipe, Reading(trials[7].reading.lab + [18.0, 6, -9]), id=99)
    found = Suggester([*trials, odd]).contradictions()
    assert found
    assert {found[0].trial.id, *(item.trial.id for item in found)} & {99, 8}
    assert "make it again, set it aside with the reason, or say that it is right" in found[0].sentence
    assert odd in Suggester([*trials, odd]).trials


def test_plates_that_agree_are_left_in_peace(trials):
    assert len(Suggester(trials).contradictions()) <= 1


def test_plates_of_one_recipe_that_contradict_each_other_are_pointed_out_and_said_beside_what_leans_on_them(trials):
    """Half of a recipe's plates dark, half light and green: no scatter of plates, whatever they say themselves."""
    recipe, exact = trials[0].recipe, np.eye(3) * 0.04
    odd = [Trial(recipe, Reading([20.0, 5, 5] if k % 2 else [80.0, -20, 30], exact), id=200 + k) for k in range(10)]
    for known in (odd, [*trials, *odd], odd[:2]):
        suggester = Suggester(known)
        found = suggester.contradictions()
        assert re.match(r"Plate 20\d differs by ΔE00 \d+\.\d from plate \d+ of the same recipe", found[0].sentence)
        assert "set it aside with the reason" in found[0].sentence
    suggester = Suggester([*trials, *odd])
    listed = suggester.suggest([20.0, 5, 5])
    assert [item for item in listed if item.trial in odd]
    for item in listed:
        if item.trial in odd:
            assert "Plates of one recipe differ by ΔE00" in item.because
    assert "check them before you trust this" in Suggester(odd).next_trial([40.0, 5, 5]).because


def test_plates_of_one_recipe_that_scatter_as_plates_do_are_left_in_peace(trials):
    rng = np.random.default_rng(4)
    again = [
        Trial(trials[0].recipe, Reading(trials[0].reading.lab + rng.normal(0, 0.6, 3)), id=k) for k in range(200, 212)
    ]
    suggester = Suggester([*trials, *again])
    assert not [one for one in suggester.contradictions() if "the same recipe" in one.sentence]
    assert not [item for item in suggester.suggest(trials[0].reading.lab) if "check them" in item.because]


def test_plates_all_alike_are_said_to_teach_nothing_of_what_changes_the_colour(trials):
    same = [Trial(trials[0].recipe, trials[0].reading, id=k + 1) for k in range(8)]
    assert "All plates logged are of one recipe: what changes" in Suggester(same).next_trial([30.0, 5, 5]).because
    one_colour = [Trial(trial.recipe, trials[0].reading) for trial in trials[:8]]
    assert "All plates logged were read as one colour" in Suggester(one_colour).next_trial([30.0, 5, 5]).because
    assert "All plates" not in Suggester(trials).next_trial([30.0, 5, 5]).because


# Palettes


def reading(*colours):
    shares = [share for _, share in colours]
    labs = [lab for lab, _ in colours]
    return Reading(np.average(labs, axis=0, weights=shares), palette=tuple(PaletteColour(*c) for c in colours))


DARK, LIGHT = (25.0, 8.0, 10.0), (55.0, 14.0, 28.0)


def test_a_palette_is_no_distance_from_itself():
    own = palette_of(reading((DARK, 0.4), (LIGHT, 0.6)))
    assert palette_distance(own, own) == pytest.approx(0.0, abs=1e-9)


def test_two_even_finishes_differ_by_their_ciede2000():
    first, second = Reading(DARK), Reading(LIGHT)
    expected = float(delta_e_2000(DARK, LIGHT))
    assert palette_distance(palette_of(first), palette_of(second)) == pytest.approx(expected)


def test_moving_a_share_costs_the_share_times_the_difference():
    """Worked by hand: 0.2 of the surface must change from dark to light."""
    first, second = palette_of(reading((DARK, 0.6), (LIGHT, 0.4))), palette_of(reading((DARK, 0.4), (LIGHT, 0.6)))
    assert palette_distance(first, second) == pytest.approx(0.2 * float(delta_e_2000(DARK, LIGHT)))


def test_the_distance_is_that_of_an_assignment_for_equal_shares():
    """Against SciPy's assignment solver, which answers the same for equal shares."""
    from scipy.optimize import linear_sum_assignment

    rng = np.random.default_rng(2)
    labs = rng.uniform([20, 0, 0], [70, 20, 30], (2, 5, 3))
    cost = delta_e_2000(labs[0][:, None], labs[1][None])
    rows, columns = linear_sum_assignment(cost)
    even = np.full(5, 0.2)
    assert palette_distance((labs[0], even), (labs[1], even)) == pytest.approx(cost[rows, columns].mean())


def test_a_mottled_target_ranks_the_mottled_plate_first():
    """Both plates have the target's mean colour; only one has its lights and darks."""
    middle = np.add(DARK, LIGHT) / 2
    recipe = Recipe("silicon bronze", Undercoat("liver of sulphur", 0.5), (Coat("ferric nitrate", 0.5, 4, 105.0),))
    even = Trial(recipe, Reading(middle + [0.1, 0, 0]), id=1)
    mottled = Trial(recipe, Reading(middle + [0.3, 0, 0], lights=LIGHT, darks=DARK), id=2)
    target = Reading(middle, lights=LIGHT, darks=DARK)
    suggester = Suggester([even, mottled])
    assert suggester.suggest(target, 1)[0].trial is even
    assert suggester.palettes(target)[0].suggestion.trial is mottled


def test_undercoat_and_coat_are_found_together_for_darks_and_lights(trials):
    """Lights and darks that one recipe gives, with and without its undercoat: found within the eye's reach."""
    process = film(700)
    coat = (Coat("ferric nitrate", 0.5, 4, 105.0),)
    darks = process.true(Recipe("silicon bronze", Undercoat("liver of sulphur", 1.0, 0.0), coat))
    lights = process.true(Recipe("silicon bronze", None, coat))
    target = Reading((darks + lights) / 2, lights=lights, darks=darks)
    best = Suggester(trials).mottled(target)[0]
    assert best.distance < 3.0
    assert best.lights[0] > best.darks[0]
    assert best.recipe.undercoat is not None
    assert 0 < best.recipe.undercoat.burnish <= 1


def test_a_typed_colour_has_no_lights_and_darks(trials):
    with pytest.raises(SuggestionError, match="Mark the finish on a photograph"):
        Suggester(trials).mottled(Reading([40.0, 10, 20]))
