"""Where the command line prints what a command has to say; nothing else of ``matcher`` prints."""

from __future__ import annotations

import json
import os
import sys

from matcher.typed_in.values import TypingError
from matcher.typed_in.words import Answer


def say(answer: Answer, as_json: bool) -> None:
    """Print an answer on standard output. Raises TypingError."""
    try:
        print(json.dumps(answer.document, ensure_ascii=False) if as_json else "\n".join(answer.lines), flush=True)
    except BrokenPipeError:  # the reader, "head" perhaps, has seen enough; nor is what is left to be tried again
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except OSError as error:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        raise TypingError(f"The answer cannot be written ({error.strerror}): send it to another place.") from error
