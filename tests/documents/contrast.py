"""Contrast of text and ground by WCAG 2: the ratio of relative luminances."""

import re

LEAST = 4.5  # level AA, text of normal size


def colours_of(css: str) -> dict[str, str]:
    """The custom properties of a block that are colours, by name."""
    return dict(re.findall(r"--([a-z-]+):\s*(#[0-9a-f]{3,6})", css))


def luminance(colour: str) -> float:
    """Relative luminance of '#rgb' or '#rrggbb'."""
    digits = colour[1:] if len(colour) == 7 else "".join(2 * c for c in colour[1:])
    channels = [int(digits[i : i + 2], 16) / 255 for i in (0, 2, 4)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def too_faint(colours: dict[str, str], pairs: list[tuple[str, str]]) -> list[str]:
    """Pairs of text and ground below the least contrast."""
    found = []
    for text, ground in pairs:
        dark, light = sorted((luminance(colours[text]), luminance(colours[ground])))
        ratio = (light + 0.05) / (dark + 0.05)
        if ratio < LEAST:
            found.append(f"{text} on {ground}: {ratio:.2f}")
    return found
