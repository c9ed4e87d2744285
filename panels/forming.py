"""What forming asks of the sheet, beside what is published about it: stretch, thinning, thickening.

Words used here
    major, minor   the larger and the smaller principal strain of a place on the panel, natural, blank to surface
    forming limit  major strain at which sheet pulled once, without anneal, begins to neck; depends on the minor one
    used           major strain as a share of the forming limit at that place
    elongation     stretch at break in a pull test, neck included: no strain a whole panel can take

Everything here is a comparison of a computed strain with a published figure, in words, and never a promise. A hand shop
works in many small steps, anneals between them and moves metal from beside; a press does neither. Shrinking has no such
limit: it ends in wrinkles or folds that can no longer be worked out, and no published figure was found.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from panels.errors import DevelopError
from panels.metal import Metal

__all__ = ["FormingLimit", "SheetLoad", "forming_limit", "sheet_load"]

Floats = NDArray[np.float64]

# FLC0 = (23.3 + 14.13 t) n / 0.21 percent, t in mm: S. Keeler and W. Brazier, 1977, not seen; the constants agree in
# five or more public documents, that it depends on t and n by this equation is in the WorldAutoSteel AHSS guidelines.
# Its range is unsettled, so n and t are capped at the lower of the values named.
FLC_BASE, FLC_PER_MM, FLC_N, FLC_MOST_MM = 23.3, 14.13, 0.21, 3.0
RIGHT_SLOPE, RIGHT_END = 0.6, 0.2  # AHSS guidelines, one page: right branch, up to 20 % minor strain
NEAR = 0.6  # share of the limit from which it is called near; common practice keeps 8 to 10 points of strain away
NEARLY_NOTHING = 1e-4


@dataclass(frozen=True)
class FormingLimit:
    """Published forming limit of one sheet, at plane strain, and where it comes from."""

    plane_strain: float  # natural major strain with no minor strain
    source: str

    def at(self, minor: ArrayLike) -> Floats:
        """Limit of the major strain beside each minor one, natural.

        Left of plane strain the thinning stays the same, so the limit rises by as much as the minor strain falls;
        right of it it rises by 0.6 of the minor strain, up to 20 %.
        """
        minor = np.asarray(minor, dtype=float)
        return self.plane_strain - np.minimum(minor, 0.0) + RIGHT_SLOPE * np.clip(minor, 0.0, RIGHT_END)


@dataclass(frozen=True, eq=False)
class SheetLoad:
    """What one development asks of one sheet."""

    metal: str
    thickness: float  # mm, of the blank
    after: Floats  # (m,) mm, of each triangle on the finished panel
    limit: FormingLimit | None  # None where no figure is published for the metal
    used: float | None  # largest share of the forming limit anywhere
    where: int  # the triangle with the largest share; without a limit, with the largest stretch
    stretch: float  # largest engineering stretch, a fraction
    elongation: float  # published, a fraction
    elongation_basis: str

    @property
    def thinnest(self) -> float:
        """mm"""
        return float(self.after.min())

    @property
    def thickest(self) -> float:
        """mm"""
        return float(self.after.max())

    @property
    def change(self) -> str:
        """Thinnest and thickest place in words: ``1.56 mm where it is stretched, 1.68 mm where it is shrunk``."""
        told = []
        if self.thinnest < self.thickness * (1 - NEARLY_NOTHING):
            told.append(f"{self.thinnest:.2f} mm at the thinnest, where it is stretched")
        if self.thickest > self.thickness * (1 + NEARLY_NOTHING):
            told.append(f"{self.thickest:.2f} mm at the thickest, where it is shrunk")
        return "; ".join(told) or "no change of thickness"

    @property
    def share(self) -> float:
        """Worst place as a share of the forming limit; of the elongation where no limit is known."""
        return self.stretch / self.elongation if self.used is None else self.used

    @property
    def place(self) -> str:
        """``past``, ``near`` or ``well below`` the published figure."""
        return "past" if self.share >= 1 else "near" if self.share >= NEAR else "well below"

    @property
    def words(self) -> str:
        """One sentence for the job sheet."""
        percent = f"{100 * self.stretch:.1f} % stretch at most"
        if self.stretch < NEARLY_NOTHING:
            return f"nothing to stretch; {self.metal} gets thicker where it is shrunk, up to {self.thickest:.2f} mm."
        if self.used is None:
            return (
                f"{percent}, {self.place} the {100 * self.elongation:.0f} % elongation of {self.metal} "
                f"({self.elongation_basis}); no forming limit was found for it."
            )
        return (
            f"{percent}, {self.place} the published forming limit of {self.metal} for one pull without anneal "
            f"({100 * self.used:.0f} % of it at the worst place); its elongation is {100 * self.elongation:.0f} % "
            f"({self.elongation_basis})."
        )


def forming_limit(metal: Metal, thickness: float) -> FormingLimit | None:
    """Published forming limit of a sheet, or None where the metal's hardening exponent is not known.

    Raises
    ------
    DevelopError
        If the thickness is not above 0.
    """
    if not (np.isfinite(thickness) and thickness > 0):
        raise DevelopError(f"The sheet is {thickness} mm thick, it must be above 0.", thickness=thickness)
    if metal.n is None:
        return None
    if metal.kind == "steel":
        percent = (FLC_BASE + FLC_PER_MM * min(thickness, FLC_MOST_MM)) * min(metal.n, FLC_N) / FLC_N
        return FormingLimit(
            float(np.log1p(percent / 100)),
            "Keeler and Brazier's equation for steel, by thickness and n; original not seen",
        )
    return FormingLimit(metal.n, "plane-strain neck at a natural strain of n (Hill), from memory; not a measured curve")


def sheet_load(strain: ArrayLike, metal: Metal, thickness: float) -> SheetLoad:
    """Set the strains of a development beside what is published about the sheet.

    Parameters
    ----------
    strain : array_like, shape (m, 2)
        Principal natural strains, blank to surface, larger first, as in ``Development.strain``.
    metal : Metal
    thickness : float
        mm, of the blank.

    Notes
    -----
    Thickness follows from constant volume: t exp(-(e1 + e2)), the usual assumption of plastic forming.
    """
    limit = forming_limit(metal, thickness)
    e = np.asarray(strain, dtype=float)
    if e.ndim != 2 or e.shape[1] != 2 or not len(e) or not np.isfinite(e).all():
        raise DevelopError(f"Strains have shape {e.shape}, not rows of two finite numbers.")
    major, minor = e.max(axis=1), e.min(axis=1)
    share = major if limit is None else major / limit.at(minor)
    where = int(np.argmax(share))
    return SheetLoad(
        metal=metal.name,
        thickness=float(thickness),
        after=thickness * np.exp(-e.sum(axis=1)),
        limit=limit,
        used=None if limit is None else max(0.0, float(share[where])),
        where=where,
        stretch=max(0.0, float(np.expm1(major.max()))),
        elongation=metal.elongation / 100,
        elongation_basis=metal.elongation_basis,
    )
