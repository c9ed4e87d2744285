"""Each blank on the job sheet: its flat, what to stretch and shrink, its edges and folds."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING, Any

from ..strip import SIZE_MM
from ..units import show_inches, show_thickness
from .cutting_hold import STAYS, strip_source, strips_of
from .ends import ends_of
from .flat_svg import flat_svg
from .jobsheet_html import Cell, facts, mm, num, table, text
from .jobsheet_key import pieces_key
from .roll_svg import rolls_table
from .slit_svg import slit_edges, slit_section
from .words import (
    AS_IT_IS,
    angles,
    difficulty,
    difficulty_limits,
    fixed,
    grain,
    length,
    mass,
    percent,
    piece_part,
    size,
)
from .zones import Zone, strain_zones, worst_places, zone_twin

if TYPE_CHECKING:
    from collections.abc import Sequence

    from panels.blank import Blank

    from ..work import Work
    from .blankface import Face

__all__ = ["pieces_section"]

KINDS = {
    "formed": "formed (crowned)",
    "rolled": "rolled (bends one way)",
    "folded": "folded on a brake",
    "flat": "flat plate",
}

WAYS = {"up": "up, towards the good face", "down": "down, away from it"}


def _work_words(blank: Blank) -> str:
    """How a blank is shaped; a tunnel's top may be rolled before its legs are folded, or with no fold at all."""
    if blank.kind == "folded" and blank.rolls:
        return "rolled, then folded on a brake" if blank.folds else "rolled, without a fold"
    return KINDS.get(blank.kind, blank.kind)


def pieces_section(work: Work, got: dict[str, Any], faces: Sequence[Face] | None = None) -> str:
    """Every blank, one after another, in the order of the cut list."""
    limits = difficulty_limits(work.job)
    if faces is None:
        zones = [() if blank.flat is None else strain_zones(blank.flat, limits) for blank in work.blanks]
    else:
        zones = [face.zones for face in faces]
    cards = [
        _piece(work, blank, row, of_it, limits)
        for blank, row, of_it in zip(work.blanks, got["blanks"], zones, strict=True)
    ]
    formed = any(blank.kind == "formed" for blank in work.blanks)
    folded = any(blank.folds for blank in work.blanks)
    rolled = any(blank.rolls for blank in work.blanks)
    stays = any(edge.joint in STAYS for blank in work.blanks for edge in blank.edges)
    key = pieces_key(limits, formed=formed, folded=folded, rolled=rolled, stays=stays)
    return f"{key}{''.join(cards)}{_strips(work, got)}"


def _strips(work: Work, got: dict[str, Any]) -> str:
    """How to find the shop's own K with a strip of the same sheet, before the folded pieces are cut."""
    made = []
    unit = got["job"]["unit"]
    for strip, cut in zip(got["test_strips"], strips_of(work), strict=False):
        heads = ("K", *(fixed(row["k_factor"], 2) for row in strip["read_k"]))
        rows = [(text("if the legs add up to, mm"), *(mm(row["legs_mm"], unit, 2) for row in strip["read_k"]))]
        long, wide = (escape(length(value, unit)) for value in SIZE_MM[work.job.unit])
        angle, k = fixed(strip["angle_deg"], 0), fixed(strip["k_factor"], 3)
        radius = escape(length(strip["inside_radius_mm"], unit))
        legs = escape(length(strip["legs_mm"], unit, 2))
        ways = {None: "the grain any way", 0.0: f"the grain along the {long}", 90.0: f"the grain across the {long}"}
        runs = ways.get(cut.grain_deg, "the grain as on the piece")
        made.append(
            f"<p>Cut a strip {long} long and {wide} wide, {runs}, before anything else: "
            f"{escape(strip_source(work, cut))}. Fold it in the middle by {angle}° over the tool you will use, inside "
            f"radius {radius}. Measure both legs to the outside and add them. The blanks are worked out for {legs}, "
            f"K {k}.</p>"
            f"{table(heads, rows)}"
        )
    if not made:
        return ""
    return (
        f'<article class="piece" id="strip"><h3>Test strip for the folds</h3>{"".join(made)}<p>If yours differs by '
        f"more than {escape(length(0.1, unit))}, hold the folded pieces back and tell whoever makes the papers which K "
        "stands beside your figure; when the papers are made again, take the new blanks. <small>(They write it in "
        "shop.toml under [[bend.strip]].)</small></p></article>"
    )


