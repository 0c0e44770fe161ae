"""What lies on the piece, in stages: field, lines, network, grooves; and what there is to say of it."""
