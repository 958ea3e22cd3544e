"""Kinds of leaf: what is published or commonly held of them, each figure with where it is from.

It only sets what "slow" and "stalled" mean, and any of it can be overridden in `trial.toml`. Lignin slows leaves on
the whole (Meentemeyer 1978, Ecology 59:465; Melillo, Aber & Muratore 1982, Ecology 63:621), but this is a tendency and
no law: oak was not reliably slower than maple across four sites, and where deep-burrowing worms live, leaf calcium
tells more (Holdsworth, Frelich & Reich 2012).
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from typing import Any, Literal, Protocol

from leafwane.breakdown.naming import Reading, plain_name, read_name

Speed = Literal["fast", "medium", "slow"]

HALF_LIVES: Mapping[Speed, float] = {"fast": 30.0, "medium": 45.0, "slow": 90.0}
"""Days in which half of the leaf is expected to be gone from the surface of a warm, moist bin with worms (common
practice; ash and maple litter lost half its mass in 60 days with soil animals let in: Wise & Schaefer 1994,
Pedobiologia 38:269)."""

MEMORY = "from memory"
PRACTICE = "common practice"
HEATH = "Heath, Arnold & Edwards 1966, Pedobiologia 6:1"
ELLENBERG = "Ellenberg 1988, as quoted of an English wood"
OXFORD = "abstract of a study on ash dieback and large decomposers, Oxford"
LIDET = "LIDET litter-bag series, refitted: k a year at four sites"


@dataclass(frozen=True, slots=True, kw_only=True)
class LeafKind:
    """A kind of leaf.

    Attributes:
        name: Its usual English name.
        latin: Its genus or species.
        also: Other names it is known by.
        like: Other leaves that are taken to go like it, each a kind of its own where leaves are compared.
        speed: How fast it goes beside other leaves.
        speed_source: Where that is from.
        lignin_percent: Lignin, percent of dry mass, of fresh litter; None if no figure is at hand.
        nitrogen_percent: Nitrogen, percent of dry mass; None likewise.
        chemistry_source: Where the two are from.
        high_lignin: Whether it is held to be high in lignin.
        half_life_days: Days in which half of it is expected to go; None takes that of its speed.
        keep_out: Why it is better kept out of a worm bin; empty if nothing speaks against it.
        keep_out_source: Where that is from.
    """

    name: str
    latin: str = ""
    also: tuple[str, ...] = ()
    like: tuple[str, ...] = ()
    speed: Speed = "medium"
    speed_source: str = PRACTICE
    lignin_percent: float | None = None
    nitrogen_percent: float | None = None
    chemistry_source: str = ""
    high_lignin: bool = False
    half_life_days: float | None = None
    keep_out: str = ""
    keep_out_source: str = ""

    @property
    def expected_half_life_days(self) -> float:
        """Return the days in which half of it is expected to go."""
        return self.half_life_days or HALF_LIVES[self.speed]


class Override(Protocol):
    """What a trial says of a leaf in place of the table."""

    @property
    def half_life_days(self) -> float | None:
        """Days in which half is expected to go."""

    @property
    def high_lignin(self) -> bool | None:
        """Whether it is held to be high in lignin."""


def _kind(speed: Speed) -> Callable[..., LeafKind]:
    def kind(name: str, latin: str, source: str, *also: str, **more: Any) -> LeafKind:  # noqa: ANN401
        return LeafKind(
            name=name,
            latin=latin,
            also=also,
            speed=speed,
            speed_source=source,
            high_lignin=speed == "slow",
            **more,
        )

    return kind


_fast, _medium, _slow = _kind("fast"), _kind("medium"), _kind("slow")


def _chemistry(lignin: float, nitrogen: float, source: str = MEMORY) -> dict[str, Any]:
    return {"lignin_percent": lignin, "nitrogen_percent": nitrogen, "chemistry_source": source}


def _out(why: str, source: str = PRACTICE) -> dict[str, Any]:
    return {"keep_out": why, "keep_out_source": source}


_POISONOUS = "all of it is poisonous, to people too"

LEAVES: tuple[LeafKind, ...] = (
    _fast("ash", "Fraxinus excelsior", f"{OXFORD}: gone in 0.4 years", "common ash", "european ash", like=("green ash", "white ash"),
          **_chemistry(12, 1.5)),
    _fast("elder", "Sambucus nigra", PRACTICE, "black elder", "common elder", "elderberry"),
    _fast("alder", "Alnus glutinosa", f"{ELLENBERG}: gone by one summer", "black alder", "common alder", like=("grey alder", "red alder"),
          **_chemistry(18, 2.6)),
    _fast("elm", "Ulmus", f"{ELLENBERG}: gone by one summer", like=("american elm", "english elm", "wych elm"), **_chemistry(12, 1.5)),
    _fast("lime", "Tilia", f"{HEATH}: between beet and oak", "linden", "basswood", "common lime", like=("silver lime", "small leaved lime"),
          **_chemistry(14, 1.4)),
    _fast("hazel", "Corylus avellana", PRACTICE, "common hazel", **_chemistry(15, 1.5)),
    _fast("apple", "Malus", "Werner, orchard at Watsonville: 79% taken in a season by deep-burrowing worms", like=("pear", "crab apple")),
    _fast("cherry", "Prunus avium", PRACTICE, "sweet cherry", "wild cherry", like=("bird cherry", "sour cherry")),
    _fast("dogwood", "Cornus", "Harmon et al. 1990, For. Ecol. Manage. 31:55: k 2.4 a year", "cornel"),
    _fast("mulberry", "Morus", PRACTICE),
    _medium("field maple", "Acer campestre", PRACTICE, "hedge maple"),
    _medium("maple", "Acer", f"{LIDET} .35 to .41 (sugar maple)", "sugar maple",
            like=("box elder", "japanese maple", "red maple", "silver maple"), **_chemistry(12, 0.8)),
    _medium("norway maple", "Acer platanoides", PRACTICE),
    _medium("sycamore", "Acer pseudoplatanus", f"{OXFORD}: gone in 1.4 years", "sycamore maple"),
    _medium("birch", "Betula", f"{HEATH}: between beet and oak", like=("downy birch", "paper birch", "silver birch"), **_chemistry(22, 1.0)),
    _medium("hornbeam", "Carpinus betulus", PRACTICE, "common hornbeam"),
    _medium("poplar", "Populus", f"{LIDET.split(':', maxsplit=1)[0]}: .41 a year (aspen)",
            like=("aspen", "cottonwood", "black poplar", "white poplar")),
    _medium("willow", "Salix", PRACTICE, like=("goat willow", "weeping willow", "white willow")),
    _medium("sweet gum", "Liquidambar styraciflua", PRACTICE, "sweetgum"),
    _medium("rowan", "Sorbus aucuparia", PRACTICE, "mountain ash"),
    _medium("hawthorn", "Crataegus", PRACTICE, "common hawthorn"),
    _slow("oak", "Quercus robur", f"{HEATH}: discs gone in 14 months; {ELLENBERG}: three years", "common oak", "english oak", "pedunculate oak",
          like=("pin oak", "red oak", "sessile oak", "turkey oak", "white oak"), **_chemistry(23, 0.9)),
    _slow("chestnut oak", "Quercus prinus", f"{LIDET} .24 to .45", **_chemistry(24, 1.0)),
    _slow("beech", "Fagus sylvatica", f"{HEATH}: 10% of discs left at 14 months", "common beech", "copper beech", "european beech",
          like=("american beech",), **_chemistry(25, 0.9)),
    _slow("plane", "Platanus", PRACTICE, "london plane", like=("american sycamore", "oriental plane"), **_chemistry(27, 0.7)),
    _slow("sweet chestnut", "Castanea sativa", PRACTICE, "chestnut", "spanish chestnut"),
    _slow("horse chestnut", "Aesculus hippocastanum", PRACTICE, "conker"),
    _slow("magnolia", "Magnolia", PRACTICE),
    _slow("ginkgo", "Ginkgo biloba", PRACTICE, "maidenhair tree"),
    _slow("holly", "Ilex aquifolium", PRACTICE, "common holly", "english holly", **_out("its leathery, spiny leaves last for years")),
    _slow("ivy", "Hedera helix", PRACTICE, "common ivy", "english ivy", **_out("its leathery leaves last long and its sap irritates skin")),
    _slow("walnut", "Juglans", MEMORY, "common walnut", "english walnut", like=("black walnut",),
          **_out("juglone in its leaves harms many living things", MEMORY)),
    _slow("eucalyptus", "Eucalyptus", MEMORY, "gum tree", **_out("its oils repel worms")),
    _slow("oleander", "Nerium oleander", MEMORY, **_out(_POISONOUS, MEMORY)),
    _slow("yew", "Taxus", MEMORY, "common yew", "english yew", **_out(_POISONOUS, MEMORY)),
    _slow("cherry laurel", "Prunus laurocerasus", MEMORY, "laurel", "common laurel", "english laurel",
          **_out("crushed leaves give off prussic acid", MEMORY)),
    _slow("rhododendron", "Rhododendron", f"{LIDET.split(':', maxsplit=1)[0]}: .18 a year", like=("azalea",), **_out("poisonous and very slow")),
    _slow("pine", "Pinus", f"{LIDET} .11 to .28 (red pine)", "needles", "pine needles",
          like=("conifer", "conifer needles", "red pine", "scots pine", "white pine"), **_chemistry(25, 0.5), **_out("needles are slow, sour and resinous")),
    _slow("spruce", "Picea", PRACTICE, like=("fir", "douglas fir", "norway spruce"), **_out("needles are slow, sour and resinous")),
    _slow("thuja", "Thuja plicata", f"{LIDET} .16 to .29", "red cedar", "western red cedar", like=("cedar", "cypress"),
          **_out("its oils repel insects and worms")),
    _medium("camphor", "Cinnamomum camphora", MEMORY, "camphor tree", "camphor laurel", **_out("its oils repel insects and worms", MEMORY)),
    _medium("neem", "Azadirachta indica", MEMORY, **_out("it is used to kill insects", MEMORY)),
    _medium("tree of heaven", "Ailanthus altissima", MEMORY, "ailanthus", **_out("it hinders other living things and irritates skin", MEMORY)),
    _medium("poison ivy", "Toxicodendron", MEMORY, like=("poison oak", "poison sumac"), **_out("its sap blisters skin, dry leaves' too", MEMORY)),
    _medium("giant hogweed", "Heracleum mantegazzianum", MEMORY, **_out("its sap burns skin in sunlight", MEMORY)),
    _slow("box", "Buxus", MEMORY, "boxwood", "common box", **_out(_POISONOUS, MEMORY)),
    *(_medium(name, latin, MEMORY, *also, **_out(_POISONOUS, MEMORY)) for name, latin, *also in (
        ("castor bean", "Ricinus communis", "castor oil plant"),
        ("foxglove", "Digitalis", "common foxglove"),
        ("laburnum", "Laburnum", "golden chain"),
        ("lily of the valley", "Convallaria majalis"),
        ("monkshood", "Aconitum", "aconite", "wolfsbane"),
        ("thorn apple", "Datura stramonium", "jimson weed", "jimsonweed"),
    )),
)  # fmt: skip
"""Leaves in the order of how fast they go, and then such as harm worms or people. Lignin and nitrogen are typical figures of fresh litter; names are
common knowledge."""

OTHERS = (
    "bald cypress", "bay laurel", "black gum", "boston ivy", "custard apple", "desert willow", "ground cherry", "ground elder",
    "ground ivy", "japanese laurel", "mountain laurel", "prickly ash", "screw pine", "sea holly",
    "she oak", "silky oak", "spotted laurel", "swamp cypress", "tulip poplar", "water chestnut", "witch hazel",
)  # fmt: skip
"""Names that end in a known one and are of another plant (common knowledge)."""

UNKNOWN = LeafKind(name="leaf of a kind that is not in the table", speed="medium", half_life_days=60.0)
"""What is expected of a leaf that nothing is known of."""


def find_leaf(name: str | None, *, overrides: Mapping[str, Override] | None = None) -> LeafKind:
    """Return what is known of a kind of leaf; one that is not in the table is taken for middling.

    Names are compared without regard to capitals. "Hazel leaves" finds hazel, "birches" birch, "silver birch" birch
    unless something is said of silver birch itself, and a slip of the pen the nearest name if there is but one.

    Args:
        name: As the trial calls it; None if not said.
        overrides: What the trial says of kinds of leaf, by name; what is said of oak holds for red oak too.
    """
    if not name:
        return UNKNOWN
    said = _by_name(overrides or {})
    names = _read(name, frozenset(said)).names
    kind = _kind_of(names) or replace(UNKNOWN, name=name)
    override = next((said[word] for word in names if word in said), None)
    if override is None:
        return kind
    lignin = kind.high_lignin if override.high_lignin is None else override.high_lignin
    return replace(kind, half_life_days=override.half_life_days or kind.half_life_days, high_lignin=lignin)


def leaf_name(name: str, *, own: Iterable[str] = ()) -> str:
    """Return one and the same name for all ways of writing a kind of leaf: "hazel" for "Corylus avellana".

    Args:
        name: As the trial calls it.
        own: Kinds of leaf that the trial says something of.
    """
    return _read(name, frozenset(map(_own_name, own))).names[0]


def leaf_notes(names: Iterable[str], *, overrides: Mapping[str, Override]) -> tuple[str, ...]:
    """Return a line on each kind of leaf that is not known as it is written, and on each override that no bin uses.

    Args:
        names: The bins' kinds of leaf, as the trial calls them.
        overrides: What the trial says of kinds of leaf, by name.
    """
    said = _by_name(overrides)
    readings = {name: _read(name, frozenset(said)) for name in names}
    unknown = [
        name
        for name, reading in readings.items()
        if not _kind_of(reading.names) and said.keys().isdisjoint(reading.names)
    ]
    guessed = [name for name, reading in readings.items() if reading.guess and name not in unknown]
    used = {word for reading in readings.values() for word in reading.names}
    table = ", ".join(kind.name for kind in LEAVES if not kind.keep_out)
    return (
        *(f"trial.toml: {name} is taken for {readings[name].guess}" for name in guessed),
        *(
            f"trial.toml: no leaf called {name} is in the table, so its pace is taken to be middling; write "
            f"[leaves.{_key(name)}] with its half_life_days, or use a name of the table; find out whether it harms worms or people"
            for name in unknown
        ),
        *([f"leaves in the table: {table}"] if unknown else []),
        *(
            f"trial.toml: [leaves.{_key(name)}] is not used, since no bin has this leaf; write both alike"
            for name in overrides
            if _own_name(name) not in used
        ),
    )


def _key(name: str) -> str:
    """Return a name as it has to be written between the brackets of `trial.toml`."""
    return name if name.isascii() and name.replace("-", "").replace("_", "").isalnum() else f'"{name}"'


@lru_cache(maxsize=1024)
def _read(name: str, own: frozenset[str]) -> Reading:
    return read_name(name, _known() | {word: _exact(word).names for word in own})


def _by_name(overrides: Mapping[str, Override]) -> dict[str, Override]:
    return {_own_name(name): override for name, override in overrides.items()}


def _own_name(name: str) -> str:
    """Return the name of a kind that the trial says something of, which is never a slip of the pen."""
    return _exact(name).names[0]


def _exact(name: str) -> Reading:
    return read_name(name, _known(), slips=False)


def _kind_of(names: Iterable[str]) -> LeafKind | None:
    *_, last = names
    return next((kind for kind in LEAVES if kind.name == last), None)


@cache
def _known() -> dict[str, tuple[str, ...]]:
    """Return what each plain name of the table goes by: itself and the kind's name, or the latter alone."""
    known: dict[str, tuple[str, ...]] = {word: (word,) for word in OTHERS}
    for kind in LEAVES:
        known |= {plain_name(word): (kind.name,) for word in (kind.name, kind.latin, *kind.also)}
        known |= {word: (word, kind.name) for word in kind.like}
    return known
