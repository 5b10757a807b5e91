"""What a printed sheet says of the boat, so that a surveyor knows whose sheet it is.

On the lowest floor because commands print sheets too.
"""

from refit.boat.models import Boat


def identity(boat: Boat) -> tuple[str, ...]:
    """Return the lines of the boat's identity, the name first; what is not known is left out."""
    made = " ".join(str(word) for word in (boat.builder, boat.year_built) if word)
    facts = (
        ("Hull number", boat.hull_number),
        ("Official number", boat.official_number),
        ("Flag", boat.flag),
        ("Port of registry", boat.port_of_registry),
        ("Call sign", boat.call_sign),
        ("Built by" if boat.builder else "Built", made),
        ("Length", f"{boat.length_m.normalize():f} m" if boat.length_m else ""),
    )
    return (boat.name, *(f"{word} {fact}" for word, fact in facts if fact))
