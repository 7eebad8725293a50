"""What a person or a file wrote, shown as they wrote it: Streamlit reads its labels as Markdown, plotly as HTML.

Inside ``st.html`` it is ``escaped`` that does this.
"""

from __future__ import annotations

import html
import re

_SIGNS = re.compile(r"""([!"#$&()*+.:<=>\[\\\]^_`{|}~-])""")
_MADE_OF_PLAIN_TEXT = re.compile(
    r"(?<=:)(?=\S)"  # :red[…], :material/…:, :smile:, https://…
    r"|(?<=@)(?=\S)"  # an e-mail address
    r"|(?<=www)(?=\.)"
    r"|(?<=[<-])(?=[->=])|(?<=[>~])(?==)",  # arrows and signs of comparison, which it would draw
    re.IGNORECASE,
)
_JOINER = "\u2060"
"""A word joiner: has no width and breaks no line."""
_SPACES = re.compile(r"[^\S\u00a0]+")  # a space that breaks no line stays


def literal(text: object) -> str:
    """Return text as a Streamlit label shows it sign for sign: no link, picture, formula, colour or icon is made of it.

    A backslash holds for what the Markdown reader looks for; what is looked for afterwards, in plain text, is parted by
    a sign that is not seen.
    """
    line = _SPACES.sub(" ", str(text)).strip()
    return _SIGNS.sub(r"\\\1", _MADE_OF_PLAIN_TEXT.sub(_JOINER, line))


def literal_in_plot(text: object) -> str:
    """Return text as plotly shows it sign for sign: it knows tags such as <a> and <b>."""
    return html.escape(" ".join(str(text).split()), quote=False)
