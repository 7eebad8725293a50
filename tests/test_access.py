"""Who may come in: passphrases, devices, codes and how often it may be tried.

Sources beside the checks: NIST SP 800-63B-4 (2025), RFC 9106 (Argon2), the OWASP cheat sheets on password storage,
sessions and authentication.
"""

from __future__ import annotations

import os
import re
from datetime import UTC, datetime, timedelta
from pathlib import Path

import argon2
import pytest
import sqlalchemy as sa

from matcher import Studio
from matcher.access import devices as of_devices
from matcher.access.attempts import MOST_BY_ADDRESS, MOST_BY_NAME, MOST_OVER_ALL, WITHIN, TooOften
from matcher.access.codes import LENGTH, SIGNS, TO_PAIR
from matcher.access.devices import IDLE, LONGEST, How
from matcher.access.passphrase import SHORTEST, hashed, is_dated, matches
from matcher.access.people import People, key_of
from matcher.access.sign_in import WRONG, Access
from matcher.access.wording import change_in_words
from matcher.errors import StudioError
from matcher.hands import Hand, Role, at_work
from matcher.storage.schema import DeviceRow, PersonRow, SignInAttemptRow, SignInCodeRow

GOOD = "warm torch, cold water"
OTHER = "three thin coats of wax"
HERE, ELSEWHERE = "192.0.2.7", "192.0.2.8"  # RFC 5737: addresses for documentation


@pytest.fixture
def studio(tmp_path: Path) -> Studio:
    return Studio.open(tmp_path / "studio")


@pytest.fixture
def access(studio: Studio) -> Access:
    studio.access.people.add("Ines Invented", Role.OWNER, GOOD)
    studio.access.people.add("Marek", Role.HELPER)
    return studio.access


def hand(access: Access, name: str) -> Hand:
    return access.people.named(name).hand


# Passphrases


@pytest.mark.parametrize("short", ["", "short", "a" * (SHORTEST - 1)])
def test_a_short_passphrase_is_refused(short: str) -> None:
    with pytest.raises(StudioError, match="longer passphrase"):
        hashed(short)


@pytest.mark.parametrize("bad", ["aaaaaaaaaaaaaaa", "Password12345", "Ines Invented1", "abababababab"])
def test_what_anybody_would_try_is_refused(bad: str) -> None:
    """NIST SP 800-63B-4, 3.1.1.2: compare with what is commonly used, the user's name among it."""
    with pytest.raises(StudioError, match="Choose another passphrase"):
        hashed(bad, "Ines Invented")


@pytest.mark.parametrize("fine", [GOOD, "a" * 10 + "bcdef", "grün und braun über rot", "x" * 20 + " yz12 " + "w" * 200])
def test_length_alone_counts_and_every_sign_may_be_used(fine: str) -> None:
    """NIST SP 800-63B-4, 3.1.1.2: 64 signs at least are accepted, blanks and Unicode too, nothing is cut off."""
    kept = hashed(fine)
    assert matches(kept, fine) and not matches(kept, fine[:-1])


def test_unicode_is_normalised_before_it_is_compared() -> None:
    """NIST SP 800-63B-4, 3.1.1.2: NFKC or NFKD."""
    assert matches(hashed("gru\u0308n und braun"), "gr\u00fcn und braun")


def test_it_is_kept_as_argon2id_no_weaker_than_advised() -> None:
    """OWASP Password Storage Cheat Sheet: Argon2id, 19 MiB and two passes at least; RFC 9106, 4: the second set."""
    kept = hashed(GOOD)
    found = argon2.extract_parameters(kept)
    assert found.type is argon2.Type.ID
    assert found.memory_cost >= 19 * 1024 and found.time_cost >= 2 and found.salt_len >= 16
    assert kept != hashed(GOOD), "each has a salt of its own"
    assert GOOD not in kept


def test_nobody_has_an_empty_passphrase() -> None:
    assert not matches("", "") and not matches("", "what nobody has") and not matches("no hash", GOOD)


