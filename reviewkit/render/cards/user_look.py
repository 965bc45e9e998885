"""The user's [look] applied to a look: legible colours and fonts that open, or a fault for each that isn't."""

from __future__ import annotations

from pathlib import Path

from reviewkit.model.errors import Faults
from reviewkit.model.session import Session
from reviewkit.render.cards.colours import Look, find_look, find_shortfalls, with_colours
from reviewkit.render.cards.paint import NO_FONTS, Fonts, find_font_fault

_FILE = "session.toml"


def load_user_look(session: Session) -> tuple[Look, Fonts]:
    """Return the look for filming and the user's own font files.

    A colour that can't be read is refused, not warned of: nobody should discover it on a published card.

    Parameters
    ----------
    session : Session
        With its [look] table.

    Returns
    -------
    tuple of Look and Fonts
        The look, and the paths of the regular and bold fonts ("" for none).

    Raises
    ------
    InputError
        With every colour and font that is at fault.
    """
    settings, faults = session.look, Faults(_FILE)
    look = with_colours(find_look(session.episode.look), settings.colours)
    place = min(settings.lines.values(), default=0)
    for name, message in find_shortfalls(look):
        key = name if name in settings.lines else "ground"
        faults.add(settings.lines.get(key, place), f"[look] {message}", settings.sources.get(key, ""))
    fonts = _fonts(session.folder, settings.font, settings.bold_font)
    for key, path in zip(("font", "bold_font"), dict.fromkeys(fonts) if any(fonts) else (), strict=False):
        if fault := find_font_fault(path):
            message = f'[look] {key} = "{Path(path).name}" {fault}'
            faults.add(settings.lines.get(key, 0), message, settings.sources.get(key, ""))
    faults.stop_if_any()
    return look, fonts


def _fonts(folder: Path, regular: str, bold: str) -> Fonts:
    return (str(folder / regular), str(folder / bold)) if regular else NO_FONTS
