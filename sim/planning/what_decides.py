"""Which of the things that nobody knows decides whether a job comes out, and which makes its answer wide.

Every member of the ensemble has its own of each: face, rate, ageing, rim, hands.  By how much a subject
explains what came of the members, their margins to limit and allowance or their minutes, is counted on
members that were left out of the fit (:func:`handlap.sim.face.next_line.explained_share`), so that what is
chance in so few of them counts nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from handlap.sim.common.outline import Array
from handlap.sim.face.face_numbers import bend_components
from handlap.sim.face.next_line import explained_share
from handlap.sim.job.results import Figures, Unknown
from handlap.sim.lapping.ensemble import SCORES
from handlap.sim.materials.grits import Grit
from handlap.sim.planning.crew import Crew
from handlap.sim.planning.face_first import figures_now
from handlap.sim.planning.leg import measure
from handlap.sim.planning.verdict import UNSURE, Decider
from handlap.sim.planning.work import Worked

FEWEST = 10
"""Members below which nothing can be left out of a fit."""
LITTLE = 0.1
"""What explains less than this share of a spread is not worth doing for it [-]."""
MOST_NAMED = 3
NOTHING = 1e-9
"""Heights below this are none, for their logarithms [m]."""
OWN: Mapping[str, tuple[str, ...]] = {
    "rate": ("rate",),
    "ageing": ("ageing", "loading_floor", "dulling_floor", "brushing"),
    "rim": ("bedding", "blunt_bedding", "edge_rate", "edge_rise", "edge_grains"),
    "press": ("press",),
    "hands": (
        "height", "bias_along", "bias_across", "wobble_along", "wobble_across", "push_over_pull", "friction",
        "sway",
    ),
    "pace": ("strokes_per_minute",),
}  # fmt: skip
"""Subject → what a member has of its own in it, of ``SCORES``; luck of the first paper comes besides."""
PAPER = ("rate", "ageing", "rim")
"""What a weighed block tells of, all in one."""


def what_decides(crew: Crew, grit: Grit, done: Figures) -> tuple[Decider, ...]:
    """What decides between coming out inside limit and allowance or not, the most first; () where so few
    members cannot tell.

    Parameters
    ----------
    grit : of the first paper, whose own luck counts
    done : figures of all members (members,) after the work
    """
    part = crew.scenario.part
    margin = (part.limit - measure(done, part.limit_by)) / part.limit
    if part.allowance is not None:
        margin = np.minimum(margin, (part.allowance - done.greatest_depth) / part.allowance)
    features = _features(crew, grit)
    return deciders(margin, {subject: features[subject] for subject in UNSURE})


def _features(crew: Crew, grit: Grit) -> dict[str, tuple[Array, ...]]:
    """What members differ in, by subject: features (members, k) of a regression, few or more of them."""
    column = {name: crew.scores[:, i] for i, name in enumerate(SCORES)}
    lucky = {what: (*OWN[what], f"{what} {grit.name}") for what in ("rate", "ageing")}
    found: dict[str, tuple[Array, ...]] = {
        subject: (np.column_stack([column[name] for name in names]),)
        for subject, names in {**OWN, **lucky}.items()
    }
    bends = bend_components(crew.rig.grid, crew.members.before)
    sizes = np.log(np.maximum(np.column_stack(figures_now(crew)), NOTHING))
    found["face"] = sizes, np.column_stack([sizes, *bends, *(np.abs(bend) for bend in bends)])
    places = crew.faces.places
    if len(set(places)) > 1:
        at = np.array([[float(place == one) for one in sorted(set(places))] for place in places])
        found["place"] = (at,)
    return found


def _share(features: Sequence[Array], target: Array) -> float:
    """Share of a target (members,) that a subject explains, by the one set of its features that does most."""
    if target.size < FEWEST or np.ptp(target) == 0.0:
        return 0.0
    return max(explained_share(own, target) for own in features)


def deciders(margin: Array, features: Mapping[str, Sequence[Array]]) -> tuple[Decider, ...]:
    """Subjects by their share of what makes the margins (members,) differ, the most first.

    Margins count by their ranks: how far beyond a limit a face ends decides nothing.

    >>> rate, hands = np.arange(40.0)[:, None], np.resize([1.0, 2.0], (40, 1))
    >>> [d.subject for d in deciders(rate[:, 0] ** 3, {"rate": [rate], "hands": [hands]})]
    ['rate']
    """
    ranks = _ranks(margin)
    shares = {subject: _share(own, ranks) for subject, own in features.items()}
    found = [Decider(subject, share) for subject, share in shares.items() if share >= LITTLE]
    return tuple(sorted(found, key=lambda d: -d.share))


def _ranks(values: Array) -> Array:
    """Ranks (n,) from 1, the mean of theirs for those that are equal [-]."""
    _, place, count = np.unique(values, return_inverse=True, return_counts=True)
    return (np.cumsum(count) - 0.5 * (count - 1))[place]


def what_widens(crew: Crew, worked: Worked, after: Array, *, settled: bool = True) -> tuple[Unknown, ...]:
    """What explains most of the spread of the answer, the most first.

    Each is held against minutes, depth and the figure at the stop (members,) [m], and counts by the one it
    explains most of.  Where it is open whether there is anything to do at all (not ``settled``), the face
    comes first: no lap answers that.
    """
    targets = {
        "minutes": np.log(np.maximum(worked.outcome.effort.minutes, 1e-3)),
        "depth": np.log(np.maximum(worked.outcome.figures.greatest_depth, NOTHING)),
        "result": np.log(np.maximum(after, NOTHING)),
    }
    found = []
    for name, own in _merged(_features(crew, worked.first.grit)).items():
        shares = {what: _share(own, values) for what, values in targets.items()}
        most = max(shares, key=lambda what: shares[what])
        found.append(Unknown(name, shares[most], most))
    found.sort(key=lambda unknown: (settled or unknown.name != "face", -unknown.share))
    return tuple(u for i, u in enumerate(found) if u.share >= LITTLE or not (settled or i))[:MOST_NAMED]


def _merged(features: Mapping[str, tuple[Array, ...]]) -> dict[str, tuple[Array, ...]]:
    """Rate, ageing and rim as one subject, the paper."""
    rest = {name: own for name, own in features.items() if name not in PAPER}
    return {"paper": (np.column_stack([features[name][0] for name in PAPER]),), **rest}