def test_one_that_was_kept_with_less_is_kept_anew_when_it_is_used(studio: Studio, access: Access) -> None:
    weak = argon2.PasswordHasher(time_cost=1, memory_cost=8192).hash(GOOD)
    with studio.database.writing() as session:
        session.execute(sa.update(PersonRow).where(PersonRow.name == "Ines Invented").values(passphrase=weak))
    assert is_dated(weak)
    access.sign_in("Ines Invented", GOOD, "A browser", HERE)
    with studio.database.reading() as session:
        kept = session.scalars(sa.select(PersonRow.passphrase).where(PersonRow.name == "Ines Invented")).one()
    assert not is_dated(kept) and matches(kept, GOOD)


# Signing in


def test_signing_in_gives_a_secret_that_stands_for_the_person(access: Access) -> None:
    secret = access.sign_in("  INES   invented ", GOOD, "A browser", HERE)
    found = access.devices.signed_in(secret)
    assert found is not None and found.hand.name == "Ines Invented" and found.hand.role is Role.OWNER
    assert len(secret) >= 43, "256 bits in base 64 (OWASP: 64 bits of entropy at least)"
    assert access.sign_in("Ines Invented", GOOD, "A browser", HERE) != secret, "a new one at each sign-in"


@pytest.mark.parametrize("secret", [None, "", "x", "x" * 43, "\ud800"])
def test_another_secret_is_nobodys(access: Access, secret: str | None) -> None:
    assert access.devices.signed_in(secret) is None


def test_the_database_holds_nothing_that_signs_in(studio: Studio, access: Access) -> None:
    secret = access.sign_in("Ines Invented", GOOD, "A browser", HERE)
    code = access.codes.make(hand(access, "Marek").uid)
    held = "".join(
        str(value)
        for table in (PersonRow, DeviceRow, SignInCodeRow, SignInAttemptRow)
        for row in _rows(studio, table)
        for value in row
    )
    for given in (secret, GOOD, code.text, code.text.replace("-", "")):
        assert given not in held


def test_a_wrong_name_and_a_wrong_passphrase_are_told_alike(access: Access) -> None:
    """OWASP Authentication Cheat Sheet, "Authentication and Error Messages"."""
    said = set()
    for name, passphrase in (("Ines Invented", OTHER), ("Nobody", GOOD), ("Marek", ""), ("", "")):
        with pytest.raises(StudioError) as told:
            access.sign_in(name, passphrase, "A browser", HERE)
        said.add(str(told.value))
    assert said == {WRONG}


def test_half_a_sign_is_nobodys_name(access: Access) -> None:
    assert access.people.find("\udcff") is None
    with pytest.raises(StudioError, match="not right"):
        access.sign_in("\udcff", "\udcff" * 20, "A browser", HERE)
    with pytest.raises(StudioError):
        access.people.named("\udcff")


def test_too_many_attempts_must_wait_and_lock_out_nobody_elsewhere(access: Access) -> None:
    for _ in range(MOST_BY_NAME):
        with pytest.raises(StudioError, match="not right"):
            access.sign_in("Ines Invented", OTHER, "A browser", HERE)
    with pytest.raises(TooOften, match=r"Wait 1[45] minutes"):
        access.sign_in("Ines Invented", GOOD, "A browser", HERE)
    assert access.sign_in("Ines Invented", GOOD, "Hers", ELSEWHERE)


def test_one_address_cannot_try_many_names(studio: Studio, access: Access) -> None:
    _attempts(studio, [(f"name {k}", HERE) for k in range(MOST_BY_ADDRESS)])
    with pytest.raises(TooOften):
        access.sign_in("Ines Invented", GOOD, "A browser", HERE)
    _attempts(studio, [(f"name {k}", HERE) for k in range(MOST_BY_ADDRESS)], ago=WITHIN + timedelta(seconds=1))
    with studio.database.writing() as session:
        session.execute(sa.delete(SignInAttemptRow).where(SignInAttemptRow.at > datetime.now(UTC) - WITHIN))
    assert access.sign_in("Ines Invented", GOOD, "A browser", HERE)


