"""Several levels: every pass of one level is walked back a level deeper, and hangs on the way back of another.

Glossary
line      cuts that lie below one another, from shallow to deep
double    two cuts of a line that follow each other; walked there on the upper and back on the lower one
single    the last cut of a line that has an odd number of them
skeleton  every single once, and lines without one twice: what is even of itself needs no lift and no recut
block     doubles of one rank that hang together in plan view; a closed walk from any vertex of it

A tour of the skeleton's singles decides on lifts and recuts.  Where it first comes to a block, the whole block is walked
there and back; the blocks of the next rank, and singles that the tour does not reach, follow where their vertices are met
for the last time.  So the cut above is always done before the one below it: a block is done before the tour goes on from
its first vertex, and nothing hung on a block begins before all of the block's lines that it touches are done.

Within a block, passes are those of one level without recuts.  The first begins at the block's first vertex; another hangs at a
vertex that has been met, if possible at one where it ends: then each end of a pass costs one move in place, which is as few as
its odd vertices ask for.  A pass hung by its middle is walked in two halves.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from vcarve.cuts.model import Cuts
from vcarve.plan.costs import Rates
from vcarve.plan.join import join
from vcarve.plan.order import improve
from vcarve.plan.pairing import Pairing
from vcarve.plan.tour import Tour, tour_of
from vcarve.plan.walks import LIFT, Walk, rings
from vcarve.plan.web import Web
from vcarve.plane.arrays import Bools, Ints, connected

DOUBLE, RECUT = -2, -1  # in place of the number of a line


@dataclass(frozen=True)
class Stacks:
    """The cuts of each line: ``cut`` (L, levels) from shallow to deep, -1 where there are no more, ``count`` (L,) of them."""

    cut: Ints
    count: Ints

    @property
    def last(self) -> Ints:
        """The deepest cut of each line, shape (L,)."""
        return self.cut[np.arange(len(self.count)), self.count - 1]


def stacks(cuts: Cuts) -> Stacks:
    """Return the cuts of each line, lines in the order of their first cuts."""
    first, level = np.where(cuts.after >= 0, cuts.after, np.arange(len(cuts.after))), cuts.level
    while (first[first] != first).any():
        first = first[first]
    line = np.unique(first, return_inverse=True)[1]
    cut = np.full((int(line.max(initial=-1)) + 1, int(level.max(initial=-1)) + 1), -1)
    cut[line, level] = np.arange(len(line))
    return Stacks(cut, np.bincount(line))


class Blocks:
    """The doubles of each rank in blocks; ``of`` has per rank the block at each vertex, -1 for none."""

    def __init__(self, web: Web, rates: Rates, lines: Stacks, left: Bools) -> None:
        """Take the doubles of the lines that are ``left``, shape (L,)."""
        self._web, self._rates, self._lines = web, rates, lines
        self._known: dict[bytes, list[Walk]] = {}
        self.of: list[Ints] = []
        self._in: list[list[Ints]] = []
        for rank in range(lines.cut.shape[1] // 2):
            line = np.flatnonzero(left & (lines.count >= 2 * rank + 2))
            u, v = web.u[lines.cut[line, 2 * rank]], web.v[lines.cut[line, 2 * rank]]
            _, part = connected(len(web.xy_mm), u, v)
            block = np.unique(part[u], return_inverse=True)[1]
            self.of.append(np.full(len(web.xy_mm), -1))
            self.of[-1][u] = self.of[-1][v] = block
            order = np.argsort(block, kind="stable")
            self._in.append(np.split(line[order], np.flatnonzero(np.diff(block[order])) + 1))

    def first(self, vertex: int) -> Walk:
        """Return the closed walk of the first rank's block at a vertex, with all blocks of higher ranks in it; empty if none."""
        block = int(self.of[0][vertex]) if self.of else -1
        return (
            self._walk(block, vertex, 0).strung()
            if block >= 0
            else Walk(np.zeros(0, np.int64), np.array([vertex]))
        )

    def _walk(self, block: int, vertex: int, rank: int) -> Walk:
        line = self._in[rank][block]
        upper, lower = self._lines.cut[line, 2 * rank], self._lines.cut[line, 2 * rank + 1]
        half, back = _there_and_back(self._passes(line, lower), vertex)
        step = 2 * np.where(back, lower[half >> 1], upper[half >> 1]) + (half & 1)
        walk = Walk(step, np.append(vertex, self._web.after(step)))
        if rank + 1 < len(self.of):
            inner = self.of[rank + 1][walk.at]
            met = np.flatnonzero(inner >= 0)[::-1]
            blocks, last = np.unique(inner[met], return_index=True)
            for each, place in zip(blocks.tolist(), met[last].tolist(), strict=True):
                walk.hung.append((place, self._walk(each, int(walk.at[place]), rank + 1)))
        return walk

    def _passes(self, line: Ints, cut: Ints) -> list[Walk]:
        """Return the fewest passes over cuts without recuts; steps number them.  Ranks of the same lines have the same."""
        key = line.tobytes()
        if key not in self._known:
            web = self._web
            ends = np.bincount(np.concatenate([web.u[cut], web.v[cut]]))
            loose = np.flatnonzero(ends % 2).reshape(
                -1, 2
            )  # which ones a lift would join does not matter here
            nodes = np.column_stack([web.tail[cut], web.head[cut]])
            self._known[key] = rings(web, self._rates, cut, nodes, loose)[0].passes()
        return self._known[key]


