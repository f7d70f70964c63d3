// The page with knobs: every move of a knob works the lap anew and shows what comes of it.
"use strict";
(() => {
  const job = JSON.parse(document.getElementById("knob-data").textContent), byId = (id) => document.getElementById(id);
  const lap = makeLap(job), figures = makeFigures(job, lap), maps = makeMaps(job), profile = makeProfile(job, lap, maps);
  const side = makeSide(job, lap, profile, byId("side"));
  const set = { ...job.start };
  let now = null, kept = null, shown = job.strokes, guessing = false;
  const FIGURES = ["flatness", "straightedge", "mean_depth", "greatest_depth", "taper_along", "taper_across"];

  const digits = (x) => (Math.abs(x) >= 99.95 ? x.toFixed(0) : Math.abs(x) >= (job.units.height === "thou" ? 9.995 : 0) ? x.toFixed(1) : x.toFixed(2)).replace(/^-(0\.?0*)$/, "$1").replace("-", "−");
  const tall = (h) => `${digits(h * job.per.height)} ${job.units.height}`;
  const inUnit = (knob, value) => {
    const x = value * knob.factor, step = Math.abs(knob.step * knob.factor), text = x.toFixed(step < 0.02 ? 3 : step < 0.2 ? 2 : step < 1 ? 1 : 0);
    return `${(Number(text) === 0 ? "0" : text).replace("-", "−")} ${knob.unit}`;
  };

  // ---- one setting worked, with the figures at all looks

  const worked = (knobs) => {
    const run = lap.work(knobs);
    if (run.lifted || run.lost) return { fault: run.lifted ? "The hands lift the part: nothing presses on the paper." : "No way found in which the part could lie on the paper: turn a knob back." };
    if (run.tipped > 0) {
      const share = Math.max(1, Math.round(100 * run.tipped));
      return { fault: `The part tips over: in ${share} % of the work the press acts beyond its edge. Lower the hands, or lean less. No figures.` };
    }
    const faces = [run.before, ...run.heights], looks = [0, ...run.looks];
    return {
      set: { ...knobs }, faces, looks, clipped: run.clipped, papers: [{ clean: 1, sharp: 1 - knobs.blunt }, ...run.papers],
      figures: faces.map((h) => figures.of(run.before, h)),
    };
  };
  const at = (one) => {
    let k = one.looks.length - 1;
    while (k > 0 && one.looks[k] > shown) k--;
    return k;
  };

  // ---- what is shown

  const scale = (key, low, high, unit) => {
    const spans = byId(`scale-${key}`).children;
    [low, (low + high) / 2, high].forEach((x, k) => { spans[k].textContent = `${String(Number(x.toPrecision(3))).replace("-", "−")}${k === 2 ? ` ${unit}` : ""}`; });
  };
  const drawMap = (key, values, factor, low, high, table, unit) => {
    scale(key, low, high, unit);
    maps.draw(byId(`map-${key}`), values && values.map((x) => x * factor), low, high, table);
  };
  const cellsOf = (values) => values.subarray(0, lap.cells);
  const removedOf = (one, k) => one.faces[0].map((h, i) => h - one.faces[k][i]);
  const draw = () => {
    if (!now || now.fault) return;
    const k = at(now), h = now.faces[k], per = job.per.height, unit = job.units.height;
    const high = niceAbove(1.02 * Math.max(...now.faces.map((one, i) => (i === 0 || i === k ? Math.max(...cellsOf(figures.levelled(one)).map(Math.abs)) : 0))) * per);
    drawMap("height", cellsOf(figures.levelled(h)), per, -high, high, "height", unit);
    const off = cellsOf(removedOf(now, k));
    drawMap("removed", off, per, 0, niceAbove(per * Math.max(1e-6, ...cellsOf(removedOf(now, now.faces.length - 1)))), "removed", unit);
    const push = lap.moment(h, now.set, 0, false, now.papers[k]), pull = job.oneWay ? push : lap.moment(h, now.set, 0, true, now.papers[k]);
    const sorted = [...push.pressure].sort((a, b) => a - b), most = niceAbove(job.per.pressure * sorted[Math.floor(0.98 * sorted.length)]);
    drawMap("pressure", push.pressure, job.per.pressure, 0, most, "pressure", job.units.pressure);
    side.show(h, push, pull, now.set);
    const other = kept && !kept.fault ? kept : null;
    if (other) {
      const before = removedOf(other, at(other)), by = off.map((x, i) => x - before[i]), wideBy = niceAbove(per * Math.max(1e-7, ...by.map(Math.abs)));
      drawMap("difference", by, per, -wideBy, wideBy, "height", unit);
      const apart = Math.max(...by.map(Math.abs)) * per;
      byId("difference-says").textContent = apart < (unit === "thou" ? 0.005 : 0.1) ? "A and B take off alike." : `Brown: B took more off than A, up to ${tall(Math.max(0, ...by))}${Math.min(...by) * per < -0.05 ? `; blue: less, up to ${tall(-Math.min(...by))}` : ""}.`;
    } else {
      maps.draw(byId("map-difference"), null, 0, 1, "height");
      byId("difference-says").textContent = "Keep this setting as A, then move a knob: the map shows what B takes off more and less.";
    }
    const by = job.limitBy === "straightedge" ? "straightedge" : "flatness", courses = [{ looks: now.looks, values: now.figures.map((f) => f[by] * per) }];
    if (other) courses.unshift({ looks: other.looks, values: other.figures.map((f) => f[by] * per), dashed: true });
    maps.curve(byId("curve"), courses, job.limit * per, shown, unit);
    told(k);
  };
  const told = (k) => {
    const f = now.figures[k], by = job.limitBy === "straightedge" ? f.straightedge : f.flatness;
    const caught = now.clipped > job.caught;
    const met = by <= job.limit ? "met" : "not met", deep = job.allowance && f.greatest_depth > job.allowance ? " More than may come off." : "";
    byId("side-says").textContent = job.oneWay ? "The part is only pushed." : `From push to pull the part tips by ${tall(side.tips())}, one end down and the other up. Arrows below: pressure; hands at their true height.`;
    byId("answer").textContent = `After ${now.looks[k]} strokes: straightedge ${tall(f.straightedge)}, flatness ${tall(f.flatness)} (limit ${Number((job.limit * job.per.height).toPrecision(3))} ${job.units.height} ${job.limitBy === "straightedge" ? "under the straightedge" : "all over"}: ${met}); deepest ${tall(f.greatest_depth)} off.${deep}${caught ? ` In ${Math.round(100 * now.clipped)} % of the work the hands have to catch the part at its edge: rough figures.` : ""}`;
    FIGURES.forEach((name) => {
      byId(`start-${name}`).textContent = digits(now.figures[0][name] * job.per.height);
      byId(`now-${name}`).textContent = digits(f[name] * job.per.height);
      byId(`error-${name}`).textContent = caught ? "unknown" : digits((job.leastError + job.errors[name] * f.greatest_depth) * job.per.height);
      byId(`kept-${name}`).textContent = kept && !kept.fault ? digits(kept.figures[at(kept)][name] * job.per.height) : "–";
    });
    const grams = (one, k) => (one.figures[k].mean_depth * job.per.swarf).toFixed(2);
    byId("start-mass").textContent = "0";
    byId("now-mass").textContent = grams(now, k);
    byId("kept-mass").textContent = kept && !kept.fault ? grams(kept, at(kept)) : "–";
  };

  // ---- knobs

  let asked = 0;
  const answer = () => {
    asked = 0;
    const begun = performance.now();
    now = worked(set);
    const fault = Boolean(now.fault);
    byId("answer").classList.toggle("stop", fault);
    document.documentElement.classList.toggle("tips", fault);
    if (fault) {
      byId("answer").textContent = now.fault;
      FIGURES.forEach((name) => { byId(`now-${name}`).textContent = "–"; });
      byId("now-mass").textContent = "–";
    } else {
      draw();
      edge.show(now.faces[at(now)]);
      if (guessing) sketch.begin(now.faces[0], now.faces[now.faces.length - 1]);
    }
    document.documentElement.dataset.took = (performance.now() - begun).toFixed(1);
    document.documentElement.dataset.answers = String(Number(document.documentElement.dataset.answers || 0) + 1);
  };
  const ask = () => { if (!asked) asked = requestAnimationFrame(answer); };
  const put = (name) => {
    const knob = job.knobs.find((one) => one.name === name), input = byId(`knob-${name}`);
    input.value = String(set[name]);
    byId(`value-${name}`).textContent = inUnit(knob, set[name]);
    input.setAttribute("aria-valuetext", inUnit(knob, set[name]));
  };
  const putAll = () => {
    job.knobs.forEach((knob) => put(knob.name));
    byId("knob-turn").value = String(set.turn);
    byId("knob-grit").value = String(set.grit);
    byId("knob-own").checked = set.own > 0;
    paperSays();
  };
  const paperSays = () => {
    const paper = job.papers[set.grit];
    byId("paper-says").textContent = job.aged ? `${paper.name}: ${paper.brushEvery ? `brushed every ${paper.brushEvery} strokes` : "never brushed"}, ${paper.sheetEvery ? `a new sheet after ${paper.sheetEvery}` : "one sheet"}.` : "The paper stays as it is.";
  };
  job.knobs.forEach((knob) => {
    byId(`knob-${knob.name}`).addEventListener("input", (event) => { set[knob.name] = Number(event.target.value); put(knob.name); ask(); });
  });
  for (const name of ["turn", "grit"]) byId(`knob-${name}`).addEventListener("change", (event) => { set[name] = Number(event.target.value); paperSays(); ask(); });
  byId("knob-own").addEventListener("change", (event) => { set.own = event.target.checked ? 1 : 0; ask(); });
  byId("back").addEventListener("click", () => { Object.assign(set, job.start); putAll(); ask(); });
  document.querySelectorAll("[data-preset]").forEach((one) => one.addEventListener("click", () => { Object.assign(set, job.presets[Number(one.dataset.preset)]); putAll(); ask(); }));
  byId("keep").addEventListener("click", () => {
    kept = kept ? null : now;
    byId("keep").textContent = kept ? "Forget A" : "Keep this as A";
    byId("keep").setAttribute("aria-pressed", String(Boolean(kept)));
    if (kept) pick("difference");
    draw();
  });
  byId("shown").addEventListener("input", (event) => {
    shown = Math.round(Number(event.target.value));
    byId("value-shown").textContent = `${shown} of ${job.strokes}`;
    draw();
    if (now && !now.fault) edge.show(now.faces[at(now)]);
  });

  // ---- draw before you see

  const sketch = makeSketch(job, profile, byId("sketch"), (text) => { byId("sketch-says").textContent = text; });
  const setGuessing = (on) => {
    guessing = on;
    document.documentElement.classList.toggle("guessing", on);
    byId("guess").textContent = on ? "Show what comes" : "Hide the answer and draw";
    byId("guess").setAttribute("aria-pressed", String(on));
  };
  byId("guess").addEventListener("click", () => {
    if (!now || now.fault) { byId("sketch-says").textContent = "With these knobs the part tips: turn one back first."; return; }
    if (!guessing) {
      setGuessing(true);
      sketch.begin(now.faces[0], now.faces[now.faces.length - 1]);
      byId("sketch-says").textContent = "Broken: the face at the start. Draw over it how it will be at the end; the knobs may still be moved.";
      return;
    }
    if (!sketch.enough()) { byId("sketch-says").textContent = "Draw from one end to the other first, with finger or mouse."; return; }
    const off = sketch.reveal(), where = off.at < -0.6 ? "at the left end" : off.at > 0.6 ? "at the right end" : "about the middle";
    const shape = Math.abs(off.drawn - off.truth) < 0.25 * off.truth ? "about as high" : off.drawn > off.truth ? "higher" : "flatter";
    setGuessing(false);
    byId("sketch-says").textContent = `Yours is off by ${tall(off.mean)} on average, most ${where}: ${tall(off.most)}. From lowest to highest it is ${tall(off.truth)}, yours ${tall(off.drawn)}: ${shape}.`;
    draw();
  });

  // ---- straightedge, side view, tabs

  const edge = makeEdge(job, figures, maps, byId);
  const runs = () => { byId("run").textContent = side.running() ? "Stop" : "Strokes"; byId("run").setAttribute("aria-pressed", String(side.running())); };
  byId("run").addEventListener("click", () => { side.run(!side.running()); runs(); });
  byId("stand-push").addEventListener("click", () => { side.stand("push"); runs(); });
  byId("stand-pull").addEventListener("click", () => { side.stand("pull"); runs(); });
  const pick = (key) => {
    document.querySelectorAll(".views .view").forEach((one) => one.classList.toggle("on", one.dataset.view === key));
    document.querySelectorAll(".tabs button").forEach((one) => one.setAttribute("aria-pressed", String(one.dataset.view === key)));
  };
  document.querySelectorAll(".tabs button").forEach((one) => one.addEventListener("click", () => { pick(one.dataset.view); draw(); }));
  let waiting = 0;
  const again = () => { cancelAnimationFrame(waiting); waiting = requestAnimationFrame(() => { draw(); edge.draw(); sketch.draw(); }); };
  window.addEventListener("resize", again);
  window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", again);

  document.documentElement.classList.remove("quiet");
  Object.entries({ height: "height", removed: "removed", pressure: "pressure", difference: "height" }).forEach(([key, table]) => maps.bar(byId(`bar-${key}`), table));
  pick("side");
  putAll();
  runs();
  // For tests and for who looks under the lid: a setting worked as the page does, in SI.
  window.handlapKnobs = { work: (knobs) => { const one = worked({ ...job.start, ...knobs }); return one.fault ? null : one.figures[one.figures.length - 1]; }, gapAt: (k, x) => edge.gapAt(k, x), face: () => Array.from(now.faces[at(now)]), set: () => ({ ...set }) };
  answer();
})();
