"""A usual order of work with a job's own pieces in it: it follows the seams, and names only what the job has."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from html import escape
from typing import TYPE_CHECKING, Any

import numpy as np

from .cutting_hold import waits
from .jobsheet_sections import hardest_first, named
from .look import WORDS
from .words import angles, length

if TYPE_CHECKING:
    from panels.blank import Blank

    from ..work import Work

__all__ = ["order_section"]

Figures = dict[str, Any]

#: Pieces of a tank by the first of these tests that fits, in the order in which they are told apart.
_GROUPS: tuple[tuple[str, Callable[[Figures], bool]], ...] = (
    ("bump-out", lambda b: b["name"].startswith("bump-out")),
    ("doubler", lambda b: any(edge["joint"] == "fillet" for edge in b["edges"])),
    ("baffle", lambda b: b["name"].startswith("baffle")),
    ("formed", lambda b: b["kind"] == "formed"),
    ("floor", lambda b: "floor" in b["name"]),
    ("folded", lambda b: b["kind"] == "folded" or "tunnel" in b["name"]),
    ("rolled", lambda b: b["kind"] == "rolled"),
    ("end", lambda b: True),
)


def order_section(work: Work, got: Figures) -> str:
    """The steps as HTML: common practice, for the maker to change."""
    groups: dict[str, list[Figures]] = {name: [] for name, _ in _GROUPS}
    for blank in got["blanks"]:
        groups[next(name for name, fits in _GROUPS if fits(blank))].append(blank)
    groups["wall"] = [b for b in groups["rolled"] if any(_meets(edge, groups["folded"]) for edge in b["edges"])]
    groups["rolled"] = [b for b in groups["rolled"] if b not in groups["wall"]]
    steps = [
        *_before_cutting(work, got),
        *_forming(groups, got),
        *_tunnel(work, groups, got),
        *_standing(groups),
        *_closing(groups, got),
    ]
    steps.append(escape(WORDS["tester"]))
    rows = "".join(f"<li>{step}</li>" for step in steps)
    return f'<ol class="work">{rows}</ol><p class="small soft">A usual order; common practice, no source.</p>'


def _before_cutting(work: Work, got: Figures) -> list[str]:
    steps = []
    if got["found"]["stop"]:
        steps.append("Settle every stop under <a href='#first'>Read first</a>. Until then cut nothing.")
    steps.append("Print one template page, measure both 100 mm bars, then print the rest.")
    held = [row for row, blank in zip(got["blanks"], work.blanks, strict=True) if waits(blank)]
    if held and got["test_strips"]:
        it = "it lies" if len(held) == 1 else "they lie"
        steps.append(
            "Cut the <a href='#strip'>test strip</a> first of all and bend it; the section Pieces says how, and out of "
            f"what. Hold back {_names(held)}, and the sheet {it} on if that is cut in one go: if the legs differ from "
            "the figure, the papers of what is folded change."
        )
    steps.append(
        "Before a blank leaves its sheet, mark on its good face: number, side, grain arrow, centre line, stations, "
        "seam letters, and the quarter ticks of its seams."
    )
    return steps


def _forming(groups: dict[str, list[Figures]], got: Figures) -> list[str]:
    steps = []
    if groups["formed"]:
        names = ", then ".join(named(b) for b in hardest_first(got))
        twins = " Left and right by turns." if any(b["mirrors"] for b in groups["formed"]) else ""
        steps.append(f"Form the crowned pieces against the buck, hardest first: {names}.{twins}")
    steps += _rolled(groups["rolled"])
    if groups["formed"] or groups["rolled"]:
        inner = sorted(
            {edge["letter"] for b in groups["formed"] for edge in b["edges"] if _meets(edge, groups["folded"])}
        )
        rest = f" Leave the trim on {_listed(inner)} until the tunnel stands" if inner else ""
        floor = sorted({edge["letter"] for b in groups["formed"] for edge in b["edges"] if "floor" in edge["meets"]})
        rest += (
            f"{', and' if rest else ' Leave the trim'} on {_listed(floor)} until the floor is fitted" if floor else ""
        )
        last = [*groups["end"], *groups["wall"]]
        ends = sorted({e["letter"] for b in groups["formed"] for e in b["edges"] if _meets(e, last) and _kept(e)})
        which = f"{_names(last)} {'are' if len(last) > 1 else 'is'} fitted"
        rest += f"{', and' if rest else ' Leave the trim'} on {_listed(ends)} until {which}" if ends else ""
        steps.append(
            "Lap neighbours on the buck, scribe through, trim to the line. Check the letters: the same letter meets, "
            f"and its ticks meet.{rest}{'.' if rest else ''}"
        )
    return [*steps, *_holes(got)]


def _rolled(blanks: Sequence[Figures]) -> list[str]:
    """Rolled pieces, then what is turned over of them."""
    if not blanks:
        return []
    whose = "their" if len(blanks) > 1 else "its"
    return [f"Roll {_names(blanks)} and fit between {whose} neighbours before trimming.", *_lips(blanks)]


def _holes(got: Figures) -> list[str]:
    """The holes that are scribed and not cut in the blank, those that open into the fuel, and what has no size."""
    placed = [f for f in got["fittings"] if f["on"] and f["kind"] != "mark"]
    scribed = [f for f in placed if f["hole_mm"] and not f["cut"]]
    holes = [_hole(f, got) for f in scribed if f["kind"] != "mount"]
    mounts = [_hole(f, got) for f in scribed if f["kind"] == "mount"]
    bare = [escape(f["name"]) for f in placed if not f["hole_mm"]]
    steps = []
    if holes:
        steps.append(
            f"Cut the holes that are only scribed: {_once(holes)}. Once the piece is shaped and trimmed, before it is "
            "welded in: measure the part that goes there first, cut to that, and file the edge."
        )
    if mounts:
        steps.append(
            f"The hole of a mount opens into the fuel: {_once(mounts)}. Leave it undrilled and weld a blind boss on, "
            "or drill it where a boss or a doubler seals it all round: the maker decides before it is drilled."
        )
    if bare:
        steps.append(
            f"No size is given for {_once(bare)}: only the middle is scribed. Measure the part, and the boss or bung "
            "it takes, before its hole is cut."
        )
    return steps


def _hole(fitting: Figures, got: Figures) -> str:
    on = fitting["on"].removesuffix(" left").removesuffix(" right")
    return escape(f"{fitting['name']} \u00d8 {length(fitting['hole_mm'], got['job']['unit'])} in {on}")


def _once(words: Sequence[str]) -> str:
    """``A, B and C``, each once."""
    return _listed(list(dict.fromkeys(words)))


def _kept(edge: Figures) -> bool:
    """Whether metal is left on an edge to be trimmed."""
    return float(edge["allowance_mm"]) >= 0.05


def _meets(edge: Figures, blanks: Sequence[Figures]) -> bool:
    return any(f"{edge['meets']} ".startswith(f"{b['name']} ") for b in blanks)


def _tunnel(work: Work, groups: dict[str, list[Figures]], got: Figures) -> list[str]:
    steps = _lips([b for name, blanks in groups.items() if name not in ("rolled", "wall", "floor") for b in blanks])
    folded = [b for b in groups["folded"] if any(not fold["lip"] for fold in b["folds"])]
    rolled = [b for b in groups["folded"] if b["rolls"]]
    if rolled:
        steps.append(f"Roll the top of {_names(rolled)} between its two roll lines, good face up.")
    if folded:
        which = " ".join(_folds_first(work.blanks[b["piece"] - 1], got["job"]["unit"]) for b in folded)
        steps.append(f"Fold {_names(folded)}. {which}")
    if groups["folded"]:
        steps.append(f"Try {_names(groups['folded'])} on the frame before anything is tacked to it.")
    if groups["doubler"]:
        hosts = sorted({edge["meets"] for b in groups["doubler"] for edge in b["edges"] if edge["meets"]})
        steps.append(
            f"Weld the doublers to {_listed(hosts) or 'their pieces'} before that is closed in: "
            f"{_names(groups['doubler'])}."
        )
    steps += _bump_outs(groups["bump-out"], got)
    return steps


def _lips(blanks: Sequence[Figures]) -> list[str]:
    """The edges that are turned over: before the legs are folded, while the piece is flat; after it is rolled."""
    return [
        f"Turn the lips of {named(blank)} {_when_turned(blank)}: {_lip_words(blank['lips'])}."
        for blank in blanks
        if blank["lips"]
    ]


def _when_turned(blank: Figures) -> str:
    """When the lips of a piece are turned."""
    if blank["kind"] == "formed":
        return "once it is shaped and trimmed"
    if blank["kind"] == "rolled":
        return "once it is rolled, before it is fitted"
    if not any(not fold["lip"] for fold in blank["folds"]):
        return "before it is fitted"
    return (
        "before its legs are folded, while it lies flat, as far as the folder lets the legs be folded afterwards "
        "(common practice, no source)"
    )


def _lip_words(lips: Sequence[Figures]) -> str:
    """How far, which way and over what each lip is turned; once for lips that are alike."""
    said: dict[str, list[str]] = {}
    for lip in lips:
        how = f"{angles(*lip['angle_deg'])} {lip['direction']}, "
        how += f"{'away from' if lip['direction'] == 'down' else 'towards'} the good face, "
        how += "in the folder" if lip["straight"] else "along a curve between its two lines, over a shaped block"
        said.setdefault(how, []).append(lip["letter"])
    return escape("; ".join(f"{_listed(list(dict.fromkeys(letters)))} {how}" for how, letters in said.items()))


def _folds_first(blank: Blank, unit: str) -> str:
    """Which fold comes first, and what stands in the way of the next."""
    folds = [fold for fold in blank.folds if not fold.lip]
    if not folds:
        return ""
    if len(folds) == 1:
        return "It has one fold."
    if len(folds) > 2:
        return "Outer folds first, then inwards: each leg must clear the tool when the next fold is made."
    _, y0, _, y1 = blank.outline.bounds
    middles = sorted(float((fold.start + fold.end)[1]) / 2 for fold in folds)
    legs = middles[0] - y0, y1 - middles[1]
    alike = abs(legs[0] - legs[1]) < 1.0 and folds[0].up == folds[1].up
    tall = escape(length(max(legs), unit))
    apart = escape(length(float(np.diff(middles)[0]), unit))
    if alike:
        return (
            f"Either fold first, they are alike; for the second the first leg stands {tall} high, {apart} from the "
            "line: see that the brake has that room."
        )
    first = 1 + int(float((folds[0].start + folds[0].end)[1]) / 2 != middles[int(np.argmin(legs))])
    return f"Fold {first} first, its leg is the lower one; for the other it stands {apart} from the line."


def _bump_outs(blanks: list[Figures], got: Figures) -> list[str]:
    """Walls to one another, then to the rim of the opening, then the face: each by the letters of its seams."""
    if not blanks:
        return []
    own = {b["name"] for b in blanks}
    walls = [b for b in blanks if " wall" in b["name"]]
    faces = [b for b in blanks if b not in walls]
    to_host = sorted({e["letter"] for b in walls for e in b["edges"] if e["meets"] and e["meets"] not in own})
    between = sorted({e["letter"] for b in walls for e in b["edges"] if e["meets"] in {w["name"] for w in walls}})
    to_face = sorted({e["letter"] for b in walls for e in b["edges"] if e["meets"] in {f["name"] for f in faces}})
    hosts = sorted({e["meets"] for b in walls for e in b["edges"] if e["meets"] and e["meets"] not in own})
    steps = [
        f"Bend {_names(walls)} to the face's outline and hold them to the rim of the opening, which is cut in the "
        "blank. They butt there, edge on edge, at the middle of the metal: they do not pass through it."
    ]
    if between:
        steps[0] += f" Scribe and trim {_listed(between)}, where the walls meet, and tack."
    steps.append(
        f"Scribe {_listed(to_host)} to the rim of the opening in {_listed(hosts)} and trim; then trim "
        f"{_listed(to_face)} to {_names(faces)}, tack the face on, then the whole to the rim."
    )
    return steps


def _standing(groups: dict[str, list[Figures]]) -> list[str]:
    """What closes the shell, from inside outwards: the baffle before the tunnel it straddles, the tunnel, its walls."""
    steps = []
    tunnel = groups["folded"]
    if groups["baffle"]:
        over = bool(tunnel) and any(b["side"] == "centre" for b in groups["baffle"])
        it, its = ("it", "its edge") if len(groups["baffle"]) == 1 else ("them", "their edges")
        until = "before the tunnel and the ends close it" if tunnel else "before its ends and bottom close it"
        straddles = " It straddles the tunnel: afterwards it does not go in." if over else ""
        steps.append(
            f"Stand {_names(groups['baffle'])} in the shell {until}.{straddles} Nothing on {its} holds {it}: tabs, or "
            f"tacks to {'tunnel and ' * bool(tunnel)}skins, are the maker's to decide before the shell is closed."
        )
    inner = sorted({e["letter"] for b in groups["formed"] for e in b["edges"] if _meets(e, tunnel) and _kept(e)})
    if inner:
        steps.append(f"Set {_names(tunnel)} in the shell: scribe {_listed(inner)} to it, trim, tack.")
    return [*steps, *_rolled(groups["wall"])]


def _closing(groups: dict[str, list[Figures]], got: Figures) -> list[str]:
    steps = []
    if groups["end"]:
        net = all(edge["allowance_mm"] < 0.05 for b in groups["end"] for edge in b["edges"])
        how = (
            "with no trim on them: try them between tunnel and shell, dress their edges to fit, tack"
            if net
            else "with trim on them: scribe them to tunnel and shell, trim, tack"
        )
        steps.append(f"End pieces, {how}: {_names(groups['end'])}.")
    floors = {b["piece"] for b in groups["floor"]}
    placed = [f for f in got["fittings"] if f["on"] and not f["name"].startswith("register")]
    in_floor = list(dict.fromkeys(f["name"] for f in placed if floors & set(f["piece"])))
    fittings = list(dict.fromkeys(f["name"] for f in placed if not floors & set(f["piece"])))
    if fittings:
        steps.append(f"Fit what the tank carries while the inside can be reached: {escape(_listed(fittings))}.")
    if not any(f["kind"] == "vent" for f in got["fittings"]):
        steps.append("No vent is drawn: ask where it goes before the bottom is closed.")
    if groups["floor"]:
        if any(b["kind"] == "rolled" for b in groups["floor"]):
            steps.append(f"Roll {_names(groups['floor'])} and try each on a card pattern first; the shell has moved.")
        steps += [*_lips(groups["floor"]), *_floors_trimmed(groups, got)]
        if in_floor:
            steps.append(
                f"Fit what sits in the bottom once it is shaped, before it is closed: {escape(_listed(in_floor))}."
            )
        steps.append(f"Close the bottom last: {_names(groups['floor'])}.")
    return steps


def _floors_trimmed(groups: dict[str, list[Figures]], got: Figures) -> list[str]:
    """When the metal left on the floors comes off, and that on the skins along them."""
    mine = [e for b in groups["floor"] for e in b["edges"] if _kept(e) and "stays on" not in e["allowance"]]
    if not mine:
        return []
    unit = got["job"]["unit"]
    left = _listed([escape(length(mm, unit)) for mm in sorted({float(e["allowance_mm"]) for e in mine})])
    edges = sorted({e["letter"] for e in mine if e["letter"]})
    skins = {e["letter"] for b in groups["formed"] for e in b["edges"] if _kept(e) and "stays on" not in e["allowance"]}
    along = sorted(skins & set(edges))
    each = "each" if len(groups["floor"]) > 1 else "it"
    both = f", and what is left on the skins along {_listed(along)}" if along else ""
    return [
        f"Hold {each} in its place and scribe it to its neighbours. Now the {left} left on {_listed(edges)} of "
        f"{_names(groups['floor'])} comes off{both}: trim to the lines."
    ]


def _listed(words: Sequence[str]) -> str:
    """``A, B and C``."""
    *most, last = words or [""]
    return f"{', '.join(most)} and {last}" if most else last


def _names(blanks: Sequence[Figures]) -> str:
    return _listed([named(blank) for blank in blanks])
