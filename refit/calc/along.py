"""Where along the boat an area lies, told from its name, so that lists of places run from bow to stern.

Decides a rank from the usual words for parts of a boat. It is a guess from words: an area called otherwise stands
amidships, between what lies forward and what lies aft.
"""

from .text import fold

AMIDSHIPS = 50

# The first of these words that the folded name holds decides; so what is more exact stands first.
WORDS = (
    ("amidships", AMIDSHIPS),
    ("aftcabin", 80),
    ("aftheads", 78),
    ("forecabin", 20),
    ("forwardcabin", 20),
    ("vberth", 20),
    ("bowsprit", 0),
    ("anchor", 5),
    ("chain", 5),
    ("forepeak", 10),
    ("forecastle", 10),
    ("focsle", 10),
    ("bow", 5),
    ("fore", 20),
    ("forward", 20),
    ("heads", 30),
    ("saloon", 40),
    ("maincabin", 40),
    ("galley", 55),
    ("chart", 55),
    ("navigation", 55),
    ("wheelhouse", 60),
    ("pilothouse", 60),
    ("companion", 62),
    ("engine", 65),
    ("quarter", 70),
    ("cockpit", 75),
    ("lazarette", 90),
    ("steering", 92),
    ("stern", 95),
    ("transom", 95),
    ("aft", 80),
    ("deck", 97),  # all of it, so after everything below
    ("mast", 98),
)


def along(name: str) -> int:
    """Return how far aft an area of this name lies: 0 at the bow, near 100 at the stern."""
    folded = fold(name).replace("'", "").replace("\u2019", "")
    return next((rank for word, rank in WORDS if word in folded), AMIDSHIPS)
