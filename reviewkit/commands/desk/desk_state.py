"""The desk's own knowledge, besides the session's files."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from reviewkit.model.recognised import Recognised


@dataclass
class DeskState:
    """The desk's knowledge besides the session's files, which ends with the desk.

    Attributes
    ----------
    done
        The steps of the test points that were confirmed or skipped, and the boxes of the plan that were ticked.
    light
        Whether the page stays light while a clip is running.
    titles
        The titles of cards, hidden ones too, as they were seen.
    answers
        By file, answers that are written once a further question is answered, too.
    further
        These questions.
    changing
        The clear file that is to be something else.
    keep
        Keeps the ticks of boxes for the next time.
    """

    done: set[str] = field(default_factory=set)
    light: bool = False
    titles: dict[str, str] = field(default_factory=dict)
    answers: dict[str, Mapping[str, Any]] = field(default_factory=dict)
    further: dict[str, Recognised] = field(default_factory=dict)
    changing: str = ""
    keep: Callable[[], None] = lambda: None

    def forget(self, file: str) -> None:
        """Drop what was answered about a file, and what else is asked; it isn't to be changed any more."""
        self.answers.pop(file, None)
        self.further.pop(file, None)
        self.changing = "" if self.changing == file else self.changing

    def questions(self, recognised: Sequence[Recognised]) -> list[Recognised]:
        """Return the files that something is asked about, the further questions in place of those answered."""
        open_ = {each.file: each for each in recognised if each.question}
        return list({**open_, **self.further}.values())
