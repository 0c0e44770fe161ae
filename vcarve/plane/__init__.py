"""Plane geometry, the only home of it: lines and arcs by their bulge, where they meet, regions; without units."""
