"""Published rectangle instances and made-up zero-waste ones, as parts and sheets."""

from __future__ import annotations

import json
import random
from pathlib import Path

from shapely.geometry import box

from nesting import Part, Sheet

PUBLISHED = Path(__file__).parent.parent / "published" / "nesting" / "rect"


def instance(name: str) -> dict:
    """One published file."""
    return json.loads((PUBLISHED / f"{name}.json").read_text())


def parts_of(data: dict, copies: int = 1) -> list[Part]:
    """Its items as parts; ``copies`` where the file sets no limit of its own, value as priority."""
    return [
        Part(
            str(item["id"]),
            box(0, 0, item["w"], item["h"]),
            item.get("copies") or copies,
            priority=item.get("value", 0),
        )
        for item in data["items"]
    ]


def zero_waste(width: int, height: int, pieces: int, gap: int, seed: int) -> list[tuple[int, int]]:
    """Sizes of a random edge-to-edge partition with ``gap`` between neighbours: fills one sheet to the last mm."""
    draw = random.Random(seed)
    cells = [(width, height)]
    while len(cells) < pieces:
        cells.sort(key=lambda cell: cell[0] * cell[1])
        w, h = cells.pop()
        across = w > h if draw.random() < 0.8 else w <= h
        long = w if across else h
        cut = draw.randint(long // 4, long - gap - long // 4)
        cells += [(cut, h), (long - gap - cut, h)] if across else [(w, cut), (w, long - gap - cut)]
    draw.shuffle(cells)
    return [cell if draw.random() < 0.5 else cell[::-1] for cell in cells]


def rectangles(sizes: list[tuple[float, float]], **settings: object) -> list[Part]:
    """Numbered rectangular parts of these sizes."""
    return [Part(f"p{i}", box(0, 0, w, h), **settings) for i, (w, h) in enumerate(sizes)]  # type: ignore[arg-type]


def one_sheet(data: dict, **settings: object) -> Sheet:
    """The instance's sheet, without grain."""
    return Sheet("sheet", data["sheet"]["w"], data["sheet"]["h"], grain=None, **settings)  # type: ignore[arg-type]
