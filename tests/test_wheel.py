"""The package as it is installed: from the wheel, from an editable install, and from a plain checkout."""

from __future__ import annotations

import importlib.util
import json
import os
import shutil
import subprocess
import sys
import sysconfig
import zipfile
from pathlib import Path

import pytest

pytestmark = [
    pytest.mark.long,
    pytest.mark.skipif(
        importlib.util.find_spec("hatchling") is None or importlib.util.find_spec("pip") is None,
        reason="the build backend hatchling and pip must be installed: nothing is downloaded for this test",
    ),
]
WHERE = (
    "import json, reviewkit; from reviewkit.model import places; "
    "print(json.dumps([reviewkit.__file__, str(places.templates())]))"
)


def quietly(*command: object, cwd: Path, path: str = "") -> str:
    """Run a program without network settings or paths of this process; its output."""
    clean = {key: value for key, value in os.environ.items() if not key.startswith(("PYTHON", "PIP_", "COV_"))}
    clean |= {"PIP_NO_INDEX": "1", "PIP_DISABLE_PIP_VERSION_CHECK": "1", "PIP_ROOT_USER_ACTION": "ignore"}
    if path:
        clean["PYTHONPATH"] = path
    ran = subprocess.run(list(map(str, command)), cwd=cwd, env=clean, capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stdout + ran.stderr
    return ran.stdout


def new_environment(folder: Path) -> tuple[Path, Path]:
    """An empty environment that sees this one's libraries behind its own: its bin and its site-packages."""
    quietly(sys.executable, "-m", "venv", "--without-pip", folder, cwd=folder.parent)
    site = Path(sysconfig.get_path("purelib", "venv", vars={"base": str(folder), "platbase": str(folder)}))
    assert site.is_dir()
    # a path from a .pth file stands behind the environment's own packages, and .pth files in it are not followed
    libraries = [path for path in sys.path if Path(path).name in ("site-packages", "dist-packages")]
    assert libraries
    (site / "libraries.pth").write_text("\n".join(libraries) + "\n", encoding="utf-8")
    return folder / ("Scripts" if os.name == "nt" else "bin"), site


@pytest.fixture(scope="module")
def source(tmp_path_factory, checkout) -> Path:
    """A checkout in which the sample was built and the tests were run, so that what they leave lies about in it."""
    to = tmp_path_factory.mktemp("source")
    for name in ("reviewkit", "templates", "sample_session"):
        shutil.copytree(checkout / name, to / name, ignore=shutil.ignore_patterns("__pycache__", "out"))
    for name in ("pyproject.toml", "LICENSE", "README.md"):
        shutil.copy(checkout / name, to / name)
    for name in ("sample_session/out/cards/01-title.png", "sample_session/__pycache__/norrvale.cpython-311.pyc"):
        (to / name).parent.mkdir(parents=True, exist_ok=True)
        (to / name).write_bytes(b"left lying about")
    return to


@pytest.fixture(scope="module")
def wheel(tmp_path_factory, source) -> Path:
    to = tmp_path_factory.mktemp("wheel")
    quietly(sys.executable, "-m", "pip", "wheel", "--no-deps", "--no-build-isolation", "-q", "-w", to, source, cwd=to)
    (made,) = to.glob("*.whl")
    return made


@pytest.fixture(scope="module")
def installed(tmp_path_factory, wheel) -> tuple[Path, Path]:
    folder = tmp_path_factory.mktemp("installed") / "environment"
    bin_folder, site = new_environment(folder)
    python = bin_folder / "python"
    quietly(sys.executable, "-m", "pip", "--python", python, "install", "--no-deps", "-q", wheel, cwd=folder)
    return bin_folder, site


def test_the_wheel_holds_the_program_its_templates_and_its_sample(wheel, checkout):
    with zipfile.ZipFile(wheel) as archive:
        names = set(archive.namelist())
    for folder, inside in (("reviewkit", "reviewkit"), ("templates", "reviewkit/_templates")):
        for path in (checkout / folder).rglob("*"):
            if path.is_file() and "__pycache__" not in path.parts:
                assert f"{inside}/{path.relative_to(checkout / folder).as_posix()}" in names
    sample = {name.removeprefix("reviewkit/_sample_session/") for name in names if "/_sample_session/" in name}
    assert {"session.toml", "notes.txt", "prices.csv", "repair.csv", "measurements/response.csv"} <= sample
    small = [path.parent.name for path in (checkout / "sample_session").glob("*/session.toml")]
    assert {f"{each}/{name}" for each in small for name in ("session.toml", "ratings.txt", "notes.txt")} <= sample


def test_the_wheel_holds_nothing_that_was_built_or_is_for_developers_only(wheel):
    with zipfile.ZipFile(wheel) as archive:
        names = archive.namelist()
    assert [name for name in names if "__pycache__" in name or "/out/" in name or "tests/" in name] == []
    assert {name.split("/")[0].split("-")[0] for name in names} == {"reviewkit", "bench_reviewkit"}


def test_the_installed_command_builds_its_own_sample(installed, tmp_path):
    bin_folder, site = installed
    package, templates = json.loads(quietly(bin_folder / "python", "-c", WHERE, cwd=tmp_path))
    for place in (package, templates):
        assert Path(place).resolve().is_relative_to(site.resolve())
    shutil.copytree(Path(package).parent / "_sample_session", tmp_path / "mine", ignore=shutil.ignore_patterns("out"))
    before = sorted(path for path in site.rglob("*") if "__pycache__" not in path.parts)
    assert quietly(bin_folder / "reviewkit", "build", tmp_path / "mine", cwd=tmp_path) == ""
    out = tmp_path / "mine" / "out"
    assert len(list((out / "cards").glob("*.png"))) > 10
    assert json.loads((out / "findings.json").read_text(encoding="utf-8"))["findings"]
    assert sorted(path for path in site.rglob("*") if "__pycache__" not in path.parts) == before


def test_the_installed_command_makes_a_session(installed, tmp_path):
    bin_folder, _ = installed
    said = quietly(bin_folder / "reviewkit", "new", tmp_path / "mine", cwd=tmp_path)
    assert str(tmp_path / "mine" / "session.toml") in said
    assert "nothing wrong" in quietly(bin_folder / "reviewkit", "check", tmp_path / "mine", cwd=tmp_path)
    quietly(bin_folder / "reviewkit", "new", tmp_path / "deck", "--type", "deck", cwd=tmp_path)
    assert "#Wow and flutter" in (tmp_path / "deck" / "ratings.txt").read_text(encoding="utf-8")
    assert "nothing wrong" in quietly(bin_folder / "reviewkit", "check", tmp_path / "deck", cwd=tmp_path)


@pytest.mark.skipif(
    importlib.util.find_spec("editables") is None, reason="the build backend's part for editable installs is not there"
)
def test_an_editable_install_uses_the_checkouts_files(tmp_path, source):
    bin_folder, _ = new_environment(tmp_path / "environment")
    command = ("--python", bin_folder / "python", "install", "--no-deps", "--no-build-isolation", "-q", "-e", source)
    quietly(sys.executable, "-m", "pip", *command, cwd=tmp_path)
    package, templates = json.loads(quietly(bin_folder / "python", "-c", WHERE, cwd=tmp_path))
    assert Path(package) == source / "reviewkit" / "__init__.py"
    assert Path(templates) == source / "templates"


def test_a_plain_checkout_uses_its_own_files(tmp_path, checkout):
    said = quietly(sys.executable, "-c", WHERE, cwd=tmp_path, path=str(checkout))
    package, templates = json.loads(said)
    assert Path(package) == checkout / "reviewkit" / "__init__.py"
    assert Path(templates) == checkout / "templates"
