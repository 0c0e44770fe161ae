"""A panel's file: tiles of several woods side by side in a frame, each cut as a job of its own.

What every tile has in common stands there as in a job file, under the same names.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from itertools import combinations
from typing import Annotated, Any, Literal

from pydantic import Field, PrivateAttr

from vcarve.job.bench import Bit, EndMill, Machine, Wood, load_bit, load_machine, load_wood
from vcarve.job.document import Document, read_document
from vcarve.job.fields import (
    Flag,
    GapMm,
    NotNegativeMm,
    PositiveMm,
    ShareInPercent,
    Text,
    TileMm,
    WithinReachMm,
    whole,
)
from vcarve.job.record import Broken, Named, Record, record_from
from vcarve.job.records import Job
from vcarve.job.sections import CutOut, Feed, Groove, PatternChoice, Piece, Plan, Zero
from vcarve.quantity import FIGURES, Figures, format_mm

MOST_TILES = 40  # in a row, and rows
Grain = Literal["along-x", "along-y"]
AWood = Annotated[Wood, Named(lambda name, _: load_wood(name))]


class PanelFrame(Record):
    """What the tiles lie in: four mitred bars with a rebate that covers the edges of the outer tiles."""

    width_mm: PositiveMm = Field(description="of a bar, seen from the front")
    thickness_mm: PositiveMm = Field(description="of a bar")
    rebate_mm: NotNegativeMm = Field(
        0.0, description="how far a bar reaches over its rebate, in which the edges of the tiles lie"
    )
    wood: AWood | None = Field(None, description="of the bars; left out, that of the first tile")

    def _broken(self) -> Iterator[Broken]:
        if self.rebate_mm >= self.width_mm:
            yield Broken("rebate", f"must be less than the bar's width, {format_mm(self.width_mm)}")


class Grid(Record):
    """How the tiles lie side by side."""

    columns: Annotated[int, whole(1, MOST_TILES)] = Field(description="how many tiles lie in a row")
    rows: Annotated[int, whole(1, MOST_TILES)] = Field(description="how many rows there are")
    gap_mm: GapMm = Field(
        0.0, description="between tiles, and between the outer tiles and the frame's rebate"
    )
    frame: PanelFrame | None = Field(None, description="what the tiles lie in; left out, there is none")

    def _broken(self) -> Iterator[Broken]:
        if self.frame is not None and 0.0 < self.frame.rebate_mm <= self.gap_mm:
            want = f"covers no tile; must be more than the gap, {format_mm(self.gap_mm)}, or 0 for none"
            yield Broken("frame.rebate", want, "gap")


class TileSize(Record):
    """What every tile is."""

    width_mm: TileMm = Field(description="size along X")
    height_mm: TileMm = Field(description="size along Y")
    thickness_mm: PositiveMm = Field(description="thickness of the stock")
    grain: Grain = Field("along-x", description="which way the grain of a tile runs as it is cut")
    sawn: Literal["flat", "quarter"] = Field(
        "flat",
        description="how the boards were sawn: flat-sawn wood moves about twice as much across its grain",
    )


class PanelPattern(PatternChoice):
    """Which pattern, on each tile or across them all."""

    run_on: Flag = Field(
        False,
        description="true: the pattern is fitted to the whole panel, and goes on from tile to tile as if seen through windows",
    )

    def _broken(self) -> Iterator[Broken]:
        yield from super()._broken()
        for key, given in (
            ("margin", self.margin_mm),
            ("frame", self.frame),
            ("ends", self.ends != "outline"),
        ):
            if given and self.run_on:
                yield Broken(
                    key, "a pattern that runs on over all tiles takes no such key; leave it out", "run-on"
                )


class OddTile(Record):
    """A tile that differs from the others."""

    column: Annotated[int, whole(1, MOST_TILES)] = Field(description="its column, from the left")
    row: Annotated[int, whole(1, MOST_TILES)] = Field(
        description="its row, from the back, as the rows of woods are written"
    )
    turn: Literal["0", "90", "180", "270"] = Field(
        "0", description="how it is laid: turned by so many degrees counter-clockwise, after it was cut"
    )
    mirror: Flag = Field(False, description="true cuts its pattern mirrored left to right")
    grain: Grain | None = Field(None, description="which way its grain runs as it is cut; left out, as all")
    pattern: PatternChoice | None = Field(None, description="a pattern of its own")


class Board(Record):
    """Stock that tiles are cut out of, several side by side; its length, along X, is along its grain."""

    wood: AWood = Field(description="what it is of")
    width_mm: PositiveMm = Field(description="size along X, which is along the grain")
    height_mm: PositiveMm = Field(description="size along Y")
    thickness_mm: PositiveMm = Field(description="thickness of the board: that of the tiles")
    margin_mm: NotNegativeMm = Field(5.0, description="what is left free along its edges")
    kerf_mm: PositiveMm = Field(4.0, description="between tiles, for the saw or the bit that parts them")


class Place(Record):
    """Where a tile's zero is in a jig."""

    x_mm: WithinReachMm = Field(description="along X, from the first one's")
    y_mm: WithinReachMm = Field(description="along Y, from the first one's")


