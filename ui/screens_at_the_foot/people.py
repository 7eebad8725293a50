"""People and devices: who may come in where the studio is served, on which phones and computers."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from matcher.access.passphrase import SHORTEST
from matcher.access.wording import change_in_words
from matcher.dates import TO_THE_MINUTE, shown
from matcher.hands import ABOUT, Role, Work, whose
from matcher.words import capital, counted
from ui.escaped import escaped
from ui.people.by_code import show_code
from ui.serving.known import forget
from ui.serving.whose import signed_in
from ui.show import look
from ui.show.literal import literal
from ui.state.messages import tell, told
from ui.state.open_studio import the_studio

if TYPE_CHECKING:
    from matcher.access.devices import Device, SignedIn
    from matcher.access.people import Person
    from matcher.studio import Studio

SHOWN = 100  # lines of the history, the newest
ROLES = [str(role) for role in Role]
# In the session: the code that is shown and whom it signs in; what was done; how many were added.
CODE, SAID, ADDED = "people.code", "people.said", "people.added"


def show() -> None:
    studio = the_studio()
    look.title("People and devices", "Who may come in, and on which phones and computers.")
    me, hand = signed_in(), whose()
    if me is None:
        tell(
            "Nobody signs in: this page is served to this machine alone. Start it with --network to let phones and "
            "other benches in; whom you add here can sign in then.",
            "warning",
        )
    if said := st.session_state.pop(SAID, None):
        tell(said, "done")
    shown_code = st.session_state.get(CODE)
    if shown_code is not None:
        show_code(*shown_code)
        if st.button("Hide the code", key="people-hide"):
            del st.session_state[CODE]
            st.rerun()
    if me is not None:
        _yourself(studio, me)
    runs = hand is None or hand.may(Work.RUN)
    if runs:
        _people(studio, me)
        _changes(studio)
    _devices(studio, me, None if runs or me is None else me.hand.uid)


def _yourself(studio: Studio, me: SignedIn) -> None:
    st.header(literal(f"You: {me.hand.name}"))
    st.html(f"<p>As {me.hand.role.with_article} you {escaped(ABOUT[me.hand.role])}.</p>")
    with st.container(horizontal=True):
        if st.button("Pair a phone", type="primary", key="people-pair", icon=":material/qr_code_2:"):
            _make_code(studio, me.hand.uid, me.hand.name)
        with st.popover("Change your passphrase", key="people-passphrase"):
            known = studio.access.people.named(me.hand.name).has_passphrase
            old = st.text_input("The one that you have", type="password", key="people.old", live=True) if known else ""
            first = st.text_input("New passphrase", type="password", key="people.new", live=True)
            again = st.text_input("The same once more", type="password", key="people.again", live=True)
            st.html(f'<p class="pm-soft">{SHORTEST} signs at least. Your other devices are signed out.</p>')
            if st.button("Keep the new passphrase", key="people-keep"):
                with told():
                    if first != again:
                        tell("Type the same passphrase twice: the two differ.")
                    else:
                        studio.access.change_passphrase(me.hand.uid, old or "", first or "", me.device.uid)
                        _done("You have a new passphrase, and your other devices are signed out.")


def _people(studio: Studio, me: SignedIn | None) -> None:
    st.header("Who belongs to this studio")
    people = studio.access.people.people()
    if not people:
        st.html("<p>Nobody yet.</p>")
    for person in people:
        _one_person(studio, person, me is not None and person.uid == me.hand.uid)
    with look.panel("add-person"):
        st.html("<strong>Let somebody come in</strong>")
        count = st.session_state.get(ADDED, 0)
        left, right = st.columns([2, 1.4], vertical_alignment="bottom")
        name = left.text_input("Name", key=f"people.name.{count}", live=True, help="As it is to stand in the log")
        chosen = right.selectbox("Role", ROLES, index=1, format_func=str.capitalize, key=f"people.role.{count}")
        role = Role(chosen or Role.READER)
        st.html(f'<p class="pm-soft">{capital(role.with_article)} {escaped(ABOUT[role])}.</p>')
        if st.button("Add, and make a code", key="people-add"):
            with told():
                person = studio.access.people.add(name or "", role)
                st.session_state[ADDED] = count + 1
                _make_code(studio, person.uid, person.name)


def _changes(studio: Studio) -> None:
    changes = studio.history("person")[::-1]
    if changes:
        with st.expander("Who let whom in, and what was changed"):
            lines = "".join(f"<li>{escaped(change_in_words(one))}</li>" for one in changes[:SHOWN])
            st.html(f"<ul>{lines}</ul>")


def _one_person(studio: Studio, person: Person, is_me: bool) -> None:
    with st.container(horizontal=True, vertical_alignment="center", key=f"person-{person.uid}"):
        waits = "" if person.has_way_in else '<span class="pm-soft">, has not come in yet</span>'
        st.html(f"<strong>{escaped(person.name)}</strong>{waits}", width="stretch")
        chosen = st.selectbox(
            literal(f"Role of {person.name}"),
            ROLES,
            index=ROLES.index(person.role),
            format_func=str.capitalize,
            key=f"people.role.{person.uid}.{person.role}",
            label_visibility="collapsed",
            width=150,
        )
        role = Role(chosen or person.role)
        if role is not person.role:
            with told():
                studio.access.people.set_role(person.uid, role)
                _done(f"{person.name} is {role.with_article} now, who {ABOUT[role]}.")
        if not is_me and st.button("Make a code", key=f"people-code-{person.uid}"):
            _make_code(studio, person.uid, person.name)
        if not is_me and person.has_passphrase:
            with st.popover("Passphrase forgotten", key=f"people-forgot-{person.uid}"):
                said = (
                    f"{person.name} chooses another with the code that is made. Until then every device is signed out."
                )
                st.write(literal(said))
                if st.button("Make the code", key=f"people-anew-{person.uid}"):
                    with told():
                        studio.access.people.forget_passphrase(person.uid)
                        forget()
                        _make_code(studio, person.uid, person.name)
        with st.popover("Let go", key=f"people-go-{person.uid}"):
            st.write(literal(f"{person.name} can no longer come in. What they wrote stays in the log."))
            if st.button("Let go", key=f"people-gone-{person.uid}"):
                with told():
                    studio.access.people.let_go(person.uid)
                    _done(f"{person.name} no longer belongs here, and every device of theirs is signed out.")


def _devices(studio: Studio, me: SignedIn | None, person_uid: str | None) -> None:
    st.header("Devices that are signed in")
    devices = studio.access.devices.devices(person_uid)
    if not devices:
        st.html("<p>None.</p>")
    for device in devices:
        _one_device(studio, device, me is not None and device.uid == me.device.uid)
    mine = [one for one in devices if me is not None and one.person_uid == me.hand.uid]
    if me is not None and len(mine) > 1 and st.button("Sign out everywhere but here", key="people-out-all"):
        with told():
            count = studio.access.devices.sign_out_everywhere(me.hand.uid, keep=me.device.uid)
            _done(f"{counted(count, 'other device')} of yours signed out.")


def _one_device(studio: Studio, device: Device, is_this: bool) -> None:
    with st.container(horizontal=True, vertical_alignment="center", key=f"device-{device.uid}"):
        seen = "this one" if is_this else f"last seen {shown(device.seen_at, TO_THE_MINUTE)}"
        about = escaped(f"{device.name}, signed in by {device.how}, {seen}")
        st.html(f'{escaped(device.person)} <span class="pm-soft">{about}</span>', width="stretch")
        if not is_this and st.button("Sign out", key=f"people-out-{device.uid}"):
            with told():
                studio.access.devices.sign_out(device.uid)
                _done(f"{device.name} of {device.person} is signed out.")


def _make_code(studio: Studio, uid: str, name: str) -> None:
    with told():
        st.session_state[CODE] = (studio.access.codes.make(uid), name)
        st.rerun()


def _done(said: str) -> None:
    forget()
    st.session_state[SAID] = said
    st.rerun()


show()
