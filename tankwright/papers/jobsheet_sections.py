"""The job sheet's sections of words and tables; each takes `results.figures` and gives HTML."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING, Any

from .jobsheet_html import Cell, facts, mm, table, text
from .look import WORDS
from .words import area, fixed, length, litres, mass, piece_part

if TYPE_CHECKING:
    from ..work import Work

__all__ = [
    "assumptions_section",
    "cautions_section",
    "checks_section",
    "cover",
    "findings_section",
    "hardest_first",
    "holds_section",
    "named",
    "order_section",
    "seams_section",
]

Figures = dict[str, Any]


def cover(work: Work, got: Figures) -> str:
    """Job, revision, date, and the five figures everyone asks for."""
    job, unit, total, cap = got["job"], got["job"]["unit"], got["totals"], got["capacity"]
    found = got["found"]
    count = ", ".join(f"{found[s] or 'no'} {s}{'' if found[s] == 1 else 's'}" for s in ("stop", "look", "note"))
    buy = "<br>".join(escape(order["words"]) for order in got["buy"]) or "nothing: all from the rack"
    lines = [
        ("Read first", f'<a href="#first">{count}</a>'),
        (
            "Holds to the brim",
            f"{escape(litres(cap['brim_l'], unit))} <small>± {fixed(cap['tolerance_l'])} L</small>",
        ),
        ("Usable", escape(litres(cap["usable_l"], unit))),
        ("Shell, empty", escape(mass(cap["dry_mass_kg"], unit))),
        ("Pieces", str(total["blanks"])),
        ("Sheets to buy", f"<small>{buy}</small>"),
    ]
    reference = f"Reference {escape(job['reference'])}. " if job["reference"] else ""
    return (
        f'<p class="kind">Job sheet</p><h1>{escape(job["name"])}</h1>'
        f'<p class="line">{reference}Revision <strong>{escape(job["revision"])}</strong>, patterns of '
        f"<strong>{escape(job['pattern_date'])}</strong>. {escape(got['metal']['words'])}.</p>"
        f"{facts(lines)}"
    )


def findings_section(got: Figures) -> str:
    """Stop, look and note, each with both figures, the place and one thing to do."""
    if not got["findings"]:
        return "<p>Nothing was found between the patterns. What was not checked stands under Assumptions.</p>"
    meaning = (
        "<p>Stop: the papers are wrong until it is mended. Look: decide before cutting. "
        "Note: worth knowing, or not checked.</p>"
        '<p class="small soft">Register line: the straight line on the side pattern that heights are taken from. Front '
        "register mark: the mark at its front end, where x = 0. A place is told as x, along the register line towards "
        "the rear; z, up from it; and how far out from the centre plane, all in mm.</p>"
    )
    return meaning + "".join(_finding(f, got["job"]["unit"]) for f in got["findings"])


def _finding(f: Figures, unit: str) -> str:
    pairs = [("found", f["found"]), _measure(f)]
    if f["at_mm"] is not None:
        pairs.append(("at", f"{length(f['at_mm'], unit)} from the front register mark"))
    rows = "".join(f"<div><dt>{name}</dt><dd>{escape(value)}</dd></div>" for name, value in pairs if value)
    figures = f"<dl>{rows}</dl>" if rows else ""
    todo = f'<p class="todo">{escape(f["remedy"])}</p>' if f["remedy"] else ""
    strength = f["strength"]
    says = f["says"].removeprefix(f"{f['pattern']}: ")
    says = says[:1].upper() + says[1:]
    where = f"<strong>{escape(f['pattern'][:1].upper() + f['pattern'][1:])}.</strong> " if f["pattern"] else ""
    return (
        f'<div class="find {strength}"><span class="stamp">{strength.upper()}</span>'
        f"<p>{where}{escape(says)}</p>{figures}{todo}</div>"
    )


def _measure(f: Figures) -> tuple[str, str]:
    """What was found is held against a limit, a wish or another paper: name and figure."""
    allowed: str = f["allowed"]
    if allowed.endswith(" wanted"):
        return "wanted", allowed.removesuffix(" wanted")
    if f["strength"] == "note":
        return ("wanted" if allowed.startswith(("at least", "at most")) else "other paper"), allowed
    return "allowed", allowed


def holds_section(got: Figures) -> str:
    """Brim, air space, below the outlet and usable, kept apart; what a millimetre of tunnel costs."""
    c, unit = got["capacity"], got["job"]["unit"]
    parts = (
        ("use", "usable", c["usable_l"], "what can be filled in and will run out"),
        (
            "air",
            "air space",
            c["ullage_l"],
            f"left above the fuel so that it can expand (ullage): {fixed(c['ullage_percent'])} % of the brim",
        ),
        (
            "rest",
            "below the outlets",
            c["below_outlet_l"],
            "kept back, both sides together; a reserve only if a lower outlet or a second tap reaches it",
        ),
    )
    bar = "".join(f'<div class="{k}" style="flex:{max(v, 0.0):.3f}"></div>' for k, _, v, _ in parts)
    key = "".join(f'<li><i class="{k}"></i>{name} {escape(litres(v, unit, 2))}</li>' for k, name, v, _ in parts)
    rows = [(text(name), Cell(escape(litres(v, unit, 2)), True), text(words)) for _, name, v, words in parts]
    foot = (
        text("to the brim"),
        Cell(f"{escape(litres(c['brim_l'], unit, 2))} ± {fixed(c['tolerance_l'], 2)} L", True),
        text(
            "inside of the metal, less the tunnel; the tolerance is how well paper is read. Each figure is rounded by "
            "itself: the last place of a sum may differ by one"
        ),
    )
    ml = {key: fixed(1000 * c[key], 0) for key in ("litres_per_mm_width", "litres_per_mm_depth")}
    each = f"Each mm{' (0.039 in)' if unit == 'in' else ''}"
    x, y, z = c["centre_mm"]
    side = "right" if y > 0 else "left"
    where = "on the centre plane" if abs(y) < 0.05 else f"{escape(length(abs(y), unit))} to the {side}"
    return (
        f'<div class="bar" role="img" aria-label="Shares of the brim volume">{bar}</div><ul class="key">{key}</ul>'
        f"{table(('Part', 'Litres', 'What it is'), rows, foot=foot, kind='plain')}"
        f"<p><strong>What the tunnel costs.</strong> {each} wider at each side costs "
        f"{ml['litres_per_mm_width']} mL; each mm deeper costs {ml['litres_per_mm_depth']} mL.</p>{_tunnel(got)}"
        f"<p>Full to the brim, the fuel's weight acts {escape(length(x, unit))} behind the front register mark, "
        f"{escape(length(z, unit))} above the register line, {where}. Shell without fittings "
        f"{escape(mass(c['dry_mass_kg'], unit, 2))}, {escape(area(c['shell_area_mm2']))} of metal as formed.</p>"
    )


def _tunnel(got: Figures) -> str:
    """Room about the backbone, and where it touches first."""
    t, unit = got["tunnel"], got["job"]["unit"]
    if t is None:
        return ""
    front, rear, side, drawn, left, top = (
        escape(length(t[key], unit))
        for key in (
            "clear_width_front_mm", "clear_width_rear_mm", "side_room_mm", "draw_in_mm", "side_room_left_mm",
            "top_room_mm",
        )
    )  # fmt: skip
    depths = [t[f"clear_depth_{place}_mm"] for place in ("front", "middle", "rear")]
    told = ""
    if None not in depths:
        at = [escape(length(depth, unit)) for depth in depths]
        told = (
            f" Clear depth, from the top of the tunnel down to the lower edge of its legs, outside faces: {at[0]} at "
            f"the front, {at[1]} in the middle, {at[2]} at the rear."
        )
    least = top if t["touches_first"] == "over the frame line" else left
    return (
        f"<p><strong>Room in the tunnel.</strong> Clear width {front} at the front, {rear} at the rear, between the "
        f"faces towards the frame.{told} At each side of the backbone {side} as drawn, {left} after {drawn} of weld "
        f"draw-in; over the frame line {top}. It touches first {t['touches_first']}, where the room is {least}.</p>"
    )


def order_section(work: Work, got: Figures) -> str:
    """A usual order of work with this job's pieces in it: common practice, for the maker to change."""
    by: dict[str, list[Figures]] = {}
    for blank in got["blanks"]:
        by.setdefault(blank["kind"], []).append(blank)
    formed = hardest_first(got)
    steps = []
    if got["found"]["stop"]:
        steps.append("Settle every stop under <a href='#first'>Read first</a>. Until then cut nothing.")
    steps.append("Print one template page, measure both 100 mm bars, then print the rest.")
    steps.append(
        "Before a blank leaves its sheet, mark on its good face: number, side, grain arrow, centre line, stations, "
        "seam letters."
    )
    if got["test_strips"]:
        steps.append(
            "Bend the <a href='#strip'>test strip</a> before the folded pieces are cut or folded: if its legs differ "
            "from the figure, the papers of the folded pieces change."
        )
    if formed:
        names = ", then ".join(named(b) for b in formed)
        steps.append(f"Form the crowned pieces against the buck, hardest first: {names}. Left and right by turns.")
    floors = [b for b in got["blanks"] if "floor" in b["name"] and b["kind"] in ("rolled", "flat")]
    rolled = [b for b in by.get("rolled", []) if b not in floors]
    if rolled:
        steps.append(f"Roll {_names(rolled)} and fit between their neighbours before trimming.")
    steps.append("Lap neighbours, scribe through, trim to the line. Check the letters: the same letter meets.")
    if by.get("folded"):
        steps.append(f"Fold {_names(by['folded'])} and try on the frame before anything is tacked to it.")
    plain = by.get("flat", [])
    tunnel = [b for b in plain if "tunnel" in b["name"]]
    if tunnel:
        steps.append(f"Try {_names(tunnel)} together on the frame before anything is tacked to them.")
    others = [b for b in plain if "floor" not in b["name"] and b not in tunnel]
    if others:
        net = all(edge["allowance_mm"] < 0.05 for b in others for edge in b["edges"])
        how = (
            "have no trim: try them in the shell, dress their edges to fit, tack"
            if net
            else "have trim: scribe them to the shell, trim, tack"
        )
        steps.append(f"End pieces {how}: {_names(others)}.")
    steps.append("Fit mounts, filler, outlets and vent while the inside can be reached.")
    if floors:
        steps.append(f"Close the bottom last: {_names(floors)}. Try each on a card pattern first; the shell has moved.")
    steps.append(escape(WORDS["tester"]))
    rows = "".join(f"<li>{step}</li>" for step in steps)
    return f'<ol class="work">{rows}</ol><p class="small soft">A usual order; common practice, no source.</p>'


