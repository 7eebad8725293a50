"""What to mix for a recipe: the bottle and the millilitres for each layer, and what stands in the way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import streamlit as st

from matcher.bench.mixing import SPARE, STOPS, LayerMix, MixPlan, bottles_for, layers_of, mix_recipe
from matcher.bench.mixing_wording import (
    amount,
    comes_to,
    converted_in_words,
    fraction,
    ml,
    pour_blend,
    troubles_in_words,
)
from matcher.bench.wording import title_of
from matcher.errors import RecipeError
from matcher.recipe.cautions import cautions_for
from matcher.recipe.quantities import measurable_blend, use_leftover
from matcher.recipe.recipe import Recipe, describe
from matcher.words import capital
from ui.bench.bottle_shelf import hazards_html, precautions_html
from ui.bench.solution_used import note_for
from ui.escaped import escaped
from ui.recipe.mix_link import FORM, mix_for, recipe_in
from ui.recipe.piece import take_to_bench
from ui.recipe.print_card import paper_choice, say_what_prints_not
from ui.show.cautions import show_these
from ui.show.literal import literal
from ui.state.drafts import Draft
from ui.state.messages import tell
from ui.state.open_studio import newest

if TYPE_CHECKING:
    from matcher.studio import Studio
    from matcher.trials.stocks import Stock

AREA_CM2 = 100.0
PLATES_OFFERED = 40
FIRST = 2


@dataclass(frozen=True)
class _Offered:
    """A recipe to choose. source: where it is from, in words; about: what more is said of it in the list."""

    source: str
    about: str
    recipe: Recipe
    target_id: int | None = None
    at_bench: bool = False

    @property
    def label(self) -> str:
        return f"{self.source}: {self.about}" if self.about else self.source


def show_mixing(studio: Studio) -> None:
    draft = Draft(studio, FORM)
    _choose(studio, draft)
    recipe = recipe_in(draft)
    if recipe is None:
        st.html('<p class="pm-soft">Choose a recipe above, or come here from a suggestion, a plate or the bench.</p>')
        return
    source = str(draft.get("source") or "")
    st.html(f'<p class="pm-words">{escaped(capital(describe(recipe)))}</p>')
    one, two = st.columns(2, wrap=False, vertical_alignment="bottom")
    with one:
        area = st.number_input(
            "Area, cm²", value=None, min_value=0.0, step=50.0, format="%g", **draft.field("area", AREA_CM2)
        )
    with two:
        spare = st.number_input(
            "To spare, %", value=None, min_value=0.0, step=5.0, format="%g", **draft.field("spare", SPARE * 100)
        )
    if not area or spare is None:
        tell("Fill in the area that is to be coloured, and the share to spare.", "warning")
        return
    stocks, uses = studio.stocks(), studio.bottles.uses()
    chosen = {part: str(draft.get(f"bottle {part}")) for part, _ in layers_of(recipe) if draft.get(f"bottle {part}")}
    meant = studio.last_mixed_from()
    try:
        plan = mix_recipe(recipe, area, stocks, uses, datetime.now(UTC), chosen, spare / 100.0, meant=meant)
    except RecipeError as error:
        tell(str(error))
        return
    for caution in plan.clashes:
        tell(caution.message, "warning")
    for mix in plan.layers:
        _layer(studio, draft, mix, stocks, area)
    _onward(studio, draft, plan, source)
    show_these(cautions_for(plan.mixed_recipe), FIRST)


def _choose(studio: Studio, draft: Draft) -> None:
    """Let the recipe be that of a piece on the bench or of a logged plate."""
    pieces = {
        f"piece {piece.uid}": _Offered(f"On the bench: {title_of(piece)}", "", piece.recipe, piece.target_id, True)
        for piece in studio.shelf.pieces()
    }
    plates = {
        f"plate {trial.id}": _Offered(f"Plate {trial.id}", describe(trial.recipe), trial.recipe, trial.target_id)
        for trial in newest(studio, PLATES_OFFERED)
        if trial.recipe.coats or trial.recipe.undercoat
    }
    offered = {**pieces, **plates}
    if not offered:
        return
    source = str(draft.get("source") or "")
    picked = st.selectbox(
        "Another recipe" if recipe_in(draft) is not None else "Recipe",
        list(offered),
        index=None,
        format_func=lambda key: offered[key].label,
        placeholder=source or "of a piece on the bench, or of a plate",
        key=f"mixing.pick.{source}",
    )
    if picked is not None:
        one = offered[picked]
        mix_for(studio, one.recipe, one.source, one.target_id, one.at_bench)
        st.rerun()


def _layer(studio: Studio, draft: Draft, mix: LayerMix, stocks: Sequence[Stock], area: float) -> None:
    with st.container(key=f"flask-{mix.part.replace(' ', '-')}"):
        said = f"{capital(mix.part)}: {mix.layer.chemical}, {fraction(mix.layer.strength)}"
        own = f" of {mix.own}" if mix.own else ""
        st.html(f"<h2>{escaped(said + own)}</h2>")
        left, right = st.columns([1.2, 1], gap="medium")
        with left:
            _pour(mix)
            _ask_bottle(draft, mix, stocks)
        with right:
            troubles = troubles_in_words(mix)
            conversion = None if mix.conversion is None else converted_in_words(mix.conversion, mix.own)
            for line in troubles:
                tell(line, "done" if line == conversion else "wrong" if mix.measured is None else "warning")
            st.html(f'<p>{escaped(amount(mix))}</p><p class="pm-soft">{escaped(mix.rate.sentence)}</p>')
            st.html(hazards_html(mix.hazards))
        if mix.measured is not None:
            _leftover(draft, mix)
            if st.button("Note what was used of it", type="tertiary", key=f"mixing.used.{mix.part}"):
                note_for(studio, mix, area)


def _pour(mix: LayerMix) -> None:
    """Say what to pour, to be read at arm's length."""
    if mix.measured is None or mix.stock is None or mix.wanted is None:
        return
    water, stock = mix.measured.water_ml, mix.measured.stock_ml
    rows = [f"<b>{escaped(ml(water))}</b> water, first"] if water else []
    rows.append(f"<b>{escaped(ml(stock))}</b> {escaped(mix.stock.label)}{', stirred in' if water else ', as it is'}")
    st.html(
        f'<p class="pm-pour" role="status">{"<br>".join(rows)}</p>'
        f'<p class="pm-soft">{escaped(f"That is {comes_to(mix.wanted, mix.measured)}.")}</p>'
    )


