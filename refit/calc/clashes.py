"""Works that endanger each other on the same day in the same space, and works that are dangerous by themselves.

Decides which cautions to give; never says that anything is safe, and no caution does not mean that there is no danger.
Takes pieces of work with their traits; does not know jobs or the plan. Where a source is named it is a public guide
whose subject is the danger, named from memory: it says where to read on, the sentence is ours.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

DEFER = "Follow the makers' instructions and the local rules."
PRACTICE = "common practice, no source"
ATMOSPHERES = "US OSHA, 29 CFR 1915 subpart B, confined and enclosed spaces and other dangerous atmospheres (from memory)"
FLAMMABLE = "UK HSE, HSG140, safe use and handling of flammable liquids (from memory)"
CONFINED = "UK HSE, INDG258, confined spaces, a brief guide to working safely (from memory)"
FIRE_WATCH = "US OSHA, 29 CFR 1915 subpart P, fire protection in shipyard employment (from memory)"


class Trait(StrEnum):
    """What there is about a piece of work that may endanger people or another piece of work."""

    HOT = "hot"  # welding, grinding sparks, heat gun, soldering torch
    SOLVENT = "solvent"
    RESIN = "resin"
    PAINT = "paint"
    FUEL = "fuel"
    FOAM = "foam"
    GAS = "gas"
    DUST = "dust"  # grinding, sanding
    MAINS = "mains"
    WATER = "water"
    CONFINED = "confined"
    LITHIUM = "lithium"
    RIGGING = "rigging"
    STEERING = "steering"
    LIFTING = "lifting"
    HULL = "hull"  # through the hull, below the water


# These stay while a thing cures; the others end with the hands.
LINGER = frozenset(
    {Trait.SOLVENT, Trait.RESIN, Trait.PAINT, Trait.FUEL, Trait.FOAM, Trait.GAS, Trait.CONFINED}
)

NAMES: Mapping[Trait, str] = {
    Trait.HOT: "hot work",
    Trait.SOLVENT: "solvent",
    Trait.RESIN: "resin that cures",
    Trait.PAINT: "wet paint",
    Trait.FUEL: "fuel",
    Trait.FOAM: "foam",
    Trait.GAS: "gas",
    Trait.DUST: "grinding or sanding dust",
    Trait.MAINS: "mains electricity",
    Trait.WATER: "water",
    Trait.CONFINED: "a confined space",
}


@dataclass(frozen=True)
class Piece:
    """A piece of work: days from `first` to `last`, included, cure and drying too; `hands_until` is its last day of work.

    Without `hands_until` it is worked on to the last day. `space` None: nobody said where.
    """

    key: str
    traits: frozenset[Trait]
    first: date
    last: date
    space: str | None = None
    hands_until: date | None = None

    def until(self, trait: Trait) -> date:
        """Return the last day on which a trait of it counts."""
        ends = self.hands_until is None or trait in LINGER
        return self.last if ends else min(self.last, self.hands_until or self.last)


@dataclass(frozen=True)
class Caution:
    """A caution about one piece or two, on the days from `first` to `last`.

    `place_known` is false where two pieces may be in one space, as nobody said where one of them is.
    """

    keys: tuple[str, ...]
    rule: str
    first: date
    last: date
    sentence: str
    source: str
    place_known: bool = True


@dataclass(frozen=True)
class Beside:
    """A rule for one trait beside any of others, in two pieces of work or in one."""

    rule: str
    one: Trait
    others: tuple[Trait, ...]
    reason: str
    source: str


BESIDE = (
    Beside(
        "hot-beside-flammable",
        Trait.HOT,
        (Trait.SOLVENT, Trait.RESIN, Trait.PAINT, Trait.FUEL, Trait.FOAM, Trait.GAS),
        "sparks and heat set light to vapour, gas and foam, also behind a panel. Do one on another day, air the space and "
        "take away what burns; keep a fire watch with an extinguisher during the work and for at least an hour after",
        FLAMMABLE,
    ),
    Beside(
        "dust-beside-wet",
        Trait.DUST,
        (Trait.PAINT, Trait.RESIN),
        "dust settles in what is still wet and spoils it, and a grinder's sparks can set light to its vapour. Grind and "
        "sand before, clean up, or wait until it has cured",
        PRACTICE,
    ),
    Beside(
        "mains-beside-water",
        Trait.MAINS,
        (Trait.WATER,),
        "a shock from the mains in the wet can kill. Unplug and isolate the mains, prove it dead, and keep water away "
        "until the work is closed up; use a supply with an earth-leakage breaker",
        PRACTICE,
    ),
    Beside(
        "confined-beside-vapour",
        Trait.CONFINED,
        (Trait.SOLVENT, Trait.RESIN, Trait.PAINT, Trait.FUEL, Trait.GAS, Trait.FOAM, Trait.HOT),
        "vapour, gas and smoke gather where air does not move and overcome people without warning. Bring in fresh air, "
        "test the air, and nobody goes in without somebody outside who can call for help",
        ATMOSPHERES,
    ),
)

PAIRED = frozenset(trait for rule in BESIDE for trait in (rule.one, *rule.others))

ALONE: Mapping[Trait, tuple[str, str]] = {
    Trait.HOT: (
        "Hot work: clear away what burns, also on the far side of bulkheads and skin fittings, have an extinguisher at "
        "hand, and keep a fire watch for at least an hour after; look again later",
        FIRE_WATCH,
    ),
    Trait.CONFINED: (
        "Confined space: air may lack oxygen or hold vapour. Air it and test it first, never work in it alone, and agree "
        "how a person is got out without another going in",
        CONFINED,
    ),
    Trait.GAS: (
        "Gas: work for a competent person. Shut the bottle, no flame and no switch near, and test for leaks before use",
        PRACTICE,
    ),
    Trait.MAINS: (
        "Mains: work for a competent person. Isolate shore power, generator and inverter, lock them off and prove it dead",
        PRACTICE,
    ),
    Trait.LITHIUM: (
        "Lithium: work for a competent person. A short or a wrong charge can start a fire that is hard to put out; "
        "isolate, insulate tools and ends, keep to the maker's management system",
        PRACTICE,
    ),
    Trait.RIGGING: (
        "Rigging: work for a competent person. Nobody beneath, two independent lines for who goes aloft, and the mast "
        "held before a stay is let go",
        PRACTICE,
    ),
    Trait.STEERING: (
        "Steering: have it checked by a competent person, hard over both ways and with the emergency tiller, before "
        "the boat moves",
        PRACTICE,
    ),
    Trait.LIFTING: (
        "Lifting: work for a competent person, with gear marked for the load. Nobody under or between it and what it "
        "may swing against",
        PRACTICE,
    ),
    Trait.HULL: (
        "Through the hull: have it checked by a competent person. Look at it again as the boat goes in, and before she "
        "leaves the slings; a plug lies ready",
        PRACTICE,
    ),
}


def cautions(pieces: Iterable[Piece]) -> list[Caution]:
    """Return all cautions about pieces of work: those of one piece, then those of two, each by day.

    Two pieces are together where they share a day and a space; where nobody said where one of them is, they may be.
    """
    given = sorted((piece for piece in pieces if piece.traits), key=lambda piece: (piece.first, piece.key))
    found = [caution for piece in given for caution in _alone(piece)]
    meeting = [piece for piece in given if piece.traits & PAIRED]
    for one, other in _same_days(meeting):
        found += _together(one, other)
    return sorted(found, key=lambda caution: (len(caution.keys), caution.first, caution.keys, caution.rule))


def _alone(piece: Piece) -> Iterator[Caution]:
    """Yield the cautions about one piece: each trait by itself, and those that endanger each other within it."""
    for trait, (words, source) in ALONE.items():
        if trait in piece.traits:
            yield Caution((piece.key,), trait, piece.first, piece.until(trait), f"{words}. {DEFER}", source)
    for rule in BESIDE:
        others = [trait for trait in rule.others if trait in piece.traits]
        if rule.one in piece.traits and others:
            last = min(piece.until(rule.one), max(piece.until(other) for other in others))
            yield _caution(rule, (piece.key,), others, (piece.first, last), known=True)


def _together(one: Piece, other: Piece) -> Iterator[Caution]:
    """Yield the cautions about two pieces; of both directions of a rule each at most once."""
    known = one.space is not None and other.space is not None
    first = max(one.first, other.first)
    for rule in BESIDE:
        for this, that in ((one, other), (other, one)):
            if rule.one not in this.traits or this.until(rule.one) < first:
                continue
            beside = [trait for trait in rule.others if trait in that.traits and that.until(trait) >= first]
            if beside:
                last = min(this.until(rule.one), max(that.until(trait) for trait in beside))
                yield _caution(rule, (this.key, that.key), beside, (first, last), known=known)


def _same_days(given: list[Piece]) -> Iterator[tuple[Piece, Piece]]:
    """Yield pairs that share a day and may share a space; `given` is sorted by first day."""
    going: dict[str | None, list[Piece]] = {}
    for piece in given:
        may_meet = list(going) if piece.space is None else [piece.space, None]
        for space in may_meet:
            going[space] = [other for other in going.get(space, ()) if other.last >= piece.first]
            for other in going[space]:
                yield other, piece
        going.setdefault(piece.space, []).append(piece)


def _caution(
    rule: Beside, keys: tuple[str, ...], beside: list[Trait], days: tuple[date, date], *, known: bool
) -> Caution:
    names = [NAMES[trait] for trait in beside]
    listed = " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)
    start = NAMES[rule.one]
    where = "" if known else " Nobody said where one of them is done; they may be in one space."
    sentence = f"{start[0].upper()}{start[1:]} beside {listed}: {rule.reason}.{where} {DEFER}"
    return Caution(keys, rule.rule, days[0], days[1], sentence, rule.source, known)