def test_strangers_shut_nobody_out_of_a_device_that_is_known_here(studio: Studio, access: Access) -> None:
    """OWASP, "Slow Down Online Guessing Attacks with Device Cookies": hers is counted by itself, and only for her."""
    hers = access.sign_in("Ines Invented", GOOD, "Hers", HERE)
    ines = hand(access, "Ines Invented").uid
    _attempts(studio, [(f"name {k}", f"192.0.2.{k}") for k in range(MOST_OVER_ALL)])
    _attempts(studio, [("ines invented", HERE)] * MOST_BY_ADDRESS)
    for shown in (None, "a secret of nobody"):
        with pytest.raises(TooOften):
            access.sign_in("Ines Invented", GOOD, "A browser", HERE, shown)
    with pytest.raises(TooOften):
        access.sign_in("Somebody Else", GOOD, "Hers", HERE, hers)
    with studio.database.writing() as session:  # nobody used it for a month
        session.execute(sa.update(DeviceRow).values(seen_at=datetime.now(UTC) - timedelta(days=31)))
    assert access.devices.signed_in(hers) is None and access.sign_in("Ines Invented", GOOD, "Hers", HERE, hers)
    assert access.meant_by(access.codes.make(ines).text, HERE, hers)
    for _ in range(MOST_BY_NAME):
        with pytest.raises(StudioError, match="not right"):
            access.sign_in("Ines Invented", OTHER, "Hers", HERE, hers)
    with pytest.raises(TooOften):
        access.sign_in("Ines Invented", GOOD, "Hers", HERE, hers)
    access.devices.sign_out_everywhere(ines)
    assert access.devices.known(hers, "Ines Invented") is None, "a device that was given away is a stranger's"


def test_one_machine_is_counted_once_whichever_of_its_ipv6_addresses_it_takes(access: Access) -> None:
    """RFC 4291, 2.5.1: the last 64 bits are the machine's own to choose (RFC 3849: addresses for documentation)."""
    for k in range(MOST_BY_NAME):
        with pytest.raises(StudioError, match="not right"):
            access.sign_in("Ines Invented", OTHER, "A browser", f"2001:db8:0:1::{k + 1:x}")
    with pytest.raises(TooOften):
        access.sign_in("Ines Invented", GOOD, "A browser", "2001:db8:0:1:ffff::9%eth0")
    assert access.sign_in("Ines Invented", GOOD, "A browser", "2001:db8:0:2::1")
    _attempts(access.people, [("ines invented", HERE)] * MOST_BY_NAME)
    with pytest.raises(TooOften):
        access.sign_in("Ines Invented", GOOD, "A browser", f"::ffff:{HERE}")


def test_who_has_a_good_code_guesses_no_oftener_at_others(access: Access) -> None:
    good = access.codes.make(hand(access, "Ines Invented").uid)
    for _ in range(MOST_BY_ADDRESS - 1):
        with pytest.raises(StudioError, match="not good"):
            access.meant_by("2222-2222", HERE)
        assert access.meant_by(good.text, HERE)
    with pytest.raises(StudioError, match="not good"):
        access.meant_by("2222-2222", HERE)
    with pytest.raises(TooOften):
        access.meant_by("2222-2222", HERE)


def test_a_name_with_a_nul_in_it_is_nobodys(access: Access) -> None:
    """PostgreSQL keeps no NUL in a text, and would refuse the attempt in words of its own."""
    with pytest.raises(StudioError, match="not right"):
        access.sign_in("Ines\0", OTHER, "A browser", HERE)
    assert "\0" not in key_of("Ines\0Invented")


def test_signing_out_everywhere_takes_the_codes_that_wait(access: Access) -> None:
    ines = hand(access, "Ines Invented")
    code = access.codes.make(ines.uid)
    access.devices.sign_out_everywhere(ines.uid)
    with pytest.raises(StudioError, match="not good"):
        access.sign_in_by_code(code.text, "A phone", HERE)


def test_an_attempt_counts_before_it_is_known_how_it_ends(studio: Studio, access: Access) -> None:
    """Many at once must not slip past the bound between looking and counting."""
    with access.attempts.attempt("passphrase", "Ines Invented", HERE):
        assert len(_rows(studio, SignInAttemptRow)) == 1
    access.sign_in("Ines Invented", GOOD, "A browser", HERE)
    assert _rows(studio, SignInAttemptRow) == [], "who signed in has used up none"


