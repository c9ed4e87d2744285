"""Job folders for property tests: sound ones, and the ways in which people spoil them.

Words used here
    spoil     one slip put into the data of a sound job: a key left out, a point written twice ...
    wreck     one thing done to the file itself: cut short, saved in the wrong encoding ...
"""

from __future__ import annotations

import copy
import datetime
import json
import math
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from hypothesis import strategies as st

from tankwright.start import starter_text

Path_ = tuple[str | int, ...]

EXAMPLES = Path(__file__).parents[2] / "examples"

#: Values that nobody means, but that do get written.
ODD_VALUES: list[Any] = [
    *(0, -1, -0.0, 1e-9, 1e308, -1e308, 10**30, math.nan, math.inf, -math.inf, True, False),
    *("", " ", "abc", "1/0", "36,5", "18 ga", "1 7/16", "12 px", "-3/8 in", "½", "\t", "a" * 300, "\u202e"),
    *([], [[]], [[0]], [[0, 0]], [[0, 0], [0, 0]], [[1, 2, 3, 4]] * 3, [1, 2], [[["deep"]]], [None]),
    *({}, {"file": "nowhere.csv"}, {"file": "../other.csv"}, {"file": 3}, {"fil": "x.csv"}, {"x": 1}),
    *(datetime.date(2026, 1, 1), datetime.datetime(2026, 1, 1, 12, 30), datetime.time(7, 0)),
]


def toml_text(data: dict[str, Any]) -> str:
    """A job as TOML, every section under its own key."""
    return "".join(f"{_key(key)} = {_value(value)}\n" for key, value in data.items())


def _key(key: str) -> str:
    return json.dumps(key, ensure_ascii=True)


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=True)
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_value(item) for item in value if item is not None) + "]"
    if isinstance(value, datetime.date | datetime.time):
        return value.isoformat()
    return repr(value)


def starter() -> dict[str, Any]:
    """The starter job as data."""
    return tomllib.loads(starter_text("job.toml"))


def paths(data: Any, under: Path_ = ()) -> Iterator[Path_]:
    """Every path into nested data."""
    items = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for key, value in items:
        yield (*under, key)
        yield from paths(value, (*under, key))


def at(data: Any, path: Path_) -> Any:
    """What a path leads to."""
    for step in path:
        data = data[step]
    return data


def put(data: dict[str, Any], path: Path_, value: Any) -> dict[str, Any]:
    """A copy of the data with another value at a path."""
    new = copy.deepcopy(data)
    at(new, path[:-1])[path[-1]] = value
    return new


def take(data: dict[str, Any], path: Path_) -> dict[str, Any]:
    """A copy of the data without what a path leads to."""
    new = copy.deepcopy(data)
    del at(new, path[:-1])[path[-1]]
    return new


def numbers_changed(data: Any, change: Callable[[float], float]) -> Any:
    """The same data with every plain number changed."""
    if isinstance(data, dict):
        return {key: numbers_changed(value, change) for key, value in data.items()}
    if isinstance(data, list):
        return [numbers_changed(value, change) for value in data]
    return change(data) if isinstance(data, int | float) and not isinstance(data, bool) else data


CURVES: list[Path_] = [
    ("side", "top"),
    ("side", "bottom"),
    ("side", "lines", "widest"),
    ("side", "lines", "frame"),
    ("plan", 0, "half"),
]


@st.composite
def spoiled(draw: st.DrawFn, job: dict[str, Any] | None = None) -> dict[str, Any]:
    """A job with one to three slips in it; now and then what comes out is sound all the same."""
    data = starter() if job is None else job
    for _ in range(draw(st.integers(1, 3))):
        data = draw(st.sampled_from(SPOILS))(draw, data)
    return data


def _left_out(draw: st.DrawFn, data: dict[str, Any]) -> dict[str, Any]:
    return take(data, draw(st.sampled_from(list(paths(data))))) if data else data


def _odd(draw: st.DrawFn, data: dict[str, Any]) -> dict[str, Any]:
    there = list(paths(data))
    return put(data, draw(st.sampled_from(there)), draw(st.sampled_from(ODD_VALUES))) if there else data


def _misspelled(draw: st.DrawFn, data: dict[str, Any]) -> dict[str, Any]:
    keys = [path for path in paths(data) if isinstance(path[-1], str)]
    if not keys:
        return data
    path = draw(st.sampled_from(keys))
    name = str(path[-1])
    cut = draw(st.integers(0, len(name)))
    value = at(data, path)
    return put(take(data, path), (*path[:-1], name[:cut] + draw(st.sampled_from("xe-_ ")) + name[cut + 1 :]), value)


def _negated(draw: st.DrawFn, data: dict[str, Any]) -> dict[str, Any]:
    plain = [p for p in paths(data) if isinstance(at(data, p), int | float) and not isinstance(at(data, p), bool)]
    if not plain:
        return data
    path = draw(st.sampled_from(plain))
    return put(data, path, -at(data, path))


def _wrong_unit(draw: st.DrawFn, data: dict[str, Any]) -> dict[str, Any]:
    factor = draw(st.sampled_from([25.4, 1 / 25.4, 10.0, 0.1, 1000.0]))
    path = draw(st.sampled_from([(), ("side",), ("plan",), ("side", "top")]))
    try:
        part = at(data, path)
    except (KeyError, IndexError, TypeError):
        return data
    changed = numbers_changed(part, lambda value: value * factor)
    return changed if not path else put(data, path, changed)


