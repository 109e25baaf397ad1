"""The sentences that say what a step does, by its kind, and what a new step starts with.

A sentence names fields in braces, `{stops}`, and those of inner tables with a dot. Where a kind
has none, or a field that it names is gone, the page makes a plain sentence of the fields
themselves; so a new kind needs no text to be used.
"""

from __future__ import annotations

from typing import Any, Final

TITLES: Final[dict[str, str]] = {
    "exposure": "Light",
    "white-balance": "White",
    "matrix": "Channels",
    "lift-gamma-gain": "Black, middle, light",
    "cdl": "Ten numbers",
    "contrast": "Contrast",
    "saturation": "Colour",
    "tone-bands": "Tone",
    "hue-bands": "Hues",
    "curve": "Curve",
    "lut": "File",
    "gamut-compress": "Reach",
    "blend": "Blend",
    "film-print": "Print",
    "aces-2": "ACES 2",
}

SENTENCES: Final[dict[str, str]] = {
    "exposure": "Let in {stops} stops more light.",
    "white-balance": "A grey in light of {kelvin} K, {tint} towards green, becomes neutral.",
    "lift-gamma-gain": "Black moves by {lift}, the middle bends by {gamma}, light × {gain}; "
    "the level {white} stays.",
    "cdl": "Code × {slope}, and {offset} more, to the power {power}; colours × {saturation}.",
    "contrast": "One stop becomes {contrast} stops, around the level {pivot}.",
    "saturation": "Colours × {saturation}; the purest darken by {density} stops.",
    "tone-bands": "{bands}",
    "hue-bands": "{bands} Half of it acts at chroma {half_chroma}.",
    "curve": "Stops in become stops out: {points}",
    "gamut-compress": "Colours as far out as {limit} come back to the edge, from {threshold} of "
    "the way on, with a knee of {power}.",
    "matrix": "Red, green and blue are made of {matrix}.",
    "film-print": "One stop prints as {contrast}, black at density {black}, mid-grey at {grey}; "
    "highlights end as softly as {highlights}, shadows as {shadows}. Printer lights {lights}, hues "
    "held by {hold}.",
    "blend": "{weight} of this light. {branches}",
}

ROWS: Final[dict[tuple[str, str], str]] = {
    ("tone-bands", "bands"): "Around {centre} stops, spread over {width}: light {exposure} stops, "
    "leaning by {shift}, colours × {saturation}.",
    ("hue-bands", "bands"): "Hues around {centre}°, {width}° wide, edges {soft}°: turn {turn}°, "
    "colours × {saturation}, light {exposure} stops.",
    ("blend", "branches"): "{weight} of the light of {node}.",
}

STARTS: Final[dict[str, dict[str, Any]]] = {
    "exposure": {"stops": 0.0},
    "white-balance": {"kelvin": 6504},
    "tone-bands": {
        "bands": [
            {"centre": -4, "width": 2, "exposure": 0.0},
            {"centre": 0, "width": 2, "exposure": 0.0},
            {"centre": 4, "width": 2, "exposure": 0.0},
        ]
    },
    "hue-bands": {"bands": [{"centre": 40, "width": 60, "soft": 40, "turn": 0}]},
    "curve": {"points": [[-8, -8], [-4, -4], [0, 0], [4, 4], [8, 8]]},
}
"""What a step that is added on the page starts with, where its kind's defaults show nothing."""