System = Literal["G54", "G55", "G56", "G57", "G58", "G59"]


class Fixture(Record):
    """A jig that holds tiles cut to size, each with a work offset of its own."""

    systems: tuple[System, ...] = Field(
        min_length=1, max_length=6, description="the work offsets, one for each tile that the jig holds"
    )
    places: tuple[Place, ...] = Field(
        (), description="where each one's zero is from the first one's; left out, travel is not judged"
    )

    def _broken(self) -> Iterator[Broken]:
        if len(set(self.systems)) < len(self.systems):
            yield Broken("systems", "names one twice; each tile of the jig has a work offset of its own")
        if self.places and len(self.places) != len(self.systems):
            yield Broken(
                "places", f"a place for each of the {len(self.systems)} systems is wanted", "systems"
            )


class Moisture(Record):
    """How moist the wood is when it is cut, and how moist it becomes where the panel hangs."""

    now: ShareInPercent = Field(description="moisture content of the wood as it is cut, such as 8 %")
    least: ShareInPercent = Field(description="in the driest season")
    most: ShareInPercent = Field(description="in the dampest season")

    def _broken(self) -> Iterator[Broken]:
        if not self.least <= self.now <= self.most:
            yield Broken("now", "lies between 'least' and 'most'")


class Panel(Record):
    """A panel as its file says it, every name looked up."""

    title: Text = Field("", description="a line of your own; it goes into headers, lists and onto the sheet")
    units: Literal["mm", "inch"] | None = Field(
        None, description="mm or inch, for lists and sheet; left out, the machine's; a bare number stays mm"
    )
    panel: Grid = Field(description="how many tiles, the gap between them, and their frame")
    tile: TileSize = Field(description="what every tile is")
    pattern: PanelPattern = Field(
        description="which lines, how large, and how they lie on a tile or on all of them"
    )
    groove: Groove = Field(Groove(), description="how deep")
    woods: tuple[tuple[AWood, ...], ...] = Field(
        description="the wood of each tile: a list for each row, the row at the back first, as it is seen"
    )
    tiles: tuple[OddTile, ...] = Field((), description="tiles that differ from the others")
    boards: tuple[Board, ...] = Field(
        (), description="boards that the tiles are cut out of; left out, each tile is there"
    )
    cut_out: CutOut | None = Field(
        None,
        description="how an end mill cuts the tiles out of the boards, by second programs; left out, they are sawn",
    )
    fixture: Fixture | None = Field(None, description="a jig that holds several tiles cut to size")
    moisture: Moisture | None = Field(None, description="left out, nothing is said of how the wood moves")
    bit: Annotated[Bit, Named(lambda name, _: load_bit(name))] = Field(
        description="a name from 'mizo bits', or the bit's own measures"
    )
    machine: Annotated[Machine, Named(load_machine, spelled=False)] = Field(
        description="a name from 'mizo machines', or the path of a machine file"
    )
    feed: Feed = Field(Feed(), description="speeds; what is left out comes from wood, bit and machine")
    zero: Zero = Field(Zero(), description="where you set the work origin of a tile, or of a board")
    plan: Plan = Field(Plan(), description="how the cutting is ordered")

    _document: Document | None = PrivateAttr(None)

    def model_post_init(self, context: Any) -> None:
        """Keep the document that the panel is read from."""
        self._document = context if isinstance(context, Document) else None

    def _broken(self) -> Iterator[Broken]:
        columns, rows = self.panel.columns, self.panel.rows
        if len(self.woods) != rows:
            yield Broken("woods", f"a list for each of the {rows} rows is wanted, not {len(self.woods)}")
        for number, row in enumerate(self.woods):
            if len(row) != columns:
                want = f"a wood for each of the {columns} columns is wanted, not {len(row)}"
                yield Broken(f"woods.{number}", want)
        taken = set()
        for index, odd in enumerate(self.tiles):
            for key, value, most in (("column", odd.column, columns), ("row", odd.row, rows)):
                if value > most:
                    yield Broken(f"tiles.{index}.{key}", f"the panel has {most}")
            if (odd.column, odd.row) in taken:
                yield Broken(f"tiles.{index}", f"column {odd.column} of row {odd.row} is there already")
            taken.add((odd.column, odd.row))
            if odd.turn in ("90", "270") and self.tile.width_mm != self.tile.height_mm:
                yield Broken(f"tiles.{index}.turn", "only a square tile can be laid so; 0 or 180 is possible")
            if self.pattern.run_on and (odd.turn != "0" or odd.mirror or odd.pattern):
                want = "the pattern runs on over all tiles; this one cannot have its own, nor be turned or mirrored"
                yield Broken(f"tiles.{index}", want)
        frame = self.panel.frame
        if frame is not None and frame.rebate_mm and frame.thickness_mm <= self.tile.thickness_mm:
            want = f"the rebate is as deep as the tiles are thick, {format_mm(self.tile.thickness_mm)}: a bar must be thicker"
            yield Broken("panel.frame.thickness", want)
        if self.cut_out is not None and not self.boards:
            yield Broken(
                "cut-out",
                "tiles are cut to size already; name the 'boards' they are cut out of, or leave it out",
            )
        if self.boards and self.fixture:
            yield Broken(
                "fixture",
                "tiles are either cut out of boards or lie in a jig; leave out one of the two",
                "boards",
            )
        if self.fixture and self.zero.turn_deg:
            yield Broken(
                "zero.turn", "tiles in a jig lie straight; leave it out, or leave out the fixture", "fixture"
            )
        places = self.fixture.places if self.fixture else ()
        for (first, one), (second, other) in combinations(enumerate(places, 1), 2):
            apart_x, apart_y = abs(one.x_mm - other.x_mm), abs(one.y_mm - other.y_mm)
            if apart_x < self.tile.width_mm and apart_y < self.tile.height_mm:
                want = f"the tiles of places {first} and {second} lie over each other"
                yield Broken("fixture.places", want)
        mill = self.cut_out.bit if self.cut_out and isinstance(self.cut_out.bit, EndMill) else None
        for index, board in enumerate(self.boards):
            if mill is not None and board.kerf_mm < mill.diameter_mm:
                want = f"the end mill is {format_mm(mill.diameter_mm)} across: that much at least, 1 mm more leaves a web"
                yield Broken(f"boards.{index}.kerf", want)
            if board.thickness_mm != self.tile.thickness_mm:
                want = f"tiles are {format_mm(self.tile.thickness_mm)} thick; plane the board to that first"
                yield Broken(f"boards.{index}.thickness", want)

    @property
    def name(self) -> str:
        """What the panel is called."""
        return self.title or "Untitled panel"

    @property
    def figures(self) -> Figures:
        """How figures are written for people."""
        return FIGURES[self.units or self.machine.units]

    @property
    def document(self) -> Document:
        """The panel as it was written."""
        assert self._document is not None
        return self._document

    @property
    def files(self) -> tuple[str, ...]:
        """The paths of every file that is read for the panel: nothing is ever written over them."""
        patterns = [self.pattern, *(one.pattern for one in self.tiles if one.pattern)]
        return tuple(
            dict.fromkeys(path for one in patterns for path in self.job(self.woods[0][0], one).files)
        )

    def job(
        self,
        wood: Wood,
        pattern: PatternChoice,
        *,
        title: str = "",
        size_mm: tuple[float, float] | None = None,
        number: int | None = None,
    ) -> Job:
        """Return the job of a tile, or of a piece of another size, of this wood with this pattern; raises InputError.

        ``number`` is that of the odd tile whose pattern it is, so that what is wrong with it is told there.
        """
        wide, high = size_mm or (self.tile.width_mm, self.tile.height_mm)
        piece = {"width": wide, "height": high, "thickness": self.tile.thickness_mm, "wood": wood}
        same = {
            key.replace("_", "-"): getattr(self, key)
            for key in ("units", "groove", "bit", "machine", "feed", "zero", "plan", "cut_out")
        }
        own = {"piece": Piece.model_validate(piece), "pattern": pattern, "title": title or self.title}
        document = self.document
        if number is not None:
            document = document.with_section("pattern", ("tiles", number, "pattern"))
        return record_from(document, Job, own | same)


def kind_in(tree: Mapping[str, Any]) -> Literal["job", "panel"]:
    """Tell whether a text is that of a job or of a panel, by its keys."""
    return "panel" if len({"panel", "tile", "woods"} & tree.keys()) > 1 else "job"


def load_either(path: str, sets: Iterable[str] = ()) -> Job | Panel:
    """Return the job or the panel that a file holds (``-``: standard input); raises InputError as ``load_panel`` does."""
    document = read_document(path, sets)
    return record_from(document, Panel) if kind_in(document.tree) == "panel" else record_from(document, Job)


def load_panel(path: str, sets: Iterable[str] = ()) -> Panel:
    """Return a panel from the path of its file; raises InputError with every problem, its line and its key path."""
    return record_from(read_document(path, sets), Panel)
