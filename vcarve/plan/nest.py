"""Several levels: lines are walked there on an upper cut and back on the next, and what is walked so hangs on one tour.

k cuts lie above one another on a line.  In twos, from the top, they are even of themselves and need neither lift nor recut: a
walk goes there on the upper one, turns, and comes back on the lower.  Left over is the deepest cut of a line with an odd
number; these make up a web of one level, which is paired and toured as any other.

Glossary
double    two cuts of a line that follow each other; of rank r the cuts 2 r and 2 r + 1, counted from 0 at the top
single    the last cut of a line that has an odd number of them
skeleton  every single once, and lines without one twice, which joins components and leaves all even
block     doubles of one rank that hang together in plan view; a closed walk from any vertex of it

The tour of the skeleton's singles decides on lifts and recuts.  Where it first comes to a block, the whole block is walked
there and back; the blocks of the next rank, and singles that the tour does not reach, follow where their vertices are met
for the last time.  So the cut above is always done before the one below it: a block is done before the tour goes on from
its first vertex, and nothing hung on a block begins before all of the block's lines that it touches are done.

A pass of singles of lines with equally many cuts takes these along, and leaves nothing to the blocks: there, back, and there on
the single, which is the last.

Within a block, passes are those of one level without recuts.  The first begins at the block's first vertex; another hangs at a
vertex that has been met, if possible at one where it ends: then each end of a pass costs one move in place, which is as few as
its odd vertices ask for.  A pass hung by its middle is walked in two halves.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from operator import itemgetter

import numpy as np

from vcarve.plan.order import improve
from vcarve.plan.pairing import Pairing
from vcarve.plan.tjoin import parted
from vcarve.plan.tour import Tour, tour_of
from vcarve.plan.walks import Walk, euler_walks, join
from vcarve.plan.web import Lines, Rates, Start, Web, lines_of, weave
from vcarve.plane.arrays import Bools, Ints, connected

# In place of the number of a line: one of its doubles, and travel or a single that is gone along.
DOUBLE, TRAVEL = -2, -1

# On a walk, at places of it, the closed walks that begin there.
Hung = defaultdict[Walk, list[tuple[int, Walk]]]


def strung(walk: Walk, hung: Hung) -> Walk:
    """Return a walk with all that hangs on it, and on that, in one."""
    parts, todo = [], [walk]
    while todo:
        one = todo.pop()
        pieces: list[Walk] = []
        low = 0
        for place, other in sorted(hung.get(one, ()), key=itemgetter(0)):
            pieces += [one.part(low, place), other]
            low = place
        if pieces:
            todo += [one.part(low), *pieces[::-1]]
        else:
            parts.append(one)
    return Walk.of(parts)


class Blocks:
    """The doubles of each rank in blocks; ``of`` has per rank the block at each vertex, -1 for none.

    ``saved_s`` (V,) says what it saves in moves in place to begin a block's walk at a vertex: one where a pass of it ends.
    """

    def __init__(self, web: Web, rates: Rates, lines: Lines, left: Bools) -> None:
        """Take the doubles of the lines that are ``left``, shape (L,)."""
        self._web, self._rates, self._lines = web, rates, lines
        self._known: dict[bytes, list[Walk]] = {}
        self.of: list[Ints] = []
        self.saved_s = np.zeros(len(web.xy_mm))
        self._in: list[list[Ints]] = []
        for rank in range(max(lines.cut.shape[1] // 2, 1)):
            line = np.flatnonzero(left & (lines.count >= 2 * rank + 2))
            last = lines.last[line]
            u, v = web.u[last], web.v[last]
            _, part = connected(len(web.xy_mm), u, v)
            block = np.unique(part[u], return_inverse=True)[1]
            self.of.append(np.full(len(web.xy_mm), -1))
            self.of[-1][u] = self.of[-1][v] = block
            ends = np.bincount(np.append(u, v), minlength=len(web.xy_mm))
            step = np.zeros(len(web.xy_mm))
            step[u], step[v] = (web.depth_mm[at[last]] / lines.count[line] for at in (web.tail, web.head))
            self.saved_s += rates.in_place_s(step) * (ends % 2)
            self._in.append([line[each] for each in parted(block)])

    def walk(self, vertex: int) -> Walk:
        """Return the closed walk of the first rank's block at a vertex, with all higher ones in it; no steps if there is none."""
        hung: Hung = defaultdict(list)
        own = self._own(vertex, 0)
        before = [own]
        for rank in range(1, len(self.of)):
            for walk in before:
                places = met(walk, self.of[rank], last=True)
                hung[walk] = [(place, self._own(v, rank)) for place, v, _ in places]
            before = [other for walk in before for _, other in hung[walk]]
        return strung(own, hung)

    def _own(self, vertex: int, rank: int) -> Walk:
        block, ranks = self.of[rank][vertex], range(2 * rank, 2 * rank + 2)
        passes = self._passes(self._in[rank][block]) if block >= 0 else []
        return there_and_back(passes, vertex, lambda each: piled(self._lines, each, ranks))

    def _passes(self, line: Ints) -> list[Walk]:
        """Return the fewest passes over lines without recuts.  Ranks of the same lines have the same, found once."""
        key = line.tobytes()
        if key not in self._known:
            web, cut = self._web, self._lines.last[line]
            ends = np.bincount(np.append(web.u[cut], web.v[cut]))
            # these lifts are never flown: any pairing of the odd vertices makes as few passes
            links = np.flatnonzero(ends % 2).reshape(-1, 2)
            nodes = np.column_stack([web.tail[cut], web.head[cut]])
            self._known[key] = euler_walks(web, self._rates, cut, nodes, line, links)[0].passes()
        return self._known[key]


