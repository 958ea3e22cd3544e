"""The one registry of flags: marks on a photo or check-in whose figures are in doubt, or missing."""

import enum
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType


class Flag(enum.Flag):
    """A mark of doubt. Its name in files is the member's name in lower case with hyphens."""

    NO_DATE = enum.auto()
    DATES_DIFFER = enum.auto()
    IMPOSSIBLE_DATE = enum.auto()
    FUTURE_DATE = enum.auto()
    BEFORE_START = enum.auto()
    COPY = enum.auto()
    UNREADABLE = enum.auto()
    PROFILE_UNUSABLE = enum.auto()
    TOO_SMALL = enum.auto()
    FEW_PIXELS = enum.auto()
    COMPRESSED = enum.auto()
    NO_CARD = enum.auto()
    MIRRORED_CARD = enum.auto()
    BENT_CARD = enum.auto()
    TWO_CARDS = enum.auto()
    CARD_CUT_OFF = enum.auto()
    FEW_TAGS = enum.auto()
    SMALL_CARD = enum.auto()
    UNKNOWN_SIZE = enum.auto()
    TILTED = enum.auto()
    BLURRED = enum.auto()
    SMEARED = enum.auto()
    CLIPPED = enum.auto()
    DARK = enum.auto()
    TOO_DARK = enum.auto()
    GRAINY = enum.auto()
    UNEVEN_LIGHT = enum.auto()
    PATCHES_LEFT_OUT = enum.auto()
    GLOSSY_CARD = enum.auto()
    POOR_COLOUR = enum.auto()
    WRONG_COLOUR = enum.auto()
    NO_COLOUR = enum.auto()
    MIXED_CARDS = enum.auto()
    WHOLE_PHOTO = enum.auto()
    FEW_RIM_TAGS = enum.auto()
    OTHER_SURFACE = enum.auto()
    SMALL_SURFACE = enum.auto()
    MUCH_SHINE = enum.auto()
    MUCH_UNSURE = enum.auto()
    PHOTOS_DISAGREE = enum.auto()
    OFF_CURVE = enum.auto()


@dataclass(frozen=True, slots=True, kw_only=True)
class FlagNote:
    """What a flag means to the person at the bin.

    Attributes:
        name: The flag's name in files and tables.
        meaning: What was seen, as a clause without a full stop.
        advice: What to do, as an imperative without a full stop.
        blocks: Whether a photo with this flag has no score.
    """

    name: str
    meaning: str
    advice: str
    blocks: bool


def _note(flag: Flag, meaning: str, advice: str, *, blocks: bool = False) -> tuple[Flag, FlagNote]:
    name = str(flag.name).lower().replace("_", "-")
    return flag, FlagNote(name=name, meaning=meaning, advice=advice, blocks=blocks)


