"""Published values of encodings and displays, each with its source and the evidence for it.

Evidence: V seen in an official copy; V2 in a copy that quotes the source; M from memory;
C as colour-science 0.4.7 computes it; O as OpenColorIO 2.6.0 does.
"""

from typing import NamedTuple


class Codes10(NamedTuple):
    """10-bit code values as a maker prints them, for reflectances in percent."""

    encoding: str
    percent: tuple[float, ...]
    codes: tuple[int, ...]
    source: str
    evidence: str


CODES_10_BIT = [
    Codes10("LogC3 EI800", (18,), (400,), "ALEXA Log C Curve: Usage in VFX, maker's page", "V"),
    Codes10("S-Log3/S-Gamut3", (0, 18, 90), (95, 420, 598), "S-Log3 technical summary", "V2"),
    Codes10("S-Log2/S-Gamut", (0, 18, 90), (90, 347, 582), "S-Log2 technical paper p. 6", "V2"),
    Codes10("V-Log", (0, 18, 90), (128, 433, 602), "V-Log reference manual, fig. 2.2", "V2"),
    Codes10("Canon Log", (0, 2, 18, 90, 720), (128, 169, 351, 614, 1016), "white paper", "V2"),
    Codes10("F-Log", (0, 18, 90), (95, 470, 705), "F-Log data sheet", "V2"),
    Codes10("F-Log2", (0, 18, 90), (95, 400, 570), "F-Log2 data sheet", "V2"),
    Codes10("F-Log2 C", (0, 18, 90), (95, 400, 570), "the curve of F-Log2", "V2"),
    Codes10("S-Log/S-Gamut", (0, 18, 90), (90, 394, 636), "S-Log white paper", "M, C"),
    Codes10("L-Log", (18,), (445,), "L-Log reference manual", "M, C"),
    Codes10("ACESproxy10", (18,), (426,), "Academy S-2013-001", "M, C"),
    Codes10("ADX10", (18,), (445,), "Academy S-2008-002: density 0.70 above D-min", "V"),
    Codes10("Printing density, grey 445", (18,), (445,), "H-387, laboratory aim density", "V2"),
]

V_LOG_12_BIT = ((0, 18, 90), (512, 1732, 2408))
"""V-Log reference manual, fig. 2.2 (V2): four times the 10-bit codes, not 4095ths."""


class Level(NamedTuple):
    """The code of one reflectance or light."""

    encoding: str
    light: float
    code: float
    source: str
    evidence: str


def _three(encoding: str, zero: float, grey: float, white: float, evidence: str) -> list[Level]:
    lights = zip((0, 0.18, 0.90), (zero, grey, white), strict=True)
    return [Level(encoding, light, code, "published equation", evidence) for light, code in lights]


LEVELS = [
    *_three("LogC3 EI800", 0.092809, 0.391007, 0.559432, "C"),
    *_three("LogC4", 0.092864, 0.278396, 0.417959, "V equation, C"),
    *_three("S-Log3/S-Gamut3.Cine", 0.092864, 0.410557, 0.584453, "C"),
    *_three("S-Log2/S-Gamut", 0.088251, 0.339533, 0.568950, "C"),
    *_three("V-Log", 0.125, 0.423311, 0.588167, "C"),
    *_three("Canon Log", 0.125122, 0.343390, 0.599814, "C"),
    *_three("Canon Log 2", 0.092864, 0.398255, 0.562304, "V equation, C"),
    *_three("Canon Log 3", 0.125122, 0.343389, 0.564474, "V equation, C"),
    *_three("Log3G10", 0.091551, 0.333333, 0.483361, "V equation, C"),
    *_three("F-Log", 0.092864, 0.459318, 0.689503, "C"),
    *_three("F-Log2", 0.092864, 0.391007, 0.557132, "C"),
    *_three("N-Log", 0.124373, 0.363668, 0.589634, "V2 formula, C"),
    *_three("D-Log", 0.0929, 0.398765, 0.572944, "V equation, C"),
    *_three("BMDFilm Gen 5", 0.092466, 0.383562, 0.521384, "V equation, C"),
    *_three("Apple Log", 0.150476, 0.488272, 0.681687, "V equation, C"),
    *_three("S-Log/S-Gamut", 0.088251, 0.384971, 0.622181, "C"),
    *_three("L-Log", 0.090000, 0.435314, 0.619557, "C"),
    *_three("Mi-Log", 0.147427, 0.453460, 0.660868, "C"),
    *_three("REDLog", 0.0, 0.637622, 0.977383, "C"),
    *_three("REDLogFilm", 0.092864, 0.457320, 0.656333, "C"),
    *_three("Panalog", 0.062561, 0.374577, 0.646682, "C"),
    *_three("Protune", 0.0, 0.645623, 0.977921, "C"),
    *_three("Log3G12", 0.0, 0.333333, 0.461557, "C"),
    Level("Log3G12", 737.28, 0.999998, "its name: twelve stops over grey end at 1", "M, C"),
    Level("ViperLog", 0.18, 0.636008, "published equation", "C"),
    Level("ViperLog", 0.90, 0.977636, "published equation", "C"),
    Level("Filmic Pro 6", 0.18, 0.606635, "published equation", "C"),
    Level("Filmic Pro 6", 0.90, 0.969917, "published equation", "C"),
    *_three("S-Log3/S-Gamut3, Venice", 0.092864, 0.410557, 0.584453, "C"),
    *_three("S-Log3/S-Gamut3.Cine, Venice", 0.092864, 0.410557, 0.584453, "C"),
    *_three("Apple Log/Apple Wide Gamut", 0.150476, 0.488272, 0.681687, "V equation, C"),
    *_three("ACEScc", -0.358447, 0.413588, 0.546119, "V, S-2014-003"),
    *_three("ACEScct", 0.072906, 0.413588, 0.546119, "V, S-2016-001"),
    Level("ADX10", 0.18, 0.434995, "Academy S-2008-002", "V, O"),
    Level("Log3G10", 184.32, 1.0, "white paper: ten stops above grey", "V2"),
    Level("BMDFilm Gen 5", 222.86, 1.0, "generation 5 colour science", "M"),
    Level("Apple Log", 12.0, 1.0, "published equation", "C"),
    Level("ACEScct", 222.86, 1.0, "S-2016-001", "V"),
    Level("BT.709 camera", 0.18, 0.409008, "BT.709 item 1.2", "M, C"),
    Level("BT.709 camera", 0.90, 0.949110, "BT.709 item 1.2", "M, C"),
    Level("sRGB", 0.18, 0.461356, "IEC 61966-2-1", "M, C"),
    Level("sRGB", 0.5, 0.735357, "IEC 61966-2-1", "M, C"),
    Level("HLG camera", 1.0, 0.75, "BT.2408: a perfect white at 75 %", "V2"),
]

