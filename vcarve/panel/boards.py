"""Tiles side by side on a board or in a jig: where each lies, and all of them laid out as one piece.

On a board rows of tiles follow one another from the front, each as long as the board takes; the grain of every tile runs along
that of the board, so that some lie turned.  One piece with all of its tiles is planned, written and judged as any other.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from vcarve.errors import Finding, InputError
from vcarve.groove.land import measure
from vcarve.job.bench import Wood
from vcarve.job.panel import Board, Fixture
from vcarve.job.sections import Piece
from vcarve.layout.field import make_field
from vcarve.layout.lines import Lines
from vcarve.layout.stages import Layout
from vcarve.network.build import Placing
from vcarve.network.model import Network
from vcarve.panel.tiles import LaidPanel, Tile, letter, turned
from vcarve.plane.arcs import boxes
from vcarve.plane.arrays import NM_PER_MM, Ints
from vcarve.plane.region import Region, rectangle
from vcarve.quantity import counted

APART_MM = 50.0  # between tiles in a jig of which nobody says where its zeros are


@dataclass(frozen=True, slots=True, kw_only=True)
class Lying:
    """A tile as it lies: its front left corner from the board's, and whether it is turned a quarter, counter-clockwise."""

    tile: Tile
    x_mm: float
    y_mm: float
    turned: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """Tiles that are cut by one program, on a board, or in a jig, whose place is a board round all of them.

    ``name`` is what the load is called, ``times`` how often it is run, with other tiles of the same sort.
    """

    name: str
    board: Board
    lying: tuple[Lying, ...]
    times: int = 1

    @property
    def called(self) -> str:
        """What the file of its program is called, without its ending."""
        return called(self.name, self.board.wood)


def called(name: str, wood: Wood) -> str:
    """Return what the file of a program is called, without its ending: safe on every disk, whatever the wood is called."""
    return re.sub("[^A-Za-z0-9]+", "-", f"{name}-{wood.name[:60]}").strip("-")


def nest(laid: LaidPanel) -> tuple[Load, ...]:
    """Return which tiles are cut out of which of a panel's boards, and where they lie on them; nothing for a panel without.

    Raises InputError for tiles that find no board, with one that would take them.
    """
    panel, loads, problems = laid.panel, [], []
    left = list(laid.tiles) if panel.boards else []
    for number, board in enumerate(panel.boards, 1):
        mine = [tile for tile in left if laid.wood(tile) == board.wood]
        lying = tuple(_rows(mine, board, panel.tile.width_mm, panel.tile.height_mm))
        taken = {(one.tile.column, one.tile.row) for one in lying}
        left = [tile for tile in left if (tile.column, tile.row) not in taken]
        loads.append(Load(name=f"board {number}", board=board, lying=lying))
    for wood in dict.fromkeys(laid.wood(tile).name for tile in left):
        rest = [tile for tile in left if laid.wood(tile).name == wood]
        many = sum(laid.wood(tile).name == wood for tile in laid.tiles)
        want = f"{len(rest)} of {counted(many, 'tile')} of {wood} find no place; {_wanted(laid, rest)}"
        problems.append(replace(panel.document.problem(("boards",), want), value=None))
    if problems:
        raise InputError(problems)
    return tuple(load for load in loads if load.lying)


def _rows(tiles: Sequence[Tile], board: Board, wide: float, high: float) -> Iterator[Lying]:
    """Yield the tiles that fit on a board, row by row from the front; tiles of one size share rows."""
    x, y, tall = board.margin_mm, board.margin_mm, 0.0
    for tile in sorted(tiles, key=lambda tile: tile.grain):
        turned = tile.grain == "along-y"
        across, along = (high, wide) if turned else (wide, high)
        if x > board.margin_mm and (x + across > board.width_mm - board.margin_mm + 1e-9 or along != tall):
            x, y = board.margin_mm, y + tall + board.kerf_mm
        tall = along
        if max(x + across - board.width_mm, y + along - board.height_mm) > 1e-9 - board.margin_mm:
            continue
        yield Lying(tile=tile, x_mm=x, y_mm=y, turned=turned)
        x += across + board.kerf_mm


