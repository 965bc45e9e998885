"""The files on the page: questions about them, and the reasons for what they were recognised as."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from reviewkit.commands.desk.small_pictures import file_picture, run_picture
from reviewkit.model.finding import Run
from reviewkit.model.recognised import Recognised, in_words


def file_facts(folder: Path, runs: Sequence[Run], recognised: Sequence[Recognised]) -> dict[str, Any]:
    """Return the questions about files, and the files that are clear."""
    known = {each.file: each for each in recognised}
    questions = [
        {
            "file": each.file,
            "what": _first_part(each.question)[0],
            "more": _first_part(each.question)[1],
            "why": each.why,
            "choices": [_choice(each, choice) for choice in each.choices],
            "picture": file_picture(folder, each.file, each.choices[0] if each.choices else each.table),
            "others": [other.file for other in recognised if other is not each and same_question(other, each)],
        }
        for number, each in enumerate(recognised)
        if each.question and not any(same_question(other, each) for other in recognised[:number])
    ]
    clear: list[dict[str, Any]] = []
    for run in runs:
        m = run.conditions.measurement
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
                "own": named is not None,
            }
        )
    order = {"before": 0, "": 1, "bench": 1, "after": 2}
    clear.sort(key=lambda each: order[each["stage"]])
    return {
        "questions": questions,
        "used": clear,
        "count": len(clear) + sum(bool(each.question) for each in recognised),
    }


def _first_part(question: str) -> tuple[str, str]:
    """Return a question without what to write into session.toml, and that."""
    first, _, rest = question.partition("; ")
    return f"{first[:1].upper()}{first[1:]}", rest


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
    said = in_words(words).replace("stage ", "").replace("units ", "")
    return f"{said[:1].upper()}{said[1:]}"
