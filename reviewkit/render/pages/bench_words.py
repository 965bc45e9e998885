"""Word what the bench has to say on price, hunt, repair and verdict, by the templates in words/."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from reviewkit.model import digits
from reviewkit.model.episode import Sentence
from reviewkit.model.prices import PriceLine
from reviewkit.model.repair import RepairRow
from reviewkit.model.verdict import Verdict
from reviewkit.render.pages.page import Pages
from reviewkit.verdict.repair_points import OK, TRACED, is_after_repair, point_name, point_verdict, was_worked_on
from reviewkit.verdict.verdict import CLOSE, INCOMPARABLE, JUDGED, MEETS, NO_VERDICT, SHORT, UNMEASURED

_SIDE = re.compile(r"\b(left|right|L|R)\b")
_SIDES = {"L": "left", "R": "right"}
_CLEARLY = 1.0  # a rating met by as much on the needle's scale is worth a sentence of its own (a judgement)
_OFF_NOMINAL = 0.1  # from here a value is not what its nominal one makes one expect (a judgement)


def word_sentences(lines: Iterable[str], card: str = "") -> list[Sentence]:
    """Return lines as sentences about a card; a line that begins with "or:" words the one above it in another way."""
    said: list[Sentence] = []
    for line in (" ".join(line.split()) for line in lines):
        if line.startswith("or:") and said:
            said[-1] = Sentence(said[-1].text, card, (*said[-1].others, line.removeprefix("or:").strip()))
        elif line:
            said.append(Sentence(line, card))
    return said


def framing_sentences(
    pages: Pages,
    repair: Sequence[RepairRow],
    verdicts: Sequence[Verdict],
    price: PriceLine | None,
    printed: int = 0,
    unchecked: Sequence[str] = (),
) -> dict[str, list[Sentence]]:
    """Return the sentences on price, fault, repair, verdict and end, by segment.

    `printed`: how many ratings are only printed; `unchecked`: the safety readings that are lacking.
    """
    said: dict[str, list[Sentence]] = {}
    if price is not None:
        for part, card in (("history", ""), ("value", "price")):
            text = pages.text("words/price.j2", part=part, price=price, line=price.line, fair=price.fair_shown)
            said[part] = word_sentences(text.splitlines(), card)
    if repair:
        for part, card in (("fault", "hunt"), ("repair", "fix")):
            text = pages.text("words/repair.j2", part=part, **_repair_facts(repair, part))
            said[part] = word_sentences(text.splitlines(), card)
    if unchecked:
        text = pages.text("words/repair.j2", part="closing", unchecked=unchecked)
        said["closing"] = word_sentences(text.splitlines(), "ending")
    if verdicts:
        text = pages.text("words/verdict.j2", verdicts=verdicts, **_verdict_facts(verdicts, len(verdicts) + printed))
        said["verdict"] = word_sentences(text.splitlines(), "score")
    return said


# ------------------------------------------------------------------ the repair


def _repair_facts(repair: Sequence[RepairRow], part: str) -> dict[str, Any]:
    """Return what a repair's sentences are made from: rows that belong together in one group, and the trail."""
    judged = [row for row in repair if point_verdict(row)]
    faulty = [row for row in judged if point_verdict(row) != OK]
    done = [row for row in repair if was_worked_on(row)]
    traced = [row for row in done if TRACED.match(row.action)]
    if part == "fault":
        groups = _grouped(
            (row for row in faulty if not is_after_repair(row)), lambda row: (row.expected_text, row.found_text)
        )
    else:
        groups = _grouped((row for row in done if row not in traced), lambda row: row.action)
    return {
        "groups": groups,
        "trail": [{"said": camera_name(row), "to": TRACED.sub(r"\1", row.action)} for row in traced],
        "in_order": sum(row not in faulty and not was_worked_on(row) and not is_after_repair(row) for row in judged),
        "faulty": len(faulty),
        "still": [camera_name(row) for row in faulty if is_after_repair(row)],
    }


