"""What is said of a studio that was checked or backed up, sentence by sentence."""

from __future__ import annotations

from matcher.keeping.check import Checked
from matcher.storage.damaged import in_words
from matcher.words import agreeing, counted

_NAMED = 5


def checked_in_words(checked: Checked) -> list[str]:
    """Say what a check found, what is wrong first."""
    looked = f"{counted(checked.rows, 'row')} of the log and {counted(checked.photos, 'photograph')}"
    if checked.sound:
        return [f"All is as it was kept: {looked} were read."]
    said = [f"Not all is as it was kept; {looked} were looked at. Restore what is named here from a backup."]
    if checked.faults:
        said.append(f"The database's file is damaged: {'; '.join(checked.faults[:_NAMED])}.")
    if checked.unreadable:
        said.append(checked.unreadable)
    if checked.damaged:
        said.append(in_words(checked.damaged))
    if checked.links:
        said.append(f"{counted(checked.links, 'row')} {agreeing(checked.links, 'names', 'name')} what is not there.")
    for what, photos in (("lost", checked.lost), ("damaged", checked.wrong)):
        if photos:
            named = ", ".join(f"{sha256[:12]}…" for sha256 in photos[:_NAMED])
            more = f" and {len(photos) - _NAMED} more" if len(photos) > _NAMED else ""
            verb = agreeing(len(photos), "is", "are")
            said.append(f"{counted(len(photos), 'photograph')} {verb} {what}: {named}{more}.")
    return said
