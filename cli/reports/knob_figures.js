// Figures of a face as the program takes them: minimum zone by exchange of four points, straightedge by the
// upper hull of each line, plane of the removal by least squares.
"use strict";
const makeFigures = (job, lap) => {
  const { u, v, area, cells } = lap, on = job.zone.points, EXACT = 1e-11, MOST = 400;
  const { middle, halves } = job.zone;
  const p1 = new Float64Array(on), p2 = new Float64Array(on), rest = new Float64Array(on);
  for (let i = 0; i < on; i++) {
    p1[i] = (u[i] * job.half - middle[0]) / halves[0];
    p2[i] = (v[i] * job.half - middle[1]) / halves[1];
  }
  const invert = (b, k) => {
    const x = b.map((_, i) => Array.from({ length: k }, (_, j) => (i === j ? 1 : 0)));
    for (let c = 0; c < k; c++) {
      let p = c;
      for (let i = c + 1; i < k; i++) if (Math.abs(b[i][c]) > Math.abs(b[p][c])) p = i;
      if (Math.abs(b[p][c]) < 1e-14) return null;
      [b[p], b[c]] = [b[c], b[p]];
      [x[p], x[c]] = [x[c], x[p]];
      const f = 1 / b[c][c];
      for (let j = 0; j < k; j++) { b[c][j] *= f; x[c][j] *= f; }
      for (let i = 0; i < k; i++) {
        const g = b[i][c];
        if (i !== c && g) for (let j = 0; j < k; j++) { b[i][j] -= g * b[c][j]; x[i][j] -= g * x[c][j]; }
      }
    }
    return x;
  };
  const term = (i, row) => (row === 0 ? 1 : row === 1 ? p1[i] : p2[i]);
  const range = (h, y) => {
    let high = 0, low = 0;
    for (let i = 0; i < on; i++) {
      rest[i] = h[i] - y[0] - y[1] * p1[i] - y[2] * p2[i];
      if (rest[i] > rest[high]) high = i;
      if (rest[i] < rest[low]) low = i;
    }
    return [high, low];
  };
  // Three independent points, one more, and signs that make all weights positive.
  const begin = (high, low) => {
    const points = [high, 0, 0, low], signs = [1, 1, 1, -1];
    let best = -1;
    for (let i = 0; i < on; i++) { const d = (p1[i] - p1[high]) ** 2 + (p2[i] - p2[high]) ** 2; if (d > best) { best = d; points[1] = i; } }
    const du = p1[points[1]] - p1[high], dv = p2[points[1]] - p2[high];
    best = -1;
    for (let i = 0; i < on; i++) { const d = Math.abs(du * (p2[i] - p2[high]) - dv * (p1[i] - p1[high])); if (d > best) { best = d; points[2] = i; } }
    let last = low;
    while (points.slice(0, 3).includes(last)) last = (last + 1) % on;
    points[3] = last;
    const inverse = invert([0, 1, 2].map((row) => [0, 1, 2].map((j) => term(points[j], row))), 3);
    if (!inverse) return null;
    for (let j = 0; j < 3; j++) signs[j] = inverse[j].reduce((sum, x, row) => sum + x * term(last, row), 0) >= 0 ? 1 : -1;
    return [points, signs];
  };
  let kept = null;
  // The least distance of two parallel planes that hold all points between them (ISO 1101).
  const zone = (h) => {
    let level = 0;
    for (const fresh of kept ? [false, true] : [true]) {
      const y = [0, 0, 0], started = fresh ? begin(...range(h, y)) : kept;
      if (!started) return 0;
      const [points, signs] = [started[0].slice(), started[1].slice()];
      for (let round = 0; round < MOST; round++) {
        const inverse = invert([0, 1, 2, 3].map((row) => points.map((p, j) => (row < 3 ? signs[j] * term(p, row) : 1))), 4);
        if (!inverse) break;
        const weights = inverse.map((row) => row[3]);
        level = weights.reduce((sum, w, j) => sum + w * signs[j] * h[points[j]], 0);
        for (let row = 0; row < 3; row++) y[row] = points.reduce((sum, p, j) => sum + inverse[j][row] * signs[j] * h[p], 0);
        if (level < 0) {
          level = -level;
          for (let j = 0; j < 4; j++) { signs[j] = -signs[j]; for (let row = 0; row < 3; row++) inverse[j][row] = -inverse[j][row]; }
        }
        const [high, low] = range(h, y), [q, s] = -rest[low] > rest[high] ? [low, -1] : [high, 1];
        if (s * rest[q] - level <= EXACT * level + 1e-18) { kept = [points, signs]; return rest[high] - rest[low]; }
        const alpha = inverse.map((row) => row[3] + [0, 1, 2].reduce((sum, k) => sum + row[k] * s * term(q, k), 0));
        let leave = -1, least = Infinity;
        alpha.forEach((a, j) => {
          if (a <= 1e-12) return;
          const ratio = Math.max(weights[j], 0) / a;
          if (ratio < least - 1e-13 || (ratio <= least + 1e-13 && a > alpha[leave])) { least = Math.min(least, ratio); leave = j; }
        });
        if (leave < 0) break;
        points[leave] = q;
        signs[leave] = s;
      }
      // It went round in a circle: what it has is an upper bound within the step that was left.
      if (fresh) { kept = null; const [high, low] = range(h, y); return rest[high] - rest[low]; }
    }
    return 2 * level;
  };

  // ---- the straightedge

  // The two points that an edge over positions s and heights z rests on, and the gap under it everywhere.
  const rests = (s, z) => {
    const hull = [], last = s.length - 1;
    for (let k = 0; k <= last; k++) {
      while (hull.length >= 2) {
        const i = hull[hull.length - 2], j = hull[hull.length - 1];
        if ((z[j] - z[i]) * (s[k] - s[i]) - (z[k] - z[i]) * (s[j] - s[i]) > 0) break;
        hull.pop();
      }
      hull.push(k);
    }
    return hull;
  };
  const edgeOver = (s, z, length) => {
    const hull = rests(s, z), last = s.length - 1;
    let edge = 0;
    while (edge < hull.length - 2 && s[hull[edge + 1]] < 0.5 * length) edge++;
    let i = hull[edge], slope = (z[hull[edge + 1]] - z[i]) / (s[hull[edge + 1]] - s[i]);
    const feet = [s[i], s[hull[edge + 1]]], rocks = s[hull[edge + 1]] - s[i] < job.rocks * length;
    if (rocks) {
      // It rocks, and is held level: parallel to the chord through the ends, on the one highest point.
      slope = (z[last] - z[0]) / (s[last] - s[0]);
      for (let k = i = 0; k <= last; k++) if (z[k] - z[i] > slope * (s[k] - s[i])) i = k;
    }
    return { gap: (k) => z[i] + slope * (s[k] - s[i]) - z[k], rocks, feet: rocks ? [s[i]] : feet };
  };
  const lines = job.lines.map((line) => ({ ...line, s: wide(line.s) }));
  const straightedge = (h) => {
    let worst = 0;
    for (const { from, s, length } of lines) {
      const z = h.subarray(from, from + s.length), edge = edgeOver(s, z, length);
      for (let k = 0; k < s.length; k++) worst = Math.max(worst, edge.gap(k));
    }
    return worst;
  };

  // ---- depths and the plane of the removal

  const solved = (() => {
    const b = [0, 1, 2].map(() => [0, 0, 0]);
    for (let i = 0; i < cells; i++) {
      const t = [1, u[i] * job.half, v[i] * job.half];
      for (let j = 0; j < 3; j++) for (let k = 0; k < 3; k++) b[j][k] += area[i] * t[j] * t[k];
    }
    // In half lengths, so that the pivots are of one size.
    const size = [1, job.halfLength, job.halfWidth];
    const inverse = invert(b.map((row, j) => row.map((x, k) => x / (size[j] * size[k] * job.meanArea))), 3);
    return (values) => {
      const right = [0, 0, 0];
      for (let i = 0; i < cells; i++) {
        const w = (area[i] * values(i)) / job.meanArea;
        right[0] += w; right[1] += (w * u[i] * job.half) / size[1]; right[2] += (w * v[i] * job.half) / size[2];
      }
      return inverse.map((row, j) => row.reduce((sum, x, k) => sum + x * right[k], 0) / size[j]);
    };
  })();
  const levelled = (h) => {
    const [a, b, c] = solved((i) => h[i]);
    return h.map((x, i) => x - a - b * u[i] * job.half - c * v[i] * job.half);
  };
  const of = (before, h) => {
    let greatest = 0, mean = 0, whole = 0;
    for (let i = 0; i < h.length; i++) greatest = Math.max(greatest, before[i] - h[i]);
    for (let i = 0; i < cells; i++) { mean += area[i] * (before[i] - h[i]); whole += area[i]; }
    const plane = solved((i) => before[i] - h[i]);
    return {
      flatness: zone(h), straightedge: straightedge(h), mean_depth: mean / whole, greatest_depth: greatest,
      taper_along: plane[1] * 2 * job.halfLength, taper_across: plane[2] * 2 * job.halfWidth,
    };
  };
  return { of, zone, straightedge, edgeOver, levelled };
};
