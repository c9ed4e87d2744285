"""Cutting files as DXF: R2010 with arcs in closed light polylines, and R12 for readers of the old kind.

Words used here
    shell     all of a file but its drawing: header, tables and the rest, as the library writes them
    tag       a group code on a line and its value on the next, what a DXF file is made of

Units are millimetres. R2010 says so in its header; R12 has no place for it, so its name and its words do. No
splines, no blocks, no hatches; the clock and random ids are kept out, so the same job gives the same bytes. The
shell is the library's, made once for each set of layers; lines, polylines and words, three kinds of entity and
thousands of them, are written here, which takes a tenth of the time.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from .cutting import Drawing, Line, Words, cutting_drawings
from .cutting_kerf import Asked
from .look import LAYERS
from .names import plain
from .outline import Path

if TYPE_CHECKING:
    from ..work import Work

__all__ = ["dxf_files", "to_dxf"]

VERSIONS = ("R2010", "R12")

#: Extents that stand in a shell until a drawing's own take their place; no drawing has just these.
HOLDERS = ((-987654.25, -876543.25), (987654.75, 876543.75))


def dxf_files(work: Work, asked: Asked | None = None) -> dict[str, bytes]:
    """Every cutting file of the work by name: sheets, then blanks, each in both versions.

    Net geometry unless the job, or ``asked``, wants kerf or lead-ins; file names and words say which.

    Raises JobError, a ValueError, where the kerf closes a hole or a slot.
    """
    files = {}
    for name, drawing in cutting_drawings(work, asked).items():
        files[f"cutting/{name}-mm.dxf"] = to_dxf(drawing, "R2010")
        files[f"cutting/r12/{name}-mm-r12.dxf"] = to_dxf(drawing, "R12")
    return files


def to_dxf(drawing: Drawing, version: str = "R2010") -> bytes:
    """The drawing as a DXF file of that version, "R2010" or "R12"."""
    if version not in VERSIONS:
        raise ValueError(f"DXF version {version!r} is not written here; one of {', '.join(VERSIONS)}.")
    used = {item.layer for item in drawing.items}
    shell = _shell(version, tuple(key for key in LAYERS if key in used))  # an empty layer only raises questions
    write = _old if version == "R12" else _new
    tags, handle = [], shell.first_handle
    for item in drawing.items:
        text, handle = write(item, handle, shell.owner)
        tags.append(text)
    head, tail = shell.head, shell.tail
    for holder, corner in zip(HOLDERS, drawing.extents, strict=True):
        for held, value in zip(holder, corner, strict=True):
            head, tail = head.replace(f"{held}\n", f"{value}\n"), tail.replace(f"{held}\n", f"{value}\n")
    head = head.replace(_seed(shell.first_handle), _seed(handle))
    return "".join([head, *tags, tail]).encode("ascii")


# ------------------------------------------------------------------------------------------- shell


class _Shell(NamedTuple):
    """What stands before and after the entities, who owns them, and the first number that is free for them."""

    head: str
    tail: str
    owner: str
    first_handle: int


def _seed(handle: int) -> str:
    return f"$HANDSEED\n  5\n{handle:X}\n"


@lru_cache(maxsize=32)
def _shell(version: str, layers: tuple[str, ...]) -> _Shell:
    """The library's empty document with those layers, as text."""
    with _quiet_clock():
        import ezdxf
        from ezdxf import units

        doc: Any = ezdxf.new(version)
        if version != "R12":  # R12 has no place for a unit
            doc.units = units.MM
            doc.header["$MEASUREMENT"] = 1
            doc.header["$LUNITS"] = 2
        for key in layers:
            doc.layers.add(LAYERS[key].name, color=LAYERS[key].colour)
        space = doc.modelspace()
        low, high = ((*corner, 0.0) for corner in HOLDERS)
        space.reset_extents(low, high)  # the library writes the header's from these
        doc.header["$EXTMIN"], doc.header["$EXTMAX"] = low, high
        for kind in sorted(doc.entitydb.dxf_types_in_use()):
            doc.classes.add_class(kind)  # else listed in the order of a set, which differs from run to run
        stream = io.StringIO()
        doc.write(stream)
    text = stream.getvalue()
    section = "  2\nENTITIES\n"
    head, _, tail = text.partition(section)
    seed = re.search(r"\$HANDSEED\n  5\n([0-9A-F]+)\n", head)
    if not tail or seed is None:
        raise RuntimeError("The DXF library wrote a file without entities or handles.")
    return _Shell(head + section, tail, space.layout_key, int(seed[1], 16))


