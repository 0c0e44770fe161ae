"""What every sheet and page says about safety, in few words (trade practice in general; no substitute for a manual)."""

from __future__ import annotations

FIRST = "The maker’s manual of your machine and your local rules come first."

GENERAL: tuple[tuple[str, str], ...] = (
    ("Eyes", "Impact-rated glasses for you and whoever watches: a broken tip flies."),
    ("Ears", "Wear protection for anything longer than a short cut."),
    ("Dust", "Collect it where it is made; a mask against the fine part."),
    (
        "Holding",
        "Held against sideways and upward pull; clamps clear of the bit, tried with the spindle off.",
    ),
    ("Unattended", "Never. Stay within reach of the stop, and know whether it stops the spindle too."),
    ("Hands", "No gloves, loose sleeves, long hair or cords near the spindle; wait until it stands still."),
)

CHECKS: tuple[str, ...] = (
    "Wood true, clean and held down",
    "Clamps outside the bit’s reach",
    "Bit whole, seated well, spindle off meanwhile",
    "Zero set, and tried again after the bit",
    "Run once in the air above the wood",
    "Glasses, ears, dust collection",
    "Stop within reach",
)

# Of a piece that does not lie straight: an edge that slants shows where the corner is at the corner alone.
TURNED = "Turn measured, and X0 Y0 found at the {} itself, not along an edge"
