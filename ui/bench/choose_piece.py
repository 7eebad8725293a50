"""Before the first pass: which target, which recipe, how the target is sealed, and the cautions to read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.bench.work import UNSEALED
from matcher.errors import SuggestionError
from matcher.recipe.recipe import Recipe, not_noted, passes_in_words
from matcher.words import capital
from ui.bench.step_now import TO_BUTTON
from ui.recipe.piece import FORM, as_listed, begin
from ui.recipe.recipe_form import recipe_of
from ui.recipe.record_forms import form_in_words, half_filled
from ui.show import look
from ui.show.cautions import show_cautions
from ui.show.literal import literal
from ui.show.steps import recipe_steps
from ui.state.drafts import Draft
from ui.state.messages import tell
from ui.state.open_studio import ask_for_target, chosen_target, logged
from ui.state.places import FIRST_PLATES, RECORD, TARGET
from ui.suggestions.answers import answers_for
from ui.suggestions.todays_limits import limits_of

if TYPE_CHECKING:
    from matcher.studio import Studio
    from matcher.suggest.suggestion import Suggestion
    from matcher.trials.trial import Target

SEALED = {UNSEALED: "Not sealed", "wax": "Waxed", "lacquer": "Lacquered"}
SUGGESTED = 5
ALL_OF_THEM = 99


@dataclass(frozen=True)
class Offer:
    """A recipe that can be made. source: where it comes from, as the record form says it. form: the record form that
    it stands in. listed: what the list says of it. cast: the one of an edition that it is to be.
    """

    label: str
    recipe: Recipe
    source: str
    form: str | None = None
    listed: Mapping[str, Any] | None = None
    cast: int | None = None


def choose(studio: Studio) -> None:
    """Ask what goes on the bench; nothing else is shown before the cautions were read."""
    draft = Draft(studio, FORM)
    target = chosen_target(studio)
    if target is None:
        tell("There is no target yet to work towards.", "warning")
        with st.container(key="onward-bench"):
            st.page_link(TARGET.file, label="Start from a client's photograph")
            if not logged(studio):
                st.page_link(FIRST_PLATES.file, label="First plates need no target")
        return
    if not logged(studio):
        tell("No plate is logged yet, so no path can be predicted: make your first plates, or record one.", "warning")
        with st.container(key="onward-bench"):
            st.page_link(FIRST_PLATES.file, label="First plates")
            st.page_link(RECORD.file, label="Record a plate")
        return
    recipe_side, cautions_side = st.columns([1.25, 1], gap="medium")
    with recipe_side, look.panel("bench-choice"):
        target = ask_for_target(studio, target, "bench")
        offer = _offer(studio, draft, target)
        if offer is None:
            return
        st.html(recipe_steps(offer.recipe))
        own = UNSEALED if offer.recipe.seal is None else offer.recipe.seal.kind
        sealed = ask_if_sealed(draft, f"sealed_for_{own}", own)
    with cautions_side, look.panel("bench-cautions"):
        st.html("<strong>Read the cautions first</strong>")
        show_cautions(offer.recipe, first=ALL_OF_THEM)
        if st.button("I have read them: start", type="primary", key="bench-begin"):
            piece = begin(studio, offer.recipe, offer.source, target.id, sealed, offer.form, offer.listed, offer.cast)
            draft.drop()
            st.session_state[TO_BUTTON] = True
            st.query_params["piece"] = piece.uid
            st.rerun()


def _offer(studio: Studio, draft: Draft, target: Target) -> Offer | None:
    try:
        with st.spinner("Looking for recipes…"):
            offers = offers_for(studio, draft, target)
    except SuggestionError as error:
        tell(str(error), "warning")
        return None
    if not offers:
        tell("None of the recipes nearest to this target has a coat, so there are no passes to follow.", "warning")
        return None
    field = draft.field("choice", next(iter(offers)))
    if st.session_state[field["key"]] not in offers:
        st.session_state[field["key"]] = next(iter(offers))
    chosen = st.selectbox("Recipe", list(offers), format_func=lambda key: offers[key].label, **field)
    return offers[chosen]


def offers_for(studio: Studio, draft: Draft, target: Target) -> dict[str, Offer]:
    """Return the recipes to choose from, the likeliest first, within today's limits.

    Not those of old plates of which a figure was not noted: they are filled in first. Raises SuggestionError."""
    offers: dict[str, Offer] = {}
    if draft.get("offered") is not None:
        source = draft.get("source") or "another page"
        offers["offered"] = Offer(
            f"From another page: {source[:1].lower()}{source[1:]}",
            Recipe.from_dict(draft.get("offered")),
            source,
            listed=draft.get("listed"),
            cast=draft.get("cast"),
        )
    begun = {piece.form for piece in studio.shelf.pieces()}
    forms = [kept for kept in half_filled(studio) if not kept.body.get("bench_piece") and kept.form not in begun]
    for kept in forms:
        recipe = recipe_of(kept.body)
        if recipe is not None:
            label = (
                "The plate you are recording" if len(forms) == 1 else f"Being recorded: {form_in_words(studio, kept)}"
            )
            name = "form" if kept is forms[0] else kept.form
            offers[name] = Offer(label, recipe, "the record form", form=kept.form)
    ranked = answers_for(studio, target, limits_of(studio, target)).ranked(SUGGESTED)
    for place, item in enumerate(ranked, start=1):
        listed = as_listed(item, target.tolerance)
        offers[f"place{place}"] = Offer(_label(item), item.recipe, _source(place, item), listed=listed)
    return {key: offer for key, offer in offers.items() if offer.recipe.coats and not not_noted(offer.recipe)}


def _label(item: Suggestion) -> str:
    name = "Predicted" if item.trial is None else f"Plate {item.trial.id}"
    coats = ", then ".join(f"{coat.chemical}, {passes_in_words(coat)}" for coat in item.recipe.coats)
    return f"{name}, ΔE00 {item.delta_e00:.1f}: {coats}"


def _source(place: int, item: Suggestion) -> str:
    return f"The predicted recipe at place {place}" if item.trial is None else f"Plate {item.trial.id}"


def ask_if_sealed(draft: Draft, name: str, otherwise: str) -> str:
    """Ask how the target is sealed, for the draft's field ``name``: sealing changes a colour, and the piece is read
    before it.
    """
    known = seal_choices(otherwise)
    chosen = st.segmented_control(
        "Is the finish you are matching sealed?",
        list(known),
        format_func=lambda kind: literal(known[kind]),
        required=True,
        **draft.field(name, otherwise),
    )
    return str(chosen or otherwise)


def seal_choices(*kinds: str | None) -> dict[str, str]:
    """Return the ways in which a target may be sealed, with other kinds that stand already."""
    return {**SEALED, **{kind: capital(kind) for kind in kinds if kind and kind not in SEALED}}