@contextmanager
def _quiet_clock() -> Iterator[None]:
    """Have the library write fixed dates and ids, not the clock's, and keep still about R12's units."""
    import logging

    import ezdxf

    log = logging.getLogger("ezdxf")
    before, level = ezdxf.options.write_fixed_meta_data_for_testing, log.level
    ezdxf.options.write_fixed_meta_data_for_testing = True
    log.setLevel(logging.ERROR)
    try:
        yield
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = before
        log.setLevel(level)


# ---------------------------------------------------------------------------------------- entities


def _new(item: Line | Words, handle: int, owner: str) -> tuple[str, int]:
    """An item as R2010, and the next free handle."""
    layer = LAYERS[item.layer].name

    def start(kind: str, subclass: str) -> str:
        return f"  0\n{kind}\n  5\n{handle:X}\n330\n{owner}\n100\nAcDbEntity\n  8\n{layer}\n100\n{subclass}\n"

    if isinstance(item, Words):
        text = start("TEXT", "AcDbText") + _text_tags(item)
        return f"{text}100\nAcDbText\n{_upright_tag(item)}", handle + 1
    if _is_line(item.path):
        return start("LINE", "AcDbLine") + _line_tags(item.path), handle + 1
    count, closed = len(item.path.points), int(item.path.closed)
    text = start("LWPOLYLINE", "AcDbPolyline") + f" 90\n{count}\n 70\n{closed}\n"
    return text + " 10\n%.6f\n 20\n%.6f\n 42\n%.9f\n" * count % _numbers(item.path), handle + 1


def _old(item: Line | Words, handle: int, owner: str) -> tuple[str, int]:
    """An item as R12, and the next free handle; nobody owns it."""
    layer = LAYERS[item.layer].name

    def start(kind: str, number: int) -> str:
        return f"  0\n{kind}\n  5\n{number:X}\n  8\n{layer}\n"

    if isinstance(item, Words):
        return start("TEXT", handle) + _text_tags(item) + _upright_tag(item), handle + 1
    if _is_line(item.path):
        return start("LINE", handle) + _line_tags(item.path), handle + 1
    count, closed = len(item.path.points), int(item.path.closed)
    text = start("POLYLINE", handle) + f" 66\n1\n 10\n0.0\n 20\n0.0\n 30\n0.0\n 70\n{closed}\n"
    vertex = f"  0\nVERTEX\n  5\n%X\n  8\n{layer}\n 10\n%.6f\n 20\n%.6f\n 30\n0.0\n 42\n%.9f\n"
    numbers = iter(_numbers(item.path))
    rows = [(handle + 1 + k, *row) for k, row in enumerate(zip(numbers, numbers, numbers, strict=True))]
    text += "".join(vertex % row for row in rows)
    return text + start("SEQEND", handle + 1 + count), handle + 2 + count


def _is_line(path: Path) -> bool:
    return not path.closed and len(path.points) == 2 and path.bulges[0] == 0


def _numbers(path: Path) -> tuple[float, ...]:
    """x, y and bulge of point after point; no number is -0."""
    rows = np.column_stack([np.round(path.points, 6), np.round(path.bulges, 9)]) + 0.0
    return tuple(rows.ravel().tolist())


def _line_tags(path: Path) -> str:
    (x0, y0), (x1, y1) = (np.round(path.points, 6) + 0.0).tolist()
    return f" 10\n{x0:.6f}\n 20\n{y0:.6f}\n 30\n0.0\n 11\n{x1:.6f}\n 21\n{y1:.6f}\n 31\n0.0\n"


def _text_tags(item: Words) -> str:
    """Place, height, words, turn, and how they sit: from the left on the base line, or centred."""
    x, y = (round(v, 4) + 0.0 for v in item.at)
    tags = f" 10\n{x}\n 20\n{y}\n 30\n0.0\n 40\n{round(item.height, 3)}\n  1\n{_text(item.text)}\n"
    if item.turn:
        tags += f" 50\n{round(item.turn, 3)}\n"
    return tags + (f" 72\n1\n 11\n{x}\n 21\n{y}\n 31\n0.0\n" if item.middle else "")


def _text(text: str) -> str:
    """Plain words; two percent signs would start a code."""
    return plain(text).replace("%%", "% %")


def _upright_tag(item: Words) -> str:
    return " 73\n2\n" if item.middle else ""
