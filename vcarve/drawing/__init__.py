"""Drawings of lines: SVG and DXF files read, and the lines of a piece written."""
