"""What a message suggests to write, as a reader takes it from there; and everything that a module can suggest."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterable, Iterator
from pathlib import Path
from types import ModuleType

_VALUE = r'"[^"]*"|(?<!\[)\[(?!\[)[^\[\]]*\]|\{[^{}]*\}|\btrue\b|\bfalse\b|(?<![\w.-])-?\d+(?:\.\d+)?(?![\w.])'
_PAIR = re.compile(rf"\b([a-z_]+) = ({_VALUE})")
_TOKEN = re.compile(rf"\b[a-z_]+ = (?:{_VALUE})|{_VALUE}")
_BEGINS = re.compile(
    r"\b(?:write|did you mean|known:|Known:|add|looks like|as in|for example|leave it out)", re.IGNORECASE
)
MARKED = re.compile(r"\bwrite |did you mean|looks like|, as in |for example|\badd ")


def remedy_of(message: str) -> str:
    """The part of a message that says what to write, behind what the user wrote; "" if there is none."""
    quoted = re.sub(r'"[^"]*"', lambda match: "\0" * len(match[0]), message)
    begins = _BEGINS.search(quoted)
    return message[begins.start() :] if begins else ""


def alternatives(remedy: str) -> list[list[tuple[str, str]]]:
    """What one may paste: each time all the pairs (key, value) to write; the key is "" if a value stands alone.

    Pairs joined by "with" or "and" belong together; all others are a choice. A value behind a pair is of its key.
    """
    listed = re.search(r"[Kk]nown: ([^…]+)$", remedy)
    if listed:
        return [[("", f'"{name}"')] for name in listed[1].split(", ")]
    found: list[list[tuple[str, str]]] = []
    end = 0
    for token in _TOKEN.finditer(remedy):
        pair = _PAIR.fullmatch(token[0])
        written = (pair[1], pair[2]) if pair else (found[-1][0][0] if found else "", token[0])
        joined = remedy[end : token.start()].strip() in ("with", "and") and pair and found and found[-1][0][0]
        if joined:
            found[-1].append(written)
        else:
            found.append([written])
        end = token.end()
    return found


def pieces(module: ModuleType) -> Iterator[re.Pattern[str]]:
    """Every text in a module that tells what to write, as a pattern of the messages it goes into."""
    assert module.__file__ is not None
    tree = ast.parse(Path(module.__file__).read_text(encoding="utf-8"))
    comments = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    inside = {id(part) for node in ast.walk(tree) if isinstance(node, ast.JoinedStr) for part in node.values}
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            parts = [part.value if isinstance(part, ast.Constant) else None for part in node.values]
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in comments | inside:
            parts = [node.value]
        else:
            continue
        text = "".join(part or "" for part in parts)
        if MARKED.search(text):
            yield re.compile(".*".join(map(re.escape, _between(parts))))


def unseen(modules: Iterable[ModuleType], messages: Iterable[str]) -> list[str]:
    """What these modules can suggest and none of the messages does."""
    texts = set(messages)
    left = (piece for module in modules for piece in pieces(module) if not any(map(piece.search, texts)))
    return [re.sub(r"\\(.)", r"\1", piece.pattern) for piece in left]


def _between(parts: Iterable[str | None]) -> Iterator[str]:
    """The fixed parts of an f-string, where each value leaves a gap."""
    text = ""
    for part in parts:
        if part is None:
            yield text
            text = ""
        else:
            text += part
    yield text
