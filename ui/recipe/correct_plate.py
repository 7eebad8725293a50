"""Corrects what was typed of a logged plate: the form as it is logged, what it would change, what was corrected before.

Its draft holds the version that it began from ("before"), so that what another screen corrected meanwhile is seen.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.dates import ISO, on_day, shown
from matcher.errors import MatcherError
from matcher.recipe.recipe import describe
from matcher.trials.facts import TypedFacts, facts_of
from ui.escaped import escaped
from ui.recipe.about_plate import answered, ask_about, fields_about
from ui.recipe.recipe_form import RecipeForm, bottles, fields_of
from ui.show import look
from ui.state.drafts import Draft
from ui.state.messages import tell, told
from ui.state.open_studio import logged

if TYPE_CHECKING:
    from matcher.recipe.recipe import Recipe
    from matcher.studio import Studio
    from matcher.trials.trial import Trial


def is_begun(studio: Studio, trial: Trial) -> bool:
    """Tell whether a correction of this plate is half typed."""
    return bool(_draft(studio, trial).values)


def begin_button(studio: Studio, trial: Trial) -> None:
    """Offer the correction; what it did, once it is saved, is said here."""
    draft = _draft(studio, trial)
    if said := draft.said():
        tell(said, "done")
    if st.button("Correct this entry", key=f"correct.{trial.id}"):
        draft.fill(_as_logged(facts_of(trial)))
        st.rerun()


def correction_form(studio: Studio, trial: Trial, picture: str) -> None:
    """Show the form of a correction that is begun. picture: the plate's photograph as HTML, to look at beside it."""
    draft, logged_now = _draft(studio, trial), facts_of(trial)
    _meet_the_log(studio, draft, trial, logged_now)
    st.header(f"Correct plate {trial.id}", anchor=False)
    st.html(
        "<p>Correct this entry. The readings and photographs stay as they are, and the log keeps the earlier "
        "version.</p>"
    )
    if said := draft.said():
        tell(said, "warning")
    left, right = st.columns([1.55, 1], gap="medium")
    with left:
        form = RecipeForm(draft, logged(studio), bottles(studio), strict=True)
        recipe = form.show()
        ask_about(studio, draft, logged_now.target_id or 0, logged_now.made_at)
        facts = _facts(draft, recipe, logged_now, form.faults)
    with right:
        st.html(picture)
        _ask_to_save(studio, draft, trial, facts, form.faults)


def show_corrections(studio: Studio, trial: Trial) -> None:
    """List, folded, what was corrected of a plate, the latest first; nothing when nothing was."""
    found = studio.corrections(trial.id or 0)
    if not found:
        return
    with st.expander("Corrected once" if len(found) == 1 else f"Corrected {len(found)} times"):
        for one in reversed(found):
            when = " · ".join(filter(None, (shown(one.at), one.who)))
            st.html(f"<strong>{escaped(when)}</strong>{_listed(one.changed)}")
            before = escaped(describe(one.recipe)).replace(" °C", "\u00a0°C")
            st.html(f'<p class="pm-soft">Before: {before}</p>')


def _draft(studio: Studio, trial: Trial) -> Draft:
    return Draft(studio, f"correction of plate {trial.id}")


def _as_logged(facts: TypedFacts) -> dict[str, Any]:
    """Return the form's fields as the log has them."""
    made_on = {"made_on": shown(facts.made_at, ISO)}
    return {**fields_of(facts.recipe), **fields_about(facts), **made_on, "before": facts.as_dict()}


def _meet_the_log(studio: Studio, draft: Draft, trial: Trial, now: TypedFacts) -> None:
    """Take over what was corrected elsewhere since the form was begun, and say so; what was typed here stands."""
    before = _begun_from(draft, now)
    if before == now and "before" in draft.values:
        return
    then, mine = _as_logged(before), draft.values
    typed = {name: value for name, value in mine.items() if name != "before" and then.get(name) != value}
    draft.fill({**_as_logged(now), **typed})
    changed = "; ".join(studio.what_a_correction_changes(before, now))
    if changed:
        draft.say(
            f"Plate {trial.id} was corrected elsewhere meanwhile ({changed}). What you typed stands: look at what it "
            "would change now, then save it."
        )
    st.rerun()


def _begun_from(draft: Draft, now: TypedFacts) -> TypedFacts:
    try:
        return TypedFacts.from_dict(draft.get("before") or now.as_dict())
    except MatcherError:
        return now


def _facts(draft: Draft, recipe: Recipe | None, now: TypedFacts, faults: list[str]) -> TypedFacts | None:
    """Return what the form says; None while something in it is missing or cannot be, which ``faults`` then says."""
    try:
        made_at = on_day(now.made_at, str(draft.shown("made_on") or ""))
    except MatcherError as error:
        faults.append(str(error))
        tell(str(error))
        return None
    return None if recipe is None else replace(now, recipe=recipe, made_at=made_at, **answered(draft))


def _ask_to_save(studio: Studio, draft: Draft, trial: Trial, facts: TypedFacts | None, faults: list[str]) -> None:
    """Show what the form would change, and save it."""
    now, overtaken = facts_of(trial), draft.overtaken()
    with look.panel("changes"):
        st.html("<strong>What this changes</strong>")
        changed = () if facts is None else studio.what_a_correction_changes(now, facts)
        if facts is None:
            st.html(f'<p class="pm-soft">Shown once the form is complete. {escaped(" ".join(faults))}</p>')
        else:
            st.html(_listed(changed) if changed else '<p class="pm-soft">Nothing yet: it matches the log.</p>')
        pressed = st.button("Save the correction", type="primary", key=f"correct.save.{trial.id}")
        if st.button("Discard this correction", type="tertiary", key=f"correct.leave.{trial.id}"):
            draft.drop()
            st.rerun()
        if pressed and overtaken:
            tell("Not saved: this form was changed on another screen. Check what it would change now, then save it.")
        elif pressed:
            with told():
                _save(studio, draft, trial, facts, changed, faults)


def _save(
    studio: Studio,
    draft: Draft,
    trial: Trial,
    facts: TypedFacts | None,
    changed: tuple[str, ...],
    faults: list[str],
) -> None:
    if facts is None:
        tell(f"The correction was not made. {' '.join(faults)} Everything you typed is still here.")
    elif not changed:
        tell("Nothing differs from what is logged: change what was typed wrong, or leave it as it is.")
    else:
        studio.correct(trial.id or 0, facts, instead_of=facts_of(trial))
        draft.drop()
        draft.say(f"Plate {trial.id} is corrected. {'. '.join(changed)}.")
        st.rerun()


def _listed(lines: tuple[str, ...]) -> str:
    return f'<ul class="pm-steps">{"".join(f"<li>{escaped(line)}</li>" for line in lines)}</ul>'
