"""Contrast and colour-vision arithmetic. Colours are "#rrggbb" strings."""

from __future__ import annotations

from functools import cache

Triple = tuple[float, float, float]

# Machado, Oliveira & Fernandes 2009 (from memory), severity 100 %: they act on linear RGB; rows sum to one, so greys
# stay grey.
DEFICIENCIES: dict[str, tuple[Triple, Triple, Triple]] = {
    "protan": (
        (0.152286, 1.052583, -0.204868),
        (0.114503, 0.786281, 0.099216),
        (-0.003882, -0.048116, 1.051998),
    ),
    "deutan": (
        (0.367322, 0.860646, -0.227968),
        (0.280085, 0.672501, 0.047413),
        (-0.011820, 0.042940, 0.968881),
    ),
    "tritan": (
        (1.255528, -0.076749, -0.178779),
        (-0.078411, 0.930809, 0.147602),
        (0.004733, 0.691367, 0.303900),
    ),
}
# IEC 61966-2-1 (sRGB): linear RGB to CIE XYZ, and its white point D65
_TO_XYZ: tuple[Triple, Triple, Triple] = (
    (0.4124, 0.3576, 0.1805),
    (0.2126, 0.7152, 0.0722),
    (0.0193, 0.1192, 0.9505),
)
_WHITE: Triple = (0.95047, 1.0, 1.08883)


def linear_rgb(colour: str) -> Triple:
    """Convert an sRGB colour to linear RGB, 0 … 1 (IEC 61966-2-1, with the threshold of WCAG 2.2)."""
    red, green, blue = (_linear_part(int(colour[at : at + 2], 16) / 255) for at in (1, 3, 5))
    return red, green, blue


def _linear_part(code: float) -> float:
    return code / 12.92 if code <= 0.04045 else ((code + 0.055) / 1.055) ** 2.4


def _multiply(matrix: tuple[Triple, Triple, Triple], vector: Triple) -> Triple:
    """Multiply a matrix by a vector."""
    first, second, third = (sum(cell * part for cell, part in zip(row, vector, strict=True)) for row in matrix)
    return first, second, third


@cache
def luminance(colour: str) -> float:
    """Return the relative luminance of a colour, 0 (black) … 1 (white) (WCAG 2.x)."""
    red, green, blue = linear_rgb(colour)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio of two colours, 1 … 21: (lighter + 0.05) / (darker + 0.05) (WCAG 2.x, SC 1.4.3)."""
    darker, lighter = sorted((luminance(one), luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


def simulate_deficiency(colour: str, deficiency: str) -> Triple:
    """Convert a colour to linear RGB as seen with a full colour-vision deficiency.

    Parameters
    ----------
    colour : str
        "#rrggbb".
    deficiency : str
        "protan", "deutan" or "tritan".

    Returns
    -------
    tuple of float
        Red, green, blue, 0 … 1.

    Notes
    -----
    G. M. Machado, M. M. Oliveira and L. A. F. Fernandes, IEEE Trans. Vis. Comput. Graph. 15 (6), 2009.
    """
    red, green, blue = (min(max(part, 0.0), 1.0) for part in _multiply(DEFICIENCIES[deficiency], linear_rgb(colour)))
    return red, green, blue


@cache
def lab(linear_rgb: Triple) -> Triple:
    """Convert linear RGB to CIELAB, white point D65 (CIE 15: cube root above (6/29)³, straight line below)."""
    x, y, z = (part / white for part, white in zip(_multiply(_TO_XYZ, linear_rgb), _WHITE, strict=True))
    fx, fy, fz = (
        part ** (1 / 3) if part > (6 / 29) ** 3 else part / (3 * (6 / 29) ** 2) + 4 / 29 for part in (x, y, z)
    )
    return 116 * fy - 16, 500 * (fx - fy), 200 * (fy - fz)


def distance(one: Triple, other: Triple) -> float:
    """Return ΔE*ab (CIE 1976), the distance in CIELAB, of two colours given as linear RGB."""
    return float(sum((a - b) ** 2 for a, b in zip(lab(one), lab(other), strict=True)) ** 0.5)


def mix(colour: str, ground: str, share: float) -> str:
    """Return `colour` with a `share` (0 … 1) of `ground` mixed in, sRGB code by code."""
    parts = (
        round(int(colour[at : at + 2], 16) * (1 - share) + int(ground[at : at + 2], 16) * share) for at in (1, 3, 5)
    )
    return "#" + "".join(f"{part:02x}" for part in parts)


@cache
def palest(colour: str, ground: str, ratio: float, most: float = 0.6, on: str = "") -> str:
    """Return `colour` mixed with as much of `ground` as leaves the contrast `ratio`.

    Parameters
    ----------
    colour, ground : str
        The two colours.
    ratio : float
        Least contrast to `ground`.
    most : float
        Largest share of `ground`.
    on : str, optional
        Another ground on which the contrast must hold.

    Returns
    -------
    str
        The paler colour; `colour` itself if no share does.
    """
    for percent in range(round(most * 100), 0, -1):
        paler = mix(colour, ground, percent / 100)
        if all(contrast(paler, under) >= ratio for under in (ground, on or ground)):
            return paler
    return colour


def reach_contrast(colour: str, ground: str, ratio: float) -> str:
    """Return `colour` with the least white or black that gives the contrast `ratio`; "" if neither does."""
    for percent in range(101):
        for pole in ("#ffffff", "#000000"):
            other = mix(colour, pole, percent / 100)
            if contrast(other, ground) >= ratio:
                return other
    return ""
