"""From a cutting tree to what the person at the shear does: ordered cuts, parts in place, offcuts to keep.

Words used here
    cell     the piece of metal a node of the tree is cut from; it may be larger than the node needs
    first    the branch nearer the sheet's corner: it is measured off exactly, the other branch gets the rest
    spare    cell larger than part: up to one gap is left on (the gap is there to be lost), more is trimmed
    FREE     the kind number that stands for an offcut in a tree

Where spare metal is taken off in one trim above a node or separately below it, whichever is fewer cuts, then shorter.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from shapely.geometry import box

from ._guillotine import LEAF, NO_LIMIT, SIDE, STACK, Tree, joined
from .model import Cut, Offcut, Placed, place_outline
from .shear_job import Box, Job, Stock
from .shear_plan import Plan

__all__ = ["FREE", "Realised", "measure", "realise", "with_offcuts"]

FREE = -1
TOUCH_MM = 1e-6
TRIM_MM = 0.2  # common practice, no source: nobody trims less on a hand shear
MOST_OFFCUTS = 4  # per sheet
Rect = tuple[float, float, float, float]
Side = tuple[str, float, bool]  # axis, where, whether the far side is waste


@dataclass(frozen=True)
class Realised:
    """Parts, cuts and offcuts of a whole plan, in mm on real sheets."""

    placed: tuple[Placed, ...]
    cuts: tuple[Cut, ...]
    offcuts: tuple[Offcut, ...]


def with_offcuts(
    tree: Tree, width: int, height: int, *, gap: int, min_side: int, min_area: float, longest: int = NO_LIMIT
) -> Tree:
    """The tree with offcuts put in as leaves of kind FREE, the largest first, while they are worth keeping.

    ``min_side`` and ``min_area`` are in units and square units; ``gap`` in units is what an offcut gives up to its
    neighbour.
    """
    for _ in range(MOST_OFFCUTS):
        best = None
        stack: list[tuple[Tree, int, int, tuple[int, ...]]] = [(tree, width, height, ())]
        while stack:
            (op, a, b, w, h), room_w, room_h, path = stack.pop()
            cut_w, cut_h = min(room_w, longest), min(room_h, longest)
            for join, free_w, free_h in ((STACK, cut_w, room_h - h), (SIDE, room_w - w, cut_h)):
                if (w if join == STACK else h) > longest:
                    continue
                net_w, net_h = free_w - gap, free_h - gap
                if min(net_w, net_h) >= min_side and net_w * net_h >= max(min_area, 1):
                    key = (net_w * net_h, -len(path), join)
                    if best is None or key > best[0]:
                        best = (key, path, join, free_w, free_h)
            if op == SIDE:
                stack += [(a, room_w - b[3], cut_h, (*path, 1)), (b, room_w - a[3], cut_h, (*path, 2))]
            elif op == STACK:
                stack += [(a, cut_w, room_h - b[4], (*path, 1)), (b, cut_w, room_h - a[4], (*path, 2))]
        if best is None:
            break
        _, path, join, free_w, free_h = best
        tree = _insert(tree, path, join, (LEAF, FREE, 0, free_w, free_h))
    return tree


def _whole(value: float) -> int:
    return round(value) if value < NO_LIMIT else NO_LIMIT


def _insert(tree: Tree, path: tuple[int, ...], op: int, piece: Tree) -> Tree:
    if not path:
        return joined(op, tree, piece)
    if path[0] == 1:
        return joined(tree[0], _insert(tree[1], path[1:], op, piece), tree[2])
    return joined(tree[0], tree[1], _insert(tree[2], path[1:], op, piece))


def measure(job: Job, stock: int, tree: Tree) -> tuple[int, float]:
    """Number of cuts and their whole length, mm, that one sheet takes."""
    key = (stock, tree)
    if key not in job.measured:
        cuts = realise(job, Plan(((stock, tree),))).cuts
        job.measured[key] = (len(cuts), round(sum(cut.length for cut in cuts), 3))
    return job.measured[key]


def realise(job: Job, plan: Plan) -> Realised:
    """Lay a plan out on its sheets."""
    wishes = job.wishes
    copies = [list(kind.parts) for kind in job.kinds]
    placed: list[Placed] = []
    cuts: list[Cut] = []
    offcuts: list[Offcut] = []
    for index, (number, tree) in enumerate(plan.sheets):
        stock = job.stocks[number]
        tree = with_offcuts(
            tree,
            stock.w,
            stock.h,
            gap=round(job.gap_mm / job.unit),
            min_side=_whole(wishes.keep_side_mm / job.unit),
            min_area=wishes.keep_area_mm2 / job.unit**2,
            longest=job.longest,
        )
        if stock.turned:
            tree = _diagonal(tree)
        bench = _Bench(job, number, index, copies)
        bench.start(tree)
        placed += bench.placed
        cuts += bench.cuts
        offcuts += bench.offcuts
    ordered = tuple(replace(cut, order=i + 1) for i, cut in enumerate(cuts))
    return Realised(tuple(placed), ordered, tuple(offcuts))


def _diagonal(tree: Tree) -> Tree:
    """The tree mirrored in the diagonal; leaves keep their numbers but their boxes are swapped."""
    op, a, b, w, h = tree
    if op == LEAF:
        return (LEAF, a, b, h, w)
    return (STACK if op == SIDE else SIDE, _diagonal(a), _diagonal(b), h, w)


class _Bench:
    """One sheet under the shear: walks the tree from the whole sheet down and writes down what is done."""

    def __init__(self, job: Job, number: int, index: int, copies: list[list[int]]) -> None:
        self.job, self.number, self.index, self.copies = job, number, index, copies
        self.stock: Stock = job.stocks[number]
        self.squaring_mm = job.wishes.squaring_mm
        self.placed: list[Placed] = []
        self.cuts: list[Cut] = []
        self.offcuts: list[Offcut] = []
        self.made = 0

    def start(self, tree: Tree) -> None:
        """Square the raw edges where that is asked for or the sheet is odd, then cut the tree."""
        sheet, (x, y) = self.stock.sheet, self.stock.corner
        cell: Rect = (0.0, 0.0, sheet.width, sheet.height)
        label = str(self.index + 1)
        far_x, far_y = x + self.stock.room[0], y + self.stock.room[1]
        sides: list[Side] = []
        if sheet.outline is not None or sheet.blocked:
            sides = [("x", x, False), ("y", y, False), ("x", far_x, True), ("y", far_y, True)]
        elif self.squaring_mm > 0:
            sides = [("y", y, False), ("x", x, False)]
            sides = [side for side in sides if self._short_enough(cell, side[0])]
        sides = [side for side in sides if self._inset(cell, side) > TOUCH_MM]
        cell, label = self._take_off(cell, label, sides, "square")
        self._node(tree, cell, label, x, y)

    def _inset(self, cell: Rect, side: Side) -> float:
        """How much of the cell lies beyond this line."""
        axis, at, far = side
        i = 0 if axis == "x" else 1
        return cell[i + 2] - at if far else at - cell[i]

    def _length(self, cell: Rect, axis: str) -> float:
        """Length of a cut through the cell."""
        return cell[3] - cell[1] if axis == "x" else cell[2] - cell[0]

    def _short_enough(self, cell: Rect, axis: str) -> bool:
        return self._length(cell, axis) <= self.job.longest_mm + TOUCH_MM

    def _take_off(self, cell: Rect, label: str, sides: list[Side], purpose: str) -> tuple[Rect, str]:
        """Cut waste off several sides, in the order given as far as the shear is long enough."""
        left = list(sides)
        while left:
            i = next((i for i, side in enumerate(left) if self._short_enough(cell, side[0])), 0)
            axis, at, far = left.pop(i)
            cell, label = self._cut_off(cell, label, axis, at, keep_far=not far, purpose=purpose)
        return cell, label

    def _due(self, cell: Rect, side: Side) -> bool:
        """Whether waste on this side has to be cut off: more than a gap, or a raw edge that is to be squared."""
        axis, _, far = side
        inset = self._inset(cell, side)
        raw = self.squaring_mm > 0 and not far and cell[0 if axis == "x" else 1] == 0.0
        return inset > TOUCH_MM if raw else self._spare(inset)

    def _margins(self, cell: Rect, label: str, x: float, y: float) -> tuple[Rect, str]:
        """Take the margin off the lower and left side, where it is more than a gap and the shear is long enough."""
        for axis, at in (("x", x), ("y", y)):
            if self._due(cell, (axis, at, False)) and self._short_enough(cell, axis):
                cell, label = self._cut_off(cell, label, axis, at, keep_far=True, purpose="square")
        return cell, label

    def _cut_off(
        self, cell: Rect, label: str, axis: str, at: float, *, keep_far: bool, purpose: str
    ) -> tuple[Rect, str]:
        """Cut a cell and go on with one side of it."""
        near, far, labels = self._cut(cell, label, axis, at, purpose)
        return (far, labels[1]) if keep_far else (near, labels[0])

    def _cut(self, cell: Rect, label: str, axis: str, at: float, purpose: str) -> tuple[Rect, Rect, tuple[str, str]]:
        x0, y0, x1, y1 = cell
        labels = (f"{self.index + 1}.{self.made + 1}", f"{self.index + 1}.{self.made + 2}")
        self.made += 2
        if axis == "x":
            line, distance, near, far = ((at, y0), (at, y1)), at - x0, (x0, y0, at, y1), (at, y0, x1, y1)
        else:
            line, distance, near, far = ((x0, at), (x1, at)), at - y0, (x0, y0, x1, at), (x0, at, x1, y1)
        length = y1 - y0 if axis == "x" else x1 - x0
        self.cuts.append(Cut(0, self.index, label, axis, distance, length, line, labels, purpose))
        return near, far, labels

    def _node(self, tree: Tree, cell: Rect, label: str, x: float, y: float) -> None:
        """Cut up one cell; the node's lower left corner is at x, y."""
        unit, gap = self.job.unit, self.job.gap_mm
        op, a, b, w, h = tree
        if op == LEAF:
            self._leaf(tree, cell, label, x, y)
            return
        cell, label = self._margins(cell, label, x, y)
        across = "y" if op == SIDE else "x"
        for axis, end in (("x", x + w * unit - gap), ("y", y + h * unit - gap)):
            if self._spare(self._inset(cell, (axis, end, True))) and (
                self._trim_pays(tree, cell, x, y, axis)
                or (axis == across and not self._short_enough(cell, "x" if op == SIDE else "y"))
            ):
                cell, label = self._cut_off(cell, label, axis, end, keep_far=False, purpose="trim")
        cell, label = self._margins(cell, label, x, y)
        axis = "x" if op == SIDE else "y"
        at = (x + a[3] * unit if op == SIDE else y + a[4] * unit) - gap
        near, far, labels = self._cut(cell, label, axis, at, "part")
        self._node(a, near, labels[0], x, y)
        if op == SIDE:
            self._node(b, far, labels[1], x + a[3] * unit, y)
        else:
            self._node(b, far, labels[1], x, y + a[4] * unit)

    def _spare(self, extra: float) -> bool:
        """Whether this much more than the part needs is worth a cut."""
        return extra > self.job.gap_mm + TRIM_MM

    def _trim_pays(self, tree: Tree, cell: Rect, x: float, y: float, axis: str) -> bool:
        """Whether one trim here saves more cuts below than it costs; equal counts go by length."""
        whole = _trims(tree, self._spare, cell, x, y, self.job.unit, self.job.gap_mm)
        unit, gap = self.job.unit, self.job.gap_mm
        if axis == "x":
            cut = (cell[0], cell[1], x + tree[3] * unit - gap, cell[3])
            length = cell[3] - cell[1]
        else:
            cut = (cell[0], cell[1], cell[2], y + tree[4] * unit - gap)
            length = cell[2] - cell[0]
        count, total = _trims(tree, self._spare, cut, x, y, unit, gap)
        return self._short_enough(cell, axis) and (count + 1, total + length) < whole

    def _leaf(self, tree: Tree, cell: Rect, label: str, x: float, y: float) -> None:
        _, kind, _, w, h = tree
        if kind == FREE:
            self.offcuts.append(Offcut(self.index, box(*cell), label))
            return
        p = self.copies[kind].pop(0)
        part = self.job.parts[p]
        turn = self._turn(p, (w, h))
        outline = place_outline(part, turn, False, (x, y))
        x0, y0, x1, y1 = outline.bounds
        sides: list[Side] = [("x", x0, False), ("y", y0, False), ("x", x1, True), ("y", y1, True)]
        _, label = self._take_off(cell, label, [side for side in sides if self._due(cell, side)], "trim")
        self.placed.append(Placed(part, self.index, outline, turn, False, label))

    def _turn(self, p: int, size: Box) -> float:
        """The turn that gives this part this box on this sheet."""
        return self.job.turns[p, self.number][size]


def _trims(tree, spare, cell: Rect, x: float, y: float, unit: float, gap: float) -> tuple[int, float]:
    """Number and length of far-side trims that the leaves below would need, cut one by one."""
    op, a, b, w, h = tree
    if op == LEAF:
        if a == FREE:
            return 0, 0.0
        count, length = 0, 0.0
        x1, y1 = x + w * unit - gap, y + h * unit - gap
        if spare(cell[2] - x1):
            count, length = 1, cell[3] - cell[1]
        if spare(cell[3] - y1):
            count, length = count + 1, length + min(cell[2], x1 + gap) - cell[0]
        return count, length
    if op == SIDE:
        at = x + a[3] * unit - gap
        near, far = (cell[0], cell[1], at, cell[3]), (at, cell[1], cell[2], cell[3])
        bx, by = x + a[3] * unit, y
    else:
        at = y + a[4] * unit - gap
        near, far = (cell[0], cell[1], cell[2], at), (cell[0], at, cell[2], cell[3])
        bx, by = x, y + a[4] * unit
    first = _trims(a, spare, near, x, y, unit, gap)
    second = _trims(b, spare, far, bx, by, unit, gap)
    return first[0] + second[0], first[1] + second[1]
