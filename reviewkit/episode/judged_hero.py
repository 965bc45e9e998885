"""A verdict's figure as a card shows it large, and which of its conditions are in the overline instead of above it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from reviewkit.episode.wording import lower_first
from reviewkit.measure import figures
from reviewkit.model import quantities
from reviewkit.model.card import Hero
from reviewkit.model.ratings import rule_of
from reviewkit.model.verdict import Verdict
from reviewkit.model.weightings import weighted

_TWO_SIDES = re.compile(r"−[\d.]+ to \+[\d.]+")  # how far a curve goes either way


def judged_hero_under(verdict: Verdict, overline: Sequence[str]) -> tuple[Hero, tuple[str, ...]]:
    """Return a verdict's figure under an overline, and what is added to that.

    It takes what a viewer needn't read to understand the verdict: what brackets in the rating's name say, the nominal
    value that a limit comes from, and the band of a figure with two sides.
    """
    hero = judged_hero(verdict)
    bracket = verdict.label.split(", ")[0].partition(" (")[2].rstrip(")")
    nominal = verdict.limit_source.partition(": ")[0] if ": " in verdict.limit_source else ""
    band = ""
    if _TWO_SIDES.match(hero.figure):
        caption, _, band = hero.caption.rpartition(", ")
        hero = replace(hero, caption=caption, short="")
    there = ", ".join(overline).split(", ")
    return hero, tuple(text for text in (bracket, nominal, band) if text and text not in there)


def leave_out(hero: Hero, conditions: Sequence[str]) -> Hero:
    """Return a hero whose captions leave out where it was read if the overline says so: "at 1 kHz"."""
    given = {f"at {condition}" for condition in conditions}
    texts = (text.split(", ") for text in (hero.caption, hero.short))
    caption, short = (", ".join(part for part in parts if part not in given) for parts in texts)
    return replace(hero, caption=caption, short=short)


def judged_hero(verdict: Verdict) -> Hero:
    """Return a verdict's figure as a card shows it large: "42.9 W", with its channel and where it was read above."""
    figure, where = re.match(r"(.*?)((?: at | over | from |, ).*)?$", verdict.measured).groups()  # type: ignore[union-attr]
    number, plus_minus, spread = figure.partition(" ± ")
    finding = verdict.findings[0]
    channel = finding.channel
    place = (where or "").strip(", ") or (figures.where(finding) if finding.unit != "W" else "")
    if quantities.quantity_of(finding).style == "plus-minus":
        place = figures.where(finding)
    elif _TWO_SIDES.match(number) and "band" in finding.at:
        low_hz, high_hz = finding.at["band"]
        place, channel = quantities.band((low_hz, high_hz)), "both"
    elif place and f" {place}" in f" {verdict.label}":
        place = ""
    weighting = finding.at.get("weighting")
    name = lower_first(verdict.label.split(", ")[0])
    if plain := quantities.quantity_of(finding).plain:  # as in the overline, not as in the maker's list
        name = name.replace(lower_first(rule_of(verdict.rating).label), plain, 1)
    under = weighted(weighting) if weighting else ""
    short = ", ".join(filter(None, (figures.side(channel), under, place)))
    named = [name.partition(" (")[0], figures.side(channel), "" if under in name else under, place]
    if place and place == finding.at.get("where"):  # "loudest level at 3 % distortion" is one thing
        named = [f"{named[0]} {place}", *named[1:3]]
    caption = ", ".join(filter(None, named))
    spread = f"± {spread}" if plus_minus else ""
    return Hero(number, caption, "", spread, channel=finding.channel, findings=(finding,), short=short)