ELSEWHERE = {
    "LogC3": "every constant against the maker's table",
    "BT.2020 camera": "solves the recommendation's equations",
    "PQ camera": "ITU-R BT.2408, table 1",
    "ADX16": "densities of ADX10",
    "ACESproxy12": "codes of 12 bits, below",
    "Printing density, white 685": "the codes in its name",
    "Display P3": "the curve of sRGB",
    "Adobe RGB": "against colour-science, with the next two",
    "ProPhoto RGB": "",
    "ACES2065-1": "light is the code",
    "ACEScg": "",
    "Linear": "",
}
"""Beginnings of names whose published values other tests check, and how."""

AP0_VECTORS = {
    "LogC3 EI800": (0.401621, 0.236455, 0.064830),
    "LogC4": (1.786878, 0.743019, 0.232840),
    "S-Log3/S-Gamut3": (0.342260, 0.172043, 0.057188),
    "S-Log3/S-Gamut3.Cine": (0.314943, 0.170408, 0.046855),
    "V-Log": (0.306919, 0.148128, 0.046334),
    "Canon Log 2": (0.408436, 0.197487, 0.034205),
    "Canon Log 3": (0.496035, 0.301015, 0.083692),
    "Log3G10": (0.887988, 0.416932, -0.025442),
    "Apple Log": (0.153335, 0.083515, 0.032948),
}
"""AP0 of code (0.5, 0.4, 0.3): the values of OpenColorIO's own tests (V)."""

BT709_TO_AP0 = [
    [0.439632981919, 0.382988698152, 0.177378319929],
    [0.089776442959, 0.813439428749, 0.096784128292],
    [0.017541170383, 0.111546553302, 0.870912276314],
]
"""Recommendation for the interchange of colour spaces, ASWF Color Interop Forum (V)."""

BT2020_TO_AP0 = [
    [0.679085634707, 0.157700914643, 0.163213450650],
    [0.046002003080, 0.859054673003, 0.094943323917],
    [-0.000573943188, 0.028467768408, 0.972106174780],
]
"""The same (V)."""

PQ_LEVELS = {
    1: 0.149946,
    10: 0.299699,
    48: 0.436408,
    100: 0.508078,
    203: 0.580689,
    1000: 0.751827,
    4000: 0.902572,
    10000: 1.0,
}
"""cd/m2 to signal: constants of SMPTE ST 2084 (V2), values C."""

BT2408_TABLE_1 = [
    (0.18, 26, 38, 38),
    (0.83, 162, 56, 71),
    (0.90, 179, 57, 73),
    (1.00, 203, 58, 75),
]
"""Reflectance; cd/m2, % PQ and % HLG on a 1000 cd/m2 display: ITU-R BT.2408 table 1
(100 % row V2, others M)."""
