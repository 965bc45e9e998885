"""A new session folder: the files of templates/new/, each explained by its comments."""

from __future__ import annotations

from pathlib import Path

from reviewkit.model import places
from reviewkit.model.errors import CannotFinish, Fault, InputError


def make_session(folder: Path) -> list[str]:
    """Create the folder with its files; return their names.

    Parameters
    ----------
    folder : Path
        A folder that doesn't exist yet or is empty.

    Returns
    -------
    list of str
        The names.

    Raises
    ------
    InputError
        If something is there already.
    CannotFinish
        If it can't be written.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise InputError(Fault(str(folder), 0, "is there already and not empty; name a folder that is not there yet"))
    made = []
    try:
        (folder / "measurements").mkdir(parents=True, exist_ok=True)
        for source in sorted((places.templates() / "new").iterdir()):
            (folder / source.name).write_bytes(source.read_bytes())
            made.append(source.name)
    except OSError as error:
        raise CannotFinish(f"{folder}: {error.strerror or error}") from error
    return [*made, "measurements"]
