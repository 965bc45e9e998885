"""What the bench says, in whole sessions: nothing that a presenter would stumble over.

A breath is 20 words, figures spoken; a phrase is four words (judgements, no source).
"""

from __future__ import annotations

import re
from collections import Counter
from functools import cache
from pathlib import Path

import one_evening
import pytest
import receiver_session
import test_random_sessions
import test_small_sessions
from rebuilt import third_session

from reviewkit.build import pipeline
from reviewkit.build.cache import open_cache
from reviewkit.episode.stills import BEFORE
from reviewkit.model import quantities
from reviewkit.model.episode import Episode
from reviewkit.model.spoken import spell_units, words

MOST_WORDS, PHRASE = 20, 4
# what a condition that isn't there leaves behind
MISSING = re.compile(
    r"\b(?:at|into|from|to|with|and|of|than) ?(?:[.,;:?]|and\b|$)|[ ,;:][,;:.]|  |\( ?\)|\b(?:None|nan|undefined)\b",
    re.IGNORECASE,
)
# the units that a figure in digits is said with
UNIT = (
    r"(?:per ?cent|(?:kilo|mega|milli|micro)?(?:hertz|watts?|volts?|ohms?|seconds?|amps?|farads?)|kilohms?|dB|dollars?)"
)


def _small(folder: Path, name: str) -> Path:
    toml, files = test_small_sessions.SESSIONS[name]
    for path, text in {"session.toml": toml, **files}.items():
        one_evening.put(folder / path, text)
    return folder


def _sample(folder: Path) -> Path:
    return Path(__file__).resolve().parents[1] / "sample_session"


def _third(folder: Path, kinds: tuple[str, ...]) -> Path:
    return third_session.write(folder, kinds)


SESSIONS = {
    "sample": _sample,
    "receiver": receiver_session.write,
    "one evening": one_evening.write,
    "sweeps": lambda folder: _third(folder, third_session.SWEEPS),
    "captures": lambda folder: _third(folder, third_session.CAPTURES),
    **{name: lambda folder, name=name: _small(folder, name) for name in test_small_sessions.SESSIONS},
}
RANDOM = range(2)


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    """A session as its outputs see it, each read once."""

    @cache
    def read(name: str) -> Episode:
        folder = tmp_path_factory.mktemp("aloud")
        if name in SESSIONS:
            return pipeline.check(SESSIONS[name](folder), open_cache())
        return test_random_sessions.made(int(name.removeprefix("random ")), folder).episode

    return read


EVERY = pytest.mark.parametrize("name", [*SESSIONS, *(f"random {seed}" for seed in RANDOM)])


def lines(episode: Episode) -> list[str]:
    """Every sentence of the bench as it is read from the outline, in the film and on the page with all its cards."""
    both = (*episode.segments, *episode.page_segments)
    return [spell_units(text) for segment in both for text in segment.sentences]


def breaths(line: str) -> list[str]:
    return re.split(r"(?<=[.?!]) ", line)


def phrases(line: str) -> list[str]:
    """Every four words in a row; a figure, and whatever makes a speaker pause, comes between two phrases."""
    parts = re.split(rf"\S*\d\S*(?: {UNIT}\b)?|[.,;:?!()\"]+", line.casefold())
    return [
        " ".join(one) for part in parts for one in zip(*(part.split()[place:] for place in range(PHRASE)), strict=False)
    ]


@EVERY
def test_no_sentence_is_longer_than_a_breath(name, told):
    assert [one for line in lines(told(name)) for one in breaths(line) if words(one) > MOST_WORDS] == []


@EVERY
def test_no_sentence_lacks_its_conditions(name, told):
    for line in lines(told(name)):
        assert not MISSING.search(line.removesuffix(".")), line
        assert line.endswith(".")
        assert all(one[0].isupper() or one[0].isdigit() for one in breaths(line)), line


@EVERY
def test_no_phrase_comes_twice_in_a_segment(name, told):
    episode = told(name)
    for segment in (*episode.segments, *episode.page_segments):
        counted = Counter(phrase for text in segment.sentences for phrase in set(phrases(spell_units(text))))
        assert {phrase for phrase, times in counted.items() if times > 1} == set(), segment.title


@pytest.mark.parametrize("name", ["sample", "one evening", "sweeps", "captures"])
def test_nothing_before_the_repair_gives_away_what_comes_after(name, told):
    episode = told(name)
    names = [segment.name for segment in episode.segments]
    until = next((place for place, each in enumerate(names) if each in ("fault", "repair", "after")), len(names))
    stage = {still.id: still.stage for still in episode.stills}
    found = {quantities.show(f) for f in episode.findings if f.stage == "before"}
    after = {quantities.show(f) for f in episode.findings if f.stage == "after"} - found
    for segment in episode.segments[:until]:
        assert {stage[card] for card in segment.cards} <= {BEFORE, ""}, segment.title
        for text in segment.sentences:
            assert not re.search(r"\b(?:repaired|now|fixed|came in|down from)\b", text, re.IGNORECASE), text
            assert not [figure for figure in after if figure in text and len(figure.split()[0]) > 3], text


@pytest.mark.parametrize(
    ("line", "is_missing"),
    [
        ("At and one kilohertz, distortion is 0.02 percent", True),
        ("At 5 watts,  one kilohertz", True),
        ("Into , it makes 40 watts", True),
        ("Noise (), unweighted", True),
        ("The right came in at", True),
        ("At 5 watts, one kilohertz, 0.02 percent", False),
        ("Five watts, one kilohertz. Left, 0.021 percent. Right: 1.4", False),
    ],
)
def test_a_missing_condition_is_seen(line, is_missing):
    assert bool(MISSING.search(line)) == is_missing


def test_a_phrase_that_comes_twice_is_seen():
    one, other = "One percent distortion comes at 46.7 watts left.", "Here, one percent distortion comes at 64.8 watts."
    assert set(phrases(one)) & set(phrases(other))
    assert not set(phrases("From 20 hertz to 20 kilohertz, at worst.")) & set(phrases("From 20 hertz to 20 kilohertz."))
