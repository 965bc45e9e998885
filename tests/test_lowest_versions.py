"""Every requirement has a lower bound, and every lower bound is tried in CI."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from pathlib import Path

import lowest_versions
import pytest

CHECKOUT = Path(__file__).resolve().parents[1]


def required() -> list[str]:
    document = tomllib.loads((CHECKOUT / "pyproject.toml").read_text(encoding="utf-8"))
    several = document["project"]["optional-dependencies"].values()
    return sum(several, document["build-system"]["requires"] + document["project"]["dependencies"])


def test_every_requirement_has_one_lower_bound():
    found = lowest_versions.lowest()
    assert {line.replace("==", ">=", 1) for line in found} == set(required())
    # the same in the extra as in the tests, or what is tried is not what an extra allows
    versions = {line.partition(";")[0].strip() for line in found}
    assert len(versions) == len({version.partition("==")[0] for version in versions})


def test_every_extra_is_installed_for_the_tests():
    """CI installs `.[test]`: a bound of what is not in it would be tried by nobody."""
    document = tomllib.loads((CHECKOUT / "pyproject.toml").read_text(encoding="utf-8"))
    extras = document["project"]["optional-dependencies"]
    tried = {requirement.partition(";")[0] for requirement in extras["test"] + document["project"]["dependencies"]}
    assert {requirement.partition(";")[0] for requirement in required()} == tried


@pytest.mark.parametrize("wrong", ["numpy", "numpy<3", "numpy>=2.0,<3", "numpy==2.0", "numpy~=2.0", "numpy>2.0"])
def test_any_other_requirement_is_refused(wrong, tmp_path, monkeypatch):
    text = (CHECKOUT / "pyproject.toml").read_text(encoding="utf-8")
    changed = tmp_path / "pyproject.toml"
    changed.write_text(text.replace("dependencies = [", f'dependencies = [\n  "{wrong}",', 1), encoding="utf-8")
    monkeypatch.setattr(lowest_versions, "_PYPROJECT", changed)
    with pytest.raises(ValueError, match="write a lower bound and nothing else"):
        lowest_versions.lowest()


def test_ci_runs_the_tests_with_them():
    lines = (CHECKOUT / ".ci" / "run").read_text(encoding="utf-8").splitlines()
    steps = [line for line in lines if not line.startswith("#")]
    made = next(
        i for i, line in enumerate(steps) if "python3 tests/lowest_versions.py > .venv-lowest/lowest.txt" in line
    )
    after = "\n".join(steps[made + 1 :])
    assert "pip install -q -c .venv-lowest/lowest.txt" in after
    assert ".venv-lowest/bin/python -m pytest" in after
    printed = subprocess.run(
        [sys.executable, CHECKOUT / "tests" / "lowest_versions.py"], capture_output=True, text=True, check=True
    )
    assert printed.stdout.splitlines() == lowest_versions.lowest()
