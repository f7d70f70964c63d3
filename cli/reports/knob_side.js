// The side view: hands, part, paper and pressure along the stroke, heights a thousandfold, tipping as the
// stroke goes.  And the profile to draw before it is seen.
"use strict";
// Means of cells over the breadth of the part, along the axis of the stroke: { at: [m], mean: (values) => [] }.
const makeProfile = (job, lap, maps) => {
  const facing = job.states[0].facing, along = Math.abs(Math.cos(facing)) > 0.7, count = along ? maps.columns : maps.rows;
  const sums = new Float64Array(count), at = new Float64Array(count), bin = new Int32Array(lap.cells);
  for (let i = 0; i < lap.cells; i++) {
    const k = along ? maps.cells[i] % maps.columns : Math.floor(maps.cells[i] / maps.columns);
    bin[i] = k;
    sums[k] += lap.area[i];
    at[k] += lap.area[i] * (along ? lap.u[i] : lap.v[i]) * job.half;
  }
  const places = Array.from(at, (x, k) => x / sums[k]);
  const mean = (values) => {
    const found = new Float64Array(count);
    for (let i = 0; i < lap.cells; i++) found[bin[i]] += lap.area[i] * values[i];
    return Array.from(found, (x, k) => x / sums[k]);
  };
  // + towards the far end, away from who pushes.
  const away = Math.sign(along ? Math.cos(facing) : Math.sin(facing));
  return { at: places, mean, along, away, reach: along ? job.halfLength : job.halfWidth };
};