def _wanted(laid: LaidPanel, rest: Sequence[Tile]) -> str:
    """Return a board that takes the rest, or as many of them as the machine travels to, in words."""
    size, travel = laid.panel.tile, laid.panel.machine.travel
    usual = Board.model_fields
    margin, kerf = float(usual["margin_mm"].default), float(usual["kerf_mm"].default)
    # Square, so that turned tiles find room as well.
    side = max(size.width_mm, size.height_mm)
    room = [math.floor((way - 2.0 * margin + kerf) / (side + kerf)) for way in (travel.x_mm, travel.y_mm)]
    columns = max(1, min(len(rest), room[0]))
    rows = max(1, min(math.ceil(len(rest) / columns), room[1]))
    wide, high = (2.0 * margin + many * (side + kerf) - kerf for many in (columns, rows))
    them = "them" if columns * rows >= len(rest) else f"{columns * rows} of them"
    return f"a board of {laid.panel.figures.size(wide, high, size.thickness_mm)} takes {them}"


def in_jig(laid: LaidPanel, fixture: Fixture) -> tuple[Load, ...]:
    """Return which tiles are cut in a jig by one program: as many of one sort as it holds, and what is left over of them.

    Where the zeros of the jig are is not always said; tiles then stand apart from each other along X.
    """
    size, loads = laid.panel.tile, []
    for sort, layout in enumerate(laid.sorts):
        tiles = laid.of_sort(sort)
        full, rest = divmod(len(tiles), len(fixture.systems))
        for many, times in ((len(fixture.systems), full), (rest, 1)):
            if not many or not times:
                continue
            apart = [(k * (size.width_mm + APART_MM), 0.0) for k in range(many)]
            at = np.array([(one.x_mm, one.y_mm) for one in fixture.places[:many]] or apart)
            at -= at.min(axis=0)
            wide, high = (at.max(axis=0) + np.array([size.width_mm, size.height_mm])).tolist()
            board = Board(
                wood=layout.job.piece.wood, width_mm=wide, height_mm=high, thickness_mm=size.thickness_mm
            )
            lying = [Lying(tile=one, x_mm=x, y_mm=y) for one, (x, y) in zip(tiles, at.tolist(), strict=False)]
            name = f"jig {letter(sort)}" + (f" with {many}" if full and many == rest else "")
            loads.append(Load(name=name, board=board, lying=tuple(lying), times=times))
    return tuple(loads)


def close_findings(laid: LaidPanel, load: Load) -> Iterator[Finding]:
    """Yield that grooves reach into a neighbour, where tiles lie closer to each other than grooves reach beyond their edge."""
    size, length = laid.panel.tile, laid.panel.figures.length
    at = np.array([(one.x_mm, one.y_mm, one.turned) for one in load.lying])
    turned = at[:, 2:] > 0
    sides = np.where(turned, (size.height_mm, size.width_mm), (size.width_mm, size.height_mm))
    low, high = at[:, :2], at[:, :2] + sides
    apart = np.maximum(low[:, None] - high, low - high[:, None]).max(axis=-1)
    least = float(apart[~np.eye(len(at), dtype=bool)].min(initial=np.inf))
    reach = max(_beyond_mm(laid.sorts[one.tile.sort]) for one in load.lying)
    if least < reach - 1e-9:
        want = laid.panel.figures.at_least(reach)
        said = f"Grooves reach {length(reach)} beyond the edge of a tile, and tiles lie {length(least)} apart: they cut into the "
        yield Finding(
            "tiles-too-close", f"{said}edge of the next one; {want} or more between them keeps it whole."
        )


def _beyond_mm(layout: Layout) -> float:
    """Return how far grooves reach beyond the edge of a tile."""
    network, piece = layout.network, layout.job.piece
    box = boxes(network.curves(np.flatnonzero(network.cut)))
    half = layout.grooves.half_width_mm[network.cut]
    over = np.abs(box).reshape(-1, 2, 2).max(axis=1) - np.array([piece.width_mm, piece.height_mm]) / 2.0
    return max(0.0, float((over.max(axis=1) + half).max(initial=0.0)))


# --- several layouts as one ------------------------------------------------------------------------------------------------


