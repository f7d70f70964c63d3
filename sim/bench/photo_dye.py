"""Dyed or bare, pixel by pixel, on a straightened photo: two colours under one uneven light.

A film of dye lets through a fixed share of the light in each channel, and the light on the face varies
smoothly and alike in all channels.  So in logarithms a pixel is

    colour = light(u, v)·(1, 1, 1) + bare + t·(dyed − bare) + noise,     t = 0 bare … 1 dyed,

a mixture of two normal laws on a smooth surface, fitted by expectation and maximisation (Dempster, Laird
and Rubin 1977) with a flat third one for whatever is neither.  Dye takes light away: of the two colours
the darker is the dyed one.  Where the picture shows one colour only nothing can be told from it but that,
unless somebody names a spot.  Colours are decoded to light first (IEC 61966-2-1).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt, gaussian_filter, label
from scipy.special import ndtr

from handlap.sim.bench.photo_view import Straight
from handlap.sim.common.outline import Array

Mask = NDArray[np.bool_]
BRIGHTEST, DARKEST = 0.985, 0.012
"""Coded values beyond which a channel says nothing: burnt out, or lost in the dark [-]."""
FLOOR = 0.004
"""Light added before logarithms are taken: noise of the dark [-]."""
BLUR = 1.3
"""Neighbours that a pixel is averaged with: noise and blocks of JPEG [pixels]."""
GLARE_WIDER = 1.0
"""Glare reaches this many radii of its burnt-out middle beyond it [-], and at least this far: """
GLARE_LEAST = 6.0
"""[pixels]"""
SAMPLES = 4000
ROUNDS = 40
SETTLED = 1e-4
"""Gain of log likelihood a pixel below which a law is the one [-]."""
NEITHER = 0.03
"""Share of pixels that are neither, to begin with [-]."""
LEAST_STEP = 0.30
"""Two colours differ by this much in some direction of the logarithms, or they are one [-]."""
LEAST_DARKER = 0.08
"""Of two colours the dyed one is darker by at least this, on average over the channels [-]."""
LEAST_APART = 2.6
"""… and they stand at least this many standard deviations apart [-]."""
LEAST_CLASS = 0.02
"""A colour on less than this share of the face is no second colour [-]."""
GONE_BELOW = 0.40
"""A film thinner than this share of a full one is seen as gone [-] (our choice)."""
SOFT = 0.12
"""Least standard error of that share [-]."""
STRANGE = 4.5
"""Colours this many standard deviations off the line between bare and dyed are neither [-]."""
LOCAL = 0.07
"""Light is evened out once more over this share of the length [-]."""
SURE = 0.8
"""A spot is contradicted by a chance this far from what it is called [-]."""
ALL_ONE = 0.97
"""Chance of dye where a face of one colour is called dyed [-]."""
NOISE = 0.03
"""Least standard deviation of a logarithm within one colour [-]."""


class OneColour(ValueError):
    """The picture shows one colour of the face only, or too little of it; says what helps."""


@dataclass(frozen=True)
class Film:
    """What is seen of the dye on the straightened face.

    Attributes
    ----------
    chance : that dye is left (rows, columns) [-]; NaN where it cannot be told
    glare, dark, strange : shares of the metal that are burnt out, too dark, neither bare nor dyed [-]
    apart : distance of the two colours in their standard deviations [-]
    step : logarithms of the light that the dye lets through, by channel (3,) [-]
    """

    chance: Array
    glare: float
    dark: float
    strange: float
    apart: float
    step: Array


@dataclass(frozen=True)
class _Law:
    """Two colours under one light: coefficients of the light, means (2, 3), covariance (3, 3), shares."""

    light: Array
    means: Array
    cov: Array
    shares: Array
    likelihood: float

    @property
    def step(self) -> Array:
        """From bare to dyed (3,)."""
        return np.asarray(self.means[1] - self.means[0])

    @property
    def apart(self) -> float:
        """Distance of the two colours in standard deviations [-]."""
        return float(np.sqrt(np.maximum(self.step @ np.linalg.solve(self.cov, self.step), 0.0)))


def decoded(coded: Array) -> Array:
    """Light of coded values, 0 … 1 (IEC 61966-2-1).

    >>> decoded(np.array([0.0, 0.5, 1.0])).round(4).tolist()
    [0.0, 0.214, 1.0]
    """
    return np.where(coded <= 0.04045, coded / 12.92, ((np.maximum(coded, 0.0) + 0.055) / 1.055) ** 2.4)


def read_film(
    straight: Straight,
    metal: Mask,
    *,
    dyed: Array | None = None,
    bare: Array | None = None,
) -> Film:
    """Where dye is left on a straightened face.

    Parameters
    ----------
    metal : pixels (rows, columns) that are surely metal
    dyed, bare : places (k, 2) [m] where somebody knows that it is dyed, or bare

    Raises
    ------
    OneColour : if only one colour is seen and nobody says which it is, or the spots contradict the picture
    """
    seen = metal & np.isfinite(straight.colours).all(axis=2)
    if seen.sum() < 0.3 * metal.sum():
        raise OneColour("less than a third of the face is in the picture")
    colours = np.where(seen[..., None], np.nan_to_num(straight.colours), 0.0)
    burnt = seen & (colours.max(axis=2) >= BRIGHTEST)
    glare = seen & _spread(burnt)
    dark = seen & ~glare & (colours.max(axis=2) <= DARKEST)
    usable = seen & ~glare & ~dark
    if usable.sum() < 0.2 * metal.sum():
        raise OneColour(
            "glare, dark or the edge of the picture leave less than a fifth of the face to be seen"
        )
    logs = np.log(_smoothed(decoded(colours), usable) + FLOOR)
    basis = _basis(straight)
    law = _fitted(logs, basis, usable)
    spots = _spots(straight, dyed, bare)
    shares = float(glare.sum() / metal.sum()), float(dark.sum() / metal.sum())
    if law is None or not _two(law):
        return _one_colour(logs, basis, usable, metal, spots, shares)
    t, off = _along(logs, basis, law, usable)
    strange = usable & (off > STRANGE)
    usable = usable & ~strange
    # The light once more, close by: what is alike in bare and dyed around a place.
    t = _evened(straight, logs, basis, law, t, usable)
    error = np.hypot(SOFT, 1.0 / law.apart)
    chance = np.where(usable, ndtr((t - GONE_BELOW) / error), np.nan)
    _agrees(chance, spots)
    return Film(chance, *shares, float(strange.sum() / metal.sum()), law.apart, law.step)


def _spread(burnt: Mask) -> Mask:
    """Glare around its burnt-out middles, each by its own size."""
    found = np.zeros_like(burnt)
    blobs, count = label(burnt, structure=np.ones((3, 3)))
    if not count:
        return found
    sizes = np.bincount(blobs.ravel(), minlength=count + 1)
    # Single sparks of a scratch are no glare that reaches beyond them.
    big = np.flatnonzero(sizes > 25)
    big = big[big > 0]
    radii = np.sqrt(sizes[big] / np.pi)
    for blob, radius in sorted(zip(big, radii, strict=True), key=lambda pair: -pair[1])[:60]:
        away = distance_transform_edt(blobs != blob)
        found |= away <= GLARE_WIDER * radius + GLARE_LEAST
    return found | burnt


def _smoothed(light: Array, usable: Mask) -> Array:
    """Light (rows, columns, k) averaged over usable neighbours."""
    weight = gaussian_filter(usable.astype(float), BLUR)
    found = [gaussian_filter(np.where(usable, light[..., k], 0.0), BLUR) for k in range(light.shape[2])]
    return np.asarray(np.stack(found, axis=-1) / np.maximum(weight, 1e-6)[..., None])


def _basis(straight: Straight) -> Array:
    """Light that varies smoothly (rows, columns, 5): a surface of the second order without its constant."""
    half = 0.5 * max(straight.u[-1] - straight.u[0], straight.v[0] - straight.v[-1])
    u, v = np.meshgrid(straight.u / half, straight.v / half)
    return np.stack([u, v, u * u, u * v, v * v], axis=-1)


def _fitted(logs: Array, basis: Array, usable: Mask) -> _Law | None:
    """The likeliest law of two colours, from several first guesses; None if none of them holds."""
    places = np.flatnonzero(usable)
    picked = places[:: max(1, places.size // SAMPLES)]
    y, b = logs.reshape(-1, 3)[picked], basis.reshape(-1, basis.shape[-1])[picked]
    found = [law for guess in _guesses(y, b) if (law := _climbed(y, b, guess)) is not None]
    held = [law for law in found if _two(law)]
    return max(held or found, key=lambda law: law.likelihood, default=None)


def _two(law: _Law) -> bool:
    """Whether the two colours are two, and one of them darker."""
    return bool(
        law.apart >= LEAST_APART
        and float(np.abs(law.step).max()) >= LEAST_STEP
        and -float(law.step.mean()) >= LEAST_DARKER
        and law.shares[:2].min() >= LEAST_CLASS
    )


def _guesses(y: Array, b: Array) -> Iterator[Mask]:
    """First guesses of what is dyed (k,): by hue, by brightness, by brightness with the light taken off."""
    bright = y.mean(axis=1)
    hue = y - bright[:, None]
    centred = hue - hue.mean(axis=0)
    main = centred @ np.linalg.svd(centred, full_matrices=False)[2][0]
    light = np.column_stack([np.ones(len(b)), b])
    flat = bright - light @ np.linalg.lstsq(light, bright, rcond=None)[0]
    for values in (main, bright, flat):
        for cut in (_parting(values), float(np.median(values))):
            yield values < cut


def _parting(values: Array) -> float:
    """Where values part best into two (Otsu 1979)."""
    ordered = np.sort(values)
    n = np.arange(1, ordered.size)
    total = np.cumsum(ordered)
    low, high = total[:-1] / n, (total[-1] - total[:-1]) / (ordered.size - n)
    between = n * (ordered.size - n) * (high - low) ** 2
    k = int(np.argmax(between))
    return float(0.5 * (ordered[k] + ordered[k + 1]))


def _climbed(y: Array, b: Array, dyed: Mask) -> _Law | None:
    """A law that a guess leads to; None if it leads nowhere."""
    weights = np.column_stack([~dyed, dyed]).astype(float) * (1.0 - NEITHER)
    neither = 1.0 / float(np.prod(np.ptp(y, axis=0) + 0.1))
    light = np.zeros(b.shape[1])
    found: _Law | None = None
    for _ in range(ROUNDS):
        size = weights.sum(axis=0)
        if size.min() < 8.0:
            return None
        flat = y - (b @ light)[:, None]
        means = weights.T @ flat / size[:, None]
        off = flat[:, None, :] - means
        cov = np.einsum("nk,nki,nkj->ij", weights, off, off) / size.sum() + NOISE**2 * np.eye(3)
        inverse = np.linalg.inv(cov)
        # The light that explains what is left, where it is alike in all channels.
        one = inverse.sum(axis=0)
        target = ((y[:, None, :] - means) @ one / one.sum() * weights).sum(axis=1)
        each = weights.sum(axis=1)
        normal = b.T @ (b * each[:, None]) + 1e-5 * len(b) * np.eye(b.shape[1])
        light = np.linalg.solve(normal, b.T @ target)
        off = y[:, None, :] - (b @ light)[:, None, None] - means
        away = np.einsum("nki,ij,nkj->nk", off, inverse, off)
        shares = np.append(size / len(y), max(1e-3, 1.0 - size.sum() / len(y)))
        dense = shares[:2] * np.exp(-0.5 * away) / np.sqrt((2.0 * np.pi) ** 3 * np.linalg.det(cov))
        whole = dense.sum(axis=1) + shares[2] * neither
        weights = dense / whole[:, None]
        before = -np.inf if found is None else found.likelihood
        found = _Law(light, means, cov, shares, float(np.log(whole).mean()))
        if found.likelihood - before < SETTLED:
            break
    if found is not None and found.step.mean() > 0.0:
        found = _Law(found.light, found.means[::-1], found.cov, found.shares[[1, 0, 2]], found.likelihood)
    return found


def _along(logs: Array, basis: Array, law: _Law, usable: Mask) -> tuple[Array, Array]:
    """Share of a full film (rows, columns) [-], and distance off the line from bare to dyed [standard
    deviations]."""
    y = logs - (basis @ law.light)[..., None] - law.means[0]
    inverse = np.linalg.inv(law.cov)
    t = (y @ inverse @ law.step) / law.apart**2
    off = y - np.clip(t, 0.0, 1.0)[..., None] * law.step
    away = np.sqrt(np.maximum(np.einsum("...i,ij,...j->...", off, inverse, off), 0.0))
    return np.where(usable, t, 0.0), np.where(usable, away, 0.0)


def _evened(straight: Straight, logs: Array, basis: Array, law: _Law, t: Array, usable: Mask) -> Array:
    """The share of a full film with the light evened out over the neighbourhood."""
    whole = np.clip(t, 0.0, 1.0)
    sure = usable & ((whole < 0.25) | (whole > 0.75))
    kind = np.where(whole > 0.5, 1.0, 0.0)
    left = logs - (basis @ law.light)[..., None] - law.means[0] - kind[..., None] * law.step
    wide = LOCAL * max(straight.u[-1] - straight.u[0], straight.v[0] - straight.v[-1]) / straight.spacing
    weight = gaussian_filter(sure.astype(float), wide)
    light = gaussian_filter(np.where(sure, left.mean(axis=2), 0.0), wide) / np.maximum(weight, 0.02)
    inverse = np.linalg.inv(law.cov)
    one = float(np.ones(3) @ inverse @ law.step) / law.apart**2
    return np.where(usable, t - light * one, 0.0)


def _spots(straight: Straight, dyed: Array | None, bare: Array | None) -> list[tuple[tuple[int, int], bool]]:
    """Pixels of the spots that somebody names, and whether they are dyed."""
    found = []
    for places, kind in ((dyed, True), (bare, False)):
        for u, v in () if places is None else places:
            column = int(np.argmin(np.abs(straight.u - u)))
            row = int(np.argmin(np.abs(straight.v - v)))
            found.append(((row, column), kind))
    return found


def _agrees(chance: Array, spots: Sequence[tuple[tuple[int, int], bool]]) -> None:
    """Refuse spots that the picture contradicts."""
    for spot, dyed in spots:
        if abs(float(dyed) - np.nan_to_num(chance[spot], nan=float(dyed))) > SURE:
            kind, other = ("dyed", "bare") if dyed else ("bare", "dyed")
            raise OneColour(
                f"a spot that is called {kind} looks {other} beside the rest: of two colours the darker one "
                "is taken for the dye. Is it the right spot?"
            )


def _one_colour(
    logs: Array,
    basis: Array,
    usable: Mask,
    metal: Mask,
    spots: Sequence[tuple[tuple[int, int], bool]],
    shares: tuple[float, float],
) -> Film:
    """A face that is one colour all over, as somebody calls it who sees it.

    Raises
    ------
    OneColour : if nobody says which it is
    """
    kinds = {dyed for _, dyed in spots}
    if not kinds:
        raise OneColour(
            "the face shows one colour only, so the picture alone cannot tell whether that is dye or bare "
            "metal: name a spot of it, with --spot-dyed X,Y or --spot-bare X,Y"
        )
    if len(kinds) > 1:
        raise OneColour(
            "the spots called dyed and bare cannot be told from one another in this picture: take it in "
            "even light, without the sun or a lamp in the face"
        )
    y = logs[usable]
    light = np.column_stack([np.ones(len(y)), basis[usable]])
    flat = y - light @ np.linalg.lstsq(light, y, rcond=None)[0]
    middle = np.median(flat, axis=0)
    spread = 1.4826 * np.median(np.abs(flat - middle), axis=0) + NOISE
    strange = np.zeros_like(usable)
    strange[usable] = (np.abs(flat - middle) / spread).max(axis=1) > STRANGE
    chance = np.where(usable & ~strange, ALL_ONE if kinds == {True} else 1.0 - ALL_ONE, np.nan)
    return Film(chance, *shares, float(strange.sum() / metal.sum()), 0.0, np.zeros(3))