def _piece(
    work: Work, blank: Blank, row: dict[str, Any], zones: tuple[Zone, ...], limits: tuple[float, float, float]
) -> str:
    unit, number = work.job.unit, row["piece"]
    picture = flat_svg(blank, zones, number_of_piece=number, name=f"flat{number}", unit=unit, ends=ends_of(work, blank))
    mirrored = f", true mirror of {escape(blank.mirrors)}" if blank.mirrors else ""
    head = f'<h3><span class="num">{number}</span>{escape(blank.name)}</h3>'
    other = bool(blank.metal) or abs(blank.thickness - work.job.thickness) > 1e-6
    what = [
        ("Side", escape(blank.hand) + mirrored),
        ("Work", escape(_work_words(blank))),
        ("Metal", escape(f"{blank.metal or work.job.metal.name}, {show_thickness(blank.thickness, unit)}") * other),
        ("Size as cut", escape(size(row["width_mm"], row["height_mm"], unit))),
        ("Grain", escape(grain(blank))),
        ("Mass as cut", escape(mass(row["mass_kg"], unit, 2))),
        ("On sheet", escape(", ".join(map(str, row["sheets"])) or "none: see the first page")),
    ]
    notes = "".join(f"<p><strong>Note.</strong> {escape(note[:1].upper() + note[1:])}</p>" for note in blank.notes)
    caption = f"Piece {number}, {escape(blank.name)}, good face up. Figures in mm."
    names = [other.name for other in work.blanks]
    slits = _slits(work, blank, number, names)
    twin = names.index(blank.mirrors) + 1 if blank.mirrors in names else 0
    return (
        f'<article class="piece {escape(blank.kind)}" id="piece{number}">{head}{facts(what)}{notes}'
        f'<div class="shown"><div class="pictures{" two" if slits.startswith("<figure") else ""}">'
        f'<figure class="main">{picture}<figcaption>{caption}</figcaption></figure>{slits}</div>'
        f'<div class="tables">{_zones(blank, row, zones, limits, unit, twin)}</div></div>'
        f'<div class="tables">{_folds(row, unit)}{rolls_table(blank, unit)}{_edges(row, unit, names)}'
        "</div></article>"
    )


def _zones(
    blank: Blank,
    row: dict[str, Any],
    zones: tuple[Zone, ...],
    limits: tuple[float, float, float],
    unit: str,
    twin: int = 0,
) -> str:
    """What to stretch and shrink, in words and numbers; the worst of each has a row, in a zone or as a spot.

    ``twin``: the piece that this one mirrors, which has said what the sheet is asked for; 0 for none.
    """
    strain = row["strain"]
    if strain is None:
        return ""
    worst = {key: strain[f"{key}_worst_percent"] for key in ("stretch", "shrink")}
    told = [f"most {key} {fixed(value)} %" for key, value in worst.items() if strain[f"{key}_worst_at_mm"] is not None]
    lead = (
        f"<p><strong>{escape(strain['difficulty'].capitalize())}</strong> by hand: {'; '.join(told) or 'no strain'}. "
        f"Mean over the blank: {_signed(strain['most_stretched_way_mean_percent'])} the one way, "
        f"{_signed(strain['most_shrunk_way_mean_percent'])} the other; {fixed(strain['left_be_percent'], 0)} % of it "
        "is left be.</p>"
    )
    assert blank.flat is not None
    flat = blank.flat
    whole = sum(zone.area for zone in zones) or 1.0
    corner = blank.outline.bounds[:2]
    rows = [
        (
            text(k),
            text(zone.kind),
            Cell(f"{percent(abs(zone.mean))}", True),
            Cell(f"{percent(abs(zone.worst))}", True),
            _places((zone.worst_at, *zone_twin(flat, zone)), corner, unit),
            Cell(f"{_plus(zone.along)} / {_plus(zone.across)} %", True),
            Cell(f"{fixed(100 * zone.area / whole, 0)} %", True),
            text(difficulty(zone.worst, limits)),
        )
        for k, zone in enumerate(zones, 1)
        if zone.kind != "leave"
    ]
    for place in worst_places(flat):
        listed = max((abs(zone.worst) for zone in zones if zone.kind == place.kind), default=0.0)
        if abs(place.share) > listed + 0.0005:
            rows.append(
                (
                    text("spots" if len(place.at) > 1 else "spot"),
                    text(place.kind),
                    text(""),
                    Cell(percent(abs(place.share)), True),
                    _places(place.at, corner, unit),
                    text(""),
                    text(""),
                    text(difficulty(place.share, limits)),
                )
            )
    if twin:
        lead += f'<p><strong>The sheet:</strong> as <a href="#piece{twin}">piece {twin}</a>, its mirror.</p>'
    else:
        lead += _sheet(strain["sheet"])
    if not rows:
        return lead
    heads = ("Zone", "Do", "Mean", "Worst", "Worst at, mm: left / up", "Along / across", "Share", "Work")
    return lead + table(heads, rows, kind="named")


