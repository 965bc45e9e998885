"""Where templates/ and sample_session/ lie: in the installed package, or beside it in a checkout or editable
install.
"""

from __future__ import annotations

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parents[1]


def templates() -> Path:
    """The folder of the templates that travel with the program."""
    return _travelling("_templates", "templates")


def sample_session() -> Path:
    """The folder of the invented sample session."""
    return _travelling("_sample_session", "sample_session")


def _travelling(installed: str, checkout: str) -> Path:
    for folder in (_PACKAGE / installed, _PACKAGE.parent / checkout):
        if folder.is_dir():
            return folder
    raise FileNotFoundError(f"{checkout} did not travel with the program; install it again")
