"""people, devices: who may come into the studio where it is served, and what is signed in.

Whoever runs these has the studio's files, or its database's password, and is asked nothing else.
"""

from __future__ import annotations

import argparse
import getpass
import sys
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from matcher.dates import TO_THE_MINUTE, shown
from matcher.hands import ABOUT, Role
from matcher.typed_in.options import Commands
from matcher.typed_in.photographs import opened_studio, studio_that_is_there
from matcher.typed_in.values import TypingError
from matcher.typed_in.words import Answer
from matcher.words import counted

if TYPE_CHECKING:
    from matcher.access.codes import Code
    from matcher.access.devices import Device
    from matcher.access.people import Person


def add_commands(commands: Commands) -> None:
    about = "Who may come in where the studio is served: list them, add one, let one go."
    people = Commands(commands.add("people", about, list_people), "PART", required=False)
    people.add("list", "List who belongs to the studio.", list_people)
    add = people.add("add", "Let somebody belong to the studio; they choose a passphrase with the code.", add_person)
    add.add_argument("name", metavar="NAME")
    add.add_argument("--role", choices=[str(role) for role in Role], default=str(Role.PATINEUR), help=_roles())
    add.add_argument("--email", metavar="ADDRESS", default="", help="by which an OpenID provider knows them")
    add.add_argument("--passphrase", action="store_true", help="read a passphrase from standard input instead")
    role = people.add("role", "Give somebody another role.", give_role)
    role.add_argument("name", metavar="NAME")
    role.add_argument("role", choices=[str(role) for role in Role], help=_roles())
    code = people.add("code", "Make a code that signs a device in once as somebody.", make_code)
    code.add_argument("name", metavar="NAME")
    about = "take a forgotten passphrase away: another one is chosen with the code"
    code.add_argument("--new-passphrase", action="store_true", help=about)
    passphrase = people.add("passphrase", "Give somebody a new passphrase, read from standard input.", set_passphrase)
    passphrase.add_argument("name", metavar="NAME")
    go = people.add("let-go", "Let somebody no longer belong here; what they wrote stays.", let_go)
    go.add_argument("name", metavar="NAME")
    about = "Tell who let whom in, made codes for them, changed their roles or let them go, the newest first."
    told = people.add("history", about, tell_history)
    told.add_argument("name", metavar="NAME", nargs="?", help="of this person alone")
    about = "The devices that are signed in: list them, sign them out."
    devices = Commands(commands.add("devices", about, list_devices), "PART", required=False)
    listed = devices.add("list", "List the devices that are signed in.", list_devices)
    listed.add_argument("name", metavar="NAME", nargs="?", help="of this person alone")
    out = devices.add("sign-out", "Sign out every device of somebody.", sign_out)
    out.add_argument("name", metavar="NAME")


def _roles() -> str:
    return "; ".join(f"{role}: {about}" for role, about in ABOUT.items())


def list_people(options: argparse.Namespace) -> Answer:
    with studio_that_is_there(options) as studio:
        found = studio.access.people.people()
        lines = [f"{one.name}, {one.role}{'' if one.has_way_in else ', has not come in yet'}" for one in found]
    return Answer({"people": [_as_document(one) for one in found]}, lines or ["Nobody belongs to this studio yet."])


def add_person(options: argparse.Namespace) -> Answer:
    with opened_studio(options) as studio:
        typed = _typed_passphrase() if options.passphrase else None
        person = studio.access.people.add(options.name, Role(options.role), typed, options.email)
        code = None if person.has_way_in else studio.access.codes.make(person.uid)
    return _with_code(person, code, f"{person.name} belongs to the studio now, as {person.role}.")


def give_role(options: argparse.Namespace) -> Answer:
    with studio_that_is_there(options) as studio:
        person = studio.access.people.set_role(studio.access.people.named(options.name).uid, Role(options.role))
    return Answer({"person": _as_document(person)}, [f"{person.name}, {person.role}: {ABOUT[person.role]}."])


def make_code(options: argparse.Namespace) -> Answer:
    with studio_that_is_there(options) as studio:
        person = studio.access.people.named(options.name)
        if options.new_passphrase:
            person = studio.access.people.forget_passphrase(person.uid)
        code = studio.access.codes.make(person.uid)
    return _with_code(person, code, f"A code for {person.name}.")


def set_passphrase(options: argparse.Namespace) -> Answer:
    with studio_that_is_there(options) as studio:
        person = studio.access.people.named(options.name)
        studio.access.people.set_passphrase(person.uid, _typed_passphrase())
    return Answer(
        {"person": _as_document(person)}, [f"{person.name} has a new passphrase, and every device is signed out."]
    )


def let_go(options: argparse.Namespace) -> Answer:
    with studio_that_is_there(options) as studio:
        person = studio.access.people.let_go(studio.access.people.named(options.name).uid)
    return Answer(
        {"person": _as_document(person)}, [f"{person.name} no longer belongs here; what they wrote stays as it is."]
    )


def tell_history(options: argparse.Namespace) -> Answer:
    from matcher.access.wording import change_in_words

    with studio_that_is_there(options) as studio:
        found = studio.history("person", options.name)[::-1]
    document = {"changes": [{**asdict(one), "at": one.at.isoformat()} for one in found]}
    of_one = f"The history tells nothing of {options.name!r}: people list has the names of those who belong here."
    nothing = "Nothing was changed yet." if options.name is None else of_one
    return Answer(document, [change_in_words(one) for one in found] or [nothing])


def list_devices(options: argparse.Namespace) -> Answer:
    with studio_that_is_there(options) as studio:
        whose = None if getattr(options, "name", None) is None else studio.access.people.named(options.name).uid
        found = studio.access.devices.devices(whose)
    lines = [f"{one.person}: {one.name}, last seen {shown(one.seen_at, TO_THE_MINUTE)}" for one in found]
    return Answer({"devices": [_device_document(one) for one in found]}, lines or ["No device is signed in."])


def sign_out(options: argparse.Namespace) -> Answer:
    with studio_that_is_there(options) as studio:
        person = studio.access.people.named(options.name)
        count = studio.access.devices.sign_out_everywhere(person.uid)
    return Answer({"signed_out": count}, [f"{counted(count, 'device')} of {person.name} signed out."])


def _typed_passphrase() -> str:
    """Read a passphrase: typed unseen on a terminal, else the first line of standard input. Raises TypingError."""
    if sys.stdin.isatty():
        typed, again = getpass.getpass("Passphrase: "), getpass.getpass("The same once more: ")
        if typed != again:
            raise TypingError("Type the same passphrase twice: the two differ.")
        return typed
    return sys.stdin.readline().rstrip("\r\n")


def _with_code(person: Person, code: Code | None, said: str) -> Answer:
    document: dict[str, Any] = {"person": _as_document(person)}
    lines = [said]
    if code is not None:
        document["code"] = {"text": code.text, "ends_at": code.ends_at.isoformat()}
        until = shown(code.ends_at, TO_THE_MINUTE)
        lines.append(f'Code {code.text}, good once until {until}: on the sign-in page, "I have a code".')
    return Answer(document, lines)


def _as_document(person: Person) -> dict[str, Any]:
    return {
        "uid": person.uid,
        "name": person.name,
        "role": str(person.role),
        "has_way_in": person.has_way_in,
        "made_at": person.made_at.isoformat(),
    }


def _device_document(device: Device) -> dict[str, Any]:
    return {
        "uid": device.uid,
        "person": device.person,
        "name": device.name,
        "how": str(device.how),
        "made_at": device.made_at.isoformat(),
        "seen_at": device.seen_at.isoformat(),
    }
