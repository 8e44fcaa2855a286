"""``python -m guides.training``: fetch fonts, make pages, learn, export, fit odds, judge."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace
from pathlib import Path

from guides.imaging.writing.models import WEIGHTS

STEPS = ("fonts", "learn", "aim", "export", "odds", "judge")

QUICK: dict[str, object] = {
    "out": Path(".data/writing/quick"), "minutes": 1.5, "makers": 1, "grounds": 8, "kept": (48, 1500),
    "batch": (4, 48), "pages": 4,
    "aim_minutes": 1.0, "aim_kept": 300, "aim_batch": 4,
}  # fmt: skip
"""A whole run on one core in minutes: it proves that everything runs, and what it learns is of no use."""


def main() -> None:
    """Every step in its order; ``--only`` takes some of them, ``--quick`` all of them in small."""
    options = _options()
    fonts = options.work / "fonts"
    if "fonts" in options.only:
        from guides.training.fonts import fetch

        fetch(fonts)
    if "learn" in options.only:
        _learn(options, fonts)
    if "aim" in options.only:
        _aim(options, fonts)
    if "export" in options.only:
        from guides.training.export import export

        export(options.work, options.out)
    if "odds" in options.only:
        from guides.training.fitting import fit

        fit(options.out, fonts, options.pages, options.makers)
    if "judge" in options.only:
        _judge(options, fonts)


def _options() -> Namespace:
    parser = ArgumentParser(description=__doc__)
    parser.add_argument("--work", type=Path, default=Path(".data/writing"), help="fonts and weights between steps")
    parser.add_argument("--out", type=Path, default=WEIGHTS)
    parser.add_argument("--minutes", type=float, default=30.0, help="how long to learn")
    parser.add_argument("--makers", type=int, default=14, help="processes that make tiles")
    parser.add_argument("--grounds", type=int, default=320)
    parser.add_argument("--kept", type=int, nargs=2, default=(6000, 150_000), help="tiles and crops in memory")
    parser.add_argument("--batch", type=int, nargs=2, default=(24, 384), help="tiles and crops a step")
    parser.add_argument("--rate", type=float, default=1.0, help="share of the usual learning rates")
    parser.add_argument("--from", type=Path, default=None, dest="start_from", help="weights to go on from")
    parser.add_argument("--seed", type=int, default=20)
    parser.add_argument("--aim-minutes", type=float, default=6.7, help="how long to learn to follow lines")
    parser.add_argument("--aim-kept", type=int, default=120_000, help="views in memory")
    parser.add_argument("--aim-batch", type=int, default=224, help="views a step")
    parser.add_argument("--aim-held", action="store_true", help="teach on from --from: what sees strokes stays")
    parser.add_argument("--pages", type=int, default=60, help="pages that odds are fitted on, and that judge")
    parser.add_argument("--only", nargs="*", choices=STEPS, default=STEPS)
    parser.add_argument("--quick", action="store_true", help="everything in small, into a folder of its own")
    if parser.parse_known_args()[0].quick:
        parser.set_defaults(**QUICK)
    return parser.parse_args()


def _learn(options: Namespace, fonts: Path) -> None:
    from guides.training.learn import LearningPlan, learn

    tiles, crops = options.batch
    kept_tiles, kept_crops = options.kept
    plan = LearningPlan(
        options.minutes, tiles=tiles, crops=crops, kept_tiles=kept_tiles, kept_crops=kept_crops,
        grounds=options.grounds, makers=options.makers, seed=options.seed, rate=options.rate,
    )  # fmt: skip
    learn(plan, fonts, options.work, options.start_from)


def _aim(options: Namespace, fonts: Path) -> None:
    from guides.training.aiming import AimingPlan, learn_to_aim

    plan = AimingPlan(
        options.aim_minutes, options.aim_batch, options.aim_kept, options.makers, options.seed + 10, options.rate,
        options.aim_held,
    )  # fmt: skip
    learn_to_aim(plan, fonts, options.work, options.start_from)


def _judge(options: Namespace, fonts: Path) -> None:
    """Pages in hands that were kept out, on grounds never learnt from; ``bench_writing`` judges on another family."""
    import numpy as np

    from guides.training.grounds import ground
    from guides.training.judging import NOTATIONS, grown, judged, written_page
    from guides.training.stream import hands_of

    hands = hands_of(fonts, "kept out")
    for form in NOTATIONS:
        draws = [np.random.default_rng((90_000 + number, len(form))) for number in range(options.pages // 2)]
        pages = (written_page(grown(ground(rng), int(rng.integers(1300, 2500))), hands, form, rng) for rng in draws)
        print(form, *judged(pages, form, options.out).lines(), sep="\n  ")
    from guides.training.judging_aim import followed

    print("followed", *followed(hands, max(2, options.pages // 6), options.out), sep="\n  ")


if __name__ == "__main__":  # not in the processes that fitting starts
    main()