const makeSide = (job, lap, profile, canvas) => {
  const calm = window.matchMedia("(prefers-reduced-motion: reduce)"), FACTORS = [1000, 500, 250, 100];
  const RUN = 2600;  // milliseconds of a stroke there and back: slow enough to see it tip
  let push = null, pull = null, heights = null, hand = 0, running = !calm.matches, phase = 0.12, timer = 0, then = 0, factor = 1000;

  // How far the face stands over the paper along the stroke, with the tilt of a moment.
  const gaps = (moment) => {
    const tilt = moment.tilt[profile.along ? 0 : 1] / job.half;
    const close = heights.map((h, k) => h + tilt * profile.at[k]);
    const top = Math.max(...close);
    return close.map((x) => top - x);
  };
  const arrow = (pen, x0, y0, x1, y1, size) => {
    const angle = Math.atan2(y1 - y0, x1 - x0);
    pen.beginPath(); pen.moveTo(x0, y0); pen.lineTo(x1, y1); pen.stroke();
    pen.beginPath(); pen.moveTo(x1, y1);
    for (const turn of [2.6, -2.6]) pen.lineTo(x1 + size * Math.cos(angle + turn), y1 + size * Math.sin(angle + turn));
    pen.closePath(); pen.fill();
  };
  const draw = () => {
    if (!push || !canvas.clientWidth) return;
    const TALL = canvas.clientWidth < 500 ? 200 : 270, [pen, broad] = penOf(canvas, TALL), span = 2 * profile.reach + job.travel + 0.03, scale = (broad - 16) / span, paper = TALL - 64;
    // There in the first half of a stroke, back in the second; at the turn the part tips over in a moment.
    const swing = Math.cos(2 * Math.PI * phase), forth = Math.sin(2 * Math.PI * phase), blend = Math.max(-1, Math.min(1, 4 * forth));
    const [a, b] = [gaps(push), gaps(pull)], w = 0.5 + 0.5 * blend;
    const most = Math.max(...a, ...b, 1e-9);
    factor = FACTORS.find((f) => most * f * scale < 74) || 50;
    const middle = broad / 2 - (swing * profile.away * job.travel * scale) / 2;
    const X = (x) => middle + x * scale, Y = (k) => paper - (w * a[k] + (1 - w) * b[k]) * factor * scale;
    const ink = colourOf("ink"), faint = colourOf("faint");
    pen.fillStyle = colourOf("line");
    pen.fillRect(8, paper + 1, broad - 16, 5);
    pen.fillStyle = colourOf("metal");
    pen.fillRect(8, paper + 6, broad - 16, 12);
    // The part: its face below, its back a straight line that shows the tilt.
    const ends = [Y(0), Y(a.length - 1)], thick = 46, left = X(-profile.reach), right = X(profile.reach);
    const lean = [0, a.length - 1].map((k) => ((w * push.tilt[profile.along ? 0 : 1] + (1 - w) * pull.tilt[profile.along ? 0 : 1]) / job.half) * profile.at[k] * factor * scale);
    const back = Math.min(...ends, paper - 30) - thick + 12;
    pen.beginPath();
    pen.moveTo(left, ends[0]);
    profile.at.forEach((x, k) => pen.lineTo(X(x), Y(k)));
    pen.lineTo(right, ends[1]);
    pen.lineTo(right, back + lean[1]);
    pen.lineTo(left, back + lean[0]);
    pen.closePath();
    pen.fill();
    pen.strokeStyle = ink;
    pen.lineWidth = 1.5;
    pen.stroke();
    // Pressure from below, each arrow the mean over the breadth.
    const press = profile.mean(push.pressure).map((p, k, all) => w * p + (1 - w) * pulled[k]), high = Math.max(...profile.mean(push.pressure), ...pulled);
    pen.strokeStyle = pen.fillStyle = colourOf("act");
    pen.lineWidth = 2;
    profile.at.forEach((x, k) => {
      const long = (40 * press[k]) / high;
      if (long > 2) arrow(pen, X(x), paper + 20 + long, X(x), paper + 20, Math.min(5, 1 + long / 4));
    });
    // Hands at their height, true to the length of the part, and what they do.
    const moving = Math.sign(forth) * profile.away || 1, y = paper - hand * scale - 2, x = (left + right) / 2;
    pen.strokeStyle = pen.fillStyle = colourOf("mark");
    pen.lineWidth = 3;
    pen.beginPath(); pen.arc(x, y, 8, 0, 2 * Math.PI); pen.stroke();
    arrow(pen, x + moving * 10, y, x + moving * 52, y, 9);
    pen.lineWidth = 2;
    arrow(pen, x, paper + 3, x - moving * 40, paper + 3, 7);
    pen.fillStyle = faint;
    pen.textAlign = "left";
    pen.fillText(`heights × ${factor}`, 10, 16);
    pen.textAlign = "right";
    pen.fillText(forth >= 0 ? "push: away from you" : "pull: towards you", broad - 10, 16);
    pen.fillStyle = ink;
    pen.textAlign = profile.away > 0 ? "left" : "right";
    pen.fillText("you", profile.away > 0 ? 10 : broad - 10, paper - 8);
  };
  let pulled = null;
  const step = (now) => {
    timer = 0;
    if (!running) return;
    if (now - then > 40) { phase = (phase + Math.min(now - then, 200) / RUN) % 1; then = now; draw(); }
    timer = requestAnimationFrame(step);
  };
  const run = (on) => { running = on; then = performance.now(); if (on && !timer) timer = requestAnimationFrame(step); };
  return {
    // A face as it is, and the moments of push and pull on it.
    show: (face, forward, backward, set) => { heights = profile.mean(face); push = forward; pull = backward; pulled = profile.mean(pull.pressure); hand = set.height; draw(); if (running && !timer) run(true); },
    stand: (at) => { run(false); phase = at === "push" ? 0.25 : 0.75; draw(); },
    run, draw, running: () => running, factor: () => factor,
    // How far the part tips between push and pull, over its length [m].
    tips: () => Math.abs((2 * profile.reach * (push.tilt[profile.along ? 0 : 1] - pull.tilt[profile.along ? 0 : 1])) / job.half),
  };
};