NOTES: Mapping[Flag, FlagNote] = MappingProxyType(
    dict(
        [
            _note(
                Flag.NO_DATE,
                "the file's name holds no date with the year first, and the photo's data hold none",
                "put the date in the file's name, like 2031-10-04.jpg, to have the photo in the curve",
            ),
            _note(
                Flag.DATES_DIFFER,
                "the date in the file's name and the camera's date differ by more than a day",
                "check the date; the one in the file's name is used",
            ),
            _note(
                Flag.IMPOSSIBLE_DATE,
                "the file's name holds a date that is in no calendar",
                "put the right date in the file's name; the camera's is used, if there is one",
            ),
            _note(
                Flag.FUTURE_DATE,
                "the photo is dated in the future",
                "set the camera's clock, or put the right date in the file's name",
            ),
            _note(
                Flag.BEFORE_START,
                "the photo alone is dated long before the start of its bin in trial.toml",
                "put the right date in the file's name, or the right start in trial.toml",
            ),
            _note(
                Flag.COPY,
                "the file is a copy of another photo of its bin and day, which counts once",
                "delete the copy",
            ),
            _note(
                Flag.UNREADABLE,
                "the file cannot be read as a photo",
                "copy it from the camera again",
                blocks=True,
            ),
            _note(
                Flag.PROFILE_UNUSABLE,
                "the photo's colour profile cannot be used, so sRGB is assumed",
                "save the photo as the camera made it",
            ),
            _note(
                Flag.TOO_SMALL,
                "the photo is too small to measure",
                "send the photo at full size",
                blocks=True,
            ),
            _note(
                Flag.FEW_PIXELS,
                "the photo has few pixels, like the small copy that a message makes",
                "send the photo at full size, as a file",
            ),
            _note(
                Flag.COMPRESSED,
                "the photo was compressed so strongly that leaf and castings have lost their grain",
                "send the photo itself, as a file, not the small copy that a message makes of it",
            ),
            _note(
                Flag.NO_CARD,
                "no reference card was found",
                "lay the card flat on the surface, wholly in the picture, brush crumbs off it, and take the photo again",
                blocks=True,
            ),
            _note(
                Flag.MIRRORED_CARD,
                "the card is mirrored",
                "turn off the mirror setting of the camera and take the photo again",
                blocks=True,
            ),
            _note(
                Flag.BENT_CARD,
                "the card does not lie flat",
                "press it flat or laminate it, and take the photo again",
            ),
            _note(
                Flag.TWO_CARDS,
                "more than one card is in the photo",
                "leave one card in the picture",
                blocks=True,
            ),
            _note(
                Flag.CARD_CUT_OFF,
                "the card reaches out of the photo",
                "take the photo again with the whole card in it",
            ),
            _note(
                Flag.FEW_TAGS,
                "not all four corner tags of the card could be read",
                "brush crumbs off the card",
            ),
            _note(Flag.SMALL_CARD, "the card is small in the photo", "move closer"),
            _note(
                Flag.UNKNOWN_SIZE,
                "24-patch charts come in several sizes, and that of this one is not known",
                "measure its six patches from edge to edge and write it into trial.toml, like chart_width_mm = 260",
                blocks=True,
            ),
            _note(
                Flag.TILTED,
                "the camera looked at the surface from the side",
                "hold the lens straight above the bin",
            ),
            _note(Flag.BLURRED, "the photo is blurred", "hold still, or rest the phone, and take it again"),
            _note(
                Flag.SMEARED,
                "the photo is so blurred that leaf and castings look alike",
                "hold still, or rest the phone, and take it again",
            ),
            _note(
                Flag.CLIPPED,
                "bright parts of the card are burnt out",
                "take the photo in shade, without flash, and tap on the card to set the exposure",
            ),
            _note(Flag.DARK, "the photo is dark", "take the photo in brighter shade"),
            _note(
                Flag.TOO_DARK,
                "the photo is so dark that leaf and castings look alike",
                "take the photo in brighter shade",
            ),
            _note(
                Flag.GRAINY,
                "the photo is so grainy, as in poor light, that leaf passes for castings",
                "take the photo in brighter shade, and hold still",
            ),
            _note(
                Flag.UNEVEN_LIGHT,
                "light falls unevenly over the card",
                "take the photo in open shade, with no shadow edge over the bin",
            ),
            _note(
                Flag.PATCHES_LEFT_OUT,
                "some patches of the card were dirty, glossy or in shadow and were left out",
                "wipe the card dry, keep shadow edges off it, and use no filter",
            ),
            _note(
                Flag.GLOSSY_CARD,
                "much of the surface is darker than the card's black, as if the card mirrored light or lay in brighter light, so the figure may be off",
                "keep sky and lamps off the card, with the card in the same shade as the surface; where every photo has this flag, the print may be pale (measure it with card measure) or the castings very dark",
            ),
            _note(
                Flag.POOR_COLOUR,
                "the card's colours could not be brought close to their true values",
                "use the card that this trial began with, in shade, and no filter",
            ),
            _note(
                Flag.WRONG_COLOUR,
                "the card's colours are far from their true values, as under glare, so the figure means little",
                "keep sun and lamps off the card, use no filter, and take the photo again",
            ),
            _note(
                Flag.NO_COLOUR,
                "the card's colours are grey, so the card was printed, or the photo taken, in black and white",
                "print the card in colour, and take the photo in colour and without a filter",
            ),
            _note(
                Flag.MIXED_CARDS,
                "photos of this trial show different cards",
                "use one and the same card for the whole trial",
            ),
            _note(
                Flag.WHOLE_PHOTO,
                "no rim tags and no outline were given, so the whole photo counts as surface",
                "glue the rim tags on, or give the bin's outline in trial.toml",
            ),
            _note(
                Flag.FEW_RIM_TAGS,
                "rim tags are there, but fewer than three could be read, or their order is wrong, so floor and rim may count as surface",
                "wipe the rim tags and show all four, 10 to 13 clockwise from the top left, and take the photo again",
            ),
            _note(
                Flag.OTHER_SURFACE,
                "its surface is bounded otherwise than those of other photos of the bin, and cannot be held against them",
                "show the rim tags in every photo, or outline the surface in trial.toml",
            ),
            _note(Flag.SMALL_SURFACE, "little of the surface is in the photo", "show the whole surface"),
            _note(
                Flag.MUCH_SHINE,
                "wet shine, or something white, hides part of the surface",
                "take the photo in shade, without flash",
            ),
            _note(
                Flag.MUCH_UNSURE,
                "leaf and castings could not be told apart on part of the surface",
                "take a second photo in even light; count points by eye if it matters",
            ),
            _note(
                Flag.PHOTOS_DISAGREE,
                "photos of one bin and day differ by far more than photos err, so their average is unsure",
                "look at their overlays; if one shows something else, take it out",
            ),
            _note(
                Flag.OFF_CURVE,
                "the check-in lies far from what the bin's other days bear out, so rate and dates leave it out",
                "look at its photos: they may show another bin, or bear a wrong date; if so, move them",
            ),
        ]
    )
)

NOT_IN_CURVE = (
    Flag.NO_DATE
    | Flag.FUTURE_DATE
    | Flag.BEFORE_START
    | Flag.COPY
    | Flag.COMPRESSED
    | Flag.SMEARED
    | Flag.TOO_DARK
    | Flag.WRONG_COLOUR
    | Flag.NO_COLOUR
    | Flag.FEW_RIM_TAGS
    | Flag.OTHER_SURFACE
)
"""A photo with one of these is scored, but is in no check-in and no curve."""


def raised(doubts: Mapping[Flag, bool]) -> Flag:
    """Return those flags together that are raised."""
    return Flag(sum(flag.value for flag, is_raised in doubts.items() if is_raised))


def flag_names(flags: Flag) -> tuple[str, ...]:
    """Return the names of the flags that are set, in the registry's order."""
    return tuple(note.name for flag, note in NOTES.items() if flag in flags)
