"""What helps a bin, in plain words. All of it is common practice and marked so; none of it is measured here."""

from leafwane.breakdown.leaves import LeafKind

MARK = "Common practice: "

MOISTURE = (
    MARK
    + "feel the leaf. If no drop comes when you squeeze a handful, wet it until it feels like a wrung-out sponge. "
    "Wet dry leaves outdoors and wear a dust mask: their dust carries mould spores. Wear gloves and wash your hands."
)
CONTACT = (
    MARK + "leaf on top that lies dry and is not touched on all sides lasts longest. Mix it into the top few "
    "centimetres, or lay a finger's depth of moist castings or soil and a wet cover over it."
)
TURNING = (
    MARK + "loosen matted layers by hand or fork, gently, so that air and worms get between the leaves. "
    "Wear gloves, and a dust mask where there is mould; wash your hands."
)
SHREDDING = (
    MARK
    + "tear or shred whole leaves; small pieces go faster. Wet them first, do it outdoors and wear a dust mask."
)
WARMTH = (
    MARK
    + "worms slow down in the cold and in heat. Move the bin where it is neither frosty nor hot to the touch."
)
TIME = MARK + "if moisture and contact are right, leave it in peace: leaves rich in lignin take their time."
HARVEST = (
    MARK
    + "sieve or scrape off the castings and leave the worms in the bin. Keep composting worms out of woodland, "
    "and follow your local rules. Wear gloves and wash your hands."
)
FEED_ON = (
    MARK + "keep the new leaf moist and in touch with the castings. Go on with one check-in a week or two."
)


def remedies(status: str, kind: LeafKind) -> tuple[str, ...]:
    """Return what is usually done about a status, most useful first."""
    found: tuple[str, ...]
    match status:
        case "stalled":
            found = (MOISTURE, CONTACT, TURNING, SHREDDING, WARMTH)
        case "slow":
            found = (MOISTURE, CONTACT, SHREDDING)
        case "finished":
            found = (HARVEST,)
        case "topped-up":
            found = (FEED_ON,)
        case _:
            found = ()
    if found and status in {"stalled", "slow"} and kind.high_lignin:
        found = (*found, TIME)
    if kind.keep_out and status in {"stalled", "slow"}:
        found = (f"{MARK}{kind.name} is better kept out of a worm bin: {kind.keep_out}.", *found)
    return found
