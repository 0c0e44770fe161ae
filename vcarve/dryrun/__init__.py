"""Proof from the program's text alone: checks, the carved surface, the running time."""
