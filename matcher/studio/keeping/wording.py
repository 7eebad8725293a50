"""What is said of a studio that was checked or backed up, sentence by sentence."""

from __future__ import annotations

from matcher.dates import TO_THE_MINUTE, shown
from matcher.storage.damaged import in_words
from matcher.studio.keeping.backups import Backups
from matcher.studio.keeping.check import Checked
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


def backups_in_words(backups: Backups) -> list[str]:
    """Say when the last backup was, whether one failed since, and how they are kept."""
    said = [f"{failed} {_WHAT_THEN}"] if (failed := failure_in_words(backups)) else []
    if backups.last is None:
        said.append("No backup was made yet.")
    else:
        last = backups.last
        said.append(
            f"The last backup was made on {shown(last.at, TO_THE_MINUTE)}, and read back: {last.path} "
            f"on {last.machine} ({last.size_bytes / 1e6:,.1f} MB)."
        )
    if backups.by_themselves:
        days = counted(backups.keep_days, "day")
        said.append(
            f"One is made every day, and kept for {days}, the newest always; on this machine in {backups.folder}."
        )
    else:
        said.append(f"None is made without being asked for; on this machine they lie in {backups.folder}.")
    return said


_WHAT_THEN = "Set that right, or name another folder, then back up."


def failure_in_words(backups: Backups) -> str:
    """Say that a backup failed since the last one; "" when none did."""
    if backups.failure is None:
        return ""
    failed = backups.failure
    return f"The backup of {shown(failed.at, TO_THE_MINUTE)} on {failed.machine} failed. {failed.why}"
