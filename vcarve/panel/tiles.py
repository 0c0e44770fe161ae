"""How the tiles of a panel lie, and what is laid out on each: tiles that are cut alike are laid out once."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

from vcarve.job.bench import Wood
from vcarve.job.document import placed
from vcarve.job.panel import Grain, OddTile, Panel
from vcarve.layout.field import make_field
from vcarve.layout.lines import moved, place_lines
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
    """Return a panel's tiles, laid out; ``kept`` as for ``lay_out``.  Raises InputError for what cannot be laid out."""
    keep = Kept() if kept is None else kept  # tiles that differ in wood alone have the same lines and grooves
    grid, size, whole = panel.panel, panel.tile, None
    odd = {(one.column, one.row): one for one in panel.tiles}
    wide, high = field_mm(panel)
    if panel.pattern.run_on:
        # As on one large piece: fitted to all of it, and then seen through each tile.
        large = panel.job(panel.woods[0][0], panel.pattern, size_mm=(wide, high))
        with placed(panel.document):
            whole = place_lines(large, make_field(large))
    sorts: dict[object, Layout] = {}
    tiles = []
    for (row, woods), column in product(enumerate(panel.woods, 1), range(1, grid.columns + 1)):
        x = (column - 0.5) * size.width_mm + (column - 1) * grid.gap_mm - wide / 2.0
        y = high / 2.0 - (row - 0.5) * size.height_mm - (row - 1) * grid.gap_mm
        wood, mine = woods[column - 1], odd.get((column, row), OddTile(column=column, row=row))
        choice = mine.pattern or panel.pattern
        if mine.mirror:
            choice = choice.model_copy(update={"mirror": not choice.mirror})
        grain = mine.grain or size.grain
        job = panel.job(wood, choice)
        alike: object = wood, grain, choice.model_dump_json()
        if whole is not None:
            lines = moved(whole, -x, -y)
            alike = wood, grain, _same(lay_lines(job, None, lines).network)
        if alike not in sorts:
            title = f"{panel.name}, tile {letter(len(sorts))}"
            sorts[alike] = lay_out(
                panel.job(wood, choice, title=title), keep, None if whole is None else lines
            )
        tiles.append(
            Tile(
                column=column,
                row=row,
                x_mm=x,
                y_mm=y,
                turn_deg=int(mine.turn),
                grain=grain,
                sort=list(sorts).index(alike),
            )
        )
    return LaidPanel(panel=panel, tiles=tuple(tiles), sorts=tuple(sorts.values()))


def _same(network: Network) -> bytes:
    """Return what two networks have in common that are the same lines in the same places."""
    parts = network.x_nm, network.y_nm, network.tail, network.head, network.bulge, network.feature
    return b"".join(part.tobytes() for part in parts)
