"""Poses: the angles of a figure's limbs, and the joints that follow from them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from guides.demo.story.looks import Build

Joint = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Pose:
    """Angles in degrees from straight down (limbs) or upright (body, head); positive is forward.

    A limb is (upper, lower), both measured absolutely; ``hands`` names the shapes of far and near hand.
    """

    far_arm: tuple[float, float] = (12, 24)
    near_arm: tuple[float, float] = (-10, 8)
    far_leg: tuple[float, float] = (9, 3)
    near_leg: tuple[float, float] = (-7, -5)
    lean: float = 0.0
    nod: float = 0.0
    hands: tuple[str, str] = ("rest", "rest")
    arm_first: bool = False  # near arm behind the body's front (hand in a pocket)


POSES: dict[str, Pose] = {
    "stand": Pose(),
    "easy": Pose(near_arm=(-32, 38), far_arm=(8, 16), far_leg=(14, 8), near_leg=(-4, -2), nod=-3,
    hands=("rest", "fist")),
    "walk": Pose(far_arm=(-24, -4), near_arm=(26, 52), far_leg=(26, 6), near_leg=(-14, -36), lean=5,
    hands=("fist", "fist")),
    "run": Pose(far_arm=(-48, 30), near_arm=(48, 128), far_leg=(62, -6), near_leg=(-26, -72), lean=17, nod=-8,
                hands=("fist", "fist")),
    "point": Pose(far_arm=(14, 30), near_arm=(78, 92), far_leg=(13, 6), near_leg=(-12, -8), lean=4,
    hands=("rest", "point")),
    "wave": Pose(far_arm=(142, 172), near_arm=(-10, 6), far_leg=(10, 4), near_leg=(-9, -6), lean=-4, nod=-6,
    hands=("open", "rest")),
    "carry": Pose(far_arm=(26, 74), near_arm=(18, 82), far_leg=(14, 4), near_leg=(-8, -12), lean=-5,
    hands=("grip", "grip")),
    "think": Pose(far_arm=(32, 96), near_arm=(16, 146), far_leg=(9, 2), near_leg=(-8, -5), nod=6,
    hands=("rest", "fist")),
    "alarm": Pose(far_arm=(76, 150), near_arm=(-58, -132), far_leg=(22, 10), near_leg=(-20, -14), lean=-8,
    nod=-6,
                  hands=("open", "open")),
    "lamp": Pose(far_arm=(16, 30), near_arm=(84, 112), far_leg=(16, 4), near_leg=(-12, -14), lean=3,
    hands=("rest", "grip")),
    "haul": Pose(far_arm=(66, 74), near_arm=(58, 78), far_leg=(38, 4), near_leg=(-4, -30), lean=-16, nod=8,
    hands=("grip", "grip")),
    "bow": Pose(far_arm=(42, 62), near_arm=(34, 66), far_leg=(10, 2), near_leg=(-6, -6), lean=26, nod=12,
    hands=("open", "grip")),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Skeleton:
    """Joints in head units; the origin is on the ground below the pelvis, v points down."""

    pelvis: Joint
    neck: Joint
    head: Joint
    lean: float
    nod: float
    torso: float
    far_arm: tuple[Joint, Joint, Joint]
    near_arm: tuple[Joint, Joint, Joint]
    far_leg: tuple[Joint, Joint, Joint]
    near_leg: tuple[Joint, Joint, Joint]


def skeleton(pose: Pose, build: Build) -> Skeleton:
    """Work the joints out, the lower foot standing on the ground."""
    rest = build.heads - 1.0
    torso, thigh, shin, ankle = 0.365 * rest, 0.29 * rest, 0.27 * rest, 0.2
    upper, fore = 0.2 * rest, 0.185 * rest

    def chain(start: Joint, angles: tuple[float, float], lengths: tuple[float, float]) -> tuple[Joint, Joint, Joint]:
        a, b = np.radians(angles[0]), np.radians(angles[1])
        mid = (start[0] + lengths[0] * np.sin(a), start[1] + lengths[0] * np.cos(a))
        return start, mid, (mid[0] + lengths[1] * np.sin(b), mid[1] + lengths[1] * np.cos(b))

    legs = [chain((u, 0.0), angles, (thigh, shin)) for u, angles in ((0.15, pose.far_leg), (-0.15, pose.near_leg))]
    drop = max(leg[2][1] for leg in legs) + ankle
    pelvis = (0.0, -drop)
    far_leg, near_leg = (tuple((x, y - drop) for x, y in leg) for leg in legs)
    lean = np.radians(pose.lean)
    cos, sin = np.cos(lean), np.sin(lean)

    def on_torso(u: float, v: float) -> Joint:
        return u * cos - v * sin, pelvis[1] + u * sin + v * cos

    neck = on_torso(0.02, -torso)
    wide = 0.46 * build.girth
    far = chain(on_torso(wide * 0.86, -torso + 0.3), pose.far_arm, (upper, fore))
    near = chain(on_torso(-wide * 0.92, -torso + 0.3), pose.near_arm, (upper, fore))
    tilt = np.radians(pose.lean * 0.5 + pose.nod)
    head = (neck[0] + 0.1 + 0.56 * np.sin(tilt), neck[1] - 0.56 * np.cos(tilt))
    return Skeleton(pelvis, neck, head, pose.lean, pose.lean * 0.5 + pose.nod, torso, far, near, far_leg, near_leg)  # type: ignore[arg-type]