def _there_and_back(passes: list[Walk], vertex: int) -> tuple[Ints, Bools]:
    """Return the steps of one closed walk from a vertex over passes that hang together, and which of them are on a way back."""
    left = dict(enumerate(passes))
    by_end: dict[int, list[int]] = {}
    by_any: dict[int, list[int]] = {}
    for number, each in left.items():
        for v in np.unique(each.at).tolist():
            by_any.setdefault(v, []).append(number)
        for v in {int(each.at[0]), int(each.at[-1])}:
            by_end.setdefault(v, []).append(number)

    def hang(on: Walk, place: int, number: int) -> None:
        each, v = left.pop(number), int(on.at[place])
        if each.at[0] == each.at[-1]:
            pieces = [each.begun_at(v)]
        else:
            at = int(np.flatnonzero(each.at == v)[0])
            pieces = [one for one in (each.part(at), each.part(0, at).back()) if len(one.step)]
        for one in pieces:
            on.hung.append((place, one))
            where = [(one, k) for k in range(1, len(one.at))]
            ends.extend(where)
            middles.extend(where)

    root = Walk(np.zeros(0, np.int64), np.array([vertex]))
    ends, middles = (
        [(root, 0)],
        [(root, 0)],
    )  # places met, where passes may hang by their ends or by their middles
    while left:
        which, (on, place) = (by_end, ends.pop()) if ends else (by_any, middles.pop())
        for number in which.get(int(on.at[place]), ()):
            if number in left:
                hang(on, place, number)
                if which is by_any:
                    middles.append((on, place))
                    break
    steps: list[Ints] = []
    backs: list[bool] = []
    pending: list[tuple[Walk, bool]] = [(root, False)]
    while pending:
        walk, back = pending.pop()
        steps.append(walk.step)
        backs.append(back)
        if back:
            continue
        done = 0
        for place, other in sorted(walk.hung, key=lambda each: each[0]):
            pending += [(walk.part(done, place).back(), True), (other, False)]
            done = place
        pending.append((walk.part(done).back(), True))
    return np.concatenate(steps), np.repeat(backs, [len(each) for each in steps])


