"""What the user's [look] may change: colours that can be read and type that can be opened are drawn, others refused."""

import re
import shutil
from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest
from accuracy import grid
from ingest.remedies import alternatives, remedy_of
from matplotlib import get_data_path
from PIL import Image

from reviewkit.build.pipeline import prepare
from reviewkit.ingest.session.session_schema import schema_of
from reviewkit.model.session import LookSettings
from reviewkit.render.cards.colours import LOOKS, TEXTS, Look, find_shortfalls, with_colours
from reviewkit.render.cards.contrast import contrast
from reviewkit.render.cards.pictures import Order, draw_pictures

TYPE = Path(get_data_path(), "fonts", "ttf")
UNIT = '[unit]\nmaker = "Norrvale"\nmodel = "Forty"\n[episode]\nlook = "lamplight"\n'
RATED = '[[rated]]\nquantity = "power"\nat_least = "40 W"\nload = "8 ohm"\n'
OWN = {"ground": "#10202a", "ink": "#fff4dd", "left": "#ffb870", "right": "#4fa3d8", "soft": "#b0bcc4"}


@pytest.fixture
def session_with(session_of):
    """A session with a [look], and files of type beside it; its first key is on line 7."""

    def make(look, **type_files):
        folder = session_of(f"{UNIT}[look]\n{look}\n{RATED}", {})
        for name, source in type_files.items():
            shutil.copyfile(TYPE / source, folder / f"{name}.ttf")
        return folder

    return make


def told(keys):
    return "\n".join(f'{key} = "{value}"' for key, value in keys.items())


def test_the_keys_are_those_of_a_look():
    colours = {field.name for field in fields(Look)} - {"name"}
    assert set(schema_of(LookSettings).examples()) == colours | {"font", "bold_font", "mark", "presenter"}


# ------------------------------------------------------------------ colours


@pytest.mark.parametrize(
    ("colours", "line", "said"),
    [
        ({"soft": "#4a4f54"}, 7, 'soft "#4a4f54" on "#15191e" is 2.1:1 and needs 4.5:1; write soft = "#'),
        ({"meets": "#2e5a2e", "ink": "#777777"}, 8, 'ink "#777777" on "#15191e" is 3.9:1 and needs 7:1; write ink = '),
        ({"ground": "#8b8b8b"}, 7, "on \"#8b8b8b\" is"),
        ({"left": "#ffd98a", "right": "#ffd98b"}, 8, "left and right differ in lightness by 1.00:1; they need 1.5:1"),
        ({"left": "#ff9090", "right": "#8a8f5a"}, 8, "left and right are ΔE"),
    ],
)  # fmt: skip
def test_colours_that_cannot_be_read_are_refused(session_with, say, colours, line, said):
    folder = session_with(told(colours))
    for command in ("check", "build"):
        ran = say(command, folder)
        assert ran.status == 2
        assert f"session.toml:{line}: [look] " in ran.err
        assert said in ran.err
    assert not (folder / "out").exists()


def test_the_colour_that_is_offered_does(session_with, say):
    ran = say("check", session_with('soft = "#4a4f54"'))
    better = re.search(r'write soft = "(#[0-9a-f]{6})"$', ran.err, re.MULTILINE)[1]
    assert contrast(better, LOOKS["lamplight"].ground) >= 4.5
    assert say("check", session_with(f'soft = "{better}"')).status == 0


@pytest.mark.parametrize(("base", "ground"), grid([*LOOKS], ["#000000", "#15191e", "#f6f1e6", "#ffffff"]))
def test_every_colour_that_is_offered_leads_on(base, ground):
    """Colours at random: each that is offered in place of one takes its place, and within a few steps all do."""
    chosen = np.random.default_rng(1)
    names = [*TEXTS, "left", "right"]
    for _ in range(4):
        look = with_colours(LOOKS[base], {name: f"#{chosen.integers(0, 1 << 24):06x}" for name in names})
        look, pasted = with_colours(look, {"ground": ground}), []
        while shortfalls := find_shortfalls(look):
            (((name, colour),),) = alternatives(remedy_of(shortfalls[0][1]))
            assert (name, colour) not in pasted
            pasted.append((name, colour))
            look = with_colours(look, {name: colour.strip('"')})
        assert len(pasted) <= len(names) + 2


