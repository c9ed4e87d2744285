"""Where the seams of the skin might go: divisions that keep strain within a wish, with the least to weld.

Words used here
    wish       the most shrink or stretch that any skin may ask for, or the most skins there may be
    division   a scheme, the place of its shoulder seams, and cross seams besides
    cross seam an upright seam over one panel, from edge to edge of it
    crease     a style line along which the skin turns: nobody sees a weld there, so it counts for nothing
    family     divisions of one scheme with cross seams over the same panels: they differ only in places

How it looks. Every division is tried on a coarse mesh (one of 25 mm steps is built and laid flat in about a tenth of a
second): each scheme at a few shoulders, then the best of them with one, then two cross seams over the longest of the
worst skins, moved along until the worst skin is least strained. Of each family the division with the least weld that
meets the wish is kept, or that with the least strain where none does; the best few are then built on the full mesh,
and only what is measured there is told.

Never a sliver: no skin may be narrower than 50 mm on average (area over longest extent of its blank), nor smaller than
3 % of the whole skin. Common practice, no source: narrower strips warp from their own welds. The maker chooses: a
seam that saves strain may still run where a knee or a strap will be.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from ._cross_seams import corners, moved, upright
from .assemble import WIDEST, Shell, assemble
from .blank import Aim, AimOf
from .body import build_body
from .crease import CREASE_DEG, crease_turns
from .develop import Development, develop_mesh
from .divide import divide
from .edges import shared_edges
from .errors import PanelsError
from .felt import felt
from .patterns import Division, Patterns
from .seams import family
from .surface import HalfSurface, half_surface

__all__ = ["PanelStrain", "SeamChoice", "SeamWish", "division_strain", "propose_seams"]

COARSE_MM = 25.0  # mesh of the search: strain within a tenth of the full mesh's but at a sharp tip; finer costs time
SHOULDERS = (0.3, 0.4, 0.5, 0.6, 0.7, 0.8)
CROSSINGS = (0.15, 0.35, 0.6, 0.85)  # of the panel's own length
NEARLY_WORST = 0.8  # share of the worst strain from which a skin is one of the worst: the longest of them is parted
EASE_MM = (24.0, 12.0, 6.0)  # how far cross seams are moved to ease the worst skin, step after step
EASED = 2  # families of each round whose cross seams are so moved
SLIVER_MM, SLIVER_SHARE = 50.0, 0.03  # common practice, no source
MOST_TRIED = 4  # divisions built on the full mesh
BEAM = (3, 2)  # how many divisions are parted by a first cross seam, and by a second
ONCE_MORE = 2  # divisions built besides where none of those keeps the wish
ENOUGH = 2  # families that meet the wish, after which no second cross seam is tried
HARDLY = 1.05  # a division with less weld and strain within this beats another


@dataclass(frozen=True)
class SeamWish:
    """What is wished for; None: no matter. Shares: 0.04 is 4 %."""

    shrink: float | None = None
    stretch: float | None = None
    skins: int | None = None


@dataclass(frozen=True)
class PanelStrain:
    """One skin of a division: right-hand and centre ones, ``count`` 2 where a left-hand twin goes with it."""

    name: str
    count: int
    stretch: float  # worst place, engineering, a fraction
    shrink: float  # positive
    area_flat: float  # mm2, net
    box: tuple[float, float]  # mm, its blank as laid flat


@dataclass(frozen=True)
class SeamChoice:
    """One way to divide the skin and what it costs."""

    division: Division
    panels: tuple[PanelStrain, ...]
    weld: float  # mm of seam between skins, creases left out
    weld_crease: float  # mm of it along a style line
    meets: bool  # whether it keeps the wish

    @property
    def skins(self) -> int:
        """How many skins, both sides."""
        return sum(panel.count for panel in self.panels)

    @property
    def stretch(self) -> float:
        """Worst stretch of any skin."""
        return max(panel.stretch for panel in self.panels)

    @property
    def shrink(self) -> float:
        """Worst shrink of any skin, positive."""
        return max(panel.shrink for panel in self.panels)

    @property
    def area_flat(self) -> float:
        """mm2 of net blanks, both sides."""
        return sum(panel.count * panel.area_flat for panel in self.panels)

    @property
    def area_boxes(self) -> float:
        """mm2 of the rectangles about the blanks: what a shear takes off the sheet at most."""
        return sum(panel.count * panel.box[0] * panel.box[1] for panel in self.panels)


@dataclass(frozen=True)
class _Search:
    """What stays the same for every division."""

    patterns: Patterns
    wish: SeamWish
    aim_of: AimOf
    creased: bool
    known: dict[tuple, PanelStrain]  # coarse skins laid flat before
    halves: dict[float, HalfSurface]  # coarse surfaces, by shoulder

    @property
    def limited(self) -> bool:
        """Whether the wish limits strain."""
        return self.wish.stretch is not None or self.wish.shrink is not None

    def over(self, choice: SeamChoice) -> float:
        """Worst strain as a share of the wish; without one, the worst strain."""
        if not self.limited:
            return max(choice.stretch, choice.shrink)
        limits = (self.wish.stretch, self.wish.shrink)
        told = zip((choice.stretch, choice.shrink), limits, strict=True)
        return max(found / limit for found, limit in told if limit)

    def kept(self, choice: SeamChoice) -> bool:
        """Whether the division meets the wish."""
        few = self.wish.skins is None or choice.skins <= self.wish.skins
        return few and (not self.limited or self.over(choice) <= 1)

    def content(self, choice: SeamChoice) -> bool:
        """Whether less strain is of no use: the wish is kept as it is."""
        return self.limited and self.kept(choice)

    def rank(self, choice: SeamChoice) -> tuple[float, ...]:
        """Best first: what meets the wish by its weld, the rest by strain; without a limit of strain by strain."""
        if not self.limited:
            return (not self.kept(choice), round(self.over(choice), 3), choice.weld)
        if self.kept(choice):
            return (0, round(choice.weld, -1), self.over(choice))
        return (1, self.over(choice), choice.weld)


def division_strain(
    patterns: Patterns,
    division: Division,
    *,
    thickness: float,
    k_factor: float = 0.5,
    inside: bool = False,
    aim_of: AimOf = lambda piece: Aim(),
    wish: SeamWish | None = None,
) -> SeamChoice:
    """What a division asks of each skin, on the full mesh.

    Raises
    ------
    PanelsError
        Where no body can be made, or a skin cannot be laid flat in one piece.
    """
    search = _search(patterns, wish or SeamWish(), aim_of)
    return _exact(search, division, thickness, k_factor, inside)


def propose_seams(
    patterns: Patterns,
    wish: SeamWish | None = None,
    *,
    thickness: float,
    k_factor: float = 0.5,
    inside: bool = False,
    aim_of: AimOf = lambda piece: Aim(),
    most: int = 5,
) -> tuple[SeamChoice, ...]:
    """A ranked short list of ways to divide the skin; those that do not meet the wish stand last.

    With a limit of strain the least weld comes first, without one the least strain. Each entry was built and laid
    flat on the full mesh. Seams drawn in the job are not taken over; a scheme's seams along a crease cost nothing.

    Raises
    ------
    PanelsError
        Where no division of these patterns gives skins that can be laid flat.
    """
    search = _search(patterns, wish or SeamWish(), aim_of)
    found = _families(search, list(_tried(search)))
    if not found:
        raise PanelsError("No division of this skin can be laid flat.\n\nhint: look at the findings of the job first.")
    exact: list[SeamChoice] = []
    faults: list[PanelsError] = []

    def build(choices: list[SeamChoice]) -> None:
        for coarse in choices:
            try:
                made = _exact(search, coarse.division, thickness, k_factor, inside)
            except PanelsError as fault:
                faults.append(fault)
            else:
                exact.extend([made] if not _slivers(made) else [])

    build(found[:MOST_TRIED])
    if search.limited and exact and not any(choice.meets for choice in exact):
        build(_once_more(search, min(exact, key=search.over)))
    if not exact:
        raise faults[0] if faults else PanelsError("Every division of this skin leaves a sliver.")
    return tuple(sorted(exact, key=search.rank)[:most])


def _search(patterns: Patterns, wish: SeamWish, aim_of: AimOf) -> _Search:
    return _Search(patterns, wish, aim_of, _crease_deg(patterns) >= CREASE_DEG, {}, {})


def _crease_deg(patterns: Patterns) -> float:
    """How far the skin turns at the widest line for most of its length, degrees."""
    return float(np.degrees(np.median(crease_turns(half_surface(patterns))[1])))


def _tried(search: _Search) -> Iterator[SeamChoice]:
    """Coarse divisions: every scheme, then the best with cross seams over their worst skin."""
    plain = [Division("halves"), Division("widest line")]
    for scheme in ("crown and sides", "crown, shoulders and sides"):
        plain += [Division(scheme, shoulder) for shoulder in SHOULDERS]
    level = [found for division in plain if (found := _coarse(search, division))]
    yield from (choice for choice, _ in level)
    met = {_family(choice) for choice, _ in level if search.limited and search.kept(choice) and not _slivers(choice)}
    for beam in BEAM:
        level = [
            found
            for choice, shell in _nearest(search, level)[:beam]
            for division in _crossed(search, choice, shell)
            if (found := _coarse(search, division))
        ]
        level += [_eased(search, pair) for pair in _nearest(search, level)[:EASED] if not search.content(pair[0])]
        yield from (choice for choice, _ in level)
        met |= {_family(choice) for choice, _ in level if search.limited and search.kept(choice)}
        if len(met) >= ENOUGH:
            return


def _nearest(search: _Search, pairs: list[tuple[SeamChoice, Shell]]) -> list[tuple[SeamChoice, Shell]]:
    """Of each family the division with the least strain, none with a sliver, the least strained family first."""
    first: dict[tuple, tuple[SeamChoice, Shell]] = {}
    for pair in sorted(pairs, key=lambda pair: search.over(pair[0])):
        if not _slivers(pair[0]):
            first.setdefault(_family(pair[0]), pair)
    return list(first.values())


def _family(choice: SeamChoice) -> tuple:
    return (choice.division.scheme, *(seam.name.rsplit(",", 1)[0] for seam in choice.division.seams))


def _families(search: _Search, tried: list[SeamChoice]) -> list[SeamChoice]:
    """The best division of each family, best family first, none with a sliver, none that another beats outright."""
    wish = search.wish
    good = [choice for choice in tried if not _slivers(choice)]
    good = [choice for choice in good if wish.skins is None or choice.skins <= wish.skins] or good

    def first(choice: SeamChoice) -> tuple[float, ...]:
        if search.content(choice):
            return (0, round(choice.weld, -1), search.over(choice))
        return (1, search.over(choice), choice.weld)

    best: dict[tuple, SeamChoice] = {}
    for choice in sorted(good, key=first):
        best.setdefault(_family(choice), choice)
    ranked = sorted(best.values(), key=first)
    return [
        choice
        for choice in ranked
        if not any(search.over(o) < HARDLY * search.over(choice) and o.weld < choice.weld - 1 for o in ranked)
    ]


def _slivers(choice: SeamChoice) -> bool:
    whole = choice.area_flat
    return any(
        panel.area_flat / max(panel.box) < SLIVER_MM or panel.area_flat < SLIVER_SHARE * whole
        for panel in choice.panels
    )


def _once_more(search: _Search, nearest: SeamChoice) -> list[SeamChoice]:
    """Divisions with a cross seam over the skin that the full mesh, unlike the coarse one, shows to be worst."""
    coarse = _coarse(search, nearest.division)
    if coarse is None:
        return []
    more = [made for d in _crossed(search, nearest, coarse[1]) if (made := _coarse(search, d)) is not None]
    few = search.wish.skins or nearest.skins + len(more)
    good = [choice for choice, _ in more if not _slivers(choice) and choice.skins <= few]
    return sorted(good, key=search.over)[:ONCE_MORE]


def _crossed(search: _Search, choice: SeamChoice, shell: Shell) -> Iterator[Division]:
    """The division with one cross seam more at several places, over the longest of its worst skins."""
    limits = (search.wish.stretch or 1.0, search.wish.shrink or 1.0)
    share = [max(panel.stretch / limits[0], panel.shrink / limits[1]) for panel in choice.panels]
    hard = [panel for panel, asks in zip(choice.panels, share, strict=True) if asks >= NEARLY_WORST * max(share)]
    more = (search.wish.skins or np.inf) - choice.skins
    found = [(panel.name, corners(shell, [panel.name])) for panel in hard if panel.count <= more]
    if not found:
        return
    name, v = max(found, key=lambda one: np.ptp(one[1][:, 0]))
    low, high = v[:, 0].min(), v[:, 0].max()
    for place in CROSSINGS:
        seam = upright(v, round(float(low + place * (high - low))), name.replace(" right", ""), COARSE_MM)
        if seam is not None:
            yield replace(choice.division, seams=(*choice.division.seams, seam))


def _eased(search: _Search, pair: tuple[SeamChoice, Shell]) -> tuple[SeamChoice, Shell]:
    """The division with its cross seams moved to where the worst skin is least strained, by ever smaller steps."""
    for step in EASE_MM:
        tried = [
            made for d in moved(pair[0].division, pair[1], step, COARSE_MM) if (made := _coarse(search, d)) is not None
        ]
        pair = min([pair, *(made for made in tried if not _slivers(made[0]))], key=lambda p: search.over(p[0]))
    return pair


def _coarse(search: _Search, division: Division) -> tuple[SeamChoice, Shell] | None:
    """The division on the coarse mesh; None where it cannot be made or laid flat."""
    try:
        shell = divide(assemble(_half(search, division.shoulder), search.patterns, division.seams), division)
        names = [name for name in shell.pieces if family(name) == "skin"]
        panels = []
        for name in names:
            if _is_twin(name, names):
                continue
            faces = shell.faces[shell.piece == shell.pieces.index(name)]
            p = shell.vertices[faces]
            key = (len(faces), *np.round(p.mean(axis=(0, 1)), 3), *np.round(p.std(axis=(0, 1)), 3))
            if key not in search.known:
                search.known[key] = _panel(shell.vertices, faces, name, names, search.aim_of(name))
            panels.append(replace(search.known[key], name=name))
    except (PanelsError, ValueError):
        return None
    return _choice(search, division, tuple(panels), shell.vertices, shell.faces, _owners(shell), shell.flags), shell


def _half(search: _Search, shoulder: float) -> HalfSurface:
    if shoulder not in search.halves:
        chord = 0.05 * (COARSE_MM / 10) ** 2
        search.halves[shoulder] = half_surface(search.patterns, shoulder=shoulder, step_mm=COARSE_MM, chord_mm=chord)
    return search.halves[shoulder]


def _exact(search: _Search, division: Division, thickness: float, k_factor: float, inside: bool) -> SeamChoice:
    body = build_body(search.patterns, division, thickness=thickness, k_factor=k_factor, inside=inside)
    names = [name for name in body.pieces if family(name) == "skin"]
    panels = tuple(
        _panel(body.neutral, body.faces_of(name), name, names, search.aim_of(name))
        for name in names
        if not _is_twin(name, names)
    )
    skin = np.array([family(name) == "skin" for name in body.pieces])
    owners = np.where(skin[body.piece], body.piece, -1)
    return _choice(search, division, panels, body.neutral, body.faces, owners, body.shell.flags)


def _is_twin(name: str, names: list[str]) -> bool:
    """Whether a left-hand skin goes with a right-hand one, and is told with it."""
    return name.endswith("left") and name.removesuffix("left") + "right" in names


def _owners(shell: Shell) -> np.ndarray:
    skin = np.array([family(name) == "skin" for name in shell.pieces])
    return np.where(skin[shell.piece], shell.piece, -1)


def _panel(vertices: np.ndarray, faces: np.ndarray, name: str, names: list[str], aim: Aim) -> PanelStrain:
    used, local = np.unique(faces, return_inverse=True)
    dev = develop_mesh(vertices[used], local.reshape(-1, 3), aim=aim.aim, shrink_cost=aim.shrink_cost)
    count = 2 if name.endswith("right") and name.removesuffix("right") + "left" in names else 1
    stretch, shrink = _worst(dev)
    width, height = np.ptp(dev.points, axis=0)
    return PanelStrain(name, count, stretch, shrink, dev.area_flat, (float(width), float(height)))


def _worst(dev: Development) -> tuple[float, float]:
    """Worst stretch and shrink as felt, both 0 or more."""
    if dev.developable:
        return 0.0, 0.0
    strain = felt(dev).strain
    return max(0.0, float(np.expm1(strain.max()))), max(0.0, float(-np.expm1(strain.min())))


def _choice(
    search: _Search,
    division: Division,
    panels: tuple[PanelStrain, ...],
    vertices: np.ndarray,
    faces: np.ndarray,
    owners: np.ndarray,
    flags: np.ndarray,
) -> SeamChoice:
    """Panels and the seams between skins, measured; ``owners`` (m,) is the skin of each face, -1 for what is none."""
    edges, pairs = shared_edges(faces)
    one, other = owners[pairs[:, 0]], owners[pairs[:, 1]]
    ends = edges[(one != other) & (one >= 0) & (other >= 0)]
    length = np.linalg.norm(vertices[ends[:, 0]] - vertices[ends[:, 1]], axis=1)
    crease = search.creased & ((flags[ends[:, 0]] & flags[ends[:, 1]] & WIDEST) > 0)
    choice = SeamChoice(division, panels, float(length[~crease].sum()), float(length[crease].sum()), False)
    return replace(choice, meets=search.kept(choice))
