"""The order of cutting: pairing, passes, lifts, recuts, and a proof of how near the least time it is."""
