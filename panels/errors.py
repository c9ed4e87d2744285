"""Every way this package says no, as one short tree.

PanelsError
    UnrollError            (ValueError)   a ruled strip that cannot be laid flat
        RailMismatch                      rails with different numbers of points
        ZeroRuling                        facing points coincide inside a strip
    DevelopError           (ValueError)   a skin that cannot be developed
        NotADisc                          not one piece with one outer edge
        BadTriangle                       a triangle without area, or a corner that is not a number
        BlankOverlap                      the flat blank would lie over itself; carries ``.development``
        DevelopStalled                    no layout without folded triangles was found
    SurfaceError           (ValueError)   patterns from which no surface can be made
    TrimError              (ValueError)   a body that the tunnel or a seam cuts in a way that cannot be built
    StripError             (ValueError)   a grid of points that cannot be cut into strips
    BendError              (ValueError)   a bend that cannot be worked out
        KFactorOutOfRange                 the neutral surface would lie outside the metal
        NoMinimumRadius                   no published minimum for that metal; carries ``.known``
    MetalError             (LookupError)  a metal or gauge that is not in the tables
        UnknownMetal                      carries ``.known`` and ``.suggestions``
        UnknownGauge                      carries ``.known``
    FoldError              (ValueError)   a flat that cannot be folded as drawn
    TunnelError            (ValueError)   a tunnel that cannot be folded from one flat
    LipError               (ValueError)   a lip that cannot be turned along an edge
    BaffleError            (ValueError)   a baffle that does not go where it is wanted
    SeamError              (ValueError)   an edge that meets no other edge
"""

from __future__ import annotations

from typing import Any


class PanelsError(Exception):
    """Base of every error that ``panels`` raises on purpose; facts are attributes."""

    def __init__(self, message: str, **facts: Any) -> None:
        super().__init__(message)
        self.facts = facts
        for name, value in facts.items():
            setattr(self, name, value)


class UnrollError(PanelsError, ValueError):
    """A ruled strip that cannot be laid flat."""


class RailMismatch(UnrollError):
    """The two rails of a strip do not face each other point for point."""


class ZeroRuling(UnrollError):
    """Two facing points inside a strip coincide; carries ``.step``."""


class DevelopError(PanelsError, ValueError):
    """A skin that cannot be developed."""


class NotADisc(DevelopError):
    """The panel is not one piece with one outer edge."""


class BadTriangle(DevelopError):
    """A triangle without area, or a corner that is not a number."""


class BlankOverlap(DevelopError):
    """The flat blank would lie over itself; carries ``.development`` and ``.overlaps``."""


class DevelopStalled(DevelopError):
    """No layout free of folded triangles was found."""


class SurfaceError(PanelsError, ValueError):
    """Patterns from which no surface can be made."""


class TrimError(PanelsError, ValueError):
    """A body that the tunnel or a seam cuts in a way that cannot be built."""


class StripError(PanelsError, ValueError):
    """A grid of surface points that cannot be cut into strips."""


class BendError(PanelsError, ValueError):
    """A bend that cannot be worked out; carries ``.quantity``, ``.value`` and ``.allowed``."""


class KFactorOutOfRange(BendError):
    """The neutral surface would lie outside the metal."""


class NoMinimumRadius(BendError):
    """No published minimum inside radius for this metal and thickness; carries ``.known``."""


class MetalError(PanelsError, LookupError):
    """A metal or gauge that is not in the tables."""


class UnknownMetal(MetalError):
    """A metal name that is not in the tables; carries ``.given``, ``.known``, ``.suggestions``."""


class UnknownGauge(MetalError):
    """A gauge number or gauge system that is not in the tables; carries ``.known``."""


class FoldError(PanelsError, ValueError):
    """A flat that cannot be folded as drawn."""


class TunnelError(PanelsError, ValueError):
    """A tunnel that cannot be folded from one flat; carries the numbers that disagree."""


class LipError(PanelsError, ValueError):
    """A lip that cannot be turned along an edge; carries ``.letter`` and the numbers."""


class BaffleError(PanelsError, ValueError):
    """A baffle that does not go where it is wanted; carries ``.x``."""


class SeamError(PanelsError, ValueError):
    """An edge that meets no other edge; carries ``.blank`` and ``.letter``."""
