"""Drawings of lines, read from SVG and DXF files."""
