"""The commented job file that ``mizo new`` writes: valid as it stands, every key explained."""

from __future__ import annotations

STARTER = """\
# A job for Mizo.  Check it and write the program with:  mizo program THIS-FILE -o coaster.nc
# Lengths: 12 mm, 2.5 cm, 1/2 in, 1 1/4 in; a bare number is in mm.  Keys that begin with # are optional.

piece:                      # the stock, cut to size and planed flat
  width: 90 mm              # along X, to the right
  height: 90 mm             # along Y, to the back
  thickness: 9 mm
  wood: cherry-black        # 'mizo woods' lists them
  # outline: {shape: rounded, radius: 8 mm}   # rectangle, rounded, circle, ellipse, polygon or drawing
  #                                           # polygon: sides, turn;  drawing: file (SVG or DXF), layer

title: coaster, first of six

pattern:
  name: asanoha             # 'mizo patterns' lists them; or the path of a pattern file of your own
  pitch: 18 mm              # length of the pattern's unit; 'about 18 mm' takes the nearest that fits the piece
  # across: 5               # instead of pitch: so many units across the width
  edge: plain               # groove cuts lines that lie on the piece's edge, plain leaves them
  # ends: run-off           # lines leave the piece by half the groove's width; outline: they end at its edge
  # margin: 5 mm            # a border without lines
  # frame: [{distance: 5 mm, depth: 1 mm}]    # border lines inside the outline
  # rotate: 30 deg          # counter-clockwise; also shift-x, shift-y (lengths) and mirror: true
  # drawing: lines.svg      # instead of name and pitch: your own lines, SVG or DXF ...
  # depths: {outer: 1.2 mm} # ... a depth for each layer or colour ...
  # close-gaps: 0.05 mm     # ... and ends nearer than this are joined

groove:
  depth: 0.8 mm             # 'mizo width --angle 60 --depth 0.8' tells how wide that is
  # ground: 1.2 mm          # instead of depth: the base grid ...
  # leaf: 0.8 mm            # ... and the infill apart
  # step: 0.5 mm            # deepest cut per level; left out, the usual one
  # lost-land: allow        # cut even where most cells keep no land; refuse (usual) says what would leave them some

bit: v60-3.175              # 'mizo bits' lists them; or its measures:
# bit: {angle: 60 deg, diameter: 3.175 mm, shank: 3.175 mm, tip: 0.1 mm, flutes: 2}   # or tip-radius

machine: small-desktop      # 'mizo machines' lists them; or the path of a machine file of your own

# feed:                     # left out, the speeds come from wood, bit and machine
#   cut: 400 mm/min
#   plunge: 120 mm/min
#   spindle: 11000 rpm

zero:
  # xy: front-left          # front-left, front-right, back-left, back-right or centre; left out: front-left, or the
  #                         # centre of a circle, ellipse or polygon, whose corner would be in the air
  z: top                    # top of the piece, or the bed it lies on

# plan:
#   recut: never            # allow (usual) travels along a groove already cut where that is quicker than lifting
#   hop: 1 mm               # how high the bit rises between passes

# clamps:                   # the bit keeps clear of these; measured from the piece's front left corner
#   - {x: -12 mm, y: 30 mm, width: 10 mm, height: 20 mm, above: 4 mm}
"""


def starter_text() -> str:
    """The text of a job file to start from."""
    return STARTER
