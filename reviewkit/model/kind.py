"""A kind of measurement. The list of them is measure/kinds.py."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from reviewkit.model.capture_request import Basis, CaptureRequest
from reviewkit.model.card import Card
from reviewkit.model.finding import Conditions, Measured, Point, Run
from reviewkit.model.gear import Gear
from reviewkit.model.recognised import Content, NameWords
from reviewkit.model.session import Rating
from reviewkit.model.sheet import Sheet
from reviewkit.model.verdict import Verdict

# the questions that a kind's results answer, as segments of the episode
POWER, FLAT, QUIET, CLEAN = "power", "flat", "quiet", "clean"
STEADY, LOAD = "steady", "load"


@dataclass(frozen=True)
class Kind:
    """A kind of measurement: what it needs, what it computes, its card, and the facts worth saying.

    Whatever other code must know of a kind is a field here.
    """

    name: str
    title: str  # the card's title if the measurement has none
    about: str  # one line for the user: what the file holds
    needs: tuple[tuple[str, ...], ...]  # alternatives, each a set of roles; () means no file is needed
    compared: tuple[str, ...]  # those by which its card compares before and after, the first that both have
    asks: str  # POWER, FLAT, QUIET, CLEAN, STEADY or LOAD: the chapter of its cards after the repair
    findings: Callable[[Sheet, Conditions], Measured]  # NO_FILE if the readings are in session.toml
    card: Callable[[Sequence[Run], Sequence[Verdict]], Card]  # `verdicts`: on these runs, as the card shows them
    points: Callable[[Run, Run | None], tuple[Point, ...]]  # a run, and its counterpart before the repair
    joined: Callable[[Sequence[Point]], Sequence[Point]] = tuple  # a card's points, those that belong together in one
    asks_at_line: str = ""  # the chapter of its cards for gear that drives no load, if that is another
    headlines: tuple[str, ...] = ()  # the quantities that the table shows even if the maker gave no figure
    # more pictures of the same runs; their ids are what is added to the card's
    further: Callable[[Sequence[Run]], tuple[Card, ...]] = lambda runs: ()

    # ---- its table in session.toml
    keys: tuple[str, ...] = ()  # those of its keys that other kinds don't have
    input: str = ""  # the input that it is of if its table names none
    against: str = ""  # the kind of the measurement that it is compared with
    levels_of_output: bool = False  # its levels are the output's, so that those of noise or crosstalk are a mistake
    sound: str = ""  # what its captures sound as, a word of `of` in [[sound]]

    # ---- a file that no table names
    file_words: str = ""  # what such a file may be called, as a regular expression of whole words
    signal: str = ""  # the signal that its captures and spectra hold, as measure/recognised_signals.py calls it
    # whether a file is of this kind; if not, measure/kind_by_content.py may still recognise it
    recognise: Callable[[Sheet, NameWords], Content | None] = lambda sheet, name: None

    # ---- the plan
    recipes: Mapping[str, Callable[[Rating, Basis], tuple[CaptureRequest, ...]]] = field(default_factory=dict)
    captured_as: str = "csv"  # the ending of the file's suggested name
    optional_line: str = ""  # a line of its table that depends on how the file was made, commented out

    def asked_of(self, gear: Gear | None) -> str:
        """Return the chapter of its cards for a type of gear."""
        return self.asks if not self.asks_at_line or gear is None or gear.loads else self.asks_at_line

    @property
    def by_meter(self) -> bool:
        """Return whether its file holds single values that a meter showed."""
        return ("reading",) in self.needs
