"""The planar graph of all lines on the piece: unique edges, vertices and closed cells."""