# Devices


@pytest.mark.parametrize("how", How)
def test_a_device_is_signed_out_by_time(how: How, monkeypatch: pytest.MonkeyPatch, access: Access) -> None:
    """OWASP Session Management Cheat Sheet: an end when idle, and an end in any case."""
    secret = access.devices.begin(hand(access, "Ines Invented").uid, how, "A browser")
    start = datetime.now(UTC)

    def at(moment: datetime) -> bool:
        class Then(datetime):
            @classmethod
            def now(cls, tz=None):  # type: ignore[no-untyped-def]
                return moment

        monkeypatch.setattr(of_devices, "datetime", Then)
        return access.devices.signed_in(secret) is not None

    assert at(start + IDLE[how] * 0.9), "used in time, which counts as seen"
    assert at(start + IDLE[how] * 1.8)
    assert not at(start + IDLE[how] * 2.9)
    moment, step = start + IDLE[how] * 1.8, IDLE[how] * 0.9
    while moment + step < start + LONGEST[how]:
        moment += step
        assert at(moment)
    assert not at(start + LONGEST[how] + timedelta(minutes=1))


def test_signing_out_here_and_everywhere(access: Access) -> None:
    ines = hand(access, "Ines Invented")
    secrets = [access.sign_in(ines.name, GOOD, f"Browser {k}", HERE) for k in range(3)]
    first = access.devices.signed_in(secrets[0])
    assert first is not None
    with at_work(ines):
        access.devices.sign_out(first.device.uid)
        assert [access.devices.signed_in(secret) is not None for secret in secrets] == [False, True, True]
        kept = access.devices.signed_in(secrets[1])
        assert kept is not None
        assert access.devices.sign_out_everywhere(ines.uid, keep=kept.device.uid) == 1
    assert [access.devices.signed_in(secret) is not None for secret in secrets] == [False, True, False]
    assert [device.name for device in access.devices.devices()] == ["Browser 1"]


def test_only_an_owner_touches_what_is_anothers(access: Access) -> None:
    ines, marek = hand(access, "Ines Invented"), hand(access, "Marek")
    hers = access.devices.signed_in(access.sign_in(ines.name, GOOD, "Hers", HERE))
    assert hers is not None
    tries = (
        lambda: access.devices.sign_out(hers.device.uid),
        lambda: access.devices.sign_out_everywhere(ines.uid),
        lambda: access.codes.make(ines.uid),
        lambda: access.people.set_passphrase(ines.uid, OTHER),
        lambda: access.people.set_role(marek.uid, Role.OWNER),
        lambda: access.people.add("A friend", Role.OWNER),
        lambda: access.people.let_go(ines.uid),
    )
    with at_work(marek):
        for attempt in tries:
            with pytest.raises(StudioError, match="Marek, as a helper"):
                attempt()
        access.people.set_passphrase(marek.uid, OTHER)
        access.codes.make(marek.uid)
    assert access.devices.signed_in(access.sign_in("Marek", OTHER, "His", HERE)) is not None


def test_a_new_passphrase_signs_other_devices_out_and_voids_codes(access: Access) -> None:
    ines = hand(access, "Ines Invented")
    old, mine = (access.sign_in(ines.name, GOOD, name, HERE) for name in ("Old", "Mine"))
    code = access.codes.make(ines.uid)
    here = access.devices.signed_in(mine)
    assert here is not None
    with at_work(ines):
        access.people.set_passphrase(ines.uid, OTHER, keep_device=here.device.uid)
    assert access.devices.signed_in(old) is None and access.devices.signed_in(mine) is not None
    with pytest.raises(StudioError, match="not good"):
        access.sign_in_by_code(code.text, "A phone", HERE)


