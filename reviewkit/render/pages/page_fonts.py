"""The type of the desk's page: the cards' own, where its package is installed."""

from __future__ import annotations

from pathlib import Path

_FACES = {"regular.ttf": "SourceSansPro", "bold.ttf": "SourceSansProBold"}


def page_fonts() -> dict[str, Path]:
    """Return the font files by the name that the page's style sheet has for them; empty if there are none."""
    try:
        import font_source_sans_pro  # type: ignore[import-untyped]
    except ImportError:
        return {}
    return {name: Path(font_source_sans_pro.font_files_ttf[face]) for name, face in _FACES.items()}