def lay_load(laid: LaidPanel, load: Load) -> Layout:
    """Return a load laid out as one piece: the board, with the grooves of all its tiles."""
    panel, board = laid.panel, load.board
    first = laid.sorts[load.lying[0].tile.sort]
    piece = {
        "width": board.width_mm,
        "height": board.height_mm,
        "thickness": board.thickness_mm,
        "wood": board.wood,
    }
    title = f"{panel.name}, {load.name}"
    job = first.job.model_copy(update={"piece": Piece.model_validate(piece), "title": title})
    parts = [laid.sorts[one.tile.sort] for one in load.lying]
    features = tuple(dict.fromkeys(feature for part in parts for feature in part.features))
    networks = []
    for one, part in zip(load.lying, parts, strict=True):
        number = np.array([features.index(feature) for feature in part.features] + [-1])
        copied = replace(part.network, feature=number[part.network.feature])
        networks.append(_placed(copied, one, part, board))
    kinds = [(one.tile.sort, one.turned) for one in load.lying]
    network = _joined(networks, [kinds.index(kind) for kind in kinds])
    # How much of its depth each line has at its ends.
    depths = {index: feature.depth_mm for index, feature in enumerate(features)}
    full = np.array([*depths.values(), 1.0])[network.feature]
    ends = np.hstack([part.grooves.ends_depth_mm for part in parts])
    share = np.where(network.cut, ends / full, 1.0) if any(part.rises for part in parts) else None
    said = " and ".join(
        dict.fromkeys(str(part.job.pattern.name or part.job.pattern.drawing) for part in parts)
    )
    return Layout(
        job=job,
        field=make_field(job.model_copy(update={"pattern": job.pattern.model_copy(update=_BARE)})),
        lines=Lines(placing=Placing(pitch_mm=1.0), words=f"{counted(len(parts), 'tile')} with {said}"),
        network=network,
        grooves=measure(network, job.bit, depths, share),
        features=features,
        pieces=tuple(_outline(one, part, board) for one, part in zip(load.lying, parts, strict=True)),
    )


def _outline(one: Lying, part: Layout, board: Board) -> Region:
    """Return a tile's outline where the tile lies on the board."""
    wide, high = part.job.piece.width_mm, part.job.piece.height_mm
    wide, high = (high, wide) if one.turned else (wide, high)
    ring = rectangle(wide, high).outer
    middle = one.x_mm + (wide - board.width_mm) / 2.0, one.y_mm + (high - board.height_mm) / 2.0
    return Region(outer=replace(ring, xy_mm=ring.xy_mm + np.array(middle)))


_BARE = {"margin_mm": 0.0, "frame": (), "ends": "outline"}


def _placed(network: Network, one: Lying, part: Layout, board: Board) -> Network:
    """Return a tile's network where the tile lies on the board, whose middle is the zero."""
    wide, high = part.job.piece.width_mm, part.job.piece.height_mm
    if one.turned:
        network, wide, high = turned(network, 1), high, wide
    to = (one.x_mm + wide / 2.0 - board.width_mm / 2.0, one.y_mm + high / 2.0 - board.height_mm / 2.0)
    to_x, to_y = (round(place * NM_PER_MM) for place in to)
    return replace(network, x_nm=network.x_nm + to_x, y_nm=network.y_nm + to_y)


def _joined(networks: Sequence[Network], kinds: Sequence[int]) -> Network:
    """Return networks beside each other as one; those of one kind are translated copies of each other."""

    def offset(counts: Sequence[int]) -> list[int]:
        return [0, *np.cumsum(counts).tolist()]

    vertex, edge = (offset([len(getattr(one, name)) for one in networks]) for name in ("x_nm", "tail"))
    half, ring = (
        offset([len(getattr(one, name)) for one in networks]) for name in ("ring_half_edge", "cell_class")
    )
    ring = offset([len(one.ring_start) - 1 for one in networks])

    def all_of(name: str, by: Sequence[int] | None = None, ends: bool = False) -> Ints:
        rows = [getattr(one, name) + (0 if by is None else by[k]) for k, one in enumerate(networks)]
        return np.concatenate([rows[0], *(row[1:] for row in rows[1:])] if ends else rows)

    def classes(name: str) -> Ints:
        most = max(int(getattr(one, name).max(initial=-1)) for one in networks) + 1
        rows = [getattr(one, name) for one in networks]
        return np.concatenate(
            [np.where(row < 0, row, row + most * kind) for row, kind in zip(rows, kinds, strict=True)]
        )

    return Network(
        x_nm=all_of("x_nm"),
        y_nm=all_of("y_nm"),
        tail=all_of("tail", vertex),
        head=all_of("head", vertex),
        bulge=np.concatenate([one.bulge for one in networks]),
        feature=all_of("feature"),
        edge_class=classes("edge_class"),
        ring_half_edge=all_of("ring_half_edge", [2 * count for count in edge]),
        ring_start=all_of("ring_start", half, ends=True),
        cell_ring_start=all_of("cell_ring_start", ring, ends=True),
        cell_class=classes("cell_class"),
    )