def test_an_unlocked_phone_is_not_enough_to_change_a_passphrase(access: Access) -> None:
    """OWASP Authentication Cheat Sheet, "Require Re-authentication for Sensitive Features"."""
    ines = hand(access, "Ines Invented")
    phone = access.devices.signed_in(access.sign_in_by_code(access.codes.make(ines.uid).text, "A phone", HERE))
    assert phone is not None
    with at_work(ines):
        for _ in range(MOST_BY_NAME):
            with pytest.raises(StudioError, match="that you have now"):
                access.change_passphrase(ines.uid, OTHER, OTHER, phone.device.uid)
        with pytest.raises(TooOften):
            access.change_passphrase(ines.uid, GOOD, OTHER, phone.device.uid)
    assert access.sign_in("Ines Invented", GOOD, "A browser", HERE)
    with at_work(ines):
        access.change_passphrase(ines.uid, GOOD, OTHER, "another device")
    assert access.sign_in("Ines Invented", OTHER, "A browser", HERE)


def test_who_has_forgotten_a_passphrase_chooses_another_with_an_owners_code(access: Access) -> None:
    ines, marek = hand(access, "Ines Invented"), hand(access, "Marek")
    old = access.sign_in_by_code(access.codes.make(marek.uid).text, "His", HERE, passphrase=GOOD)
    with at_work(marek), pytest.raises(StudioError, match="as a helper"):
        access.people.forget_passphrase(ines.uid)
    with at_work(ines):
        access.people.forget_passphrase(marek.uid)
        code = access.codes.make(marek.uid)
    assert access.devices.signed_in(old) is None
    with pytest.raises(StudioError):
        access.sign_in("Marek", GOOD, "His", HERE)
    assert access.sign_in_by_code(code.text, "His", HERE, passphrase=OTHER)
    assert access.sign_in("Marek", OTHER, "His", HERE)


def test_who_is_let_go_is_out_at_once_and_the_name_is_free(access: Access) -> None:
    marek = access.people.named("Marek")
    secret = access.sign_in_by_code(access.codes.make(marek.uid).text, "His", HERE, passphrase=OTHER)
    code = access.codes.make(marek.uid)
    access.people.let_go(marek.uid)
    assert access.devices.signed_in(secret) is None
    with pytest.raises(StudioError):
        access.sign_in("Marek", OTHER, "His", HERE)
    with pytest.raises(StudioError):
        access.sign_in_by_code(code.text, "His", HERE)
    assert access.people.add("marek", Role.READER).uid != marek.uid
    assert [person.name for person in access.people.people(include_left=True)] == ["Ines Invented", "Marek", "marek"]


def test_an_owner_is_always_left(access: Access) -> None:
    ines, marek = access.people.named("Ines Invented"), access.people.named("Marek")
    for attempt in (
        lambda: access.people.set_role(ines.uid, Role.READER),
        lambda: access.people.let_go(ines.uid),
    ):
        with pytest.raises(StudioError, match="somebody else an owner first"):
            attempt()
    access.people.set_role(marek.uid, Role.OWNER)
    access.people.let_go(ines.uid)
    assert [person.name for person in access.people.people()] == ["Marek"]


def test_what_owners_do_stands_in_the_history(studio: Studio, access: Access) -> None:
    marek = access.people.named("Marek")
    with at_work(hand(access, "Ines Invented")):
        access.people.set_role(marek.uid, Role.PATINEUR)
        access.codes.make(marek.uid)
        access.people.forget_passphrase(marek.uid)
    access.people.set_passphrase(marek.uid, OTHER)
    with at_work(hand(access, "Marek")):
        access.codes.make(marek.uid)
        access.people.set_passphrase(marek.uid, GOOD)
    with at_work(hand(access, "Ines Invented")):
        access.people.let_go(marek.uid)
    lines = [(line.who, line.what, line.detail) for line in studio.history("person", "Marek")]
    assert lines == [
        ("Marek", "added", "helper"),
        ("Ines Invented", "role given", "patineur"),
        ("Ines Invented", "code made", ""),
        ("Ines Invented", "passphrase taken away", ""),
        ("", "passphrase given", ""),
        ("Ines Invented", "let go", "patineur"),
    ], "what he did about himself is nobody's business"
    said = [change_in_words(line).partition(": ")[2] for line in studio.history("person", "Marek")]
    assert said == [
        "Somebody at the machine that serves it added Marek as helper.",
        "Ines Invented gave Marek the role of patineur.",
        "Ines Invented made a code for Marek.",
        "Ines Invented took the passphrase of Marek away.",
        "Somebody at the machine that serves it gave Marek a passphrase.",
        "Ines Invented let Marek go.",
    ]