def there_and_back(passes: list[Walk], vertex: int, twice: Callable[[Walk], Walk]) -> Walk:
    """Return one closed walk from a vertex over passes that hang together, each there and back as ``twice`` says.

    A search in depth: the next pass hangs on the way back of the one hung last, by an end of it or, where no end of any pass
    that is left has been met, by its middle.
    """
    left = dict(enumerate(passes))
    by_end: dict[int, list[int]] = defaultdict(list)
    by_any: dict[int, list[int]] = defaultdict(list)
    for number, each in left.items():
        for by, spots in ((by_any, each.at), (by_end, each.at[[0, -1]])):
            for v in np.unique(spots).tolist():
                by[v].append(number)
    root = Walk(np.zeros(0, np.int64), np.array([vertex]))
    hung: Hung = defaultdict(list)
    # places met on ways back, until no pass that is left has an end there, or any vertex
    for_ends, for_any = [(root, 0)], [(root, 0)]

    def last_fit(places: list[tuple[Walk, int]], by: dict[int, list[int]]) -> tuple[Walk, int, int] | None:
        while places:
            on, place = places[-1]
            for number in by[int(on.at[place])]:
                if number in left:
                    return on, place, number
            places.pop()
        return None

    while fit := last_fit(for_ends, by_end) or last_fit(for_any, by_any):
        on, place, number = fit
        each, v = left.pop(number), int(on.at[place])
        at = int(np.flatnonzero(each.at == v)[0])
        closed = each.at[0] == each.at[-1]
        for half in [each.begun_at(v)] if closed else [each.part(at), each.part(0, at).back()]:
            if len(half.step):
                one = twice(half)
                hung[on].append((place, one))
                back = [(one, k) for k in range(len(one.step) - 1, len(half.step) - 1, -1)]
                for_ends += back
                for_any += back
    return strung(root, hung)


def piled(lines: Lines, walk: Walk, levels: range) -> Walk:
    """Return a walk over lines as one over their cuts of these levels in turn, there and back and so on."""
    line, against = walk.step >> 1, walk.step & 1
    ways = [Walk(2 * lines.cut[line, level] + against, walk.at) for level in levels]
    return Walk.of([way.back() if nth % 2 else way for nth, way in enumerate(ways)])


def met(walk: Walk, of: Ints, *, last: bool = False) -> list[tuple[int, int, int]]:
    """Return where a walk first or last meets each thing that lies ``of`` vertices (V,), -1 for none: place, vertex, thing."""
    thing = of[walk.at]
    place = np.flatnonzero(thing >= 0)[:: -1 if last else 1]
    place = np.sort(place[np.unique(thing[place], return_index=True)[1]])
    return list(zip(place.tolist(), walk.at[place].tolist(), thing[place].tolist(), strict=True))


