"""How people are built and dressed, as far as drawing them needs to know. Plain data."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Face:
    """The features that make a head recognisable at any size."""

    hair: str = "short"  # short bun bob round bald ponytail curls swept
    nose: str = "button"  # button long bulb hook
    jaw: str = "oval"  # oval square round pointed
    beard: str = ""  # "" full moustache goatee
    brows: str = "thin"  # thin thick
    glasses: bool = False
    lashes: bool = False
    lines: bool = False  # an older face
    freckles: bool = False


@dataclass(frozen=True, slots=True)
class Build:
    """Proportions: body height in heads, girth (1 = average), belly (0-1) and the face."""

    heads: float = 5.8
    girth: float = 1.0
    belly: float = 0.0
    stature: float = 1.0  # standing height beside an average adult
    waist: float = 0.82  # waist over chest width
    face: Face = field(default_factory=Face)


@dataclass(frozen=True, slots=True)
class FigureLook:
    """The cut of a costume; which part of the bible each drawn piece is, the part's own slot says."""

    torso: str = "coat"  # coat jacket vest dress smock
    legs: str = "trousers"  # trousers skirt none
    feet: str = "boots"  # boots shoes
    hat: str = ""  # cap tophat helmet peaked souwester kerchief straw goggles bobble
    neck: str = ""  # scarf tie collar
    belt: bool = False
    apron: bool = False
    cape: bool = False
    bag: bool = False
    gloves: bool = False
    pattern: str = ""  # stripes double patches
