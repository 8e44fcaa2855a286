"""From a page's cast to its panels: who stands where, how close the eye comes, who says what."""

from __future__ import annotations

import random

from guides.demo.story.dialogue import LINES
from guides.demo.story.story import FigureSpec, PanelSpec, PropSpec

# panels as (x, y, width, height) in shares of the live area
LAYOUTS: dict[str, tuple[tuple[float, float, float, float], ...]] = {
    "splash": ((0, 0, 1, 1),),
    "tall": ((0, 0, 1, 0.36), (0, 0.36, 0.42, 0.34), (0.42, 0.36, 0.58, 0.34), (0, 0.7, 0.6, 0.3), (0.6, 0.7,
    0.4, 0.3)),
    "six": ((0, 0, 0.5, 0.34), (0.5, 0, 0.5, 0.34), (0, 0.34, 0.58, 0.33), (0.58, 0.34, 0.42, 0.33), (0,
    0.67, 0.4, 0.33), (0.4, 0.67, 0.6, 0.33)),
    "bands": ((0, 0, 1, 0.3), (0, 0.3, 0.36, 0.34), (0.36, 0.3, 0.32, 0.34), (0.68, 0.3, 0.32, 0.34), (0,
    0.64, 1, 0.36)),
    "steps": ((0, 0, 0.62, 0.4), (0.62, 0, 0.38, 0.4), (0, 0.4, 0.38, 0.6), (0.38, 0.4, 0.62, 0.28), (0.38,
    0.68, 0.62, 0.32)),
}  # fmt: skip

PLAIN_POSES = ("stand", "easy", "walk", "point", "think", "carry", "wave")
LIVELY_POSES = ("run", "alarm", "haul", "point", "wave", "walk")
MOODS = ("calm", "smile", "worry", "stern", "shout")


def stage(
    layout: str, scenes: list[str], cast: list[str], props: list[str], *, seed: int, cover: bool
) -> tuple[PanelSpec, ...]:
    """The panels of a page. ``cast`` names ``subject:costume`` or ``subject:costume:pose``."""
    rng = random.Random(seed)
    people = [tuple(entry.split(":")) for entry in cast]
    boxes = LAYOUTS[layout]
    decks = {scene: rng.sample(LINES[scene], len(LINES[scene])) for scene in LINES}
    panels: list[PanelSpec] = []
    used: set[str] = set()
    for k, (_, _, width, height) in enumerate(boxes):
        scene = scenes[k % len(scenes)] if k < len(scenes) or not cover else scenes[0]
        if scene == "plain" and width * height > 0.25:
            scene = scenes[0]
        shot, crowd = ("full", people) if cover else _close(rng, k, scene, width / height, height, people)
        crowd = list(crowd)
        if not cover:
            rng.shuffle(crowd)
        figures = _figures(rng, crowd, shot, cover=cover, holds=[p for p in props if p == "lantern"])
        carried = any(figure.holds for figure in figures)
        specs = []
        for prop in props:
            if (prop == "lantern" and carried) or (prop in used and not cover and rng.random() < 0.45):
                continue
            spec = _prop(rng, prop, scene, shot, len(figures))
            if spec is not None:
                used.add(prop)
                specs.append(spec)
        speech = () if cover else _speech(rng, figures, decks[scene], two_speak=width / height > 1.3)
        panels.append(PanelSpec(scene, shot, figures, tuple(specs), speech))
    return tuple(panels)


def _close(
    rng: random.Random, k: int, scene: str, wide: float, height: float, people: list[tuple[str, ...]]
) -> tuple[str, list[tuple[str, ...]]]:
    """How close the eye comes in a page's k-th panel, and who is seen there."""
    if k == 0:
        return "full", people[:3]
    alone = [people[k % len(people)]]
    if scene == "plain":
        return "close", alone
    if wide > 1.5:
        return rng.choice(("mid", "full")), people[: 3 if wide > 2 else 2]
    shot = rng.choice(("mid", "close", "full")) if height < 0.5 else "full"
    return shot, alone if wide < 1.05 or shot == "close" else people[:2]


def _speech(
    rng: random.Random, figures: tuple[FigureSpec, ...], deck: list[str], *, two_speak: bool
) -> tuple[tuple[int, str], ...]:
    """Who says what, from left to right."""
    lines = [(int(rng.randrange(len(figures))), deck.pop())]
    if len(figures) > 1 and two_speak and deck:
        lines.append((1 - min(lines[0][0], 1), deck.pop()))
    return tuple(sorted(lines, key=lambda line: figures[line[0]].u))


def _figures(
    rng: random.Random, crowd: list[tuple[str, ...]], shot: str, *, cover: bool, holds: list[str]
) -> tuple[FigureSpec, ...]:
    count = len(crowd)
    spots = {1: [0.5], 2: [0.27, 0.74], 3: [0.19, 0.5, 0.82]}[count]
    figures = []
    for k, person in enumerate(crowd):
        who, costume = person[0], person[1]
        pose = (
            person[2]
            if len(person) > 2 and cover
            else rng.choice(PLAIN_POSES if rng.random() < 0.7 else LIVELY_POSES)
        )
        hold = ""
        if holds and k == 0 and (pose == "lamp" or not cover):
            hold, pose = "lantern", "lamp"
        mood = rng.choice(MOODS) if pose not in ("alarm", "run") else rng.choice(("shout", "worry"))
        u = spots[k] + rng.uniform(-0.04, 0.04)
        flip = (k >= (count + 1) // 2) if count > 1 else rng.random() < 0.5
        if cover and pose in ("run", "point", "lamp"):
            flip = u > 0.5
        figures.append(FigureSpec(who, costume, pose, mood, u, flip, hold))
    return tuple(figures)


def _prop(rng: random.Random, prop: str, scene: str, shot: str, crowd: int) -> PropSpec | None:
    u = rng.choice((0.14, 0.86)) if crowd != 1 else rng.choice((0.2, 0.8))
    if prop == "patience":
        return (
            PropSpec("patience", "as-drawn", rng.uniform(0.45, 0.62)) if scene == "quay" and shot == "full" else None
        )
    if prop == "kettle":
        return (
            PropSpec("kettle", "as-drawn", rng.choice((0.3, 0.68)), rng.random() < 0.5)
            if scene == "quay" and shot == "full"
            else None
        )
    if prop == "chest":
        return PropSpec("chest", "as-drawn", u) if shot == "full" and scene != "plain" else None
    if prop.startswith("biscuit"):
        costume = "winter-jacket" if prop.endswith("winter") else "as-drawn"
        if shot != "full" or scene == "plain":
            return None
        at = u if crowd != 2 else 0.5
        return PropSpec("biscuit", costume, at, at > 0.5 if at != 0.5 else rng.random() < 0.5)
    return None
