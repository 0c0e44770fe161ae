"""V-groove engraving of geometric lattice patterns: from a few numbers to a program for a small mill.

The way data flows, and the words used throughout the code:

``job -> pattern -> network -> groove -> plan -> program (text) -> moves (read back) -> checks, surface, clock``

piece     the stock to be engraved: outline, thickness, wood
pattern   lines repeated over a lattice by a symmetry group; *ground* lines are the base grid, *leaf* lines the infill
pitch     the length on the piece of the pattern file's unit
cell      a closed region bounded by lines
network   the planar graph of all lines: vertices, unique edges, cells
groove    what the bit leaves along an edge
land      the flat surface left between grooves
pass      a run of edges cut without lifting
lift      retract, rapid, plunge between two passes
recut     travelling along an edge already cut instead of lifting
program   the RS-274 text; *moves* are what a reader of that text alone believes
dry run   reading the program back, checking it, carving it virtually, timing it

Lengths are millimetres, angles degrees and times seconds unless a name says otherwise.
"""

__version__ = "0.1.0"