def test_a_ground_on_which_nothing_can_be_read_has_no_colour_to_offer():
    """Contrast is the geometric mean of black's and white's on a middle grey at best, some 4.6:1; ink needs 7:1."""
    ((name, message), *_) = find_shortfalls(with_colours(LOOKS["lamplight"], {"ground": "#767676"}))
    assert name == "ink"
    assert message.endswith("; choose a darker or a lighter ground")


def test_own_colours_are_in_the_pictures(session_with, say):
    folder = session_with(told(OWN))
    assert say("build", folder).status == 0
    seen = set()
    for picture in (folder / "out" / "cards").glob("*.png"):
        colours = Image.open(picture).convert("RGB").getcolors(1 << 20)
        seen |= {"#" + bytes(colour).hex() for _, colour in colours}
        assert "#" + bytes(max(colours)[1]).hex() == OWN["ground"]
    assert {OWN["ink"], OWN["soft"]} <= seen
    assert not {LOOKS["lamplight"].ink, LOOKS["lamplight"].soft} & seen


def test_short_colours_and_capitals_are_understood(session_with):
    look = prepare(session_with('ink = "#FFF"\nground = "#101418"')).series.look
    assert (look.ink, look.ground) == ("#ffffff", "#101418")


# ------------------------------------------------------------------ type


def drawn(folder):
    series = prepare(folder).series
    return [draw_pictures(card, Order(series.look, 1280, fonts=series.fonts))["cards"] for card in series.cards]


def test_own_type_is_drawn(session_with):
    serif = drawn(session_with('font = "own.ttf"', own="DejaVuSerif.ttf"))
    both = drawn(session_with('font = "own.ttf"\nbold_font = "fat.ttf"', fat="DejaVuSerif-Bold.ttf"))
    usual = drawn(session_with(""))
    assert len(serif) == len(both) == len(usual) == 2
    for pictures_of_one in zip(serif, both, usual, strict=True):
        assert len(set(pictures_of_one)) == 3


def test_what_own_type_lacks_is_taken_from_the_next(session_with):
    """cmr10 has Latin letters and no minus sign, dot or arrow: those come from the usual type, and boxes never."""
    folder = session_with('font = "own.ttf"', own="cmr10.ttf")
    assert len(drawn(folder)) == 2


@pytest.mark.parametrize(
    ("key", "source", "said"),
    [
        ("font", "LICENSE_DEJAVU", "is not a readable font; name a .ttf or .otf file"),
        ("font", "STIXSizFiveSymReg.ttf", "; name a font with Latin letters and digits"),
        ("bold_font", "LICENSE_DEJAVU", "is not a readable font; name a .ttf or .otf file"),
    ],
)
def test_files_that_are_no_type_are_refused(session_with, say, key, source, said):
    other = "" if key == "font" else 'font = "good.ttf"\n'
    folder = session_with(f'{other}{key} = "own.ttf"', own=source, good="DejaVuSans.ttf")
    ran = say("build", folder)
    assert ran.status == 2
    assert f'session.toml:{8 if other else 7}: [look] {key} = "own.ttf" ' in ran.err
    assert said in ran.err


def test_all_that_is_wrong_is_told_at_once(session_with, say):
    folder = session_with('soft = "#4a4f54"\nink = "#777777"\nfont = "own.ttf"', own="LICENSE_DEJAVU")
    ran = say("check", folder)
    assert [line for line in (7, 8, 9) if f"session.toml:{line}: " in ran.err] == [7, 8, 9]
