"""What helps a bin, in plain words. All of it is common practice and marked so; none of it is measured here."""

from collections.abc import Mapping
from types import MappingProxyType

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
DAMP = MARK + "keep the bin as moist as a wrung-out sponge; sprinkle it and leave the leaf as it lies."
LEAVE_WHOLE = "Add no more of it; do not tear, shred or crush it, and wear gloves when you touch it."

_USUAL: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "stalled": (MOISTURE, CONTACT, TURNING, SHREDDING, WARMTH),
        "slow": (MOISTURE, CONTACT, SHREDDING),
        "finished": (HARVEST,),
        "topped-up": (FEED_ON,),
    }
)
_HANDS_OFF: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {"stalled": (DAMP, WARMTH), "slow": (DAMP,), "finished": (HARVEST,)}
)
"""For leaf that is better kept out: nothing that breaks it, squeezes it or works it in."""


def remedies(status: str, kind: LeafKind) -> tuple[str, ...]:
    """Return what is usually done about a status, most useful first; leaf better kept out is named whatever the status."""
    if kind.keep_out:
        return (_caution(kind), *_HANDS_OFF.get(status, ()))
    found = _USUAL.get(status, ())
    return (*found, TIME) if kind.high_lignin and status in {"stalled", "slow"} else found


def _caution(kind: LeafKind) -> str:
    return f"{MARK}{kind.name} is better kept out of a worm bin: {kind.keep_out}. {LEAVE_WHOLE}"
