"""The job sheet's sections of words and tables; each takes `results.figures` and gives HTML."""

from __future__ import annotations

import re
from html import escape
from typing import TYPE_CHECKING, Any

from panels.joints import WELDED

from .jobsheet_html import Cell, facts, mm, table, text
from .look import WORDS
from .words import area, fixed, length, limit_of, litres, mass, piece_part

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
    pairs = [("found", f["found"]), limit_of(f["strength"], f["allowed"])]
    if f["at_mm"] is not None:
        pairs.append(("at", f"{length(f['at_mm'], unit)} from the front register mark"))
    rows = "".join(f"<div><dt>{name}</dt><dd>{escape(value)}</dd></div>" for name, value in pairs if value)
    figures = f"<dl>{rows}</dl>" if rows else ""
    todo = f'<p class="todo">{_with_keys(f["remedy"])}</p>' if f["remedy"] else ""
    strength = f["strength"]
    says = f["says"].removeprefix(f"{f['pattern']}: ")
    says = says[:1].upper() + says[1:]
    where = f"<strong>{escape(f['pattern'][:1].upper() + f['pattern'][1:])}.</strong> " if f["pattern"] else ""
    return (
        f'<div class="find {strength}"><span class="stamp">{strength.upper()}</span>'
        f"<p>{where}{escape(says)}</p>{figures}{todo}</div>"
    )


def _with_keys(words: str) -> str:
    """Words with the job file's own keys, such as (side_room), in small print as what they are."""
    return re.sub(r"\(([a-z]+(?:_[a-z]+)+)\)", r"<small>(\1 in the job file)</small>", escape(words))


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
        f"{table(('Part', 'Litres', 'What it is'), rows, foot=[foot], kind='plain')}"
        f"<p><strong>What the tunnel costs.</strong> {each} wider at each side costs "
        f"{ml['litres_per_mm_width']} mL; each mm deeper costs {ml['litres_per_mm_depth']} mL.</p>{_tunnel(got)}"
        f"<p>Full to the brim, the fuel's weight acts {escape(length(x, unit))} behind the front register mark, "
        f"{escape(length(z, unit))} above the register line, {where}. The metal weighs "
        f"{escape(mass(c['dry_mass_kg'], unit, 2))} with its laps and lips, without weld and fittings; the shell has "
        f"{escape(area(c['shell_area_mm2']))} as formed.</p>"
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
    return (
        f"<p><strong>Room in the tunnel.</strong> Clear width {front} at the front, {rear} at the rear, between the "
        f"faces towards the frame.{told} At each side of the backbone {side} as drawn, {left} after {drawn} of weld "
        f"draw-in{_doubled(got)}; over the frame line {top}.{_rolled_top(t, unit)}</p>{_least_room(got)}"
    )


def _on_legs(got: Figures) -> float:
    """Thickness of the thickest doubler on the outside of a leg of the tunnel, mm."""
    plates = [b for b in got["blanks"] if any(e["joint"] == "fillet" and "tunnel" in e["meets"] for e in b["edges"])]
    return max((float(b["thickness_mm"]) for b in plates), default=0.0)


def _doubled(got: Figures) -> str:
    """What a doubler on the outside of a leg leaves of the room at that side."""
    thick = _on_legs(got)
    left = escape(length(got["tunnel"]["side_room_left_mm"] - thick, got["job"]["unit"]))
    return f", {left} where a doubler lies on a leg" if thick else ""


def _rolled_top(t: Figures, unit: str) -> str:
    """What shape a rounded top has, and the room that it leaves to a square backbone's corners."""
    if t["top"] == "flat":
        return ""
    front, rear = (escape(length(t[f"roll_radius_{end}_mm"], unit)) for end in ("front", "rear"))
    said = f"inside radius {front}" + (f" at the front, {rear} at the rear" if front != rear else "")
    shape = "a half round" if t["top"] == "round" else f"an arch, {escape(length(t['arch_rise_mm'], unit))} high"
    corner = t["corner_room_mm"]
    room = "" if corner is None else f"; from a square backbone's top corners to it {escape(length(corner, unit))}"
    return f" Its top is {shape}, {said}, highest in the middle{room}."