def _worst(blank: Figures) -> float:
    strain = blank["strain"]
    return 0.0 if strain is None else max(strain["stretch_worst_percent"], strain["shrink_worst_percent"])


def named(blank: Figures) -> str:
    return f'<a href="#piece{blank["piece"]}">{blank["piece"]} {escape(blank["name"])}</a>'


def _names(blanks: list[Figures]) -> str:
    *most, last = (named(blank) for blank in blanks)
    return f"{', '.join(most)} and {last}" if most else last


def hardest_first(got: Figures) -> list[Figures]:
    """The crowned pieces, hardest first."""
    return sorted((b for b in got["blanks"] if b["kind"] == "formed"), key=lambda b: -_worst(b))


def seams_section(got: Figures) -> str:
    """Each seam with its two edges, and how far apart their finished lengths are."""
    unit = got["job"]["unit"]
    names = [blank["name"] for blank in got["blanks"]]
    rows = []
    for seam in got["seams"]:
        away = seam["edges_differ_mm"]
        shown = "" if away is None else f"{fixed(away)}{' LOOK' if away > 0.5 else ''}"
        joint = "folded, no seam" if seam["joint"] == "fold" else seam["joint"]
        rows.append(
            (
                Cell(f"<strong>{escape(seam['letter'])}</strong>"), text(piece_part(seam["one"], names)),
                text(piece_part(seam["other"], names)), text(joint),
                mm(seam["length_mm"], unit), Cell(shown, True),
            )
        )  # fmt: skip
    total = mm(got["totals"]["seam_length_mm"], unit)
    foot = (text("Total"), text(""), text(""), text(""), total, text(""))
    heads = ("Seam", "One piece", "The other", "Joint", "Finished, mm", "Edges differ, mm")
    return (
        "<p>The two edges of a seam are the same length when formed; more than 0.5 mm apart is marked LOOK. Folds are "
        "not in the total. Parts of a folded piece are in brackets. Lengths are rounded one by one.</p>"
        + table(heads, rows, foot=foot, kind="named long")
    )