# Codes


def test_a_code_is_used_once_and_soon(studio: Studio, access: Access) -> None:
    ines = hand(access, "Ines Invented")
    code = access.codes.make(ines.uid)
    assert re.fullmatch(rf"[{SIGNS}]{{4}}-[{SIGNS}]{{4}}", code.text)
    assert len(SIGNS) ** LENGTH > 2**39 and not set("01IO") & set(SIGNS)
    assert timedelta(0) < code.ends_at - datetime.now(UTC) <= TO_PAIR
    assert access.meant_by(code.text.lower().replace("-", " "), HERE).hand == ines
    found = access.devices.signed_in(access.sign_in_by_code(code.text, "A phone", HERE))
    assert found is not None and found.hand == ines and found.device.how is How.CODE
    with pytest.raises(StudioError, match="used once"):
        access.sign_in_by_code(code.text, "Another phone", HERE)
    late = access.codes.make(ines.uid)
    with studio.database.writing() as session:
        session.execute(sa.update(SignInCodeRow).values(ends_at=datetime.now(UTC) - timedelta(seconds=1)))
    with pytest.raises(StudioError, match="short time"):
        access.sign_in_by_code(late.text, "A phone", HERE)


def test_codes_cannot_be_guessed_in_numbers(access: Access) -> None:
    for _ in range(MOST_BY_ADDRESS):
        with pytest.raises(StudioError, match="not good"):
            access.meant_by("2222-2222", HERE)
    good = access.codes.make(hand(access, "Ines Invented").uid)
    with pytest.raises(TooOften):
        access.sign_in_by_code(good.text, "A phone", HERE)
    assert access.sign_in_by_code(good.text, "A phone", ELSEWHERE)


def test_somebody_new_chooses_a_passphrase_with_the_code(access: Access) -> None:
    code = access.codes.make(access.people.named("Marek").uid)
    assert access.meant_by(code.text, HERE).chooses
    with pytest.raises(StudioError, match="longer"):
        access.sign_in_by_code(code.text, "A phone", HERE, passphrase="short")
    assert access.sign_in_by_code(code.text, "A phone", HERE, passphrase=OTHER)
    assert access.sign_in("marek", OTHER, "A browser", HERE)


def test_a_code_changes_no_passphrase_that_was_chosen(access: Access) -> None:
    access.sign_in_by_code(access.codes.make(hand(access, "Ines Invented").uid).text, "P", HERE, passphrase=OTHER)
    assert access.sign_in("Ines Invented", GOOD, "A browser", HERE)
    with pytest.raises(StudioError):
        access.sign_in("Ines Invented", OTHER, "A browser", HERE)


def test_the_first_owner_comes_in_by_the_first_code_and_nobody_after(studio: Studio) -> None:
    access = studio.access
    older, code = access.codes.make_first(), access.codes.make_first()
    with pytest.raises(StudioError, match="not good"):
        access.sign_in_by_code(older.text, "B", HERE, name="Eve", passphrase=GOOD)
    with pytest.raises(StudioError):
        access.sign_in_by_code(code.text, "B", HERE, name=" ", passphrase=GOOD)
    found = access.devices.signed_in(access.sign_in_by_code(code.text, "B", HERE, name="Ines", passphrase=GOOD))
    assert found is not None and found.hand.role is Role.OWNER
    with pytest.raises(StudioError, match="people already"):
        access.codes.make_first()


# OpenID Connect


def test_who_is_expected_comes_in_by_openid_and_is_known_by_subject_from_then_on(access: Access) -> None:
    """OpenID Connect Core 1.0, 5.7: issuer and subject alone name a person for good; an address may change hands."""
    access.people.add("Noor", Role.PATINEUR, email="Noor@Example.org")
    with pytest.raises(StudioError, match="not expected"):
        access.sign_in_by_openid("https://id.example.org", "1", "eve@example.org", "B")
    found = access.devices.signed_in(access.sign_in_by_openid("https://id.example.org", "7", "noor@example.org", "B"))
    assert found is not None and found.hand.name == "Noor"
    assert access.sign_in_by_openid("https://id.example.org", "7", "noor@elsewhere.example", "B")
    for issuer, subject in (("https://id.example.org", "8"), ("https://other.example", "7")):
        with pytest.raises(StudioError, match="not expected"):
            access.sign_in_by_openid(issuer, subject, "noor@example.org", "B")