def _ask_bottle(draft: Draft, mix: LayerMix, stocks: Sequence[Stock]) -> None:
    there = [stock.label for stock in bottles_for(mix.layer.chemical, stocks)]
    if not there:
        return
    field = draft.field(f"bottle {mix.part}", None)
    if st.session_state[field["key"]] not in there:
        st.session_state[field["key"]] = mix.stock.label if mix.stock is not None and mix.stock.label in there else None
    st.selectbox("From the bottle", there, format_func=literal, **{"index": None, **field})


def _leftover(draft: Draft, mix: LayerMix) -> None:
    with st.expander("Something is left over from last time"):
        one, two = st.columns(2, wrap=False, vertical_alignment="bottom")
        with one:
            left = st.number_input(
                "Left over, ml",
                value=None,
                min_value=0.0,
                step=5.0,
                format="%g",
                **draft.field(f"left {mix.part}", None),
            )
        with two:
            strength = st.number_input(
                "Its strength", value=None, min_value=0.0, max_value=1.0, step=0.05, format="%g",
                **draft.field(f"left strength {mix.part}", None),
            )  # fmt: skip
        if not left or not strength or mix.stock is None:
            st.html(f'<p class="pm-soft">Its strength as a fraction of {escaped(_label(mix))}: a quarter is 0.25.</p>')
            return
        try:
            exact = use_leftover(max(mix.needed_ml, 1.0), mix.strength, left, strength)
            st.html(f"<p>{escaped(pour_blend(measurable_blend(exact, strength), mix.stock.label))}.</p>")
        except RecipeError as error:
            tell(str(error))


def _label(mix: LayerMix) -> str:
    return "the stock" if mix.stock is None else mix.stock.label


def _onward(studio: Studio, draft: Draft, plan: MixPlan, source: str) -> None:
    ready = [mix for mix in plan.layers if not set(mix.troubles) & STOPS]
    with st.container(horizontal=True, vertical_alignment="bottom", key="mix-onward"):
        if ready:
            say_what_prints_not(studio, ready)
            paper = paper_choice("mixing.paper")
            st.download_button("Print labels", lambda: _printed(studio, ready, paper), "labels.pdf", on_click="ignore")
        whole = len(ready) == len(plan.layers) and plan.recipe.coats and not draft.get("at_bench")
        if whole and st.button("Take it to the bench with these bottles", type="primary", key="mixing.bench"):
            take_to_bench(studio, plan.mixed_recipe, source, int(draft.get("target_id") or 0) or None)
    if ready:
        with st.expander("What the labels ask for"):
            for mix in ready:
                st.html(f"<strong>{escaped(capital(mix.layer.chemical))}</strong>{precautions_html(mix.hazards)}")


def _printed(studio: Studio, mixes: Sequence[LayerMix], paper: str) -> bytes:
    from matcher.sheets.bottle_labels import bottle_labels, label_of_mix
    from matcher.sheets.paper import paper_named

    at = datetime.now(UTC)
    return bottle_labels([label_of_mix(mix, at) for mix in mixes], studio.title, paper_named(paper))