#: A clearance's finding says one of these of the thing it is about.
GAP_WORDS = ("smallest gap", "comes close to the tank", "runs into the tank")


def _least_room(got: Figures) -> str:
    """Every gap that is known, the least first, and how far along it is."""
    t, unit = got["tunnel"], got["job"]["unit"]
    gaps = [
        (t["top_room_mm"], "over the frame line", "all along"),
        (t["side_room_left_mm"], "at each side of the backbone after draw-in", "all along"),
    ]
    if thick := _on_legs(got):
        gaps.append((t["side_room_left_mm"] - thick, "at each side of the backbone", "over a doubler"))
    if t["corner_room_mm"] is not None:
        gaps.append((t["corner_room_mm"], "at the top corners of a square backbone", "the least"))
    for finding in got["findings"]:
        gap = re.search(r"(-?[\d.]+) mm\)?$", finding["found"])
        if gap and any(words in finding["says"] for words in GAP_WORDS):
            where = "" if finding["at_mm"] is None else f"x = {length(finding['at_mm'], unit)}"
            gaps.append((float(gap[1]), f"at the {finding['pattern'].removeprefix('the ')}", where))
    gaps.sort(key=lambda gap: gap[0])
    told = "; ".join(
        f"{escape(length(gap, unit))} {escape(what)}" + (f" ({escape(where)})" if where else "")
        for gap, what, where in gaps
    )
    return f"<p><strong>Where it touches first.</strong> Room as drawn, the least first: {told}.</p>"


def _worst(blank: Figures) -> float:
    strain = blank["strain"]
    return 0.0 if strain is None else max(strain["stretch_worst_percent"], strain["shrink_worst_percent"])


def named(blank: Figures) -> str:
    return f'<a href="#piece{blank["piece"]}">{blank["piece"]} {escape(blank["name"])}</a>'


def hardest_first(got: Figures) -> list[Figures]:
    """The crowned pieces, hardest first."""
    return sorted((b for b in got["blanks"] if b["kind"] == "formed"), key=lambda b: -_worst(b))


def seams_section(got: Figures) -> str:
    """Each seam with its two edges, and how far apart their finished lengths are."""
    unit = got["job"]["unit"]
    names = [blank["name"] for blank in got["blanks"]]
    rows = []
    alike = max((seam["edges_differ_mm"] or 0.0 for seam in got["seams"]), default=0.0) < 0.1
    for seam in got["seams"]:
        away = seam["edges_differ_mm"]
        shown = "" if away is None else f"{fixed(away)}{' LOOK' if away > 0.5 else ''}"
        joint = "folded, no seam" if seam["joint"] == "fold" else seam["joint"]
        joint += f", {piece_part(seam['outside'], names)} outside" if seam["outside"] else ""
        rows.append(
            (
                Cell(f"<strong>{escape(seam['letter'])}</strong>"), text(piece_part(seam["one"], names)),
                text(piece_part(seam["other"], names)), text(joint),
                mm(seam["length_mm"], unit), Cell(shown, True),
            )[: 5 if alike else 6]
        )  # fmt: skip
    heads = ("Seam", "One piece", "The other", "Joint", "Finished, mm", "Edges differ, mm")[: 5 if alike else 6]
    told = "here no two differ by 0.1 mm" if alike else "more than 0.5 mm apart is marked LOOK"
    return (
        f"<p>The two edges of a seam are the same length when formed; {told}. Folds are not in the welds. Parts of a "
        f"folded piece are in brackets. Lengths are rounded one by one.{_over(got)}</p>"
        + table(heads, rows, foot=[row[: len(heads)] for row in _welds(got)], kind="named long")
    )


