"""The lowest versions that pyproject.toml allows, as constraints for pip: one line each, `name==version`.

python tests/lowest_versions.py > lowest.txt && pip install -c lowest.txt '.[test]'
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

_PYPROJECT = Path(__file__).resolve().parents[1] / "pyproject.toml"
_REQUIREMENT = re.compile(r"(?P<name>[\w.-]+)>=(?P<version>[\w.]+)(?P<where>\s*;.*)?")


def lowest() -> list[str]:
    """A constraint for every requirement, those of the extras and of the build too. Raises ValueError for one without a
    lower bound.
    """
    document = tomllib.loads(_PYPROJECT.read_text(encoding="utf-8"))
    project = document["project"]
    required = [
        *document["build-system"]["requires"],
        *project["dependencies"],
        *(each for some in project["optional-dependencies"].values() for each in some),
    ]
    found = []
    for requirement in dict.fromkeys(required):
        match = _REQUIREMENT.fullmatch(requirement)
        if match is None:
            raise ValueError(f"{requirement}: write a lower bound and nothing else, name>=version")
        found.append(f"{match['name']}=={match['version']}{match['where'] or ''}")
    return found


if __name__ == "__main__":
    print("\n".join(lowest()))  # noqa: T201
