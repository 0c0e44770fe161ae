"""What the bit leaves along an edge, and the land between grooves."""
