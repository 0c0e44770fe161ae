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
    ``reach`` exactly (each tie carries half of it), less than they cost.  The one tie the end needs is given back.

So the weight of the least T-join, plus the cutting, plus the two moves between safe and hop height, is never more than
the time of any program.  No stretch factor of a sparse graph enters.  Weights are rounded down before they are matched.

When rapids are slower than the cutting feed along an axis, point 4 is mended by pricing recuts at no more than the
rapid between their ends.
"""

from __future__ import annotations

from vcarve.plan.costs import Rates
from vcarve.plan.pairing import Pairing, pair
from vcarve.plan.web import Web


def bound_s(web: Web, rates: Rates, pairing: Pairing) -> float:
    """Seconds below which no program for this web can get; ``pairing`` must be at constant rates."""
    return float(web.cut_s.sum()) + rates.fixed_s + pairing.cost_s


def best_pairing(
    web: Web, rates: Rates, *, recut: bool, start_mm: tuple[float, float]
) -> tuple[list[Pairing], float]:
    """Pairings worth making a tour of, and the bound."""
    found = pair(web, rates, recut=recut, start_mm=start_mm)
    return [found], bound_s(web, rates, found)
