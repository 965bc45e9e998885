"""A brochure's line that is only printed, and what to do about one of which it isn't known what is rated."""

from __future__ import annotations

import re
from collections.abc import Sequence

from reviewkit.ingest.conditions import BARE_END, Token
from reviewkit.ingest.session.rating_entries import NotUnderstood
from reviewkit.ingest.session.rating_phrases import NAMES
from reviewkit.model.errors import nearest, shortened
from reviewkit.model.session import PrintedFigure

NOT_MEASURED = "not measured"
_LONGEST_NAME, _LONGEST_TEXT = 50, 100  # of what is only printed
_MUCH_ALIKE = 0.8
_LABEL = re.compile(r"([^:]{1,80}):\s*(.*)", re.DOTALL)


def printed(text: str, name: str) -> PrintedFigure:
    """Split a line into name and figures: at its colon, else after its name, else before the first figure.

    Raises
    ------
    NotUnderstood
        If it has no name or no figure, or is too long for a card.
    """
    if (match := _LABEL.fullmatch(text)) and match[2]:
        named, rest = match[1].strip(), match[2].strip()
    else:
        end = len(name) or next((at for at, sign in enumerate(text) if sign.isdigit()), len(text))
        named, rest = text[:end].strip(" :="), text[end:].strip(" :=")
        if not any(sign.isdigit() for sign in rest):
            raise NotUnderstood(_heading(text))
    if len(named) > _LONGEST_NAME or len(rest) > _LONGEST_TEXT:
        most = f"{_LONGEST_NAME} characters before the colon and {_LONGEST_TEXT} after it"
        raise NotUnderstood(f"is too long for a card; shorten it to at most {most}")
    if not named:
        raise NotUnderstood(f'has no name before its figures; write for example "{NOT_MEASURED}: Slew rate: 40 V/µs"')
    return PrintedFigure(named, rest)


def _heading(text: str) -> str:
    """Return what to do about a line without a figure, which may change what the lines below it mean."""
    lead = f'begin the lines below it with its word, such as "FM S/N: 70 dB", or with "{NOT_MEASURED}:"'
    return f"has no figure; if it is a heading, leave it out, and {lead}"


def unknown(line: str) -> str:
    """Return what to do about a line of which it isn't known what is rated."""
    if not any(sign.isdigit() for sign in line):
        return _heading(line)
    said = shortened(line, 60)
    head = re.split(r"[:=\d(]", line, maxsplit=1)[0].strip().casefold()
    guess = nearest(head, NAMES, least=_MUCH_ALIKE)
    known = guess if guess.startswith("did you mean") else 'begin with a name such as "power", "THD" or "S/N".'
    return f'this rating is not known; {known} Only to print it, write "{NOT_MEASURED}: {said}"'


def not_known(token: Token, tokens: Sequence[Token]) -> str:
    """Return what to do about a part of a line that isn't understood. `tokens`: all of the line."""
    text = shortened(token.text, 40)
    if token.key == BARE_END:
        return f'the lower end of "{text}" has no unit; write it, such as {token.value} Hz'
    if token.key == "number" and any(each.key == "Ω" for each in tokens):
        return f'"{text}" may be another load; give each load its own line'
    if token.key == "dB":
        return f'"{text}" is relative to nothing; write for example "{text} re 250 nWb/m", "0 dBFS" or "0 VU"'
    return f'"{text}" is not understood; leave it out, or put it on its own line'
