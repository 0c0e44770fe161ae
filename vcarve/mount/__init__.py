"""How places on the piece become the machine's axes."""
