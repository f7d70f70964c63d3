// A small lap: pressure law, pose and the paper's memory on few cells and few rows.  The equations are those
// of the program's own lap (handlap explain model); what no knob changes comes ready from it.  SI throughout.
"use strict";
const bytesOf = (text) => Uint8Array.from(atob(text), (c) => c.charCodeAt(0)).buffer;
const floatsOf = (text) => new Float32Array(bytesOf(text));
const wide = (text) => Float64Array.from(floatsOf(text));

const makeLap = (job) => {
  const { cells, half, memory } = job, P0 = 1e3, TOLERANCE = 3e-3, MOST_EVALUATIONS = 400;
  const u = wide(job.u), v = wide(job.v), n = u.length, area = wide(job.area), scale = wide(job.scale);
  const own = wide(job.own).map((h) => 1e-6 * h), ways = job.ways.map(wide);
  const reach = (values) => { let most = 0; for (let i = 0; i < cells; i++) most = Math.max(most, Math.abs(values[i])); return most; };
  const uReach = reach(u), vReach = reach(v);
  const soft = new Float64Array(n), logistic = new Float64Array(n), base = new Float64Array(n), weight = new Float64Array(cells);
  const sums = new Float64Array(9), step = new Float64Array(3), ones = new Float64Array(n).fill(1);

  // ln(1 + eᵗ) and its derivative for t = base + a0 + au·u + av·v.
  const close = (from, to, a0, au, av) => {
    for (let i = from; i < to; i++) {
      const t = base[i] + a0 + au * u[i] + av * v[i], e = Math.exp(t < 0 ? t : -t);
      const s = e < 1e-4 ? e * (1 - 0.5 * e) : Math.log(1 + e), share = 1 / (1 + e);
      soft[i] = t > 0 ? t + s : s;
      logistic[i] = t > 0 ? share : e * share;
    }
  };
  const evaluate = (a0, au, av) => {
    close(0, cells, a0, au, av);
    let f = 0, fu = 0, fv = 0, k = 0, ku = 0, kv = 0, kuu = 0, kuv = 0, kvv = 0;
    for (let i = 0; i < cells; i++) {
      const a = weight[i] * soft[i], b = weight[i] * logistic[i], x = u[i], y = v[i];
      f += a; fu += a * x; fv += a * y;
      k += b; ku += b * x; kv += b * y; kuu += b * x * x; kuv += b * x * y; kvv += b * y * y;
    }
    sums[0] = f; sums[1] = fu; sums[2] = fv; sums[3] = k; sums[4] = ku; sums[5] = kv; sums[6] = kuu; sums[7] = kuv; sums[8] = kvv;
  };
  const newton = (f, fu, fv) => {
    const g0 = sums[0] - f, g1 = sums[1] - fu, g2 = sums[2] - fv;
    const ridge = 1e-12 * (sums[3] + sums[6] + sums[8]) + 1e-300;
    const l00 = Math.sqrt(sums[3] + ridge), l10 = sums[4] / l00, l20 = sums[5] / l00;
    const l11 = Math.sqrt(Math.max(sums[6] + ridge - l10 * l10, ridge)), l21 = (sums[7] - l20 * l10) / l11;
    const l22 = Math.sqrt(Math.max(sums[8] + ridge - l20 * l20 - l21 * l21, ridge));
    const y0 = -g0 / l00, y1 = (-g1 - l10 * y0) / l11, y2 = (-g2 - l20 * y0 - l21 * y1) / l22;
    step[2] = y2 / l22;
    step[1] = (y1 - l21 * step[2]) / l11;
    step[0] = (y0 - l10 * step[1] - l20 * step[2]) / l00;
    return g0 * step[0] + g1 * step[1] + g2 * step[2];
  };
  // The pose (3) at which the softplus carries the load and its moments: Newton on a convex energy, with a
  // search along each step for where the energy stops falling.  Softplus carries the last small motion.
  const solve = (f, fu, fv, cap, pose) => {
    evaluate(pose[0], pose[1], pose[2]);
    let far = cap;
    for (let count = 1; count < MOST_EVALUATIONS;) {
      const slope = newton(f, fu, fv);
      const motion = Math.abs(step[0]) + Math.abs(step[1]) * uReach + Math.abs(step[2]) * vReach;
      if (!Number.isFinite(motion)) return false;
      if (motion < TOLERANCE) {
        for (let i = 0; i < cells; i++) soft[i] += logistic[i] * (step[0] + step[1] * u[i] + step[2] * v[i]);
        for (let j = 0; j < 3; j++) pose[j] += step[j];
        return true;
      }
      let alpha = Math.min(1, far / motion), low = 0, high = -1;
      const capped = alpha < 1;
      for (;;) {
        evaluate(pose[0] + alpha * step[0], pose[1] + alpha * step[1], pose[2] + alpha * step[2]);
        count++;
        const here = (sums[0] - f) * step[0] + (sums[1] - fu) * step[1] + (sums[2] - fv) * step[2];
        if (here <= 0.5 * Math.abs(slope) || count >= MOST_EVALUATIONS) break;
        high = alpha;
        const guess = low + ((high - low) * slope) / (slope - here);
        alpha = Math.max(Math.min(guess, low + 0.7 * (high - low)), low + 0.1 * (high - low));
      }
      far = capped && high < 0 ? 2 * far : cap;
      for (let j = 0; j < 3; j++) pose[j] += alpha * step[j];
    }
    return false;
  };
  const touch = (pose) => {
    let top = -Infinity;
    for (let i = 0; i < cells; i++) top = Math.max(top, base[i] + pose[1] * u[i] + pose[2] * v[i]);
    pose[0] = -top;
  };

  // ---- where the resultant acts

  const { normals, rooms, centre, rim, supports } = job.hull;
  const held = (at) => {
    let share = 1;
    const du = at[0] - centre[0], dv = at[1] - centre[1];
    normals.forEach(([a, b], k) => {
      const want = a * du + b * dv;
      if (want > rooms[k]) share = Math.min(share, rooms[k] / want);
    });
    at[0] = centre[0] + share * du;
    at[1] = centre[1] + share * dv;
    return share < 1;
  };
  const outside = (at) => rim.some(([a, b], k) => a * at[0] + b * at[1] > supports[k]);
  const MEAN = { zAlong: 0, zAcross: 0, progress: 0 };
  // Load, place of the resultant with and without wobble over the half length, and direction of motion.
  const posed = (set, state, back, row) => {
    const { facing } = job.states[state], lean = back ? -1 : 1, g = job.grip;
    const ratio = job.oneWay ? 1 : g.ratio;
    const press = set.press * (1 + ((ratio - 1) / (ratio + 1)) * lean) * (1 + g.swell * row.progress * lean);
    const load = press + job.weight, share = press / load, c = Math.cos(facing), s = Math.sin(facing);
    const heading = back ? facing + Math.PI : facing, mu = Math.cos(heading), mv = Math.sin(heading);
    const forward = job.friction * set.height;
    const at = (along, across) => [
      (share * (c * along - s * across) + (1 - share) * job.weightAt[0] + forward * mu) / half,
      (share * (s * along + c * across) + (1 - share) * job.weightAt[1] + forward * mv) / half,
    ];
    const along = g.along + 0.5 * g.rocking * row.progress;
    return {
      load, mu, mv, steady: at(along, set.lean),
      at: at(along + g.wobbleAlong * row.zAlong, set.lean + g.wobbleAcross * row.zAcross),
    };
  };
  // How much faster every point is cut, and how much prouder the paper stands before it.
  const edges = (paper) => {
    const length = Math.max(paper.edgeLength, job.cell);
    return ways.map((way) => ({
      faster: way.map((d, i) => scale[i] * (1 + paper.edgeRate * Math.exp(-d / length))),
      rise: way.map((d) => paper.edgeRise * Math.exp(-d / job.riseLength)),
    })).map((edge) => ({ ...edge, logs: edge.faster.map(Math.log) }));
  };

  // ---- the paper's memory

  const { nx, ny, x0, y0, nodeX, nodeY } = memory, nodes = nx * ny;
  const standings = memory.standings.map(({ cosine, sine, along, across }) => {
    const at = new Int32Array(n), a = new Float64Array(n), b = new Float64Array(n);
    const x = -x0 / nodeX + 0.5, y = -y0 / nodeY + 0.5, c = half * cosine, s = half * sine;
    let uMost = 0, vMost = 0;
    for (let i = 0; i < n; i++) {
      const p = x + (c * u[i] - s * v[i]) / nodeX, q = y + (s * u[i] + c * v[i]) / nodeY, pi = Math.floor(p), qi = Math.floor(q);
      a[i] = p - pi - 0.5;
      b[i] = q - qi - 0.5;
      at[i] = (qi - 1) * nx + pi - 1;
      uMost = Math.max(uMost, Math.abs(u[i]));
      vMost = Math.max(vMost, Math.abs(v[i]));
    }
    const rx = half * (Math.abs(cosine) * uMost + Math.abs(sine) * vMost), ry = half * (Math.abs(sine) * uMost + Math.abs(cosine) * vMost);
    const spots = [
      Math.floor((-rx - x0) / nodeX + 0.5) - 1, Math.floor((rx - x0) / nodeX + 0.5) + 2,
      Math.floor((-ry - y0) / nodeY + 0.5) - 1, Math.floor((ry - y0) / nodeY + 0.5) + 2,
    ];
    const X = along.length - 1, Y = across.length - 1;
    return { at, a, b, along, across, spots, all: [spots[0] - X, spots[1] + X, spots[2] - Y, spots[3] + Y] };
  });
  const factor = new Float64Array(nodes), clean = new Float64Array(nodes), sharp = new Float64Array(nodes);
  const between = new Float64Array(nodes), seen = new Float64Array(nodes), cut = new Float64Array(nodes), read = new Float64Array(n);

  // What a spot feels of a field over its stroke and sway, in the window of the spots.
  const overStroke = (field, one) => {
    const { along, across, spots: [i0, i1, j0, j1], all: [, , b0, b1] } = one;
    for (let j = b0; j < b1; j++) {
      for (let i = i0; i < i1; i++) {
        const k = j * nx + i;
        let total = along[0] * field[k];
        for (let m = 1; m < along.length; m++) total += along[m] * (field[k - m] + field[k + m]);
        between[k] = total;
      }
    }
    for (let j = j0; j < j1; j++) {
      for (let i = i0; i < i1; i++) {
        const k = j * nx + i;
        let total = across[0] * between[k];
        for (let m = 1; m < across.length; m++) total += across[m] * (between[k - m * nx] + between[k + m * nx]);
        seen[k] = total;
      }
    }
  };
  // Its adjoint: what lies in the window of the spots, over the stroke.
  const laid = (one, out) => {
    const { along, across, spots: [i0, i1, j0, j1], all: [a0, a1, b0, b1] } = one;
    for (let j = b0; j < b1; j++) { between.fill(0, j * nx + i0, j * nx + i1); out.fill(0, j * nx + a0, j * nx + a1); }
    for (let j = j0; j < j1; j++) {
      for (let i = i0; i < i1; i++) {
        const k = j * nx + i, much = cut[k];
        between[k] += across[0] * much;
        for (let m = 1; m < across.length; m++) { between[k - m * nx] += across[m] * much; between[k + m * nx] += across[m] * much; }
        cut[k] = 0;
      }
    }
    for (let j = b0; j < b1; j++) {
      for (let i = i0; i < i1; i++) {
        const k = j * nx + i, much = between[k];
        out[k] += along[0] * much;
        for (let m = 1; m < along.length; m++) { out[k - m] += along[m] * much; out[k + m] += along[m] * much; }
      }
    }
  };
  // Quadratic B-splines share a spot between nine nodes, for reading and laying down alike.
  const readAt = (one) => {
    for (let i = 0; i < n; i++) {
      const k = one.at[i], a = one.a[i], b = one.b[i];
      const l = 0.5 * (0.5 - a) * (0.5 - a), m = 0.75 - a * a, r = 0.5 * (0.5 + a) * (0.5 + a);
      const p = l * seen[k] + m * seen[k + 1] + r * seen[k + 2], q = l * seen[k + nx] + m * seen[k + nx + 1] + r * seen[k + nx + 2];
      const t = l * seen[k + 2 * nx] + m * seen[k + 2 * nx + 1] + r * seen[k + 2 * nx + 2];
      read[i] = 0.5 * (0.5 - b) * (0.5 - b) * p + (0.75 - b * b) * q + 0.5 * (0.5 + b) * (0.5 + b) * t;
    }
  };
  const spread = (one, depth, felt) => {
    const { at, a: as, b: bs } = one, perNode = 1 / (nodeX * nodeY);
    for (let i = 0; i < cells; i++) {
      const k = at[i], a = as[i], b = bs[i], amount = ((depth[i] * area[i]) / felt[i]) * perNode;
      const l = amount * 0.5 * (0.5 - a) * (0.5 - a), m = amount * (0.75 - a * a), r = amount * 0.5 * (0.5 + a) * (0.5 + a);
      const near = 0.5 * (0.5 - b) * (0.5 - b), mid = 0.75 - b * b, far = 0.5 * (0.5 + b) * (0.5 + b);
      cut[k] += l * near; cut[k + 1] += m * near; cut[k + 2] += r * near;
      cut[k + nx] += l * mid; cut[k + nx + 1] += m * mid; cut[k + nx + 2] += r * mid;
      cut[k + 2 * nx] += l * far; cut[k + 2 * nx + 1] += m * far; cut[k + 2 * nx + 2] += r * far;
    }
  };
  // Cutting power halfway through a row, linearly implicit: second order, and no overshoot.
  const power = (paper, slower, load, dull, dose, longer, [i0, i1, j0, j1]) => {
    const fl = paper.loadingFloor, fd = paper.dullingFloor, tl = 1 / (slower[0] * paper.loadingScale), td = 1 / (slower[1] * paper.dullingScale);
    for (let j = j0; j < j1; j++) {
      for (let k = j * nx + i0; k < j * nx + i1; k++) {
        let ql = Math.exp(-load[k] * tl), qd = Math.exp(-dull[k] * td);
        if (dose[k] > 0) {
          const byLoad = fl + (1 - fl) * ql, byDull = fd + (1 - fd) * qd;
          const fall = byLoad * (1 - fd) * qd * td + byDull * (1 - fl) * ql * tl, use = 0.5 * longer * dose[k];
          const metal = (use * byLoad * byDull) / (1 + use * fall);
          ql *= Math.exp(-metal * tl);
          qd *= Math.exp(-metal * td);
        }
        clean[k] = ql;
        sharp[k] = qd;
        factor[k] = (fl + (1 - fl) * ql) * (fd + (1 - fd) * qd);
      }
    }
  };
  const dot = (one, other, [i0, i1, j0, j1]) => {
    let total = 0;
    for (let j = j0; j < j1; j++) for (let k = j * nx + i0; k < j * nx + i1; k++) total += one[k] * other[k];
    return total;
  };

  const remember = (load, dull, dose, [i0, i1, j0, j1]) => {
    for (let j = j0; j < j1; j++) {
      for (let k = j * nx + i0; k < j * nx + i1; k++) { const metal = dose[k] * factor[k]; load[k] += metal; dull[k] += metal; }
    }
  };
  const wear = (h, lam) => { for (let i = 0; i < n; i++) { soft[i] *= lam; h[i] -= soft[i]; } };

  const startOf = (set) => own.map((h, i) => {
    const x = (u[i] * half) / job.halfLength, y = (v[i] * half) / job.halfWidth;
    return set.own * h + set.bow * (1 - x * x) + 0.5 * set.twist * x * y;
  });

  // Prepare one row's closing and weights; returns what turns softplus into force.
  const prepare = (h, edge, paper, lam, slide, aged) => {
    const k0 = job.rate * paper.rateFactor, beta = Math.log((k0 * P0 * slide) / lam), toForce = lam / (k0 * slide);
    const { rise, logs, faster } = edge;
    for (let i = 0; i < n; i++) base[i] = (h[i] + rise[i]) / lam + beta + logs[i] + (aged ? Math.log(read[i]) : 0);
    for (let i = 0; i < cells; i++) weight[i] = ((area[i] / faster[i]) * toForce) / (aged ? read[i] : 1);
    return toForce;
  };

  // The face at every look of one setting of the knobs.
  const work = (set) => {
    const paper = job.papers[set.grit], rows = rowsOf(paper.rows[set.turn]), edge = edges(paper), aged = job.aged;
    const h = startOf(set), before = h.slice(), k0 = job.rate * paper.rateFactor, slower = rows.slower;
    const load = new Float64Array(aged ? nodes : 0), dull = new Float64Array(aged ? nodes : 0);
    if (aged) dull.fill(-paper.dullingScale * Math.log(1 - set.blunt) * slower[1]);
    const kinds = 2 * job.states.length, guesses = Array.from({ length: kinds }, () => new Float64Array(3));
    const met = new Array(kinds).fill(false), depthThen = new Float64Array(kinds), lamThen = new Float64Array(kinds).fill(paper.bedding);
    const doses = [], over = [], feet = [], last = new Float64Array(3), heights = [], papers = [];
    let lam = paper.bedding, depth = 0, first = true, tipped = 0, clipped = 0, slid = 0, ql = 1, qd = 1;
    for (let r = 0; r < rows.count; r++) {
      const event = rows.events[r], kind = rows.kinds[r], state = kind >> 1, back = Boolean(event & 8), slide = rows.slides[r];
      const pose = posed(set, state, back, { zAlong: rows.zAlong[r], zAcross: rows.zAcross[r], progress: rows.progress[r] });
      if (pose.load <= 0) return { lifted: true };
      if (outside(pose.steady)) tipped++;
      if (held(pose.at)) clipped++;
      const e = edge[job.states[state].ways[back ? 1 : 0]], one = standings[job.states[state].standing], at = job.states[state].standing;
      const slot = 2 * at + (kind % 2);
      if (aged) {
        if (event & 1) for (let k = 0; k < nodes; k++) load[k] *= 1 - paper.brushing;
        if (event & 2) { load.fill(0); dull.fill(0); }
        if (!feet[at]) {
          feet[at] = new Float64Array(nodes);
          spread(one, ones, ones);
          laid(one, feet[at]);
          const even = (k0 * slide * pose.load) / job.meanArea;
          for (const which of [2 * at, 2 * at + 1]) { doses[which] = feet[at].map((x) => even * x); over[which] = slide; }
          const sum = feet[at].reduce((a, b) => a + b, 0);
          for (let k = 0; k < nodes; k++) feet[at][k] /= sum;
        }
        power(paper, slower, load, dull, doses[slot], slide / over[slot], one.all);
        overStroke(factor, one);
        readAt(one);
        ql = dot(clean, feet[at], one.all);
        qd = dot(sharp, feet[at], one.all);
        lam = paper.bedding * (paper.bluntBedding + (1 - paper.bluntBedding) * qd);
        const forward = (paper.frictionGain * job.friction * set.height * (1 - ql)) / half;
        pose.at[0] += forward * pose.mu;
        pose.at[1] += forward * pose.mv;
        if (forward > 0 && held(pose.at)) clipped++;
      }
      prepare(h, e, paper, lam, slide, aged);
      const guess = guesses[kind];
      if (met[kind]) {
        for (let j = 0; j < 3; j++) guess[j] *= lamThen[kind] / lam;
        guess[0] += (depth - depthThen[kind]) / lam;
      } else if (first) { touch(guess); first = false; } else guess.set(last);
      lamThen[kind] = lam;
      const cap = Math.max(50e-6, 3 * paper.bedding) / lam, f = pose.load;
      if (!solve(f, f * pose.at[0], f * pose.at[1], cap, guess)) {
        guess.fill(0);
        touch(guess);
        if (!solve(f, f * pose.at[0], f * pose.at[1], cap, guess)) return { lost: true };
      }
      close(cells, n, guess[0], guess[1], guess[2]);
      met[kind] = true;
      last.set(guess);
      depthThen[kind] = depth;
      depth += (k0 * slide * pose.load) / job.meanArea;
      slid += pose.load * slide;
      wear(h, lam);
      if (aged) {
        spread(one, soft, read);
        laid(one, doses[slot]);
        remember(load, dull, doses[slot], one.all);
        over[slot] = slide;
      }
      if (event & 4) { heights.push(h.slice()); papers.push({ clean: ql, sharp: qd }); }
    }
    return { before, heights, papers, looks: rows.looks, tipped: tipped / rows.count, clipped: clipped / rows.count };
  };
  const unpacked = new Map();
  const rowsOf = (packed) => {
    if (!unpacked.has(packed)) {
      unpacked.set(packed, {
        count: packed.count, slower: packed.slower, looks: packed.looks,
        kinds: new Uint8Array(bytesOf(packed.kinds)), events: new Uint8Array(bytesOf(packed.events)),
        slides: floatsOf(packed.slides), zAlong: floatsOf(packed.zAlong), zAcross: floatsOf(packed.zAcross), progress: floatsOf(packed.progress),
      });
    }
    return unpacked.get(packed);
  };
  // Pressure of the paper on every cell [Pa] and the pose, on a face as it is, in the mean of the hands: for a
  // slide so short that no spot gives way.
  const moment = (h, set, state, back, aged) => {
    const paper = job.papers[set.grit], e = edges({ ...paper, edgeRate: 0 })[job.states[state].ways[back ? 1 : 0]];
    const pose = posed(set, state, back, MEAN), lam = paper.bedding * (paper.bluntBedding + (1 - paper.bluntBedding) * aged.sharp);
    const further = (paper.frictionGain * job.friction * set.height * (1 - aged.clean)) / half;
    pose.at[0] += further * pose.mu;
    pose.at[1] += further * pose.mv;
    held(pose.at);
    const k0 = job.rate * paper.rateFactor, slide = (1e-5 * lam * job.meanArea) / (k0 * pose.load), found = new Float64Array(3);
    const toForce = prepare(h, e, paper, lam, slide, false);
    touch(found);
    solve(pose.load, pose.load * pose.at[0], pose.load * pose.at[1], Math.max(50e-6, 3 * paper.bedding) / lam, found);
    const pressure = new Float64Array(cells);
    for (let i = 0; i < cells; i++) pressure[i] = (toForce * soft[i]) / e.faster[i];
    return { pressure, at: pose.at, load: pose.load, tilt: [lam * found[1], lam * found[2]], back, steady: pose.steady, tips: outside(pose.steady) };
  };
  return { work, moment, startOf, u, v, area, cells, n };
};
