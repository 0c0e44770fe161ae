"""Patterns as data: a lattice, a symmetry and a few generating lines; from them the unit cell; plain outlines."""
