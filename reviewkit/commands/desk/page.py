"""The variables of the desk's page, from the session as last built and from its files as they are now."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Any

from reviewkit.commands.desk.bench_facts import bench_facts, point_facts
from reviewkit.commands.desk.build_process import BuildProcess
from reviewkit.commands.desk.card_facts import TITLE_LENGTH, card_facts, latest_card, tally_of, thumbnail_facts
from reviewkit.commands.desk.desk_state import DeskState
from reviewkit.commands.desk.file_facts import file_facts
from reviewkit.commands.desk.inputs import Inputs
from reviewkit.commands.desk.live_session import LiveSession
from reviewkit.commands.desk.points import find_points
from reviewkit.commands.desk.session_edits import BENCH_KEYS, bench_of, bench_values
from reviewkit.ingest.session.footage_time import show_time
from reviewkit.ingest.session.notes_edit import NotesText, read_lines
from reviewkit.ingest.session.ratings_edit import read_brochure_lines
from reviewkit.ingest.session.repair_file import parse_repair
from reviewkit.ingest.session.session_paths import RATINGS
from reviewkit.model.errors import CannotFinish, InputError, listed
from reviewkit.model.repair import RepairRow


def page_facts(
    session: LiveSession, inputs: Inputs, state: DeskState, building: BuildProcess, *, editing: bool
) -> dict[str, Any]:
    """Return the variables of the page.

    Parameters
    ----------
    session
        The session as last built.
    inputs
        Its files.
    state
        What the desk knows besides them.
    building
        The build that was started last.
    editing
        Whether anything can be changed on the page.

    Returns
    -------
    dict
        The variables.
    """
    shown = session.shown
    faults: list[str] = list(session.faults)
    notes = _attempt(lambda: read_lines(inputs.text("notes.txt")), NotesText((), ()), faults)
    rows = _attempt(lambda: _repair_rows(inputs), (), faults)
    plan, runs = (shown.plan, shown.episode.runs) if shown else (None, ())
    points = find_points(plan, rows, runs, state.done)
    cards = card_facts(session, state)
    return {
        "editing": editing,
        "is_new": not (session.folder / "session.toml").exists(),
        "number": session.number,
        "name": shown.episode.session.unit.name if shown else session.folder.resolve().name,
        "faults": tuple(dict.fromkeys(faults)),
        "news": inputs.news,
        "undo": inputs.to_undo,
        "put_back": inputs.to_put_back,
        "bench": bench_facts(notes, inputs.now(), state),
        "points": point_facts(points),
        "stop": plan.stop if plan else (),
        "bench_values": _attempt(lambda: bench_values(inputs.text("session.toml")), {}, faults),
        "bench_examples": BENCH_KEYS,
        "studio_bench": _attempt(lambda: _studio_bench(session), {}, faults),
        "plan": plan,
        "ticked": state.done,
        "files": file_facts(session, state),
        "cards": cards,
        "thumbnails": thumbnail_facts(session),
        "latest": latest_card(session, cards),
        "changed": session.latest,
        "brochure": list(_attempt(lambda: list(read_brochure_lines(inputs.text(RATINGS))), [], faults)),
        "rows": shown.series.table.rows if shown else (),
        "tally": tally_of(session),
        "left_out": shown.episode.left_out if shown else (),
        "film": show_time(Fraction(round(sum(s.length_s for s in shown.episode.segments)))) if shown else "",
        "building": building,
        "pages": [name for name in sorted(session.versions) if re.fullmatch(r"[^/]+\.html", name)],
        "title_length": TITLE_LENGTH,
    }


def _attempt(read: Any, otherwise: Any, faults: list[str]) -> Any:
    try:
        return read()
    except InputError as error:
        faults += listed(error.faults)
    except CannotFinish as error:
        faults.append(str(error))
    return otherwise


def _studio_bench(session: LiveSession) -> dict[str, str]:
    """Return what studio.toml says of the bench."""
    document = session.studio().document
    return {key: value for key, value in bench_of(document.data).items() if value} if document else {}


def _repair_rows(inputs: Inputs) -> tuple[RepairRow, ...]:
    text = inputs.text("repair.csv")
    return parse_repair(text) if text.strip() else ()