def _sheet(load: dict[str, Any]) -> str:
    """What the sheet is asked for beside what is published about it."""
    told = load["forming_limit_from"]
    source = f" <small>Limit: {escape(told)}.</small>" if told else ""
    return (
        f"<p><strong>The sheet.</strong> {escape(load['words'][:1].upper() + load['words'][1:])} "
        f"{escape(load['thickness'][:1].upper() + load['thickness'][1:])}.{source}</p>"
    )


def _plus(share: float) -> str:
    """``+1.2`` or ``\u22120.4``, percent."""
    text = fixed(abs(100 * share))
    return text if float(text) == 0 else f"{'+' if share > 0 else chr(0x2212)}{text}"


def _slits(work: Work, blank: Blank, number: int, names: list[str]) -> str:
    """The slit card, or for a left-hand piece whose it is the mirror of."""
    slit = work.slit_patterns.get(blank.name)
    if slit is not None:
        return slit_section(slit, f"slits{number}", slit_edges(blank), work.job.unit)
    if blank.mirrors and blank.mirrors in work.slit_patterns:
        twin = names.index(blank.mirrors) + 1
        return f'<p>Slit card: the mirror of <a href="#piece{twin}">piece {twin}\'s slit card</a>, turned over.</p>'
    return ""


def _places(places: Sequence[tuple[float, float]], corner: Sequence[float], unit: str) -> Cell:
    """From the left end and from the lower edge of the blank as cut; two where both halves are alike."""
    made = []
    for place in places:
        x, y = place[0] - corner[0], place[1] - corner[1]
        under = f"<small>{escape(show_inches(x))} in / {escape(show_inches(y))} in</small>" if unit == "in" else ""
        made.append(f"{fixed(x)}\u00a0/\u00a0{fixed(y)}{under}")
    return Cell(" and ".join(made))


def _signed(percent_value: float) -> str:
    """``shrink 1.5 %``."""
    if abs(percent_value) < 0.05:
        return "0.0 %"
    return f"{'stretch' if percent_value > 0 else 'shrink'} {fixed(abs(percent_value))} %"


def _edges(row: dict[str, Any], unit: str, names: list[str]) -> str:
    rows = []
    for edge in row["edges"]:
        gain = edge["gain_mm"]
        told = edge["difficulty"] != AS_IT_IS
        do = AS_IT_IS if not told else f"{'gain' if gain > 0 else 'lose'} {length(abs(gain), unit)}"
        if told:
            do += f", {fixed(abs(edge['gain_percent']))} %"
        rows.append(
            (
                Cell(f"<strong>{escape(edge['letter'] or str(edge['edge']))}</strong>"),
                text(piece_part(edge["meets"], names) or "nothing, free edge"),
                text(f"{edge['joint']}, lies {edge['lies']}" if edge["lies"] else edge["joint"]),
                text(edge["allowance"]),
                mm(edge["blank_length_mm"], unit),
                mm(edge["formed_length_mm"], unit),
                text(do),
            )
        )
    heads = ("Edge", "Meets", "Joint", "Left outside trim line", "Flat, mm", "Formed, mm", "Do")
    return table(heads, rows, kind="named") if rows else ""


def _folds(row: dict[str, Any], unit: str) -> str:
    bent = [(str(fold["fold"]) + (f", lip {fold['lip']}" if fold["lip"] else ""), fold) for fold in row["folds"]]
    bent += [(f"lip {lip['letter']}", lip) for lip in row["lips"] if not lip["straight"]]
    if not bent:
        return ""
    rows = [
        (
            text(name),
            Cell(
                escape(angles(*fold["angle_deg"]) if name.startswith("lip") else f"{fixed(fold['angle_deg'])}°"), True
            ),
            text(WAYS[fold["direction"]]),
            Cell(escape(length(fold["inside_radius_mm"], unit)), True),
            num(fold["k_factor"], 3),
            mm(fold["length_mm"], unit),
        )
        for name, fold in bent
    ]
    heads = ("Fold", "Turn by", "Way", "Inside radius", "K-factor", "Length, mm")
    sources = dict.fromkeys(fold["k_source"].replace(" (K is half its k)", "") for _, fold in bent)
    told = f'<p class="small soft after">K-factor from {escape("; ".join(sources))}.</p>'
    return table(heads, rows, kind="named") + told