def _on_a_curve(change: Callable[[st.DrawFn, list[Any]], list[Any]]) -> Callable[..., dict[str, Any]]:
    """A spoil that works on the points of one curve."""

    def spoil(draw: st.DrawFn, data: dict[str, Any]) -> dict[str, Any]:
        path = draw(st.sampled_from(CURVES))
        try:
            points = at(data, path)
        except (KeyError, IndexError, TypeError):
            return data
        if not isinstance(points, list) or len(points) < 2:
            return data
        return put(data, path, change(draw, list(points)))

    return spoil


def _repeated(draw: st.DrawFn, points: list[Any]) -> list[Any]:
    index = draw(st.integers(0, len(points) - 1))
    return points[: index + 1] + points[index:]


def _exchanged(draw: st.DrawFn, points: list[Any]) -> list[Any]:
    i, j = draw(st.integers(0, len(points) - 1)), draw(st.integers(0, len(points) - 1))
    points[i], points[j] = points[j], points[i]
    return points


def _moved(draw: st.DrawFn, points: list[Any]) -> list[Any]:
    index = draw(st.integers(0, len(points) - 1))
    points[index] = [draw(st.floats(-700, 1200)), draw(st.floats(-300, 500))]
    return points


def _crossing(draw: st.DrawFn, data: dict[str, Any]) -> dict[str, Any]:
    side = data.get("side")
    if not isinstance(side, dict) or not all(isinstance(side.get(run), list) for run in ("top", "bottom")):
        return data
    new = copy.deepcopy(data)
    top, bottom = side["top"], side["bottom"]
    if draw(st.booleans()):
        new["side"]["top"], new["side"]["bottom"] = bottom, top
    else:
        lift = draw(st.floats(50, 400))
        new["side"]["bottom"] = [[p[0], p[1] + lift] if _plain(p) else p for p in bottom]
    return new


def _plain(point: Any) -> bool:
    return isinstance(point, list) and len(point) == 2 and all(isinstance(v, int | float) for v in point)


SPOILS: list[Callable[..., dict[str, Any]]] = [
    _left_out,
    _odd,
    _odd,
    _misspelled,
    _negated,
    _wrong_unit,
    _crossing,
    _on_a_curve(lambda draw, points: points[::-1]),
    _on_a_curve(_repeated),
    _on_a_curve(_exchanged),
    _on_a_curve(_moved),
    _on_a_curve(lambda draw, points: points[: draw(st.integers(0, 1))]),
    _on_a_curve(lambda draw, points: (points * 400)[:4000]),
]


@st.composite
def wrecked(draw: st.DrawFn) -> bytes:
    """A job file that something has happened to as a file."""
    text = starter_text("job.toml")
    kind = draw(st.sampled_from(["cut", "inserted", "encoding", "noise", "empty", "giant", "doubled", "deep"]))
    place = draw(st.integers(0, len(text) - 1))
    if kind == "cut":
        return text[:place].encode()
    if kind == "inserted":
        slip = draw(st.sampled_from(['"', "'", "[", "]", "{", "=", ",", '"""', "\n", "\x00", "\x07", "é", "#"]))
        return (text[:place] + slip + text[place:]).encode()
    if kind == "encoding":
        coding = draw(st.sampled_from(["utf-16", "utf-32", "latin-1"]))
        return text.replace("My first tank", "Réservoir").encode(coding, errors="replace")
    if kind == "noise":
        return draw(st.binary(min_size=1, max_size=400))
    if kind == "empty":
        return draw(st.sampled_from([b"", b"\n\n", b"  \t", b"# nothing\n", b"\xef\xbb\xbf"]))
    if kind == "giant":
        return draw(st.sampled_from([b"# " + b"x" * 6_000_000, b"[job]\n" * 400_000]))
    if kind == "deep":
        return b"a = " + b"[" * draw(st.sampled_from([60, 2000])) + b"]" * 60
    return (text + text).encode()


TABLE_CELLS = st.one_of(
    st.sampled_from(["0", "12", "126", "1 7/16", "36,5", "corner", "", '"', "x", "z", "nan", "1e9", "-", "#"]),
    st.text(max_size=6),
)


@st.composite
def tables(draw: st.DrawFn) -> bytes:
    """A pattern file: sometimes right, mostly not."""
    heading = draw(st.sampled_from(["x,z", "z;x", "x,z,corner", "x\tz", "a,b", "x,y", "", "x", "x,z,w", "X (mm),Z"]))
    mark = next((m for m in ";\t" if m in heading), ",")
    rows = draw(st.lists(st.lists(TABLE_CELLS, min_size=1, max_size=4), max_size=8))
    text = heading + "\n" + "\n".join(mark.join(row) for row in rows)
    return text.encode(draw(st.sampled_from(["utf-8", "utf-8", "utf-8", "utf-16"])), errors="replace")


@st.composite
def nudged(draw: st.DrawFn) -> dict[str, Any]:
    """A job that most often can be read: points moved a little too far, sizes out of proportion."""
    data = starter()
    for _ in range(draw(st.integers(1, 3))):
        if draw(st.booleans()):
            path = draw(st.sampled_from(CURVES))
            index = draw(st.integers(0, len(at(data, path)) - 1))
            x, z, *corner = at(data, (*path, index))
            step = st.floats(-60, 60).map(lambda value: round(value, 1))
            data = put(data, (*path, index), [x + draw(step), z + draw(step), *corner])
        else:
            sizes = [p for p in paths(data) if p[0] in ("tunnel", "shape", "division", "outlet", "metal")]
            plain = [p for p in sizes if isinstance(at(data, p), int | float) and at(data, p) is not True]
            path = draw(st.sampled_from([p for p in plain if at(data, p)]))
            factor = draw(st.sampled_from([0.2, 0.5, 0.8, 1.25, 2.0, 4.0]))
            data = put(data, path, round(at(data, path) * factor, 3))
    return data
