"""Cautions for dangerous things stowed near each other.

Decides what to say about two hazard classes. The table is the general segregation table of the IMDG Code,
7.2.4, for the classes a boat may carry; it is written for ships' cargo, so here it only words a caution. It
is no rule for a small boat, and never says that anything is safe. Does not know parts or places.
"""

CLASSES = ("2.1", "2.2", "3", "4.1", "5.1", "5.2", "6.1", "8", "9")

NAMES = {
    "2.1": "flammable gas",
    "2.2": "gas under pressure",
    "3": "flammable liquid",
    "4.1": "flammable solid",
    "5.1": "oxidiser",
    "5.2": "organic peroxide",
    "6.1": "poison",
    "8": "corrosive",
    "9": "other danger, such as lithium batteries",
}

TABLE = """
    X X 2 1 2 2 X 1 X
    X X 1 X X 1 X X X
    2 1 X X 2 2 X X X
    1 X X X 1 2 X 1 X
    2 X 2 1 X 2 1 2 X
    2 1 2 2 2 X 1 2 X
    X X X X 1 1 X X X
    1 X X 1 2 2 X X X
    X X X X X X X X X
"""

ADVICE = {
    "1": "stow them apart, so that a leak from one cannot reach the other",
    "2": "stow them well apart, in different lockers that do not open into each other",
    "3": "stow them with a whole compartment between them",
    "4": "stow them far apart along the boat, with a whole compartment between them",
    "X": "no general distance is given, which does not mean they are safe together: check the entry for each",
}
DEFER = "Follow the makers' safety sheets and the local rules."


def segregation(a: str, b: str) -> str:
    """Return how two hazard classes are kept apart: "1" to "4", or "X" for "see the entry of each".

    Raise ValueError for a class that the table does not have.
    """
    places = []
    for hazard in (a, b):
        if hazard.strip() not in CLASSES:
            raise ValueError(f"There is no rule known for hazard class {hazard.strip() or 'unknown'}.")
        places.append(CLASSES.index(hazard.strip()))
    return TABLE.split()[places[0] * len(CLASSES) + places[1]]


def caution(a: str, b: str) -> str:
    """Return a sentence of caution for two hazard classes near each other; it is never empty."""
    try:
        code = segregation(a, b)
    except ValueError:
        given = " and ".join(hazard.strip() or "unknown" for hazard in (a, b))
        return f"Hazard classes {given}: no rule known, so keep them apart until you have checked. {DEFER}"
    first, second = (f"{NAMES[hazard.strip()]} ({hazard.strip()})" for hazard in (a, b))
    return f"{first[0].upper()}{first[1:]} and {second}: {ADVICE[code]}. {DEFER}"