def _grouped(rows: Iterable[RepairRow], key: Any) -> list[dict[str, Any]]:
    """Return rows that differ only in what they are of, or in their channel, as one."""
    groups: dict[Any, list[RepairRow]] = {}
    for row in rows:
        groups.setdefault(key(row), []).append(row)
    return [
        {
            "said": _join_names([camera_name(row) for row in group]),
            "action": group[0].action,
            "expected": group[0].expected_text,
            "found": group[0].found_text,
            "bare": _without_unit(group[0].found_text, group[0].expected_text),
        }
        for group in groups.values()
    ]


def camera_name(row: RepairRow) -> str:
    """Return what a point is called on camera: what `say` says, else its name without details: "the right bias"."""
    if row.say:
        return row.say
    name = point_name(row).split(",")[0]
    side = _SIDE.search(name)
    if not side:
        return name
    rest = " ".join(_SIDE.sub(" ", name).split())
    # what isn't an abbreviation or a part's name isn't written large within a sentence
    rest = rest[:1].lower() + rest[1:] if rest[1:2].islower() else rest
    return f"the {_SIDES.get(side[1], side[1])} {rest}"


def _join_names(names: Sequence[str]) -> str:
    """Return names as one: "both bias trimmers" once, "the trimmer, left and right" of two sides."""
    names = list(dict.fromkeys(names))
    plain = {" ".join(_SIDE.sub(" ", name).split()) for name in names}
    sides = [side[1] for name in names if (side := _SIDE.search(name))]
    if len(names) > 1 and len(plain) == 1 and len(sides) == len(names):
        return f"{plain.pop()}, {' and '.join(sides)}"
    return " and ".join(filter(None, (", ".join(names[:-1]), names[-1])))


def _without_unit(text: str, other: str) -> str:
    """Return a reading without its unit, if the one that is said before it has the same."""
    number, _, unit = text.partition(" ")
    same = unit == other.partition(" ")[2] and not number.startswith(("-", digits.MINUS))
    return number if same else text


# ------------------------------------------------------------------ the verdicts


def _verdict_facts(verdicts: Sequence[Verdict], ratings: int) -> dict[str, Any]:
    """Return the verdicts in the order in which they are given, and how many of each there are."""
    by_word = {word: [v for v in verdicts if v.verdict == word] for word in (MEETS, SHORT, CLOSE, INCOMPARABLE)}
    notable = [v for v in by_word[MEETS] if _is_notable(v)]
    return {
        "ratings": ratings,
        "judged": sum(v.verdict in JUDGED for v in verdicts),
        "met": len(by_word[MEETS]),
        "missed": by_word[SHORT],
        "undecided": by_word[CLOSE],
        "apart": by_word[INCOMPARABLE],
        "nominal": [v for v in verdicts if v.verdict == NO_VERDICT and _is_off_nominal(v)],
        "notable": notable,
        "rest": list(dict.fromkeys(_short_names(v for v in by_word[MEETS] if v not in notable))),
        "unmeasured": [v.label for v in verdicts if v.verdict == UNMEASURED],
    }


def _is_notable(v: Verdict) -> bool:
    """Return whether a rating that is met is worth its own sentence: a power, one with a remark, or met by far."""
    return v.rating.quantity == "power" or bool(v.remark) or (v.position or 0.0) >= _CLEARLY


def _is_off_nominal(v: Verdict) -> bool:
    if not v.findings or not v.rating.nominal:
        return False
    value = v.findings[0].value
    off = (value - v.rating.nominal) / 10 if v.rating.unit == "dB" else value / v.rating.nominal - 1
    return abs(off) >= _OFF_NOMINAL


def _short_names(verdicts: Iterable[Verdict]) -> Iterator[str]:
    for v in verdicts:
        yield v.label.split(",")[0].split(" at ")[0]
