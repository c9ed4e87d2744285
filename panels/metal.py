"""Sheet metals, gauges and thickness tolerance: the figures a blank is worked out with.

Words used here
    alloy, temper   what the sheet is, and how hard it is supplied: 3003 in temper H14
    kind            ``aluminium``, ``steel`` or ``stainless``
    elongation      percent stretch at break in the supplier's pull test, over 50 mm
                    (aluminium, stainless) or 80 mm (EN steels), neck included. It is not a
                    strain a panel can take everywhere.
    n               strain hardening exponent: the larger, the more evenly metal stretches
    gauge           a number that names a thickness, a different one in each system:
                    18 ga is 1.214 mm in steel and 1.024 mm in aluminium

Thickness in mm, density in kg/m3, moduli in GPa, strengths in MPa, elongation in percent.
``None`` means that no figure was found that could be checked.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable
from dataclasses import dataclass

from panels._bend_checks import check_thickness
from panels.errors import UnknownGauge, UnknownMetal

__all__ = [
    "GAUGE_SYSTEMS",
    "METALS",
    "Metal",
    "NearestGauge",
    "gauge_thickness",
    "lookup_metal",
    "nearest_gauge",
    "sheet_mass",
    "thickness_tolerance",
]

MM_PER_INCH = 25.4


@dataclass(frozen=True)
class Metal:
    """One sheet metal in one temper, with where its figures come from."""

    name: str
    alloy: str
    temper: str
    kind: str  # aluminium, steel or stainless
    density: float  # kg/m3
    youngs_modulus: float  # GPa
    yield_strength: float  # MPa; for EN 10130 steels the upper limit
    elongation: float  # percent
    elongation_basis: str
    n: float | None
    figures: str  # typical, or standard limits, or specified minimum
    sources: tuple[str, ...]

    @property
    def gauge_system(self) -> str:
        """The gauge system this metal is sold by: aluminium, steel or stainless."""
        return self.kind


# Sources, named once. "memory" marks a figure that was not read on a page.
_KUTZ = (
    "Kutz, Handbook of Materials Selection, p. 101 Table 5 "
    "(Aluminum Association typical values); a second page agrees"
)
_AA_5052 = "Aluminum Association typical values for 5052; two further pages agree"
_SHEETS_5052_H32 = "two suppliers' data sheets for 5052-H32 that agree"
_SHEETS_6061 = "two suppliers' data pages for 6061 that agree"
_N_TABLE = "n: one published table of strain hardening exponents"
_N_LOW = _N_TABLE + " (0.13 looks low for an O temper; kept as the cautious figure)"
_EN10130 = "EN 10130:2006 limits as printed by Tata Steel"
_STEEL_MEMORY = "density and Young's modulus from memory"
_CALLISTER = (
    "n: Callister, Fundamentals of Materials Science and Engineering, 2nd ed. (2005), p. 199, as quoted"
)
_ASTM304 = "ASTM A240 / A213 minimum on three makers' pages"

_AL_BASIS = "over 50 mm, 1.6 mm sheet"
_A80 = "A80, least value, over 0.7 mm"


def _aluminium(
    alloy: str,
    temper: str,
    density: float,
    modulus: float,
    proof: float,
    elongation: float,
    n: float | None,
    *sources: str,
) -> Metal:
    return Metal(
        name=f"{alloy}-{temper}",
        alloy=alloy,
        temper=temper,
        kind="aluminium",
        density=density,
        youngs_modulus=modulus,
        yield_strength=proof,
        elongation=elongation,
        elongation_basis=_AL_BASIS,
        n=n,
        figures="typical",
        sources=sources,
    )


def _drawing_steel(name: str, proof: float, elongation: float, n: float | None, *sources: str) -> Metal:
    return Metal(
        name=name,
        alloy=name,
        temper="as supplied",
        kind="steel",
        density=7850.0,
        youngs_modulus=210.0,
        yield_strength=proof,
        elongation=elongation,
        elongation_basis=_A80,
        n=n,
        figures="standard limits",
        sources=(*sources, _STEEL_MEMORY),
    )


METALS: tuple[Metal, ...] = (
    _aluminium("1100", "O", 2710, 68.9, 34, 35, 0.20, _KUTZ, _N_TABLE),
    _aluminium("1100", "H14", 2710, 68.9, 117, 9, None, _KUTZ),
    _aluminium("3003", "O", 2730, 68.9, 41, 30, None, _KUTZ),
    _aluminium("3003", "H14", 2730, 68.9, 145, 8, None, _KUTZ),
    _aluminium("5052", "O", 2680, 70.3, 90, 25, 0.13, _AA_5052, _N_LOW),
    _aluminium("5052", "H32", 2680, 70.3, 193, 12, None, _SHEETS_5052_H32),
    _aluminium("6061", "O", 2700, 68.9, 55, 25, 0.20, _SHEETS_6061, _N_TABLE),
    _aluminium("6061", "T6", 2700, 68.9, 276, 12, 0.05, _SHEETS_6061, _N_TABLE),
    _drawing_steel("DC01", 280, 28, None, _EN10130),
    _drawing_steel("DC03", 240, 34, None, _EN10130),
    _drawing_steel("DC04", 210, 38, 0.18, _EN10130, "n90: maker's leaflet to EN 10130:1999"),
    _drawing_steel("DC05", 180, 40, 0.21, "EN 10130:1999 limits and n90 as printed in a maker's leaflet"),
    _drawing_steel("DC06", 170, 41, 0.22, _EN10130, "n90: the same maker's page"),
    Metal(
        name="mild steel",
        alloy="low-carbon steel",
        temper="cold rolled, annealed",
        kind="steel",
        density=7850.0,
        youngs_modulus=210.0,
        yield_strength=280.0,
        elongation=28.0,
        elongation_basis=_A80 + ", taken from DC01, the plainest cold-rolled grade",
        n=0.21,
        figures="typical",
        sources=(_CALLISTER, "yield and elongation: DC01, " + _EN10130, _STEEL_MEMORY),
    ),
    Metal(
        name="304",
        alloy="304",
        temper="annealed",
        kind="stainless",
        density=8000.0,
        youngs_modulus=193.0,
        yield_strength=205.0,
        elongation=40.0,
        elongation_basis="over 50 mm",
        n=0.44,
        figures="specified minimum",
        sources=(_ASTM304, _CALLISTER),
    ),
)

# Words that say nothing further once the alloy is named.
_FILLER = {"aluminium", "aluminum", "alu", "al", "alloy", "steel", "stainless", "ss", "sheet", "temper"} | {
    *("en", "aw", "aisi", "astm", "sae", "iso", "grade")
}
_ALIASES = {
    "mild": "mild steel",
    "ms": "mild steel",
    "cr": "mild steel",
    "crs": "mild steel",
    "crca": "mild steel",
    "coldrolled": "mild steel",
    "lowcarbon": "mild steel",
    "carbon": "mild steel",
    "304annealed": "304",
    "inox304": "304",
}


def _squeeze(text: str) -> str:
    """Lower case, filler words dropped, punctuation dropped: ``EN AW-3003 H14`` gives ``3003h14``."""
    words = re.findall(r"[a-z0-9]+", text.lower())
    kept = "".join(word for word in words if word not in _FILLER)
    # A zero typed for the letter O of the annealed temper.
    return re.sub(r"^(\d{4})0$", r"\1o", kept)


_BY_KEY = {_squeeze(metal.name): metal for metal in METALS} | {
    key: metal for key, name in _ALIASES.items() for metal in METALS if metal.name == name
}


def lookup_metal(name: str | Metal) -> Metal:
    """The metal a shop means by a name such as ``3003-H14``, ``aluminium 3003 H14`` or ``CR steel``.

    Raises
    ------
    UnknownMetal
        With ``.given``, ``.known`` (every name in the table) and ``.suggestions``.

    Examples
    --------
    >>> lookup_metal("EN AW-3003 H14").name
    '3003-H14'
    >>> lookup_metal("cold-rolled steel").name
    'mild steel'
    """
    if isinstance(name, Metal):
        return name
    text = str(name)
    found = _BY_KEY.get(_squeeze(text))
    if found is None and text.strip().lower() in ("steel", "sheet steel"):
        found = _BY_KEY["mild"]
    if found is None:
        raise _unknown_metal(text)
    return found


def _unknown_metal(text: str) -> UnknownMetal:
    known = tuple(metal.name for metal in METALS)
    suggestions = _suggest_metals(text)
    if suggestions:
        hint = "did you mean " + _either(suggestions) + "?"
    else:
        hint = "write one of the names listed, alloy and temper together"
    message = f"Metal {text!r} is not in the table.\n\n  listed   {', '.join(known)}\n\nhint: {hint}"
    return UnknownMetal(message, given=text, known=known, suggestions=suggestions)


def _suggest_metals(text: str) -> tuple[str, ...]:
    key = _squeeze(text)
    if not key:  # only a filler word was typed: offer that kind
        typed = text.lower()
        kind = "stainless" if "stainless" in typed else "aluminium" if "al" in typed else "steel"
        return tuple(metal.name for metal in METALS if metal.kind == kind)
    alloy = re.match(r"\d{3,4}", key)
    if alloy:
        same = tuple(metal.name for metal in METALS if metal.alloy == alloy.group())
        if same:
            return same
    near = difflib.get_close_matches(key, list(_BY_KEY), n=3, cutoff=0.6)
    return tuple(dict.fromkeys(_BY_KEY[match].name for match in near))


def _either(names: Iterable[str]) -> str:
    *most, last = names
    return f"{', '.join(most)} or {last}" if most else last


def sheet_mass(area: float, thickness: float, metal: str | Metal) -> float:
    """Mass in kg of a sheet of ``area`` mm2 and ``thickness`` mm."""
    return area * thickness * lookup_metal(metal).density * 1e-9


# Gauges, decimal inches as printed on charts. Steel: manufacturers' standard gauge, the weight
# of the US standard gauge over 41.82 lb per ft2 and inch. Galvanized: the same plus 2.5 oz per
# ft2. Stainless: US standard gauge, exact fractions of an inch. Aluminium: Brown & Sharpe,
# 0.005 * 92**((36 - n) / 39). Even gauges 10-24 and 11: two printed charts agree and the
# definitions reproduce them; 13, 26, 28, 30: one chart and the definition; 15, 17, 19, 21, 23,
# 25: worked out from the definition.
_GAUGE_ROWS = (
    # gauge, steel, galvanized, stainless, aluminium
    (10, 0.1345, 0.1382, 0.1406, 0.1019),
    (11, 0.1196, 0.1233, 0.1250, 0.0907),
    (12, 0.1046, 0.1084, 0.1094, 0.0808),
    (13, 0.0897, 0.0934, 0.0937, 0.0720),
    (14, 0.0747, 0.0785, 0.0781, 0.0641),
    (15, 0.0673, 0.0710, 0.0703, 0.0571),
    (16, 0.0598, 0.0635, 0.0625, 0.0508),
    (17, 0.0538, 0.0575, 0.0563, 0.0453),
    (18, 0.0478, 0.0516, 0.0500, 0.0403),
    (19, 0.0418, 0.0456, 0.0437, 0.0359),
    (20, 0.0359, 0.0396, 0.0375, 0.0320),
    (21, 0.0329, 0.0366, 0.0344, 0.0285),
    (22, 0.0299, 0.0336, 0.0312, 0.0253),
    (23, 0.0269, 0.0306, 0.0281, 0.0226),
    (24, 0.0239, 0.0276, 0.0250, 0.0201),
    (25, 0.0209, 0.0247, 0.0219, 0.0179),
    (26, 0.0179, 0.0217, 0.0187, 0.0159),
    (28, 0.0149, 0.0187, 0.0156, 0.0126),
    (30, 0.0120, 0.0157, 0.0125, 0.0100),
)
GAUGE_SYSTEMS = ("steel", "galvanized", "stainless", "aluminium")
_SYSTEM_SPELLINGS = {"galvanised": "galvanized", "aluminum": "aluminium", "alu": "aluminium"}
_GAUGES = {
    system: {row[0]: float(row[column]) * MM_PER_INCH for row in _GAUGE_ROWS}
    for column, system in enumerate(GAUGE_SYSTEMS, start=1)
}


@dataclass(frozen=True)
class NearestGauge:
    """The gauge closest to a thickness; ``difference`` = wanted thickness less gauge thickness, mm."""

    gauge: int
    system: str
    thickness: float
    difference: float


def gauge_thickness(gauge: int | str, system: str) -> float:
    """Thickness in mm of a gauge number in one system.

    Parameters
    ----------
    gauge : int or str
        18, ``"18"``, ``"18 ga"`` or ``"18 gauge"``; 10 to 26, 28 and 30 are listed.
    system : str
        One of ``GAUGE_SYSTEMS``; ``Metal.gauge_system`` gives it for a metal.

    Raises
    ------
    UnknownGauge
        Not a listed gauge or system; carries ``.known``.

    Examples
    --------
    >>> round(gauge_thickness("18 ga", "steel"), 3), round(gauge_thickness(18, "aluminium"), 3)
    (1.214, 1.024)
    """
    table = _gauge_table(system)
    match = re.fullmatch(r"\s*#?\s*(\d+)\s*(ga|gauge|g|swg)?\.?\s*", str(gauge).lower())
    number = int(match.group(1)) if match and match.group(2) != "swg" else None
    if number not in table:
        known = tuple(table)
        listed = ", ".join(map(str, known))
        raise UnknownGauge(
            f"Gauge {gauge!r} is not in the {system} table.\n\n  listed   {listed}\n\n"
            "hint: write the thickness itself, such as 1.6 mm or 0.063 in",
            given=gauge,
            known=known,
        )
    return table[number]


def nearest_gauge(thickness: float, system: str) -> NearestGauge:
    """The listed gauge closest to a thickness in mm, for printing beside it."""
    table = _gauge_table(system)
    check_thickness(thickness)
    gauge = min(table, key=lambda number: abs(table[number] - thickness))
    return NearestGauge(gauge, _system_name(system), table[gauge], thickness - table[gauge])


def _system_name(system: str) -> str:
    lower = str(system).strip().lower()
    return _SYSTEM_SPELLINGS.get(lower, lower)


def _gauge_table(system: str) -> dict[int, float]:
    table = _GAUGES.get(_system_name(system))
    if table is None:
        raise UnknownGauge(
            f"Gauge system {system!r} is not known.\n\n  listed   {', '.join(GAUGE_SYSTEMS)}\n\n"
            "hint: the same gauge number is a different thickness in each metal, so name the metal",
            given=system,
            known=GAUGE_SYSTEMS,
        )
    return table


# Thickness tolerance, mm: (up to thickness, narrow sheet, wide sheet). Steel: EN 10131:2006,
# Re below 260 MPa, normal class; narrow = to 1200 mm, wide = to 1500 mm. Aluminium: EN 485-4,
# group I and II; narrow = to 1000 mm, wide = to 1250 mm. From 0.8 mm upward only.
_TOLERANCES = {
    "steel": ((1.0, 0.05, 0.06), (1.2, 0.06, 0.07), (1.6, 0.08, 0.09), (2.0, 0.10, 0.11), (2.5, 0.12, 0.13)),
    "I": (
        (1.0, 0.04, 0.06),
        (1.2, 0.04, 0.07),
        (1.5, 0.05, 0.09),
        (1.8, 0.06, 0.10),
        (2.0, 0.06, 0.11),
        (2.5, 0.07, 0.12),
    ),
    "II": (
        (1.0, 0.05, 0.08),
        (1.2, 0.05, 0.09),
        (1.5, 0.07, 0.11),
        (1.8, 0.08, 0.12),
        (2.0, 0.09, 0.13),
        (2.5, 0.10, 0.14),
    ),
}
_TOLERANCE_WIDTHS = {"steel": (1200.0, 1500.0), "I": (1000.0, 1250.0), "II": (1000.0, 1250.0)}
_EN485_GROUP = {"3003": "I", "1100": "I", "5052": "II", "6061": "II"}  # 1100: from memory


def thickness_tolerance(thickness: float, metal: str | Metal, width: float = 1000.0) -> float | None:
    """How far, in mm either way, a sheet of this nominal thickness may be off.

    ``width`` is the sheet's width in mm. ``None`` where the standards read do not say: stainless,
    0.8 mm and under, over 2.5 mm, or a wider sheet. EN 10131:2006 and EN 485-4.
    """
    found = lookup_metal(metal)
    table = {"steel": "steel", "aluminium": _EN485_GROUP.get(found.alloy)}.get(found.kind)
    if table is None or not 0.8 < thickness <= 2.5:
        return None
    narrow, wide = _TOLERANCE_WIDTHS[table]
    if width > wide:
        return None
    row = next(row for row in _TOLERANCES[table] if thickness <= row[0])
    return row[1] if width <= narrow else row[2]
