"""What the user asks for: piece, bit, wood, machine and job as frozen records, read from YAML."""
