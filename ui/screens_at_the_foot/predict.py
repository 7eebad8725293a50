"""What would it give?: any recipe, moved by hand, and the colour that is expected of it before anyone makes it."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import streamlit as st

from matcher.errors import MatcherError
from matcher.plan.limits import Limits
from matcher.recipe.recipe import Coat, Recipe, describe
from ui.escaped import escaped
from ui.predict.shown import against_kept, face, headline, said, show_doubts, show_figures, show_nearest
from ui.predict.vary import ask_to_vary
from ui.recipe.mix_link import KEPT, PREDICTED, begin_predicting
from ui.recipe.recipe_actions import go_on_buttons, show_recipe_cautions
from ui.show import look
from ui.state.cache_keys import Key, target_key
from ui.state.drafts import Draft
from ui.state.messages import guarded, tell, tell_plates_are_needed
from ui.state.open_studio import chosen_target, logged, say_part, target_choices, the_studio

if TYPE_CHECKING:
    from matcher.studio import Studio
    from matcher.suggest.suggestion import RecipePredictor
    from matcher.trials.trial import Target, Trial

NO_TARGET = 0
USUAL = Recipe("silicon bronze", coats=(Coat("ferric nitrate", 0.5, 6, 104.0),))


def show() -> None:
    studio = the_studio()
    look.title(
        "What would it give?",
        "Move a recipe and see the colour that the studio’s plates lead one to expect, before anyone makes it.",
    )
    trials = logged(studio)
    if not trials:
        tell_plates_are_needed(
            "No plate is logged yet, so nothing can be predicted: plan your first plates, or record one."
        )
        return
    draft = Draft(studio, PREDICTED)
    if draft.get("base") is None:
        _begin(studio, trials[-1])
    target = _start(studio, draft)
    base = _base_of(draft)
    with st.spinner("Learning from the plates…"):
        recipe_predictor = _recipe_predictor(
            target_key(studio, target), json.dumps(base.as_dict()), studio, base, target
        )
    _moving(studio, draft, recipe_predictor, target, trials)
    say_part(studio, target)


def _begin(studio: Studio, trial: Trial) -> None:
    target = chosen_target(studio)
    begin_predicting(studio, trial.recipe, f"Plate {trial.id}", None if target is None else target.id, chosen=False)


def _base_of(draft: Draft) -> Recipe:
    """Return the recipe that the moving began with; the usual one when what is kept can't be read."""
    try:
        return Recipe.from_dict(draft.get("base"))
    except (MatcherError, TypeError, AttributeError):
        return USUAL


def _start(studio: Studio, draft: Draft) -> Target | None:
    """Say where the recipe is from, let another one and the target be chosen; return the target, or None."""
    start, beside = st.columns([1, 1], gap="medium", vertical_alignment="bottom")
    with start, st.container(horizontal=True, vertical_alignment="bottom"):
        number = st.number_input(
            "Start from another plate",
            min_value=1,
            value=None,
            step=1,
            placeholder="its number",
            key=f"{draft.key('')}start",
            width=330,
        )
        if number is not None:
            _start_anew(studio, draft, number)
    with beside:
        choices = {NO_TARGET: "No target", **target_choices(studio, keep=int(draft.get("target_id") or 0) or None)}
        if draft.shown("target_id") not in choices:
            draft.set(target_id=NO_TARGET)
            st.session_state.pop(draft.key("target_id"), None)
        chosen = st.selectbox(
            "Beside the target",
            list(choices),
            format_func=choices.__getitem__,
            **draft.field("target_id", NO_TARGET),
        )
    source = str(draft.get("source"))
    copied = f"The recipe is copied from {source[:1].lower()}{source[1:]}. Move what you would do differently."
    st.html(f'<p class="pm-soft">{escaped(copied)}</p>')
    return None if not chosen else studio.target(chosen)


def _start_anew(studio: Studio, draft: Draft, number: int) -> None:
    trial = next(iter(studio.log.some([number])), None)
    if trial is None or trial.set_aside is not None:
        tell(f"There is no plate {number} among those that count: look for its number in the log.")
        return
    begin_predicting(studio, trial.recipe, f"Plate {number}", int(draft.get("target_id") or 0))
    st.rerun()


@st.cache_resource(show_spinner=False, max_entries=4)
def _recipe_predictor(key: Key, base: str, _studio: Studio, _recipe: Recipe, _target: Target | None) -> RecipePredictor:
    """Return what answers for a recipe however it is moved: fitted once, kept until the log changes."""
    if _target is None:
        return _studio.suggester().recipe_predictor(_recipe)
    return _studio.suggester(_target.reading, limits=Limits(), tolerance=_target.tolerance).recipe_predictor(_recipe)


@st.fragment
def _moving(
    studio: Studio, draft: Draft, recipe_predictor: RecipePredictor, target: Target | None, trials: list[Trial]
) -> None:
    """Show the colour, and beside it what moves it; nothing is fitted here."""
    with guarded():  # what fails while only this part runs anew is said here
        _shown(studio, draft, recipe_predictor, target, trials)


def _shown(
    studio: Studio, draft: Draft, recipe_predictor: RecipePredictor, target: Target | None, trials: list[Trial]
) -> None:
    with st.container(key="predicted", gap="small"):
        seen = st.container(key="predicted-face", gap="xsmall")
        hand = st.container(key="predicted-hand")
        words = st.container(key="predicted-words", gap="xsmall")
    with hand:
        recipe = ask_to_vary(studio, draft, trials)
    if recipe is None:
        with seen:
            st.html('<p class="pm-soft">Fill in the rest of the recipe to see what it would give.</p>')
        return
    now, kept = recipe_predictor.of(recipe), _kept(draft)
    first = None if kept is None else recipe_predictor.of(kept)
    to_target = None if target is None else now.apart_from(target.reading)
    with seen:
        st.html(face(now, target, first) + headline(now, target, to_target))
    with words:
        st.html(said(now, target, to_target))
        if kept is not None:
            st.html(against_kept(recipe_predictor.apart(kept, recipe, "")))
    source = f"what was predicted from {draft.get('source')}"
    with st.container(horizontal=True, vertical_alignment="center", key="go-on"):
        number = None if target is None else target.id
        go_on_buttons(studio, recipe, "predicted.make", source, number, first=True, to_prediction=False)
        _keeping(draft, recipe, kept)
    if kept is not None:
        st.html(f'<p class="pm-soft">Kept: {escaped(describe(kept))}</p>')
    if draft.get("assumed"):
        lacking = escaped(f"{draft.get('assumed')} of {draft.get('source')}")
        st.html(f'<p class="pm-soft">Nobody noted {lacking}: it is set here as most plates have it.</p>')
    show_doubts(now.doubts)
    show_nearest(now, trials)
    with st.container(horizontal=True, vertical_alignment="top", key="asides"):
        show_figures(now, target, to_target, first)
        show_recipe_cautions(recipe)


def _kept(draft: Draft) -> Recipe | None:
    try:
        return None if draft.get("kept") is None else Recipe.from_dict(draft.get("kept"))
    except (MatcherError, TypeError, AttributeError):
        return None


def _keeping(draft: Draft, recipe: Recipe, kept: Recipe | None) -> None:
    """Let this recipe be kept to compare others with, or the one kept be dropped."""
    label = "Keep this one to compare" if kept is None else "Keep this one instead"
    st.button(label, key="predicted.keep", on_click=lambda: draft.set(kept=recipe.as_dict()))
    if kept is not None:
        st.button("Drop the one kept", type="tertiary", key="predicted.drop", on_click=draft.forget, args=(KEPT,))


show()