class Nest:
    """The cuts of a web by their lines; ``skeleton`` is the web whose pairings say which recuts and lifts a tour of all takes."""

    def __init__(self, web: Web, rates: Rates) -> None:
        self.lines = lines_of(web.cuts)
        odd, last = self.lines.count % 2 == 1, self.lines.last
        edge = np.concatenate([last[odd], last[~odd], last[~odd]])
        self.skeleton = web if np.array_equal(edge, web.edge) else weave(web.cuts, rates, edge)
        self._web, self._rates = web, rates
        self._single = np.flatnonzero(odd)  # lines

    def tour(self, found: Pairing, start_mm: Start) -> Tour:
        """Return one tour of everything, with the recuts and lifts of a pairing of the skeleton."""
        web, rates, skeleton, lines = self._web, self._rates, self.skeleton, self.lines
        # Steps number the cuts, and after them the recuts.
        edge = np.append(web.edge, skeleton.edge[found.recut_edge])
        recut_node = web.node_of(skeleton.place[found.recut_node])
        node = np.concatenate([np.column_stack([web.tail, web.head]), recut_node])
        recut, single = np.arange(len(web.edge), len(edge)), lines.last[self._single]
        line = np.full(len(edge), DOUBLE)
        line[single] = self._single
        line[recut] = TRAVEL
        line[single[np.isin(single, edge[recut])]] = TRAVEL
        walked = np.append(single, recut)
        links = np.concatenate([[[found.end, found.start]], found.lift]).astype(np.int64)
        links = join(skeleton, rates, links, start_mm)
        main, loose = euler_walks(web, rates, edge[walked], node[walked], walked, links)
        passes = main.passes()
        left = np.ones(len(lines.count), bool)
        for mine in filter(self._alike, (line[each.step >> 1] for each in passes)):
            left[mine] = False
        blocks = Blocks(web, rates, lines, left)
        # A pass without a step is a lift to a block alone.  The block's walk stands in for it, so that ``improve`` may choose by
        # which of its vertices it is entered.
        passes = [each if len(each.step) else blocks.walk(int(each.at[0])) for each in passes]
        passes = [each for each in passes if len(each.step)]
        # of one component the pairing is already the best there is, but where lines slope not which way its passes run
        if len(found.even) > 1 or found.far or web.slopes.any() or blocks.saved_s.any():
            passes = improve(web, rates, node, passes, start_mm, blocks.saved_s)
        passes = [self._deepened(each, line[each.step >> 1]) for each in passes]
        return tour_of(edge, web.place[node], assembled(blocks, passes, loose))

    def _alike(self, line: Ints) -> bool:
        """Return whether a pass takes all cuts of its lines along: singles of lines with equally many, none of them travelled.

        An earlier pass that travels along one would have to find it cut down to there.
        """
        return len(line) > 0 and line.min() >= 0 and np.ptp(self.lines.count[line]) == 0

    def _deepened(self, walk: Walk, line: Ints) -> Walk:
        """Return a pass over lines there, back and there over all their cuts if it takes them along, else as it is.

        Of a block that stood in only the vertex is left where it is entered, at which it will hang.
        """
        if (line == DOUBLE).any():
            return walk.part(0, 0)
        if not self._alike(line):
            return walk
        over = Walk(2 * line + (walk.step & 1), walk.at)
        return piled(self.lines, over, range(self.lines.count[line[0]]))


def assembled(blocks: Blocks, passes: list[Walk], loose: list[Walk]) -> list[Walk]:
    """Return passes over singles, recuts and lifts with all blocks, and all ``loose`` closed walks over singles, hung on them.

    All is met in the order in which it is cut, so that a block hangs where it is first met of all; but a block takes the loose
    walks that it meets before any is walked, since each waits for lines of this block and of no other.
    """
    loose_at = np.full(len(blocks.of[0]), -1)
    for number, each in enumerate(loose):
        loose_at[each.at] = number
    begun: set[int] = set()  # blocks
    taken: set[int] = set()  # of the loose walks
    hung: Hung = defaultdict(list)
    todo = [(each, *one, True) for each in passes[::-1] for one in met(each, blocks.of[0])[::-1]]
    while todo:
        on, place, vertex, thing, is_block = todo.pop()
        if not is_block:
            own = loose[thing].begun_at(vertex)
            following = met(own, blocks.of[0])
        elif thing in begun:
            continue
        else:
            begun.add(thing)
            own = blocks.walk(vertex)
            following = [each for each in met(own, loose_at, last=True) if each[2] not in taken]
            taken.update(number for *_, number in following)
        hung[on].append((place, own))
        todo += [(own, *one, not is_block) for one in following[::-1]]
    return [one for each in passes for one in strung(each, hung).passes()]
