"""The usual systems of a cruising boat, offered ticked when a boat is set up. Common practice, no source."""

from refit.boat.models import Group

# name, group, part of the boat, ticked at first
USUAL_SYSTEMS: tuple[tuple[str, Group, bool, bool], ...] = (
    ("Hull and keel", Group.HULL, True, True),
    ("Deck, hatches and windows", Group.HULL, True, True),
    ("Seacocks and through-hulls", Group.HULL, True, True),
    ("Rig", Group.HULL, True, True),
    ("Sails and covers", Group.OUTFIT, True, True),
    ("Engine and shaft", Group.PROPULSION, True, True),
    ("Fuel", Group.PROPULSION, True, True),
    ("DC electrical", Group.ELECTRIC, True, True),
    ("Mains electrical", Group.ELECTRIC, True, True),
    ("Charging and batteries", Group.ELECTRIC, True, True),
    ("Lights", Group.ELECTRIC, True, True),
    ("Navigation and instruments", Group.COMMAND, True, True),
    ("Radio and communication", Group.COMMAND, True, True),
    ("Steering", Group.AUXILIARY, True, True),
    ("Ground tackle", Group.AUXILIARY, True, True),
    ("Running rigging and deck gear", Group.AUXILIARY, True, True),
    ("Fresh water", Group.AUXILIARY, True, True),
    ("Heads and waste", Group.AUXILIARY, True, True),
    ("Bilge", Group.AUXILIARY, True, True),
    ("Heating", Group.AUXILIARY, True, True),
    ("Refrigeration", Group.AUXILIARY, True, False),
    ("Watermaker", Group.AUXILIARY, True, False),
    ("Gas and galley", Group.OUTFIT, True, True),
    ("Joinery and upholstery", Group.OUTFIT, True, True),
    ("Safety", Group.OUTFIT, True, True),
    ("Tender", Group.OUTFIT, True, True),
    ("Paint and consumables", Group.OUTFIT, True, True),
    ("Survey and papers", Group.ENGINEERING, False, True),
    ("Yard and lift", Group.SERVICES, False, True),
    ("Tools", Group.SERVICES, False, True),
    ("Carriage and storage", Group.SERVICES, False, True),
)
