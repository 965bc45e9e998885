"""Everything of a session folder read and measured, all faults of all files together."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import TypeVar

from reviewkit.bench_runs import Take, alone_of, measured, reading, take
from reviewkit.errors import Fault, InputError
from reviewkit.ingest.any_file import is_long
from reviewkit.ingest.cut_file import Cut, read_final
from reviewkit.ingest.notes_file import read_notes
from reviewkit.ingest.photo_file import read_photo
from reviewkit.ingest.price_file import read_prices
from reviewkit.ingest.published_file import read_published
from reviewkit.ingest.repair_file import read_repair
from reviewkit.ingest.session_file import read_session
from reviewkit.inputs import Inputs
from reviewkit.measure import KINDS
from reviewkit.model import IndexTable, Notes, RepairRow, Run, Session
from reviewkit.origins import made_from, spared
from reviewkit.published import Published
from reviewkit.remembered import NOTHING, Holding, Once, anew
from reviewkit.stamps import Stamp

T = TypeVar("T")


@dataclass(frozen=True, eq=False)
class Gathered:
    """A session folder, read and measured. `runs`: in the session's order; `absent`: what is not there and what that
    leaves out; `inputs`: digests of the files of it all, by path in the folder; `stamps`: theirs, in that order.
    """

    session: Session
    notes: Notes
    prices: IndexTable | None
    repair: tuple[RepairRow, ...]
    final: tuple[tuple[float, str], ...]
    runs: tuple[Run, ...]
    absent: tuple[str, ...]
    photo: bytes = b""
    published: Published | None = None
    inputs: Mapping[str, str] = field(default_factory=dict)
    stamps: tuple[Stamp, ...] = ()

    @property
    def type_digests(self) -> tuple[str, ...]:
        """What tells the user's own type from any other under the same name."""
        return tuple(self.inputs[name] for name in (self.session.look.font, self.session.look.bold_font) if name)


def gather(
    folder: Path,
    elsewhere: Callable[[Take], Take] = lambda take: take,
    once: Once = anew,
    kept: Holding = NOTHING,
    *,
    for_plan: bool = False,
) -> Gathered:
    """Read everything, and take each measurement's figures. Raises InputError with the faults of all files, not only
    the first; where all can be read, with those of all measurements.

    `elsewhere`: has a long file read and measured, maybe by another process, and gives a function that waits for that.
    `once`: reads and measures only what is not as it was; `kept`: figures and cards of an earlier build, which spare
    reading what they were made from; `for_plan`: read only what was measured and mended. Raises CannotFinish where a
    file was written to meanwhile.
    """
    inputs = Inputs(folder)
    session = read_session(folder, kinds=KINDS)
    inputs.look_at(session)
    origins = made_from(session, inputs)
    known = spared(session, origins, kept)
    faults: list[Fault] = []
    takes = {m.id: partial(take, m, reading(folder, m, once), alone_of(session, m), once) for m in session.measurements}
    long = {m.id for m in session.measurements if m.id not in known and m.file and is_long(folder / m.file)}
    taken = {name: elsewhere(take) if name in long else take for name, take in takes.items()}

    def attempt(read: Callable[[], T], otherwise: T, *, plan_too: bool = False) -> T:
        if for_plan and not plan_too:
            return otherwise
        try:
            return read()
        except InputError as error:
            faults.extend(error.faults)
            return otherwise

    absent = []

    def there(name: str, without: str) -> bool:
        if (folder / name).is_file():
            return True
        absent.append(f"no {name}: {without}")
        return False

    notes = Notes()
    if there("notes.txt", "the outline holds only what the bench has to say"):
        notes = attempt(lambda: read_notes(folder / "notes.txt"), notes)
    repair: tuple[RepairRow, ...] = ()
    if there("repair.csv", "no repair card and no repair sentences"):
        repair = attempt(lambda: read_repair(folder / "repair.csv"), repair, plan_too=True)
    noted = [note.segment for note in notes.notes if note.segment and not note.cut]
    uncut: tuple[Cut, tuple[str, ...]] = ((), ())
    final, told = attempt(lambda: read_final(folder, noted), uncut)
    absent.extend(told)
    named = session.episode.photo
    photo = attempt(lambda: read_photo(folder, named), b"") if named else b""
    published = attempt(lambda: read_published(folder), None)
    prices = None
    if session.price is None:
        absent.append("no [price] in session.toml: no price then and now")
    else:
        index = session.price.index
        prices = attempt(lambda: read_prices(folder / index, index), None)
    if not session.ratings:
        absent.append("no [[rated]] in session.toml: no verdicts and no card of rated specs")
    if not session.measurements:
        absent.append("no [[measurement]] in session.toml: no measured figures")

    if repair and not any(m.stage for m in session.measurements):
        for m in session.measurements:
            faults.append(
                Fault(
                    "session.toml",
                    m.line,
                    f"[[measurement]] {m.id}: repair.csv says that something was mended; "
                    'say stage = "before" or stage = "after"',
                )
            )
    unread, wrong, runs = measured(session, taken, once, kept, origins, known)
    digests = inputs.digests()
    if faults or unread or wrong:
        raise InputError([*faults, *unread] or wrong)
    cut = tuple((at, name) for at, name, _ in final)
    return Gathered(session, notes, prices, repair, cut, runs, tuple(absent), photo, published, digests, inputs.stamps)