def _welds(got: Figures) -> list[tuple[Cell, ...]]:
    """Metres of weld by joint, as far as there are any, and all seams together; fillets are not among them."""
    totals, unit = got["totals"], got["job"]["unit"]
    kinds = [(f"All {joint}", totals[f"seam_{joint}_mm"]) for joint in WELDED if totals[f"seam_{joint}_mm"]]
    kinds += [("All welds", totals["seam_length_mm"])] * (len(kinds) > 1)
    kinds += [("Fillets", totals["fillet_length_mm"])] * bool(totals["fillet_length_mm"])
    none = text("")
    return [(text(name), none, none, none, mm(value, unit), none) for name, value in kinds]


def _over(got: Figures) -> str:
    """Where a lap and a flange are welded, where there is one."""
    kinds = {seam["joint"] for seam in got["seams"]}
    said = []
    if got["totals"]["fillet_length_mm"]:
        said.append("Fillets run round the doublers, besides.")
    if "lap" in kinds:
        said.append("In a lap the one piece lies on the other; weld along the edge of the one outside.")
    if "flange" in kinds:
        said.append(
            "In a flange one piece is turned over and lies, unseen, against the inside of the other, whose edge ends "
            "at the corner of the bend; weld along that edge, from outside."
        )
    return "".join(f" {each}" for each in said)


#: A miss smaller than this shows on no card, mm; common practice, no source.
UNSEEN_MM = 0.5


def checks_section(got: Figures) -> str:
    """How near the finished surface runs to each pattern, and what that asks of the maker."""
    if not got["misses"]:
        return "<p>No pattern was held against the finished surface.</p>"
    unit = got["job"]["unit"]

    def means(miss: float) -> str:
        if miss < UNSEEN_MM:
            return "meets it: nothing shows"
        return "hold a card of it to the tank before closing"

    rows = [(text(m["pattern"]), mm(m["miss_mm"], unit, 2), text(means(m["miss_mm"]))) for m in got["misses"]]
    far = [m for m in got["misses"] if m["miss_mm"] >= UNSEEN_MM]
    most = escape(length(max((m["miss_mm"] for m in far), default=0.0), unit, 2))
    why = (
        "<p>Patterns that cross one another seldom agree to the last millimetre, and the surface is drawn fair between "
        f"them: so it runs up to {most} off one of them. Where such a pattern has to be met, cut it out of card, hold "
        "it to the shaped skin at its place and work the skin to it: crowned blanks have trim for that.</p>"
        if far
        else ""
    )
    return (
        "<p>The farthest that the finished surface lies from each pattern.</p>"
        f"{why}{table(('Pattern', 'Farthest miss, mm', 'Which means'), rows, kind='long' * (len(rows) > 12))}"
    )


def assumptions_section(got: Figures) -> str:
    """What every figure rests on."""
    rows = [(text(a["name"]), Cell(_plain(a["value"]))) for a in got["assumptions"]]
    unknown = (
        "<p>What is not known or was not checked stands as a note under <a href='#first'>Read first</a>.</p>"
        if got["found"]["note"]
        else ""
    )
    return f"{table(('What', 'Taken as'), rows, kind='plain')}{unknown}" if rows else unknown


#: Words of the trade press, and what a maker calls it.
PLAIN = {
    "laid flat at the neutral surface": "laid flat by the middle of the metal, which keeps its length when bent",
    " (aim even)": "",
    " (K is half its k)": "",
}


def _plain(words: str) -> str:
    """Assumptions in a maker's words; the source of a figure in small print."""
    for trade, maker in PLAIN.items():
        words = words.replace(trade, maker)
    words = re.sub(r"\d+\.\d{3,}(?= mm)", lambda found: fixed(float(found[0]), 2), words)
    first, *rest = re.split(r"(?<=\.) (?=[A-Z])", words, maxsplit=1)
    return escape(first) + "".join(f" <small>{escape(source)}</small>" for source in rest)


def cautions_section(got: Figures) -> str:
    """The usual cautions, and what these papers are not."""
    given = got["cautions"] or [WORDS[key] for key in ("tester", "fumes", "edges", "code")]
    rows = "".join(f"<li>{escape(caution)}</li>" for caution in given)
    return f'<ul class="cautions">{rows}</ul>'