def checks_section(got: Figures) -> str:
    """How near the finished surface runs to each pattern."""
    if not got["misses"]:
        return "<p>No pattern was held against the finished surface.</p>"
    unit = got["job"]["unit"]
    rows = [(text(m["pattern"]), mm(m["miss_mm"], unit, 2)) for m in got["misses"]]
    return (
        "<p>The farthest that the finished surface lies from each pattern.</p>"
        f"{table(('Pattern', 'Farthest miss, mm'), rows, kind='long')}"
    )


def assumptions_section(got: Figures) -> str:
    """What every figure rests on."""
    rows = [(text(a["name"]), text(a["value"])) for a in got["assumptions"]]
    unknown = (
        "<p>What is not known or was not checked stands as a note under <a href='#first'>Read first</a>.</p>"
        if got["found"]["note"]
        else ""
    )
    return f"{table(('What', 'Taken as'), rows, kind='plain')}{unknown}" if rows else unknown


def cautions_section(got: Figures) -> str:
    """The usual cautions, and what these papers are not."""
    given = got["cautions"] or [WORDS[key] for key in ("fumes", "edges", "code")]
    rows = "".join(f"<li>{escape(c)}</li>" for c in dict.fromkeys([*given, WORDS["tester"]]))
    return (
        f'<ul class="cautions">{rows}</ul><p>These papers give shapes. They do not approve a tank, for fuel or for '
        "the road.</p>"
    )
