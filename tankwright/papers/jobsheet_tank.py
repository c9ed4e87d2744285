"""The tank on the job sheet: the live picture, the still ones, and the data the viewer draws from."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING, Any

from .words import length

if TYPE_CHECKING:
    from ..work import Work

__all__ = ["tank_section"]

LOOKS = (
    ("Front, left", -130, 28),
    ("Left side", -90, 0),
    ("From above", -90, 89),
    ("From the rear", 0, 12),
    ("From below", -130, -40),
)


def tank_section(work: Work, got: dict[str, Any]) -> tuple[str, dict[str, Any]]:
    """The section as HTML, and the viewer's data."""
    from .tank_mesh import packed_tank
    from .tank_svg import VIEWS, groups_of, still_mesh, tank_svg

    groups = groups_of(work.body, work.blanks)
    mesh = still_mesh(work.body, groups)
    stills = "".join(
        f"<figure>{tank_svg(mesh, view, name=f'tank{k}')}"
        f"<figcaption>{escape(view.title[0].upper() + view.title[1:])}.</figcaption></figure>"
        for k, view in enumerate(VIEWS, 1)
    )
    buttons = "".join(
        f'<button type="button" data-around="{a}" data-above="{e}">{name}</button>' for name, a, e in LOOKS
    )
    unit, tank = got["job"]["unit"], got["tank"]
    size = "; ".join(
        f"{name} {escape(length(tank[key], unit))}"
        for name, key in (("length", "length_mm"), ("width", "width_mm"), ("height", "height_mm"))
    )
    names = ", ".join(escape(group.label) for group in groups)
    live = (
        '<div id="tank-live" hidden><div class="stage">'
        '<canvas id="tank-canvas" tabindex="0" role="img" aria-label="The tank in three dimensions, its pieces '
        'numbered. Arrow keys turn it, plus and minus zoom, Home starts again."></canvas></div>'
        '<div class="hand"><label for="tank-pull">Pull apart</label>'
        '<input id="tank-pull" type="range" min="0" max="100" value="0">'
        f"{buttons}"
        '<button type="button" data-zoom="1.25" aria-label="Nearer">+</button>'
        '<button type="button" data-zoom="0.8" aria-label="Farther">−</button></div>'
        '<p class="small soft">Drag to turn, pinch to zoom. Click the picture first to zoom with the wheel. '
        "Keys: arrows, + and −, Home.</p></div>"
    )
    return (
        f'<p>Outside, {size}. Numbers are those of the cut list: {names}.</p>{live}<div class="still">{stills}</div>'
    ), packed_tank(work.body, groups)