class Nest:
    """The cuts of a web by their lines; ``skeleton`` is the web whose pairings say which recuts and lifts a tour of all takes."""

    def __init__(self, web: Web, rates: Rates) -> None:
        self.lines = stacks(web.cuts)
        odd, last = self.lines.count % 2 == 1, self.lines.last
        # an even number of times is all that counts of a line without a single
        self.skeleton = web.only(np.concatenate([last[odd], last[~odd], last[~odd]]))
        self._web, self._rates = web, rates
        self._single = np.flatnonzero(odd)  # lines

    def tour(self, found: Pairing, start_mm: tuple[float, float]) -> Tour:
        """Return one tour of everything, with the recuts and lifts of a pairing of the skeleton."""
        web, rates, skeleton, lines = self._web, self._rates, self.skeleton, self.lines
        # Steps number the cuts, and after them the recuts.
        edge = np.concatenate([web.edge, skeleton.edge[found.recut_edge]])
        node = np.concatenate(
            [np.column_stack([web.tail, web.head]), web.node_of(skeleton.place[found.recut_node])]
        )
        line = np.repeat([DOUBLE, RECUT], [len(web.edge), len(edge) - len(web.edge)])
        line[lines.last[self._single]] = self._single
        walked = np.concatenate([lines.last[self._single], np.flatnonzero(line == RECUT)])
        links = np.concatenate([[[found.end, found.start]], found.lift]).astype(np.int64)
        main, *loose = rings(web, rates, edge[walked], node[walked], join(skeleton, rates, links, start_mm))
        number = np.append(walked, 0)
        for each in (main, *loose):
            each.step = np.where(each.step == LIFT, LIFT, 2 * number[each.step >> 1] + (each.step & 1))
        passes = main.passes()
        left = np.ones(len(lines.count), bool)
        for each in passes:
            mine = line[each.step >> 1]
            left[mine[: len(mine) * self._alike(mine)]] = False
        blocks = Blocks(web, rates, lines, left)
        passes = [each if len(each.step) else blocks.first(int(each.at[0])) for each in passes]
        passes = [each for each in passes if len(each.step)]
        # of one component the pairing is already the best there is, but where lines slope not which way its passes run
        if len(found.even) > 1 or found.far or web.slopes.any():
            passes = improve(web, rates, node, passes, start_mm)
        whole = Walk.of([self._with_doubles(each, line[each.step >> 1]) for each in passes])
        strung = assemble(blocks, whole, loose)
        return tour_of(web, edge, node, [each for each in strung.passes() if len(each.step)])

    def _alike(self, line: Ints) -> bool:
        """Return whether a pass over singles of these lines may take their doubles with it: there, back, and so on."""
        return bool((line >= 0).all()) and len(set(self.lines.count[line].tolist())) == 1

    def _with_doubles(self, walk: Walk, line: Ints) -> Walk:
        """Return a pass with the cuts above its own; what was only there to be entered somewhere is hung there anew."""
        if line[0] == DOUBLE:
            return walk.part(0, 0)
        if not self._alike(line):
            return walk
        cut, against = self.lines.cut[line], walk.step & 1
        ways = [2 * cut[:, rank] + against for rank in range(self.lines.count[line[0]])]
        step = np.concatenate([way[::-1] ^ 1 if rank % 2 else way for rank, way in enumerate(ways)])
        return Walk(step, np.append(walk.at[0], self._web.after(step)))


def assemble(blocks: Blocks, main: Walk, loose: list[Walk]) -> Walk:
    """Return one walk of ``main`` over singles, recuts and lifts, of ``loose`` closed walks over singles, and of all blocks."""
    loose_at: dict[int, list[int]] = {}
    for number, each in enumerate(loose):
        for v in np.unique(each.at).tolist():
            loose_at.setdefault(v, []).append(number)
    walked: set[int] = set()  # blocks
    hung: set[int] = set()  # of the loose walks

    def in_tour(walk: Walk) -> Iterator[tuple[Walk, bool]]:
        """Hang every block where it is first met."""
        at = blocks.of[0][walk.at]
        for place in np.sort(np.unique(at, return_index=True)[1]).tolist():
            if at[place] >= 0 and at[place] not in walked:
                walked.add(int(at[place]))
                walk.hung.append((place, blocks.first(int(walk.at[place]))))
                yield walk.hung[-1][1], True

    def in_block(walk: Walk) -> Iterator[tuple[Walk, bool]]:
        """Hang every loose walk where it is last met."""
        met = {number: place for place, v in enumerate(walk.at.tolist()) for number in loose_at.get(v, ())}
        mine = sorted((place, number) for number, place in met.items() if number not in hung)
        hung.update(number for _, number in mine)
        for place, number in mine:
            walk.hung.append((place, loose[number].begun_at(int(walk.at[place]))))
            yield walk.hung[-1][1], False

    pending = [in_tour(main)] if blocks.of else []
    while pending:
        walk, block = next(pending[-1], (None, False))
        if walk is None:
            pending.pop()
        else:
            pending.append(in_block(walk) if block else in_tour(walk))
    return main.strung()
