"""Record a plate: the recipe, prefilled from a suggestion or the last plate, and the colour that it gave."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from matcher.dates import made_on, now
from matcher.errors import MatcherError
from matcher.plates_in_picture import corners_of
from ui.bench.step_now import come_back_to_button
from ui.escaped import escaped
from ui.photograph.once_more import keep_photograph, offer_photograph
from ui.photograph.plates_there import keep_seen, own_tag_in, seen_for
from ui.reading.colour_in import colour_in
from ui.reading.typed_in import forget_file
from ui.recipe.about_plate import NO_TARGET, answered, ask_about
from ui.recipe.later_reading import photographs_in, show_stages
from ui.recipe.mix_link import mix_button
from ui.recipe.piece import OF_THE_FIRST, take_to_bench
from ui.recipe.plate_tag import say_tag_elsewhere
from ui.recipe.recipe_form import RecipeForm, bottles, new_plate_of, recipe_of
from ui.recipe.record_forms import FORMS, half_filled, open_form, show_half_filled
from ui.show import look
from ui.show.cautions import show_cautions
from ui.state.drafts import Draft
from ui.state.messages import tell
from ui.state.open_studio import alloy_for, choose_target, chosen_target, logged, the_studio
from ui.state.places import COMMISSIONS, LOG, SUGGESTIONS
from ui.state.who import remember, who

if TYPE_CHECKING:
    from matcher.commissions.casts import Cast
    from matcher.reading.reading import Reading
    from matcher.recipe.recipe import Recipe
    from matcher.studio import Studio
    from matcher.trials.trial import StageReading, Trial


def show() -> None:
    studio = the_studio()
    draft = open_form(studio)
    trials = logged(studio)
    if not draft.values:
        _prefill(studio, draft, trials)
    look.title("Record a plate", "First what you did, then the colour you got.")
    with st.container(key="record.above"):  # what comes and goes in it does not unseat a field that is being typed in
        show_half_filled(studio, draft)
        _origin(studio, draft)
    strict = bool(st.session_state.get("plate.tried"))
    st.header("What you did", anchor=False)
    left, right = st.columns([1.55, 1], gap="medium")
    with left:
        form = RecipeForm(draft, trials, bottles(studio), strict, converts=True)
        recipe = form.show()
    with right:
        _beside(studio, draft, recipe, form.faults)
    st.header("The colour you got", anchor=False)
    if draft.get("photo") is None:
        offer_photograph(studio, draft)
    reading, _ = colour_in(studio, draft, "Mark the finish", "Plate", asks_tag=True)
    st.header("About the plate", anchor=False)
    ask_about(studio, draft, _default_target(studio), now(), tag=True)
    draft.keep_along("made_on")
    others = [str(kept.body["tag"]) for kept in half_filled(studio) if kept.form != draft.form and kept.body.get("tag")]
    _tag_in_the_picture(draft)
    say_tag_elsewhere(studio, draft.shown("tag") or "", others)
    _say_other_alloy(studio, draft, recipe)
    _log_it(studio, draft, recipe, reading, form.faults)
    come_back_to_button()


def _prefill(studio: Studio, draft: Draft, trials: list[Trial]) -> None:
    """Start from the last plate: the next one is usually a step away from it. Not kept until something is typed.

    Of the alloy of the commission that the target is for.
    """
    if trials:
        last = trials[-1]
        alloy = alloy_for(studio, _default_target(studio) or None)
        of_alloy = {} if alloy is None else {"alloy": alloy}
        by = {"made_by": who() or last.made_by}
        draft.start({**new_plate_of(last.recipe), **of_alloy, **by, "from_plate": f"Plate {last.id}", "as_last": True})


def _origin(studio: Studio, draft: Draft) -> None:
    """Say where the recipe in the form came from, and the ways back from it."""
    source = draft.get("from_plate")
    if draft.get("bench_piece"):
        _from_the_bench(draft)
    elif source:
        where = draft.get("from_where", "from the suggestions")
        words = "the last one logged" if draft.get("as_last") else "as planned" if where == OF_THE_FIRST else where
        st.html(
            f'<p class="pm-soft">The recipe is copied from {escaped(source[:1].lower() + source[1:])}, {words}. '
            "Change whatever you did differently.</p>"
        )
    if source and not draft.get("bench_piece"):
        _not_made_yet(studio, draft, source)


def _not_made_yet(studio: Studio, draft: Draft, source: str) -> None:
    """Lead a suggested recipe to the bench, for one who came here to make it and not to log it."""
    target_id = draft.get("target_id")
    if draft.get("as_last") or not target_id:
        return
    recipe = recipe_of(draft.values)
    if recipe is None or not recipe.coats:
        return
    if st.button("Not made yet? Take it to the bench", type="tertiary", key="plate.bench"):
        take_to_bench(studio, recipe, source, target_id)


def _from_the_bench(draft: Draft) -> None:
    """Say what the bench handed over, and show the readings that were taken on the way."""
    stages = _stages(draft)
    st.html('<p class="pm-soft">The recipe comes from the bench, with the passes that were actually done.</p>')
    if draft.get("seal_planned"):
        tell(
            "No coat of the seal was counted at the bench, so the plate is logged unsealed. If you have sealed it, "
            "say so under Seal, and read the colour once it is sealed.",
            "warning",
        )
    elif draft.get("seal_kind", "none") != "none":
        tell("Read the colour below once the plate is sealed: the readings at the bench were taken before.", "warning")
    if stages:
        with st.expander(f"Readings along the way ({len(stages)}), logged with the plate"):
            show_stages(stages)


def _stages(draft: Draft) -> tuple[StageReading, ...]:
    from matcher.reading.reading import Reading
    from matcher.trials.trial import StageReading

    return tuple(StageReading(item["stage"], Reading.from_dict(item["reading"])) for item in draft.get("stages") or ())


def _beside(studio: Studio, draft: Draft, recipe: Recipe | None, faults: list[str]) -> None:
    with look.panel("cautions"):
        st.html("<strong>Cautions for this recipe</strong>")
        if recipe is None:
            said = escaped(" ".join(faults))
            st.html(f'<p class="pm-soft">Shown once the recipe is complete. {said}</p>')
        else:
            show_cautions(recipe)
            source = draft.get("piece") or "The recipe in the record form"
            mix_button(studio, recipe, "plate.mix", str(source), draft.get("target_id"))


def _say_other_alloy(studio: Studio, draft: Draft, recipe: Recipe | None) -> None:
    """Say so where the plate is of another alloy than the commission that its target is for."""
    from matcher.recipe.names import same

    wanted = alloy_for(studio, draft.shown("target_id"))
    if wanted is not None and recipe is not None and not same(wanted, recipe.alloy):
        tell(f"The commission is cast in {wanted}, and this recipe is on {recipe.alloy}: check the alloy.", "warning")


def _default_target(studio: Studio) -> int:
    target = chosen_target(studio)
    return NO_TARGET if target is None else target.id or NO_TARGET


def _log_it(studio: Studio, draft: Draft, recipe: Recipe | None, reading: Reading | None, faults: list[str]) -> None:
    pressed = st.button("Log this plate", type="primary", key="plate.log")
    if said := draft.said():
        tell(said)
    overtaken = draft.overtaken()
    if not pressed:
        return
    if overtaken:
        tell("The plate was not logged: this form was changed on another screen. Check it, then log it.")
        return
    if recipe is None or reading is None:
        st.session_state["plate.tried"] = True
        unread = ["Its colour has not been read yet."] if reading is None else []
        draft.say(f"The plate was not logged. {' '.join([*faults, *unread])} Everything you typed is saved.")
        st.rerun()
    remember(draft.shown("made_by"))
    try:
        tag = _own_tag(studio, draft)
        trial = studio.record(_trial(draft, recipe, reading), "", tag, corners_of(seen_for(draft), tag))
        keep_seen(studio, draft, tag)
    except MatcherError as error:
        tell(f"{error} Everything you typed is saved.")
        return
    cast = studio.casts.note_begun(trial, draft.get("cast"), who()) if draft.get("bench_piece") else None
    if uid := draft.get("bench_piece"):
        studio.shelf.take_off(uid)
    keep_photograph(studio, draft, trial)
    forget_file(studio, draft)
    planned = draft.get("from_where") == OF_THE_FIRST
    draft.drop()
    FORMS.close()
    st.session_state["plate.tried"] = False
    _go_on(studio, trial, planned, cast)


def _tag_in_the_picture(draft: Draft) -> None:
    """Offer the tag that lies in the picture and is on no plate yet."""
    free = own_tag_in(draft)
    if free and not draft.shown("tag"):
        said = f"Tag {free} lies in the picture, and is on no plate yet. Is it this plate's?"
        with st.container(horizontal=True, vertical_alignment="center", key="plate.tag-there"):
            st.html(f'<span class="pm-soft">{escaped(said)}</span>', width="content")
            if st.button("Yes, take it", type="tertiary", key="plate.tag-there.yes"):
                draft.fill({**draft.values, "tag": free})
                st.rerun()


def _own_tag(studio: Studio, draft: Draft) -> str:
    """Return the code of the tag that was typed, as it is printed. Raises StudioError."""
    from matcher.tags.given import tag_text

    typed = (draft.shown("tag") or "").strip()
    return tag_text(typed, studio.tag_signs) if typed else ""


def _trial(draft: Draft, recipe: Recipe, reading: Reading) -> Trial:
    from matcher.trials.trial import Trial

    photographs = photographs_in(draft.values)
    on_the_way = [sha256 for item in draft.get("stages") or () for sha256 in item["photos"]]
    return Trial(
        recipe=recipe,
        reading=reading,
        stages=_stages(draft),
        photos=tuple(dict.fromkeys([*photographs, *on_the_way])) if photographs else (),
        made_at=made_on(str(draft.shown("made_on") or "")),
        **answered(draft),
    )


def _go_on(studio: Studio, trial: Trial, planned: bool, cast: Cast | None) -> None:
    """Show what the plate changed for its target; without one, show it in the log; a cast, with its commission.

    planned: a first plate.
    """
    if cast is not None:
        commission, _ = studio.commissions.area(cast.area_id)
        st.switch_page(COMMISSIONS.file, query_params={"commission": str(commission.id)})
    if trial.target_id is None:
        new = OF_THE_FIRST if planned else "here"
        st.switch_page(LOG.file, query_params={"plate": str(trial.id), "logged": new})
    choose_target(studio.target(trial.target_id))
    st.switch_page(SUGGESTIONS.file, query_params={"target": str(trial.target_id), "logged": str(trial.id)})


show()
