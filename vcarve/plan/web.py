"""The web: a multigraph of cuts, on vertices and nodes numbered without gaps, and what every kind of move costs.

Glossary
web             all of the cuts, or some of them, some perhaps twice
vertex          a spot in plan view where cuts end; in the web of all cuts they have the numbers of the cuts' spots
node            a place where cuts end, a vertex at a depth; nodes of one vertex follow each other from shallow to deep
line            cuts that lie below one another, from shallow to deep
constant rates  every move runs at its full rate from start to end; the proof is stated in these terms
clock rates     a move in the air starts and ends at rest (trapezoid), as it does on a machine with accelerations
lift half       half of the retract-plus-plunge time at a vertex; ups and downs balance over a program that starts and
                ends at the same height, so every vertical move may be priced at half of a round trip

A rapid along (dx, dy) with per-axis rates takes ``max(|dx| / rx, |dy| / ry)`` seconds: the rate along a unit vector is
``min(r / |u|)`` (the planner rule of Grbl and LinuxCNC).  This is a norm, so the triangle inequality holds.

Junction speed: ``s = sqrt((1 - c) / 2)``, ``v^2 = a delta s / (1 - s)``, with c the cosine between the two directions
leaving the corner and a the acceleration along the difference of the unit vectors (Grbl's junction deviation rule).
Slowing from v to u and speeding up again loses ``(v - u)^2 / (a v)`` seconds: twice the time lost by one constant
acceleration ramp, ``(v - u) / a - (v^2 - u^2) / (2 a v)``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vcarve.cuts.model import Cuts
from vcarve.job.records import Job
from vcarve.plane.arcs import size
from vcarve.plane.arrays import NM_PER_MM, Bools, Floats, Ints

Start = tuple[float, float]  # where the bit waits, mm
STRAIGHT = 0.999999  # cosine beyond which the planner sees no corner, or a reversal


@dataclass(frozen=True, slots=True, kw_only=True)
class Rates:
    """Speeds in mm/s, accelerations in mm/s², heights in mm."""

    cut: float
    plunge: float
    rapid: tuple[float, float, float]
    feed_max: tuple[float, float, float]
    acceleration: tuple[float, float, float]
    junction_deviation_mm: float
    hop_mm: float
    safe_mm: float
    clock: bool = False  # price moves in the air with accelerations

    def rapid_s(self, dx: Floats, dy: Floats) -> Floats:
        """Return the seconds of rapids along (dx, dy) millimetres, any shape."""
        ax, ay = np.abs(dx), np.abs(dy)
        steady = np.maximum(ax / self.rapid[0], ay / self.rapid[1])
        return self._from_rest_s(steady, np.maximum(ax / self.acceleration[0], ay / self.acceleration[1]))

    def down_s(self, mm: Floats) -> Floats:
        """Return the seconds to go down ``mm`` at the plunge feed."""
        return self._from_rest_s(mm / self.plunge, mm / self.acceleration[2])

    def up_s(self, mm: Floats) -> Floats:
        """Return the seconds to rise ``mm`` at the rapid rate."""
        return self._from_rest_s(mm / self.rapid[2], mm / self.acceleration[2])

    def _from_rest_s(self, steady: Floats, length_over_acceleration: Floats) -> Floats:
        """Return how long a move takes that takes ``steady`` seconds at full rate; by clock rates from rest to rest."""
        if not self.clock:
            return steady
        ramp = length_over_acceleration / np.where(steady > 0.0, steady, 1.0)
        result: Floats = np.where(steady >= ramp, steady + ramp, 2.0 * np.sqrt(length_over_acceleration))
        return result

    def along_s(self, length_mm: Floats, drop_mm: Floats, limit: Floats) -> Floats:
        """Return the seconds to cut along ``length_mm`` in plan view, ``drop_mm`` up or down, at no more than ``limit`` mm/s.

        The feed holds the cutting rate along the path in space, and up as well as down the plunging rate in Z.
        """
        drop = np.abs(drop_mm)
        seconds: Floats = np.maximum(np.hypot(length_mm, drop) / self.cut, length_mm / limit)
        return np.maximum(seconds, drop / self.plunge)

    def lift_s(self, depth_mm: Floats) -> Floats:
        """Return the seconds to retract from, and plunge to, ``depth_mm`` from the hop height."""
        return self.in_place_s(self.hop_mm + depth_mm)

    def in_place_s(self, delta_mm: Floats) -> Floats:
        """Return the seconds to go down and up again by ``delta_mm`` without moving sideways."""
        return self.down_s(delta_mm) + self.up_s(delta_mm)

    @property
    def fixed_s(self) -> float:
        """Down from, and at the end up to, the safe height: the same for every plan."""
        return 2.0 * float(self.up_s(np.maximum(self.safe_mm - self.hop_mm, 0.0)))


def rates(job: Job, *, clock: bool = False) -> Rates:
    """Return the rates of a job on its machine."""
    machine = job.machine
    rapid, most, acceleration = machine.rapid, machine.feed_max, machine.acceleration
    return Rates(
        cut=job.speeds.cut_mm_min / 60.0,
        plunge=min(job.speeds.plunge_mm_min, most.z_mm_min) / 60.0,
        rapid=(rapid.x_mm_min / 60, rapid.y_mm_min / 60, rapid.z_mm_min / 60),
        feed_max=(most.x_mm_min / 60, most.y_mm_min / 60, most.z_mm_min / 60),
        acceleration=(acceleration.x_mm_s2, acceleration.y_mm_s2, acceleration.z_mm_s2),
        junction_deviation_mm=machine.junction_deviation_mm,
        hop_mm=job.hop_mm,
        safe_mm=machine.safe_height_mm,
        clock=clock,
    )


def speed_limit(cuts: Cuts, rates: Rates) -> Floats:
    """Return the most that the machine's X and Y allow along a straight edge in plan view, mm/s, shape (E,).

    An arc is only held to the limit of its most favourable direction, which keeps bounds true.
    """
    chord = np.abs(cuts.chord_mm[:, :2])
    with np.errstate(divide="ignore"):
        limit = np.array(rates.feed_max[:2]) / (chord / np.maximum(size(chord), 1e-9)[:, None])
    best = float(np.hypot(*rates.feed_max[:2]))
    return np.where(cuts.bulge == 0.0, limit.min(axis=1), best)


def leaving(cuts: Cuts) -> Floats:
    """Return unit vectors in plan view pointing away from the tail and from the head along each edge, shape (2, E, 2).

    They are worked out by their angles, which makes them the same to the last digit for lines that run alike.
    """
    way = cuts.place_nm[cuts.head] - cuts.place_nm[cuts.tail]
    chord, lean = np.arctan2(way[:, 1], way[:, 0]), 2.0 * np.arctan(cuts.bulge)
    angle = np.stack([chord - lean, chord + lean + np.pi])
    return np.stack([np.cos(angle), np.sin(angle)], axis=-1)


def corner_loss_s(away_a: Floats, away_b: Floats, speed_a: Floats, speed_b: Floats, rates: Rates) -> Floats:
    """Return the seconds lost at the corner between two edge ends.

    ``away_a`` and ``away_b`` are unit vectors leaving the corner, shape (..., 2); the speeds are those of the two
    edges.
    """
    c = (away_a * away_b).sum(axis=-1)
    s = np.sqrt(np.clip((1.0 - c) / 2.0, 0.0, 1.0))
    bend = away_a + away_b
    long = np.maximum(size(bend), 1e-12)
    limit_x, limit_y = rates.acceleration[0], rates.acceleration[1]
    with np.errstate(divide="ignore", invalid="ignore"):
        along = np.minimum(limit_x / np.abs(bend[..., 0] / long), limit_y / np.abs(bend[..., 1] / long))
        junction = np.sqrt(along * rates.junction_deviation_mm * s / (1.0 - s))
    junction = np.where(c < -STRAIGHT, np.inf, np.where(c > STRAIGHT, 0.0, junction))
    loss: Floats = np.zeros(np.shape(c))
    for away, speed in ((away_a, speed_a), (away_b, speed_b)):
        with np.errstate(divide="ignore"):
            a = np.minimum(limit_x / np.abs(away[..., 0]), limit_y / np.abs(away[..., 1]))
        u = np.minimum(np.minimum(junction, speed_a), speed_b)
        loss = loss + (speed - u) ** 2 / (2.0 * a * speed)
    return loss


@dataclass(frozen=True, slots=True, kw_only=True)
class Web:
    """Shapes: M edges, V vertices, N nodes."""

    cuts: Cuts
    edge: Ints  # (M,) index into the cuts' edges
    u: Ints  # (M,) vertex at the tail
    v: Ints  # (M,) vertex at the head
    tail: Ints  # (M,) node
    head: Ints  # (M,) node
    length_mm: Floats  # (M,) in plan view
    limit: Floats  # (M,) mm/s in plan view that the machine's X and Y allow
    cut_s: Floats  # (M,) seconds to cut each edge
    speed: Floats  # (M,) mm/s in plan view when cut
    away: Floats  # (2, M, 2) unit vectors leaving the tail and the head
    xy_mm: Floats  # (V, 2)
    spot: Ints  # (places of the cuts,) the vertex of each in the web of all cuts, whichever this is
    place: Ints  # (N,) index into the cuts' places
    depth_mm: Floats  # (N,)
    node_vertex: Ints  # (N,)
    first_node: Ints  # (V + 1,)

    @property
    def top_depth_mm(self) -> Floats:
        """Depth of the shallowest node at each vertex, shape (V,)."""
        return self.depth_mm[self.first_node[:-1]]

    @property
    def slopes(self) -> Bools:
        """Which edges are deeper at one end than at the other, shape (M,)."""
        return np.asarray(self.depth_mm[self.tail] != self.depth_mm[self.head])

    def along_s(self, edge: Ints, drop_mm: Floats, rates: Rates) -> Floats:
        """Return the seconds to go along edges, ``drop_mm`` higher or lower at their ends."""
        return rates.along_s(self.length_mm[edge], drop_mm, self.limit[edge])

    def node_of(self, place: Ints) -> Ints:
        """Return the nodes of places; of the web of all cuts alone."""
        node = np.empty(len(self.place), np.int64)
        node[self.place] = np.arange(len(node))
        return node[place]


def weave(cuts: Cuts, rates: Rates, edge: Ints | None = None) -> Web:
    """Return the web of all cuts, or of some."""
    edge = np.arange(len(cuts.tail)) if edge is None else edge
    spot, depth = cuts.spot, cuts.depth_mm
    order = np.lexsort((depth, spot))
    rank = np.empty(len(order), np.int64)
    rank[order] = np.arange(len(order))
    used, node = np.unique(np.stack([rank[cuts.tail[edge]], rank[cuts.head[edge]]]), return_inverse=True)
    place, (tail, head) = order[used], node.reshape(2, -1).astype(np.int64)
    vertex = np.unique(spot[place], return_inverse=True)[1].astype(np.int64)
    first = np.searchsorted(vertex, np.arange(int(vertex.max(initial=-1)) + 2))
    length, limit, drop = cuts.length_mm[edge], speed_limit(cuts, rates)[edge], cuts.chord_mm[edge, 2]
    cut_s = rates.along_s(length, drop, limit)
    return Web(
        cuts=cuts,
        edge=edge,
        u=vertex[tail],
        v=vertex[head],
        tail=tail,
        head=head,
        length_mm=length,
        limit=limit,
        cut_s=cut_s,
        speed=np.where(drop == 0.0, np.minimum(rates.cut, limit), length / np.maximum(cut_s, 1e-12)),
        away=leaving(cuts)[:, edge],
        xy_mm=cuts.place_nm[place[first[:-1]], :2] / NM_PER_MM,
        spot=spot,
        place=place,
        depth_mm=depth[place],
        node_vertex=vertex,
        first_node=first,
    )


@dataclass(frozen=True)
class Lines:
    """The cuts of each line: ``cut`` (L, levels) from shallow to deep, -1 where there are no more, ``count`` (L,) of them."""

    cut: Ints
    count: Ints

    @property
    def last(self) -> Ints:
        """The deepest cut of each line, shape (L,)."""
        return self.cut[np.arange(len(self.count)), self.count - 1]


def lines_of(cuts: Cuts) -> Lines:
    """Return the lines, in the order of their first cuts."""
    first, level = np.where(cuts.after >= 0, cuts.after, np.arange(len(cuts.after))), cuts.level
    while (first[first] != first).any():
        first = first[first]
    line = np.unique(first, return_inverse=True)[1]
    cut = np.full((int(line.max(initial=-1)) + 1, int(level.max(initial=-1)) + 1), -1)
    cut[line, level] = np.arange(len(line))
    return Lines(cut, np.bincount(line))
