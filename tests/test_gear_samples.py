"""The small samples of other gear: each builds in every shape that a video has, and again over its own outputs."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from reviewkit.commands.cli import run

SAMPLES = Path(__file__).resolve().parents[1] / "sample_session"
GEAR = sorted(file.parent.name for file in SAMPLES.glob("*/session.toml"))


def test_there_are_four():
    assert GEAR == ["deck", "loudspeakers", "tuner", "turntable"]


@pytest.mark.long
@pytest.mark.parametrize("gear", GEAR)
def test_every_shape_of_a_sample_builds(gear, tmp_path):
    folder = tmp_path / gear
    shutil.copytree(SAMPLES / gear, folder, ignore=shutil.ignore_patterns("out"))
    for shapes in (["wide"], ["tall"], ["square"], ["wide", "tall", "square"]):
        assert run(["build", str(folder), "--quiet", "--shape", *shapes]) == 0
        made = {shape: len(list((folder / "out" / shape).glob("*.png"))) for shape in ("cards", "tall", "square")}
        assert all(made["cards" if shape == "wide" else shape] > 3 for shape in shapes)
