"""The least possible time at constant rates, and why nothing can be quicker.

Argument.  Any program that cuts every edge at its depth is a walk of the bit from where it waits to its last retract.
Take the multiset of moves of that walk; drop nothing but the order.

1.  Every edge is cut: the sum of the cutting times.
2.  The walk enters every node (a vertex at a depth) as often as it leaves it, so the moves other than one cutting of
    every edge form a T-join, T being the nodes with an odd number of edges, the start and the end (Euler; Edmonds and
    Johnson 1973).  Dropping pairs of equal moves leaves a T-join in which no move is used twice, and since no price is
    negative it costs no more.  Vertical moves balance between the hop height at the start and at the end, hence half
    of a round trip for each.
3.  A component without odd nodes is left as often as it is entered, at least once: it has two more members of T.
4.  A lift that ends at a vertex without odd node never helps: rapids are at least as fast as cutting and obey the
    triangle inequality, so lifting at the odd node itself is no slower than first following an edge from it.
5.  Pairs without a lift of their own are further apart than ``reach``; through the end's node they are priced at
    ``reach`` exactly (each tie carries half of it), less than they cost.  The end itself needs one tie, whose half
    of ``reach`` is subtracted again.

6.  On large webs start and end are left out of T, since they weigh little there and would ask for a wider reach: the last
    retract and the first approach of any program become a lift from its last vertex v to its first w, which costs no
    more than the halves at both and ``reach``.  A program's moves therefore weigh at least the T-join so posed, plus the
    nearest approach, less ``reach``.

So the weight of the least T-join, plus the cutting, plus the two moves between safe and hop height, is never more than
the time of any program.  No stretch factor of a sparse graph enters.  Weights are rounded down before they are matched.

7.  Among very many odd nodes the T-join is cut up along seams, which only lowers its weight (``vcarve.plan.seams``).

8.  Where lines slope, ups and downs need not balance.  A lift from depth a to depth b costs its halves, more or less ``lean``
    times b - a, so each end is priced ``lean`` times its distance from one usual depth less, a move in place as if it went up.

9.  With several components, moats raise the T-join further (``vcarve.plan.moats``).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vcarve.plan.costs import Rates
from vcarve.plan.join import join
from vcarve.plan.moats import raise_bound
from vcarve.plan.pairing import Pairing, solved
from vcarve.plan.web import Web
from vcarve.plane.arrays import Ints


def bound_s(web: Web, rates: Rates, pairing: Pairing) -> float:
    """Return the seconds below which no program for this web can get; ``pairing`` must be at constant rates."""
    return float(web.cut_s.sum()) + rates.fixed_s + pairing.cost_s


def best_pairing(
    web: Web, rates: Rates, *, recut: bool, start_mm: tuple[float, float]
) -> tuple[list[Pairing], float]:
    """Return pairings worth making a tour of, and the bound.

    Rapids slower than the cutting feed are taken to be as fast, which keeps point 4 true.
    """
    fast = replace(
        rates, rapid=(max(rates.rapid[0], rates.cut), max(rates.rapid[1], rates.cut), rates.rapid[2])
    )
    task, found = solved(web, fast, recut=recut, start_mm=start_mm)
    if len(task.even) == 1:
        return [found], bound_s(web, fast, found)

    def joined_s(pairing: Pairing) -> float:
        links = np.concatenate([[[pairing.end, pairing.start]], pairing.lift])
        joined = join(web, fast, links, start_mm)
        return pairing.cost_s + links_s(web, fast, joined, start_mm) - links_s(web, fast, links, start_mm)

    least, met = raise_bound(task, found, joined_s)
    return met, bound_s(web, fast, found) + least - found.cost_s


def links_s(web: Web, rates: Rates, links: Ints, start_mm: tuple[float, float]) -> float:
    """Return the seconds of the lifts, the first approach and the last retract; link 0 leads from the end to the start."""
    half = rates.lift_s(web.top_depth_mm) / 2.0
    leap = web.xy_mm[links[:, 0]] - web.xy_mm[links[:, 1]]
    leap[0] = web.xy_mm[links[0, 1]] - np.asarray(start_mm)
    return float(half[links].sum() + rates.rapid_s(leap[:, 0], leap[:, 1]).sum())
