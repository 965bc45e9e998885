"""The files on the page: questions about them, and the reasons for what they were recognised as."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from reviewkit.commands.desk.desk_state import DeskState
from reviewkit.commands.desk.live_session import LiveSession
from reviewkit.commands.desk.small_pictures import file_picture, run_picture
from reviewkit.commands.desk.trials import figures_of, possible_kinds
from reviewkit.model import quantities
from reviewkit.model.recognised import Recognised, in_words

_STAGES = {"before": "", "after": "", "bench": "looped back on itself"}
_DRIVEN = {"both": "", "one": ""}


def file_facts(session: LiveSession, state: DeskState) -> dict[str, Any]:
    """Return the questions about files, the one that is to be something else, and the files that are clear."""
    shown = session.shown
    runs, recognised = (shown.episode.runs, shown.episode.recognised) if shown else ((), ())
    known = {each.file: each for each in recognised}
    asked = state.questions(recognised)
    questions = [
        _question(each, asked, session)
        for number, each in enumerate(asked)
        if not any(same_question(other, each) for other in asked[:number])
    ]
    clear: list[dict[str, Any]] = []
    for run in runs:
        m = run.conditions.measurement
        if m.file in state.further:
            continue
        named = known.get(m.file)
        clear.append(
            {
                "file": m.file,
                "name": m.file.rsplit("/", 1)[-1] or m.id,
                "stage": m.stage,
                "kind": m.kind.replace("-", " "),
                "why": named.why if named else "session.toml says so",
                "what": in_words(named.table) if named else "",
                "picture": run_picture(run),
                "measurement": m,
            }
        )
    order = {"before": 0, "": 1, "bench": 1, "after": 2}
    clear.sort(key=lambda each: order[each["stage"]])
    changing = next((each for each in clear if each["file"] and each["file"] == state.changing), None)
    return {
        "questions": questions,
        "changing": _changeable(changing, session) if changing else None,
        "used": clear,
        "count": len(clear) + len(asked),
    }


def _question(each: Recognised, asked: Sequence[Recognised], session: LiveSession) -> dict[str, Any]:
    """Return a question in words, with the figure of each answer if they differ."""
    figures = figures_of(session, each.file, each.choices)
    differ = len({figure or "" for figure in figures}) > 1
    what, _, more = each.question.partition("; ")  # what to write into session.toml
    return {
        "file": each.file,
        "what": _capital(what),
        "more": more,
        "why": each.why,
        "choices": [
            {**_choice(each, choice), "figure": figure if differ else ""}
            for choice, figure in zip(each.choices, figures, strict=True)
        ],
        "picture": file_picture(session.folder, each.file, each.choices[0] if each.choices else each.table),
        "others": [other.file for other in asked if other is not each and same_question(other, each)],
    }


def _changeable(clear: Mapping[str, Any], session: LiveSession) -> dict[str, Any]:
    """Return a clear file with all that it could be instead."""
    m = clear["measurement"]

    def choices(options: Iterable[tuple[str, str]], now: str) -> list[dict[str, Any]]:
        words = [(name, _capital(name.replace("-", " ")), figure) for name, figure in options]
        return [{"name": name, "word": word, "figure": figure, "on": name == now} for name, word, figure in words]

    return {
        **clear,
        "groups": {
            "Kind": ("kind", choices(possible_kinds(session, m.file), m.kind)),
            "Made": ("stage", choices(_STAGES.items(), m.stage)),
            "Channels driven": ("channels", choices(_DRIVEN.items(), m.channels)),
        },
        "load": quantities.load(m.load_ohm) if m.load_ohm is not None else "",
        "setting": m.setting,
    }


def same_question(one: Recognised, other: Recognised) -> bool:
    """Return whether the same is asked about two files, so that one answer settles both."""
    return bool(one.question) and one.question == other.question and one.choices == other.choices


def _choice(recognised: Recognised, choice: Any) -> dict[str, str]:
    """Return an answer in words: what sets it apart, then all that it makes of the file."""
    others = [each for each in recognised.choices if each is not choice]
    apart = {key: value for key, value in choice.items() if any(each.get(key) != value for each in others)}
    return {"word": _answer_words(apart or choice), "all": _answer_words(choice)}


def _answer_words(keys: Mapping[str, Any]) -> str:
    words = {
        key: ", ".join(map(" in ".join, value.items())) if isinstance(value, Mapping) else value
        for key, value in keys.items()
    }
    return _capital(in_words(words).replace("stage ", "").replace("units ", ""))


def _capital(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}"
