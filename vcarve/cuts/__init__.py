"""Everything one bit has to cut on one piece, each exactly once: places in space joined by lines and arcs; no order."""
