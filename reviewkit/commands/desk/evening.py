"""The desk's own knowledge, besides the session's files."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass
class Evening:
    """The desk's knowledge besides the session's files, which ends with the desk.

    Attributes
    ----------
    done
        The steps of the test points that were confirmed or skipped.
    light
        Whether the page stays light while a clip is running.
    titles
        The titles of cards, hidden ones too, as they were seen.
    """

    done: set[str] = field(default_factory=set)
    light: bool = False
    titles: dict[str, str] = field(default_factory=dict)
