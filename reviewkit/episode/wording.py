"""The wording of a sentence: the first that repeats no phrase, with names as they are written within one."""

from __future__ import annotations

import re

from reviewkit.model import spoken
from reviewkit.model.episode import Sentence

PHRASE_WORDS = 4  # from this many words on, a sequence is heard as said before (a judgement)
_PAUSE = re.compile(r"[^\w\s'’-]+")  # conditions stand between pauses and figures


def find_phrases(text: str) -> set[str]:
    """Return every sequence of four words of a sentence, none across a figure or a pause."""
    found = set()
    for part in _PAUSE.split(spoken.part_at_figures(text).casefold()):
        words = part.split()
        found |= {" ".join(words[at : at + PHRASE_WORDS]) for at in range(len(words) - PHRASE_WORDS + 1)}
    return found


def lower_first(text: str) -> str:
    """Return a name as it is written within a sentence: "damping factor", but "THD", "B+ voltage" and "Qtc"."""
    return text if not text[1:2].islower() or text[:2] == "Qt" else text[:1].lower() + text[1:]


class Speaker:
    """Says sentences one after the other, each in the wording that repeats the fewest phrases."""

    def __init__(self) -> None:
        self._said: set[str] = set()

    def word(self, sentence: Sentence) -> str:
        """Return a sentence's wording and remember its phrases."""
        text = min((sentence.text, *sentence.others), key=lambda each: len(find_phrases(each) & self._said))
        self._said |= find_phrases(text)
        return text
