"""What every key means, in one sentence: shown by editors through the JSON Schemas."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

_AXES = {"x": "along X, to the right", "y": "along Y, to the back", "z": "along Z, upwards"}

MEANINGS: Mapping[str, Mapping[str, str]] = MappingProxyType(
    {
        "JobFile": {
            "piece": "the stock to be engraved",
            "title": "a line of your own; it goes into the program's header and onto the bench sheet",
            "units": "mm or inch, for summary, page and sheet; left out, the machine's; a bare number stays mm",
            "pattern": "which lines, how large, and how they lie on the piece",
            "groove": "how deep",
            "bit": "a name from 'mizo bits', or the bit's own measures",
            "machine": "a name from 'mizo machines', or the path of a machine file",
            "feed": "speeds; what is left out comes from wood, bit and machine",
            "zero": "where you set the work origin",
            "plan": "how the cutting is ordered",
            "clamps": "places the bit must keep clear of",
        },
        "Piece": {
            "width": "size along X",
            "height": "size along Y",
            "thickness": "thickness of the stock",
            "wood": "a name from 'mizo woods'",
            "outline": "the shape of a piece that is not a rectangle",
        },
        "Outline": {
            "shape": "it fills the piece's width and height",
            "radius": "radius of the corners (rounded)",
            "sides": "number of sides (polygon)",
            "turn": "turn of the polygon; 0 has a flat side at the front",
            "file": "SVG or DXF file with one closed path, and holes (drawing)",
            "layer": "only this layer of the file (drawing)",
        },
        "PatternChoice": {
            "name": "a name from 'mizo patterns', or the path of a pattern file",
            "drawing": "SVG or DXF file of lines, instead of a pattern",
            "depths": "drawing: depth for each layer or colour",
            "close-gaps": "drawing: ends nearer than this are joined",
            "pitch": "length of the pattern's unit on the piece; 'about 22 mm' takes the nearest that fits",
            "across": "how many units across the width, instead of a pitch",
            "edge": "groove cuts lines that lie on the piece's edge, plain leaves them",
            "ends": "where lines end: at the outline, or running off it by half the groove's width",
            "margin": "a border without lines inside the outline",
            "frame": "border lines at a distance inside the outline",
            "rotate": "turn of the pattern, counter-clockwise",
            "shift-x": "shift of the pattern to the right",
            "shift-y": "shift of the pattern to the back",
            "mirror": "true mirrors the pattern left to right",
        },
        "Frame": {
            "distance": "distance of the border line from the outline",
            "depth": "its own depth; left out, that of the ground lines",
        },
        "Groove": {
            "depth": "depth of all lines",
            "ground": "depth of the base grid's lines, together with 'leaf'",
            "leaf": "depth of the infill's lines, together with 'ground'",
            "step": "deepest cut per level; left out, the usual one for wood and machine",
            "lost-land": "allow cuts a job even where most cells keep no land between the grooves",
        },
        "Bit": {
            "name": "the bit's name",
            "angle": "full included angle of the V",
            "diameter": "cutting diameter, where the cone ends",
            "shank": "diameter of the shank that the collet holds",
            "tip": "width of the flat at the tip",
            "tip-radius": "radius of a rounded tip",
            "flutes": "number of cutting edges",
        },
        "Feed": {
            "cut": "feed along the grooves",
            "plunge": "feed straight down",
            "spindle": "spindle speed",
        },
        "ZeroChoice": {
            "xy": "the corner of the piece, or its centre, where X and Y are zero; left out, the front left corner, or the "
            "centre of a circle, ellipse or polygon",
            "z": "where Z is zero: top of the piece, or the bed it lies on",
        },
        "PlanChoice": {
            "recut": "allow lets the bit travel along grooves where that is quicker than lifting, going along no line more than "
            "twice a level; never forbids it",
            "hop": "how high the bit rises between passes",
        },
        "Clamp": {
            "x": "left side, from the piece's front left corner",
            "y": "front side, from the piece's front left corner",
            "width": "size along X",
            "height": "size along Y",
            "above": "how far it stands above the piece's top",
        },
        "Machine": {
            "name": "short name",
            "title": "the machine in a few words",
            "travel": "how far each axis can go",
            "rapid": "speed of moves in the air, per axis",
            "acceleration": "acceleration per axis",
            "junction-deviation": "the controller's setting for speed in corners",
            "feed-max": "largest cutting feed per axis",
            "spindle": "the spindle's range",
            "collets": "shank diameters that can be held",
            "safe-height": "height above the piece for the first and the last move; must clear clamps",
            "step-share": "how much of a wood's usual depth per level the machine is stiff enough for",
            "dialect": "the controller's words: the common subset, or one of two named controllers",
            "decimals": "decimals of coordinates in the program",
            "units": "units of the program, and of what is said of it",
            "arcs": "true where the controller takes G2 and G3; false cuts arcs as short straight lines",
            "arc-tolerance": "how far such short lines may stray from the arc",
            "program-end": "the program's last word",
        },
        "Spindle": {
            "min": "slowest speed",
            "max": "fastest speed",
            "spin-up": "time from standstill to full speed",
            "programmed": "false where a switch on the machine starts the spindle: the program then pauses",
        },
        "Axes": _AXES,
        "AxesRate": _AXES,
        "AxesAcceleration": _AXES,
    }
)
