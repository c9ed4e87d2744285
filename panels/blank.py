"""Flat blanks: the value this package exists to produce.

Words used here
    net outline    the developed edge of the finished panel, flat: where the metal is trimmed to
    outline        the edge the blank is cut to: net outline plus the allowance of each edge
    edge           the part of the net outline that meets one neighbour, between two corners
    joint          how an edge is joined: ``butt``, ``lap``, ``fold``, ``fillet``, ``free``
    mark           a line to be drawn or scribed on the blank, never cut
    good face      the face that is outside on the finished tank; blanks are drawn good face up

All coordinates are (x, y) in mm on the flat, good face up. Strain is natural, flat to formed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from shapely.geometry import Polygon

__all__ = ["Aim", "AimOf", "AtEdge", "Bend", "Blank", "Edge", "FlatMesh", "Fold", "Mark", "Roll"]

#: What a shop leaves on an edge: kind of blank, its piece, the piece it meets ("" if none) -> joint and mm.
AtEdge = Callable[[str, str, str], tuple[str, float]]


@dataclass(frozen=True)
class Aim:
    """What a crowned blank is laid out for: see ``panels.develop_mesh``."""

    aim: Literal["even", "least_worst"] = "even"
    shrink_cost: float = 1.0


#: What the blank of a piece is laid out for.
AimOf = Callable[[str], Aim]


@dataclass(frozen=True)
class Edge:
    """One edge of a blank, points (n, 2) along the net outline."""

    letter: str  # seam letter, the same on both blanks that meet
    meets: str  # name of the panel on the other side, "" if the edge is free
    joint: str
    allowance: float  # metal left outside the net outline, mm
    points: np.ndarray
    length_surface: float  # length on the formed panel, mm
    length_blank: float  # length on the flat, mm
    formed_at: np.ndarray | None = None  # (n,) length so far on the formed panel at each point; None: in proportion

    def blank_share(self, formed_share: float) -> float:
        """Share of the flat length at which a share of the formed length lies.

        Strain is not the same all along an edge: the middle of a flat edge need not meet the middle of its mate.
        """
        if self.formed_at is None or self.length_blank <= 0:
            return formed_share
        steps = np.linalg.norm(np.diff(self.points, axis=0), axis=1)
        flat = np.concatenate([[0.0], np.cumsum(steps)])
        return float(np.interp(formed_share * self.formed_at[-1], self.formed_at, flat)) / float(flat[-1])

    @property
    def gain(self) -> float:
        """Millimetres the edge must gain (stretch, +) or lose (shrink, -) in forming."""
        return self.length_surface - self.length_blank


@dataclass(frozen=True)
class Fold:
    """A fold: its centre line and its two tangent lines on the flat, and how it is bent."""

    start: np.ndarray  # (2,)
    end: np.ndarray  # (2,)
    tangents: np.ndarray  # (2, 2, 2): two lines, start and end
    angle: float  # degrees the metal is turned
    inside_radius: float  # mm
    up: bool  # True: bent towards the good face as drawn
    k_factor: float
    k_source: str
    lip: str = ""  # letter of the edge whose lip it turns


@dataclass(frozen=True)
class Bend:
    """The bend of a lip along an edge, straight or curved: it lies between two lines (n, 2) on the flat."""

    letter: str  # of the edge
    width: float  # of the lip on its outside, mm
    begins: np.ndarray  # at the piece's side
    ends: np.ndarray  # at the free edge's side
    turn: tuple[float, float]  # degrees the metal is turned, least and most
    inside_radius: float  # mm
    up: bool  # True: turned towards the good face as drawn
    k_factor: float
    k_source: str
    straight: bool  # one straight fold makes it, which is among the blank's folds too

    @property
    def middle(self) -> np.ndarray:
        """The bend line (n, 2), midway."""
        return np.asarray((self.begins + self.ends) / 2)


@dataclass(frozen=True)
class Roll:
    """A zone of a piece that bends one way, between two lines that lie along the rolls; see ``panels.roll``."""

    kind: Literal["flat", "rolled", "bend"]
    start: np.ndarray  # (2, 2) the line where it begins, from edge to edge of the blank
    end: np.ndarray  # (2, 2)
    angle: float  # degrees the metal is turned
    up: bool  # True: bent towards the good face as drawn
    radius: float  # inside, mm; infinite where flat
    along: tuple[float, float]  # inside radius at the start and at the end; both ``radius`` where it hardly changes
    across: tuple[float, float]  # inside radius at the first and the second end of its lines: a cone's differ
    miss: float = 0.0  # how far the arc leaves the piece, mm
    sharp: bool = False  # the piece has a sharp corner here, bent at ``radius`` all the same

    @property
    def least(self) -> float:
        """Tightest inside radius in it, mm."""
        return min(self.radius, *self.along, *self.across)


@dataclass(frozen=True)
class Mark:
    """A line drawn on the blank: ``centre``, ``station``, ``style``, ``register``, ``grid``, ``fitting``, ``bend``."""

    kind: str
    points: np.ndarray  # (n, 2)
    label: str = ""


@dataclass(frozen=True, eq=False)
class FlatMesh:
    """The development: points (n, 2), faces (m, 3), strain (m, 2) largest first, and the way each of the two runs:
    unit vectors (m, 2, 2) on the flat. ``formed`` (n, 3): where its points are on the tank, neutral surface, mm."""

    points: np.ndarray
    faces: np.ndarray
    strain: np.ndarray
    directions: np.ndarray
    formed: np.ndarray | None = None

    @property
    def along_across(self) -> np.ndarray:
        """(m, 2) natural strain along x of the flat and along y, from the principal ones."""
        return np.einsum("mk,mki->mi", self.strain, self.directions**2)


@dataclass(frozen=True)
class Blank:
    """One flat blank, good face up."""

    name: str
    hand: str  # "left", "right", "centre": which side of the tank it belongs to
    kind: str  # "formed" (crowned), "rolled" (unrolls exactly), "folded", "flat"
    outline: Polygon  # cut edge, with holes
    net: Polygon  # trim line
    edges: tuple[Edge, ...]
    folds: tuple[Fold, ...]
    marks: tuple[Mark, ...]
    grain_deg: float | None  # direction of the grain on the blank, degrees from x; None: any
    thickness: float  # mm
    area_formed: float  # area of the panel's neutral surface, mm2
    flat: FlatMesh | None  # development with strain, None where nothing is strained
    notes: tuple[str, ...] = ()
    mirrors: str = ""  # name of the blank this one is the true mirror image of
    rolls: tuple[Roll, ...] = ()  # zones of a rolled piece, in order along it
    metal: str = ""  # where it is not cut from the tank's own metal
    lips: tuple[Bend, ...] = ()  # edges turned over

    @property
    def stretch(self) -> float:
        """Largest stretch as engineering strain (0.02 = 2 %), 0 if there is none."""
        return 0.0 if self.flat is None else max(0.0, float(np.expm1(self.flat.strain[:, 0].max())))

    @property
    def shrink(self) -> float:
        """Largest shrink as a positive engineering strain (0.02 = 2 %), 0 if there is none."""
        return 0.0 if self.flat is None else max(0.0, float(-np.expm1(self.flat.strain[:, 1].min())))
