"""Tiles of several woods laid side by side: how they lie, what is cut of them, how their wood moves."""
