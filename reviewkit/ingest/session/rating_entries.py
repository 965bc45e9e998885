"""The tokens of a brochure's line → its values, each with the conditions that belong to it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from reviewkit.ingest.conditions import SEPARATORS, Token
from reviewkit.model.errors import shortened

LIMITS = ("at_least", "at_most", "within", "nominal")
_SIDES = ("input", "Ω", "Hz", "band")  # a value without them is not one with fewer conditions, but one half read


class NotUnderstood(ValueError):
    """A line that isn't read; the message says how far it was, and what to write instead."""


def join_inputs(tokens: Sequence[Token]) -> list[Token]:
    """Join the inputs of one value: "phono (MM)", "phono 1, 2", "tuner/aux/tape". Their value is a tuple of names."""
    joined: list[Token] = []
    since: list[Token] = []  # what is between the last input and here, and may be part of its group
    for token in tokens:
        last = joined[-1] if joined else None
        within = last is not None and last.key == "input"
        numbered = token.key == "number" and token.value in range(1, 10) and within
        if token.key in "(),/" and within:
            since.append(token)
            continue
        if token.key == "input" or numbered:
            marks = "".join(each.key for each in since)
            if last is not None and within and marks in ("", "(", ",", "/", "),"):
                joined[-1], since = _with_input(last, token, marks), []
                continue
        if token.key == "input":
            token = replace(token, value=(token.value,))
        joined += [*since, token]
        since = []
    return joined + since


def _with_input(last: Token, token: Token, marks: str) -> Token:
    more = str(token.value) if token.key == "input" else token.text
    if marks in ("", "(") and (more in ("MM", "MC") or token.key == "number"):
        names = (*last.value[:-1], f"{last.value[-1]} {more}")
    elif token.key == "number":
        names = (*last.value, f"{last.value[-1].split()[0]} {more}")
    else:
        names = (*last.value, more)
    return Token("input", names, "/".join(names))


def entries_of(tokens: Sequence[Token], values: Sequence[int]) -> list[tuple[Token, str, list[Token]]]:
    """Return each value, the word of a limit at it ("most", "least", ""), and the conditions that belong to it.

    Those before the first value apply to all, those after a value apply to that one.

    Raises
    ------
    NotUnderstood
        If a condition may be of one value or of all.
    """
    sides = [_side(tokens, at) for at in values]
    plain = [[token for token in part if token.key not in ("most", "least")] for part in _between(tokens, values)]
    if len(values) == 1:
        return [(tokens[values[0]], sides[0], [*plain[0], *plain[1]])]
    by_input = any(t.key == "input" for t in plain[0]) and any(t.key == "input" for part in plain[1:] for t in part)
    cuts = [_cut(part, by_input) for part in plain[:-1]]
    shared = plain[0][: cuts[0]]
    heads = [part[cut:] for part, cut in zip(plain[:-1], cuts, strict=True)]
    tails = [*(part[:cut] for part, cut in zip(plain[1:-1], cuts[1:], strict=True)), plain[-1]]
    if not by_input:
        only_first = [t for t in heads[0] if not any(t.key == o.key for part in (*heads[1:], *tails) for o in part)]
        shared, heads[0] = [*shared, *only_first], [token for token in heads[0] if token not in only_first]
    own = [[*head, *tail] for head, tail in zip(heads, tails, strict=True)]
    for key in dict.fromkeys(token.key for part in own for token in part if token.key not in SEPARATORS):
        _check_spread(key, shared, heads, tails, tokens[values[0]], own)
    return [(tokens[at], side, [*shared, *part]) for at, side, part in zip(values, sides, own, strict=True)]


def _between(tokens: Sequence[Token], values: Sequence[int]) -> list[list[Token]]:
    """Return what is before, between and after the values."""
    starts, ends = [0, *(at + 1 for at in values)], [*values, len(tokens)]
    return [list(tokens[start:end]) for start, end in zip(starts, ends, strict=True)]


def _side(tokens: Sequence[Token], at: int) -> str:
    """Return the word of a limit that is next to a value, before it or after it."""
    around = [tokens[near].key for near in (at - 1, at + 1) if 0 <= near < len(tokens)]
    return next((key for key in around if key in ("most", "least")), "")


def _cut(part: Sequence[Token], by_input: bool) -> int:
    """Return where what belongs to the next value begins: at its input, else after the last mark of punctuation."""
    at_input = next((index for index, token in enumerate(part) if token.key == "input"), None)
    if by_input and at_input is not None:
        return at_input
    return max((index + 1 for index, token in enumerate(part) if token.key in ",;):"), default=len(part))


def _check_spread(
    key: str,
    shared: Sequence[Token],
    heads: Sequence[Sequence[Token]],
    tails: Sequence[Sequence[Token]],
    first: Token,
    own: Sequence[Sequence[Token]],
) -> None:
    """Refuse a condition that may belong to one value or to all of them."""
    having = [any(token.key == key for token in part) for part in own]
    text = next(token.text for part in reversed(own) for token in part if token.key == key)
    enclosed = all(any(token.key == "(" for token in tail) for tail in tails)
    only_last = having == [False] * (len(own) - 1) + [True] and not any(token.key == key for token in heads[-1])
    lacking = key in _SIDES and not all(having) and not any(token.key == key for token in shared)
    if (only_last and not enclosed) or (lacking and not only_last):
        remedy = f"write it before the first figure, {first.text}, if it is for all, or else with each"
        raise NotUnderstood(f'"{shortened(text, 40)}" may be for one figure or for all; {remedy}')


def refuse_two_limits(tables: Sequence[Mapping[str, Any]]) -> None:
    """Refuse two limits under the same conditions: what they differ in was not read. A unit may have two speeds.

    Raises
    ------
    NotUnderstood
        If there are two. The message names both.
    """
    seen: dict[str, Mapping[str, Any]] = {}
    for table in tables:
        same = str(sorted((key, str(value)) for key, value in table.items() if key not in LIMITS))
        other = seen.setdefault(same, table)
        if other is not table and "nominal" not in table:
            one, two = (next(str(t[key]) for key in LIMITS if key in t) for t in (other, table))
            raise NotUnderstood(f"{one} and {two} have the same conditions; write what differs, or keep one of them")