# Forms


def test_a_half_typed_form_is_its_persons_alone(studio: Studio, access: Access) -> None:
    ines, marek = hand(access, "Ines Invented"), hand(access, "Marek")
    studio.save_draft("plate", {"piece": "before anybody signed in"})
    for one in (ines, marek):
        with at_work(one):
            assert studio.draft("plate") is None and studio.drafts("plate") == []
            studio.save_draft("plate", {"piece": one.name})
            assert not studio.claim_draft("plate", {"piece": "another"})
    with at_work(ines):
        assert studio.draft("plate") == {"piece": "Ines Invented"}
        assert [(kept.form, kept.body["piece"]) for kept in studio.drafts("pla")] == [("plate", "Ines Invented")]
        studio.drop_draft("plate")
    with at_work(marek):
        assert studio.draft("plate") == {"piece": "Marek"}


def test_a_piece_in_one_persons_form_is_not_on_anothers_bench_and_comes_back_when_it_is_thrown_away(
    studio: Studio, access: Access
) -> None:
    """Two people must not record one piece twice; whose form it stands in is told, and not what is typed there."""
    from matcher import Coat, Recipe
    from matcher.bench.work import Piece
    from ui.recipe.piece import is_handed_over, is_mine

    ines, marek = hand(access, "Ines Invented"), hand(access, "Marek")
    recipe = Recipe("bronze", None, (Coat("ferric nitrate", 0.5, 6, 105.0),))
    with at_work(ines):
        studio.save_draft("plate", {"piece": "A"})
        piece = Piece("p", recipe, form="plate", handed_over=True, handed_to=ines.uid)
        assert is_handed_over(studio, piece) and is_mine(piece)
    with at_work(marek):
        assert is_handed_over(studio, piece) and not is_mine(piece)
        studio.drop_draft("plate")
        assert is_handed_over(studio, piece), "his own form of that name is another"
    with at_work(ines):
        studio.drop_draft("plate")
    with at_work(marek):
        assert not is_handed_over(studio, piece)
    assert Piece.from_dict(piece.as_dict()).handed_to == ines.uid


def _rows(studio: Studio, table: type) -> list[sa.Row]:  # type: ignore[type-arg]
    with studio.database.reading() as session:
        return list(session.execute(sa.select(table.__table__)))  # type: ignore[attr-defined]


def _attempts(studio: Studio | People, made: list[tuple[str, str]], ago: timedelta = timedelta(0)) -> None:
    with studio.database.writing() as session:
        for name, address in made:
            moment = datetime.now(UTC) - ago
            session.add(SignInAttemptRow(at=moment, how="passphrase", name=name, address=address))


@pytest.mark.skipif(os.name != "posix", reason="permissions as POSIX has them")
def test_what_is_kept_below_the_persons_own_data_is_for_them_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """XDG Base Directory Specification 0.8: 0700; in it lie what people sign in by, codes that wait, and keys."""
    from matcher.access.certificate import certificate_for
    from matcher.files import make_folder, user_data

    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    certificate_for(user_data() / "https", ["bench"], ["127.0.0.1"])
    assert user_data().stat().st_mode & 0o777 == 0o700
    assert {one.name: one.stat().st_mode & 0o077 for one in (user_data() / "https").glob("*.key")} == {
        "authority.key": 0,
        "served.key": 0,
    }
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "other"))
    Studio.open(user_data() / "studio").close()
    assert user_data().stat().st_mode & 0o777 == 0o700
    make_folder(tmp_path / "shared")
    assert (tmp_path / "shared").stat().st_mode & 0o777 == 0o777 & ~_umask(), "one that is named is as any other"


def _umask() -> int:
    mask = os.umask(0o022)
    os.umask(mask)
    return mask
