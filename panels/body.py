"""The watertight body that the patterns describe, on its three surfaces, and what it holds.

Words used here
    outer, neutral, inner   the outside face of the metal, the surface inside it that bending leaves at
                            its length, and the face towards the fuel
    brim                    what the inner surface holds when full to the top
    ullage                  the part left empty so that fuel can expand
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from .assemble import Shell, assemble
from .bump_out import with_bump_outs
from .cutting_mesh import area_vectors
from .divide import divide, smooth_groups
from .halves import as_one_surface, is_half, with_halved_ends
from .measure import area, centre_of_volume, volume
from .offset import inward_directions
from .outlets import kept_back
from .patterns import Division, Patterns, TunnelPattern
from .surface import HalfSurface, half_surface

__all__ = ["Body", "Capacity", "build_body", "measure_capacity"]

#: Patterns are cut by hand along a thick pencil line, and folded in the post: no better than this, mm.
READ_MM = 1.0  # common practice, no source


@dataclass(frozen=True)
class Capacity:
    """What the tank holds and weighs. Litres, mm, kg."""

    brim_l: float  # inner surface less the tunnel
    tolerance_l: float  # plus or minus, from how well paper is read
    ullage_l: float  # left empty for expansion
    below_outlet_l: float  # what the outlets do not reach, both sides together
    usable_l: float
    centre: tuple[float, float, float]  # centre of mass of the fuel when brim full, mm
    dry_mass_kg: float
    litres_per_mm_width: float  # lost for each mm the tunnel is wider at each side
    litres_per_mm_depth: float  # lost for each mm the tunnel is deeper
    shell_area_mm2: float


@dataclass(frozen=True)
class Body:
    """One closed triangle mesh, each face belonging to a named piece.

    ``outer``, ``neutral``, ``inner`` are the same vertices (n, 3) on three surfaces, mm; ``faces`` (m, 3)
    turn anticlockwise seen from outside the fuel; ``piece`` (m,) indexes ``pieces``.
    """

    outer: np.ndarray
    neutral: np.ndarray
    inner: np.ndarray
    faces: np.ndarray
    piece: np.ndarray
    pieces: tuple[str, ...]
    capacity_mm3: float
    thickness: float
    k_factor: float
    patterns: Patterns
    surface: HalfSurface
    shell: Shell  # flags and twins of the vertices, the tunnel's corner line

    @property
    def mesh(self) -> tuple[np.ndarray, np.ndarray]:
        """Outer surface: vertices (n, 3) mm, faces (m, 3)."""
        return self.outer, self.faces

    def faces_of(self, piece: str) -> np.ndarray:
        """Faces (k, 3) of one piece."""
        return self.faces[self.piece == self.pieces.index(piece)]


def _grown(patterns: Patterns, thickness: float) -> Patterns:
    """Patterns of the inside, with tunnel and neck relief as large as they are on the fuel side."""
    tunnel, neck = patterns.tunnel, patterns.neck
    if tunnel is not None:
        front, rear = tunnel.closed_front_x, tunnel.closed_rear_x
        tunnel = replace(
            tunnel,
            side_room=tunnel.side_room + thickness,
            top_room=tunnel.top_room + thickness,
            arch_rise=_grown_rise(tunnel, thickness) if tunnel.top == "arch" else 0.0,
            closed_front_x=None if front is None else front - thickness,
            closed_rear_x=None if rear is None else rear + thickness,
        )
    if neck is not None:
        neck = replace(neck, radius=neck.radius + thickness)
    return replace(patterns, tunnel=tunnel, neck=neck)


def _grown_rise(tunnel: TunnelPattern, thickness: float) -> float:
    """Rise of an arch round the same middle, a thickness larger all round."""
    half, rise = tunnel.half_front, tunnel.arch_rise
    radius = (half**2 + rise**2) / (2 * max(rise, 1e-9)) + thickness
    return float(radius - np.sqrt(radius**2 - (half + thickness) ** 2))


def build_body(
    patterns: Patterns,
    division: Division | None = None,
    *,
    thickness: float,
    k_factor: float = 0.5,
    inside: bool = False,
    step_mm: float | None = None,
) -> Body:
    """The watertight body that patterns describe, its skin divided into panels.

    Parameters
    ----------
    patterns
        What the customer sent, mm.
    division
        How the skin is divided; crown and sides if left out.
    thickness
        Of the sheet, mm; may be next to nothing for a body without walls, not negative.
    k_factor
        The neutral surface lies (1 - k_factor) * thickness inside the outer surface.
    inside
        True where the patterns show the inside of the tank. The tunnel's sizes are those towards the
        frame either way.
    step_mm
        Longest step of the mesh; finer for a smoother body.

    Raises
    ------
    SurfaceError, TrimError
        Where no body can be made of the patterns; the message says where and what would mend it.
    """
    division = division or Division()
    drawn = _grown(patterns, thickness) if inside else patterns
    steps = {} if step_mm is None else {"step_mm": step_mm, "chord_mm": (step_mm / 10) ** 2 * 0.05}
    surface = half_surface(drawn, shoulder=division.shoulder, **steps)
    whole = assemble(surface, drawn, division.seams)
    shell = with_halved_ends(divide(whole, division), division.halved_ends)
    walls = {*whole.pieces, *(name for name in shell.pieces if is_half(name))}
    shell = with_bump_outs(shell, drawn, thickness=thickness, grown=thickness if inside else 0.0)
    skin = tuple(name if name in walls or name.startswith("bump-out") else "skin" for name in shell.pieces)
    group = as_one_surface(smooth_groups(replace(shell, pieces=skin)), shell)
    inwards = inward_directions(shell.vertices, shell.faces, group)
    depth = np.array([0.0, (1 - k_factor) * thickness, thickness]) - (thickness if inside else 0.0)
    outer, neutral, inner = (_moved(shell, inwards, d) for d in depth)
    return Body(
        outer,
        neutral,
        inner,
        shell.faces,
        shell.piece,
        shell.pieces,
        volume(inner, shell.faces),
        thickness,
        k_factor,
        patterns,
        surface,
        shell,
    )


def _moved(shell: Shell, inwards: np.ndarray, distance: float) -> np.ndarray:
    """Vertices moved inwards by a distance, none across the centre plane."""
    moved = shell.vertices + distance * inwards
    side = np.sign(shell.vertices[:, 1])
    moved[:, 1] = side * np.maximum(side * moved[:, 1], 0.0)
    return moved


def measure_capacity(body: Body, *, density: float, ullage: float = 0.04, read_mm: float = READ_MM) -> Capacity:
    """What the tank holds and weighs.

    ``density`` of the metal in kg/m3; ``ullage`` the share left empty; ``read_mm`` how far off an outline
    may have been read, which sets the tolerance: the outer skin moved by that much.
    """
    brim = body.capacity_mm3
    inner = {name: area(body.inner, body.faces_of(name)) for name in body.pieces}
    skin = sum(a for name, a in inner.items() if not name.startswith(("tunnel", "neck")))
    tunnel = {name: a for name, a in inner.items() if name.startswith("tunnel") and "end" not in name}
    # A leg in several parts has them numbered: "tunnel 2 right".
    legs = sum(a for name, a in tunnel.items() if name.endswith(("right", "left")) and "top" not in name)
    below = sum(kept_back(body.inner, body.faces, body.patterns.outlets).values())
    left_empty = ullage * brim
    metal = area(body.neutral, body.faces)
    return Capacity(
        brim_l=brim / 1e6,
        tolerance_l=skin * read_mm / 1e6,
        ullage_l=left_empty / 1e6,
        below_outlet_l=below / 1e6,
        usable_l=max(0.0, brim - left_empty - below) / 1e6,
        centre=tuple(float(c) for c in centre_of_volume(body.inner, body.faces)),  # type: ignore[arg-type]
        dry_mass_kg=metal * body.thickness * density / 1e9,
        litres_per_mm_width=(legs + _lost_over_legs(body)) / 1e6,
        litres_per_mm_depth=sum(_from_above(body, name) for name in tunnel if name.startswith("tunnel top")) / 1e6,
        shell_area_mm2=metal,
    )


def _from_above(body: Body, piece: str) -> float:
    """Area of a tunnel's top, mm2; of a rounded one as it is seen from above."""
    assert body.patterns.tunnel is not None
    if body.patterns.tunnel.top == "flat":
        return area(body.inner, body.faces_of(piece))
    return float(np.abs(area_vectors(body.inner, body.faces_of(piece))[:, 2]).sum())


def _lost_over_legs(body: Body) -> float:
    """What a rounded top costs for each mm that the tunnel is wider at each side, mm3, above what its legs do.

    The crown stays where it is: a half round of another width has another radius, an arch keeps its rise.
    """
    tunnel = body.patterns.tunnel
    if tunnel is None or tunnel.top == "flat" or "tunnel top" not in body.pieces:
        return 0.0
    half = (tunnel.half_front + tunnel.half_rear) / 2 + body.thickness
    length = _from_above(body, "tunnel top") / (2 * half)
    if tunnel.top == "round":
        return float((np.pi - 2) * half * length)
    rise = tunnel.arch_rise * half / tunnel.half_front

    def segment(out: float) -> float:
        radius = (out**2 + rise**2) / (2 * rise)
        turn = np.arcsin(out / radius)
        return float(radius**2 * (turn - np.sin(2 * turn) / 2))

    return (segment(half + 0.5) - segment(half - 0.5)) * length
