"""Patterns as data: a lattice, a symmetry and a few generating lines; outlines and drawings."""
