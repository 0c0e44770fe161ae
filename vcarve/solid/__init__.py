"""The piece with its grooves as a closed solid, and the files that hold one or several."""
