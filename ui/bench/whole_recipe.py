"""All of the recipe below the work: its steps, the mark on the plate, the seal of the target, every caution."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import streamlit as st

from matcher.bench.wording import title_of
from matcher.words import capital
from ui.bench.choose_piece import seal_choices
from ui.escaped import escaped
from ui.recipe.print_card import print_recipe
from ui.show.cautions import show_cautions
from ui.show.literal import literal
from ui.show.steps import recipe_steps
from ui.state.messages import told

if TYPE_CHECKING:
    from matcher.bench.work import Piece
    from matcher.studio import Studio

ALL_OF_THEM = 99


def show_whole(studio: Studio, piece: Piece) -> None:
    with st.expander("Recipe, mark on the plate, seal and all cautions"):
        if piece.source:
            st.html(f'<p class="pm-soft">{escaped(capital(piece.source))}</p>')
        st.html(recipe_steps(piece.recipe))
        print_recipe(studio, piece.recipe, title_of(piece), piece.target_id, f"bench.{piece.uid}.print")
        mark = st.text_input(
            "Mark on the plate",
            value=piece.name,
            placeholder="what is stamped or written on it",
            live=True,
            key=f"bench.{piece.uid}.name.{piece.name}",
        )
        known = seal_choices(piece.sealed, None if piece.recipe.seal is None else piece.recipe.seal.kind)
        sealed = st.segmented_control(
            "Is the finish you are matching sealed?",
            list(known),
            format_func=lambda kind: literal(known[kind]),
            default=piece.sealed,
            required=True,
            key=f"bench.{piece.uid}.sealed.{piece.sealed}",
        )
        name, kind = " ".join((mark or "").split()), str(sealed or piece.sealed)
        if (name, kind) != (piece.name, piece.sealed):
            with told():
                studio.shelf.change(piece.uid, lambda now: replace(now, name=name, sealed=kind))
                st.rerun()
        show_cautions(piece.recipe, first=ALL_OF_THEM)
