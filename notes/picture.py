"""Draw the README's picture from the first example, with the job sheet's own drawings: ``make picture``."""

from __future__ import annotations

import re
from pathlib import Path

from tankwright.job import load_job, work_out
from tankwright.papers.flat_svg import flat_svg
from tankwright.papers.svg import pen_css
from tankwright.papers.tank_svg import VIEWS, groups_of, still_mesh, tank_svg
from tankwright.papers.zones import strain_zones

HERE = Path(__file__).resolve().parent
WIDE, HIGH = 1200, 660


def placed(drawing: str, x: float, y: float, width: float, height: float) -> str:
    """A drawing as a part of a larger one."""
    return re.sub(r"<svg ", f'<svg x="{x}" y="{y}" width="{width}" height="{height}" ', drawing, count=1)


def main() -> None:
    work = work_out(load_job(HERE.parent / "examples" / "saddle-12l"))
    look = (HERE.parent / "tankwright" / "papers" / "jobsheet_parts" / "look.css").read_text(encoding="utf-8")
    mesh = still_mesh(work.body, groups_of(work.body, work.blanks))
    shown = [(k, b) for k, b in enumerate(work.blanks, 1) if b.hand != "left"]
    flats = [flat_svg(b, strain_zones(b.flat) if b.flat else (), number_of_piece=k, name=f"flat{k}") for k, b in shown]
    parts = [placed(tank_svg(mesh, VIEWS[0], name="tank"), 10, 10, 580, 400)]
    parts.append(placed(tank_svg(mesh, VIEWS[1], name="under"), 60, 400, 480, 250))
    cells = [(600, 10, 590, 255), *((x, y, 300, 188) for y in (270, 465) for x in (600, 890))]
    order = sorted(range(len(shown)), key=lambda i: -shown[i][1].outline.area)
    parts += [placed(flats[i], *cell) for i, cell in zip(order, cells, strict=False)]
    style = f"<style>{look}{pen_css()}</style><rect width='{WIDE}' height='{HIGH}' fill='#fffefa'/>"
    head = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDE} {HIGH}" width="{WIDE}" height="{HIGH}">'
    (HERE / "picture.svg").write_text(f"{head}{style}{''.join(parts)}</svg>\n", encoding="utf-8")
    print("wrote notes/picture.svg")


if __name__ == "__main__":
    main()
