"""Comments that no controller can take for anything else."""

from __future__ import annotations

import re
import unicodedata

from vcarve.program.grammar import ACTIVE_COMMENTS

LONGEST = 76  # with brackets; the tightest controller takes lines of 79 characters
# Some controllers act on these even inside comments, or end the comment at them.
FORBIDDEN = frozenset("();?!~%")
# No line of a comment begins with one of these words, whatever follows it.
ACTIVE = tuple(word.rstrip(",") for word in ACTIVE_COMMENTS)
# Signs of our own sentences and of people's titles that have a plain spelling.
SPELLING = str.maketrans(
    {
        ";": ",", "%": " percent", "×": "x", "°": " deg", "′": "'", "″": '"', "–": "-", "—": "-", "−": "-",
        "“": '"', "”": '"', "‘": "'", "’": "'", "µ": "u", "½": "1/2", "¼": "1/4", "¾": "3/4",
        "ß": "ss", "ø": "o", "Ø": "O", "æ": "ae", "œ": "oe", "ł": "l",
    }
)  # fmt: skip

_BRACKETED = re.compile(r"\s+\(([^()]*\w[^()]*)\)(?=(\s+\w)?)")


def plain_text(text: str) -> str:
    """Return text as printable ASCII without ``( ) ; ? ! ~ %`` or line breaks.

    What was in brackets stands between commas; accents are dropped, and what has no plain spelling becomes a blank.
    """
    text = _BRACKETED.sub(lambda found: f", {found[1]}" + ("," if found[2] else ""), text)
    spelled = unicodedata.normalize("NFKD", text.translate(SPELLING))
    kept = []
    for sign in spelled:
        if unicodedata.combining(sign):
            continue
        kept.append(sign if " " <= sign <= "~" and sign not in FORBIDDEN else " ")
    return " ".join("".join(kept).split())


def comment(label: str, text: str = "") -> list[str]:
    """Return comment lines ``(label: text)``, wrapped at blanks so that each fits every controller's line."""
    words = plain_text(text).split()
    head = f"{plain_text(label)}:" if words else plain_text(label)
    lines: list[str] = []
    current = _inert(head)
    for word in words:
        while len(word) > LONGEST - 6:
            word, rest = word[: LONGEST - 6], word[LONGEST - 6 :]
            lines.append(current)
            current, word = _inert(f"  {word}"), rest
        if len(current) + 1 + len(word) > LONGEST - 2:
            lines.append(current)
            current = _inert(f"  {word}")
        else:
            current = f"{current} {word}".rstrip()
    lines.append(current)
    return [f"({line})" for line in lines if line.strip()]


def _inert(line: str) -> str:
    """Return a comment's line with a dash before it where a controller would act on its first word."""
    return f"- {line.lstrip()}" if line.lstrip().upper().startswith(ACTIVE) else line
