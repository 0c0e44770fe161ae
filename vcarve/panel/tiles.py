"""How the tiles of a panel lie, and what is laid out on each: tiles that are cut alike are laid out once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product

from vcarve.errors import InputError
from vcarve.job.bench import Wood
from vcarve.job.document import placed
from vcarve.job.panel import Grain, OddTile, Panel
from vcarve.job.records import Job
from vcarve.layout.field import make_field
from vcarve.layout.lines import EDGES_MOST, Lines, expected_edges, moved, place_lines
from vcarve.layout.stages import Kept, Layout, lay_lines, lay_out
from vcarve.network.model import Network


@dataclass(frozen=True, slots=True, kw_only=True)
class Tile:
    """One tile: its column and row from 1, where its middle is from the panel's, and how it is laid.

    Rows count from the back; ``x_mm`` and ``y_mm`` to the right and to the back.  ``sort`` is the index of what it is cut as.
    """

    column: int
    row: int
    x_mm: float
    y_mm: float
    turn_deg: int
    grain: Grain  # as it is cut
    sort: int

    @property
    def moves_across(self) -> str:
        """Along which axis of the panel it moves: across its grain, as it is laid."""
        along_x = (self.grain == "along-x") != (self.turn_deg in (90, 270))
        return "y" if along_x else "x"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LaidPanel:
    """A panel's tiles, row by row from the back, and the layouts that they are cut as, named by letters."""

    panel: Panel
    tiles: tuple[Tile, ...]
    sorts: tuple[Layout, ...]

    def wood(self, tile: Tile) -> Wood:
        """Return the wood of a tile."""
        return self.sorts[tile.sort].job.piece.wood

    @property
    def frame_wood(self) -> Wood:
        """The wood of the bars round the tiles, if there are any."""
        frame = self.panel.panel.frame
        return frame.wood if frame is not None and frame.wood is not None else self.wood(self.tiles[0])

    def of_sort(self, sort: int) -> tuple[Tile, ...]:
        """Return the tiles that are cut alike."""
        return tuple(tile for tile in self.tiles if tile.sort == sort)


def letter(sort: int) -> str:
    """Return what a sort of tile is called: A, B, ... Z, AA, AB."""
    return ("" if sort < 26 else letter(sort // 26 - 1)) + chr(ord("A") + sort % 26)


def field_mm(panel: Panel) -> tuple[float, float]:
    """Return how wide and high all tiles are together, with the gaps between them."""
    grid, tile = panel.panel, panel.tile
    wide = grid.columns * tile.width_mm + (grid.columns - 1) * grid.gap_mm
    return wide, grid.rows * tile.height_mm + (grid.rows - 1) * grid.gap_mm


def lay_panel(panel: Panel, kept: Kept | None = None) -> LaidPanel:
    """Return a panel's tiles, laid out; ``kept`` as for ``lay_out``.

    Raises InputError for what cannot be laid out, or is too much to be cut.
    """
    keep = Kept() if kept is None else kept  # tiles that differ in wood alone have the same lines and grooves
    grid, size, whole = panel.panel, panel.tile, None
    odd = {(one.column, one.row): (number, one) for number, one in enumerate(panel.tiles)}
    wide, high = field_mm(panel)
    if panel.pattern.run_on:
        # As on one large piece: fitted to all of it, and then seen through each tile.
        whole = _lines(panel.job(panel.woods[0][0], panel.pattern, size_mm=(wide, high)))
    drawn: dict[str, Lines] = {}
    number_of: dict[object, int] = {}
    cut: list[tuple[Job, Lines]] = []
    layouts, tiles = [], []
    for (row, woods), column in product(enumerate(panel.woods, 1), range(1, grid.columns + 1)):
        x = (column - 0.5) * size.width_mm + (column - 1) * grid.gap_mm - wide / 2.0
        y = high / 2.0 - (row - 0.5) * size.height_mm - (row - 1) * grid.gap_mm
        number, mine = odd.get((column, row), (0, OddTile(column=column, row=row)))
        choice, grain = mine.pattern or panel.pattern, mine.grain or size.grain
        if mine.mirror:
            choice = choice.model_copy(update={"mirror": not choice.mirror})
        job = panel.job(woods[column - 1], choice, number=number if mine.pattern else None)
        key = choice.model_dump_json()
        same: str | bytes = key
        if whole is not None:
            lines = moved(whole, -x, -y)
            with placed(job.document):
                same = _same(lay_lines(job, keep, lines).network)
        else:
            lines = drawn[key] = drawn.get(key) or _lines(job)
        alike = job.piece.wood, grain, same
        sort = number_of.setdefault(alike, len(number_of))
        if sort == len(cut):
            cut.append((job.model_copy(update={"title": f"{panel.name}, tile {letter(sort)}"}), lines))
            if whole is not None:  # its network has just been laid
                layouts.append(lay_out(cut[-1][0], keep, lines))
        place = Tile(
            column=column,
            row=row,
            x_mm=x,
            y_mm=y,
            turn_deg=int(mine.turn),
            grain=grain,
            sort=sort,
        )
        tiles.append(place)
    if whole is None:  # else counted on the large piece
        _refuse_too_much(
            panel, [cut[tile.sort][1] for tile in tiles] if panel.boards else [one for _, one in cut]
        )
        layouts = [lay_out(job, keep) for job, _ in cut]
    return LaidPanel(panel=panel, tiles=tuple(tiles), sorts=tuple(layouts))


def _lines(job: Job) -> Lines:
    """Return the lines of a job as they lie on its piece."""
    with placed(job.document):
        return place_lines(job, make_field(job))


def _refuse_too_much(panel: Panel, cut: Sequence[Lines]) -> None:
    """Raise InputError where all programs together would cut more lines than can be planned."""
    systems = len(panel.fixture.systems) if panel.fixture else 1
    size = panel.tile.width_mm, panel.tile.height_mm
    many = systems * sum(expected_edges(one, *size) for one in cut)
    if many > EDGES_MOST:
        want = f"its programs would cut some {many:,.0f} lines, and {EDGES_MOST:,} can be planned; make the pitch larger"
        raise InputError(replace(panel.document.problem(("panel",), want), value=None))


def _same(network: Network) -> bytes:
    """Return what two networks have in common that are the same lines in the same places."""
    parts = network.x_nm, network.y_nm, network.tail, network.head, network.bulge, network.feature
    return b"".join(part.tobytes() for part in parts)


def turned(network: Network, quarters: int) -> Network:
    """Return a network turned about its zero by quarters, counter-clockwise."""
    x, y = network.x_nm, network.y_nm
    for _ in range(quarters):
        x, y = -y, x
    return replace(network, x_nm=x, y_nm=y)