// Draw before you see: the profile at the end, drawn by hand over that of the start.
const makeSketch = (job, profile, canvas, told) => {
  const TALL = 220;
  let start = null, truth = null, drawn = [], shown = false, down = false, top = 1;
  const place = () => {
    const broad = canvas.clientWidth, scale = (broad - 60) / (2 * profile.reach);
    return { broad, X: (x) => 48 + (x + profile.reach) * scale, Y: (h) => TALL / 2 - (h / top) * (TALL / 2 - 18),
      u: (x) => (x - 48) / scale - profile.reach, h: (y) => ((TALL / 2 - y) / (TALL / 2 - 18)) * top };
  };
  const draw = () => {
    if (!canvas.clientWidth || !start) return;
    const [pen] = penOf(canvas, TALL), { broad, X, Y } = place();
    pen.fillStyle = colourOf("faint");
    pen.strokeStyle = colourOf("line");
    pen.textAlign = "right";
    for (const part of [-1, 0, 1]) {
      pen.beginPath(); pen.moveTo(48, Y(part * top)); pen.lineTo(broad - 8, Y(part * top)); pen.stroke();
      pen.fillText(String(Number((part * top * job.per.height).toPrecision(3))), 43, Y(part * top) + 4);
    }
    const line = (values, colour, thick, dash) => {
      pen.strokeStyle = colour; pen.lineWidth = thick; pen.setLineDash(dash); pen.beginPath();
      let on = false;
      profile.at.forEach((x, k) => { if (values[k] === undefined) { on = false; return; } on ? pen.lineTo(X(x), Y(values[k])) : pen.moveTo(X(x), Y(values[k])); on = true; });
      pen.stroke(); pen.setLineDash([]);
    };
    line(start, colourOf("faint"), 1.6, [3, 4]);
    line(drawn, colourOf("mark"), 3, []);
    if (shown) line(truth, colourOf("act"), 3, []);
  };
  // Levelled by its best line, weighed alike: a drawn tilt says nothing of flatness.
  const level = (values) => {
    const n = values.length, m = values.reduce((a, b) => a + b, 0) / n, x = profile.at, c = x.reduce((a, b) => a + b, 0) / n;
    let sxx = 0, sxy = 0;
    x.forEach((p, k) => { sxx += (p - c) ** 2; sxy += (p - c) * (values[k] - m); });
    return values.map((h, k) => h - m - (sxy / sxx) * (x[k] - c));
  };
  const mark = (event) => {
    const box = canvas.getBoundingClientRect(), { u, h } = place(), x = u(event.clientX - box.left), y = h(event.clientY - box.top);
    let near = 0;
    profile.at.forEach((p, k) => { if (Math.abs(p - x) < Math.abs(profile.at[near] - x)) near = k; });
    if (down !== true && Math.abs(down - near) > 1 && drawn[down] !== undefined) {
      const way = Math.sign(near - down);
      for (let k = down + way; k !== near; k += way) drawn[k] = drawn[down] + ((y - drawn[down]) * (k - down)) / (near - down);
    }
    drawn[near] = y;
    down = near;
    draw();
  };
  canvas.addEventListener("pointerdown", (event) => { if (shown || !start) return; canvas.setPointerCapture(event.pointerId); down = true; mark(event); });
  canvas.addEventListener("pointermove", (event) => { if (down !== false && !shown) mark(event); });
  for (const name of ["pointerup", "pointercancel"]) canvas.addEventListener(name, () => { down = false; });
  return {
    draw,
    begin: (from, to) => { start = level(profile.mean(from)); truth = level(profile.mean(to)); drawn = new Array(start.length); shown = false; top = niceAbove(1.3 * job.per.height * Math.max(1e-5, ...start.map(Math.abs), ...truth.map(Math.abs))) / job.per.height; told(""); draw(); },
    enough: () => drawn.filter((x) => x !== undefined).length >= 0.6 * profile.at.length,
    reveal: () => {
      // Ends that were not reached go on as they were left.
      const known = drawn.map((x, k) => k).filter((k) => drawn[k] !== undefined);
      const whole = profile.at.map((_, k) => {
        if (drawn[k] !== undefined) return drawn[k];
        const before = known.filter((j) => j < k).pop(), after = known.find((j) => j > k);
        if (before === undefined) return drawn[after];
        if (after === undefined) return drawn[before];
        return drawn[before] + ((drawn[after] - drawn[before]) * (k - before)) / (after - before);
      });
      drawn = level(whole);
      shown = true;
      const off = drawn.map((x, k) => Math.abs(x - truth[k])), worst = off.indexOf(Math.max(...off));
      draw();
      return { mean: off.reduce((a, b) => a + b, 0) / off.length, most: off[worst], at: profile.at[worst] / profile.reach, truth: Math.max(...truth) - Math.min(...truth), drawn: Math.max(...drawn) - Math.min(...drawn) };
    },
  };
};
