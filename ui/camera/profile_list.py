"""The studio's camera-and-light profiles: seen, renamed, retired and taken back, carried to another studio and in."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import streamlit as st

from matcher.dates import SHORT, shown
from matcher.errors import MatcherError
from ui.camera.patch_pairs import patch_picture
from ui.camera.read_again import read_again_with
from ui.escaped import escaped
from ui.show import look
from ui.state.drafts import Draft
from ui.state.messages import tell, told
from ui.state.remembered import as_seen
from ui.state.who import who

if TYPE_CHECKING:
    from matcher.calibration.profile import CameraProfile
    from matcher.studio import Studio


def show_profile(profile: CameraProfile) -> None:
    """Show one profile in full: how good it is, its patches, its light."""
    from matcher.calibration.profile_report import how_good_in_words, patch_pairs
    from matcher.card.card import load_cards

    chart = load_cards()["24-patch chart"]
    words_side, picture_side = st.columns([1, 1.2], gap="medium")
    with words_side:
        st.html(f"<p>{escaped(how_good_in_words(profile))}</p>{_light(profile)}")
    with picture_side:
        st.html(patch_picture(patch_pairs(profile, chart), chart.columns))


def list_profiles(studio: Studio) -> None:
    """List the profiles, those retired folded away, and take in one from a file."""
    st.header("Profiles of cameras and lights", anchor=False)
    known = _known(studio)
    draft = Draft(studio, "profiles")
    if said := draft.said():
        tell(said, "done")
    active = [profile for profile in known if profile.retired is None]
    if not active:
        st.html('<p class="pm-soft">None yet.</p>')
    for profile in active:
        with look.panel(f"profile-{_slug(profile.name)}"):
            st.html(_head(profile))
            with st.expander("Patches, rename, export, retire"):
                _one(studio, draft, profile)
            with st.expander("Read earlier photographs again"):
                read_again_with(studio, draft, profile, _slug(profile.name))
    retired = [profile for profile in known if profile.retired is not None]
    if retired:
        with st.expander(f"Retired ({len(retired)})"):
            for profile in retired:
                _retired(studio, draft, profile)
    _take_in(studio, draft)


def _known(studio: Studio) -> list[CameraProfile]:
    """Return the profiles; when a retired one cannot be read, say so and go on with the others. Raises StudioError."""
    try:
        return studio.profiles(include_retired=True)
    except MatcherError as error:
        active = studio.profiles()
        tell(str(error), "warning")
        return active


def _head(profile: CameraProfile) -> str:
    from matcher.calibration.profile_report import camera_in_words, temperature_in_words

    mean, p95 = profile.as_dict()["leave_one_out_delta_e00"].values()
    about = [profile.light, camera_in_words(profile), shown(profile.made_at, SHORT), temperature_in_words(profile)]
    return (
        f"<p><strong>{escaped(profile.name)}</strong><br>"
        f'<span class="pm-soft">{escaped(" · ".join(part for part in about if part))}</span><br>'
        f'<span class="pm-figures">Off by ΔE00 {mean:.1f} on average, 95 % within {p95:.1f}</span></p>'
    )


def _light(profile: CameraProfile) -> str:
    from matcher.calibration.profile_report import camera_balanced, temperature_in_words

    kelvin = temperature_in_words(profile)
    if not kelvin:
        return ""
    why = ""
    if camera_balanced(profile):
        why = " The camera balances white by itself, so the light's own colour does not show in the file."
    return f'<p class="pm-soft">Colour temperature of the light: {escaped(kelvin)}.{why}</p>'


def _one(studio: Studio, draft: Draft, profile: CameraProfile) -> None:
    slug = _slug(profile.name)
    show_profile(profile)
    left, right = st.columns(2, gap="medium")
    with left:
        new = st.text_input("New name", live=True, **draft.field(f"name.{slug}", profile.name))
        if st.button("Rename", key=f"profiles.rename.{slug}"):
            _done(draft, slug, lambda: f"Renamed: {studio.rename_profile(profile.name, new or '').name}.")
        st.download_button(
            "Export as a file",
            profile.to_json(),
            f"{slug}.json",
            "application/json",
            key=f"profiles.export.{slug}",
            on_click="ignore",
        )
    with right:
        reason = st.text_input(
            "Reason to retire it", placeholder="the lamp was changed", live=True, **draft.field(f"reason.{slug}", "")
        )
        if st.button("Retire", key=f"profiles.retire.{slug}"):
            _done(draft, slug, lambda: f"Retired: {studio.retire_profile(profile.name, reason or '', who()).name}.")
        st.html('<p class="pm-soft">A retired profile is no longer used. Nothing is deleted.</p>')


def _retired(studio: Studio, draft: Draft, profile: CameraProfile) -> None:
    with st.container(horizontal=True, vertical_alignment="center", horizontal_alignment="distribute"):
        st.html(
            f"<p><strong>{escaped(profile.name)}</strong> · {shown(profile.made_at, SHORT)}<br>"
            f'<span class="pm-soft">Retired: {escaped(profile.retired or "")}</span></p>',
            width="content",
        )
        slug = _slug(profile.name)
        seen = as_seen(f"retired.{slug}", profile.retired)
        if st.button("Restore", key=f"profiles.back.{slug}"):
            _done(draft, slug, lambda: f"Restored: {studio.take_back_profile(profile.name, who(), seen).name}.")


def _take_in(studio: Studio, draft: Draft) -> None:
    """Take in a profile that another studio exported."""
    key = f"profiles.file.{st.session_state.get('profiles.files', 0)}"
    with st.expander("Import a profile from a file"):
        file = st.file_uploader("An exported profile", key=key, max_upload_size=4)
        if file is None:
            return
        with told():
            from matcher.calibration.profile import CameraProfile

            kept = studio.take_in_profile(CameraProfile.from_json(file.getvalue()))
            st.session_state["profiles.files"] = st.session_state.get("profiles.files", 0) + 1
            draft.say(f"Imported: {kept.name}.")
            st.rerun()


def _done(draft: Draft, slug: str, act: Any) -> None:
    """Do one thing with a profile and say so, or say why not and keep what was typed."""
    with told():
        draft.say(act())
        draft.forget((f"name.{slug}", f"reason.{slug}"))
        st.rerun()


def _slug(name: str) -> str:
    """Return a name fit for keys and files; two names that differ only in signs still differ."""
    from zlib import crc32

    plain = re.sub(r"[^a-z0-9]+", "-", name.casefold()).strip("-")
    return f"{plain[:40] or 'profile'}-{crc32(name.encode()) & 0xFFFF:04x}"
