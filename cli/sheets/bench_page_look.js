// A look at the face: stations and leaves, grams, dye, a note; with what to expect beside each.
const makeLook = (job, count, redraw) => {
  const byId = (id) => document.getElementById(id);
  const NS = "http://www.w3.org/2000/svg";
  const STATES = [["u", "full"], ["f", "fading"], ["h", "half gone"], ["g", "gone"], ["?", "not seen"]];
  const CERTAIN = 0.95;
  let brush = "g", painting = false;

  const svg = (name, attributes, into) => {
    const made = document.createElementNS(NS, name);
    for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
    into.append(made);
    return made;
  };
  const button = (text, into, pressed, act) => {
    const made = document.createElement("button");
    made.type = "button";
    made.textContent = text;
    made.setAttribute("aria-pressed", String(pressed));
    made.addEventListener("click", act);
    into.append(made);
    return made;
  };
  const draft = () => count.s.draft;
  const keyOf = (line, station) => `${line} ${station}`;
  const leafName = (um) => (um === 0 ? "none" : um === Infinity ? "all go" :
    (job.leaves.find((leaf) => leaf.um === um) || { name: String(um) }).name);
  const changed = () => { count.save(); draw(); redraw(); };

  const path = () => job.outline.map((ring) => `M${ring.map(([u, v]) => `${u} ${-v}`).join("L")}Z`).join("");

  const drawFace = () => {
    const face = byId("face"), [length, width] = job.size, d = draft();
    const room = 0.05 * length, dot = 0.019 * length;
    face.setAttribute("viewBox", `${-length / 2 - room} ${-width / 2 - room} ${length + 2 * room} ${width + 2 * room}`);
    face.replaceChildren();
    svg("path", { d: path(), class: "metal" }, face);
    job.lines.forEach((line, i) => {
      const own = i === d.line;
      svg("line", { x1: line.from[0], y1: -line.from[1], x2: line.to[0], y2: -line.to[1], class: own ? "edge own" : "edge" }, face);
    });
    job.lines.forEach((line, i) => line.places.forEach(([u, v], k) => {
      const told = d.stations[keyOf(i, k)], own = i === d.line;
      const kind = ["spot", own ? "own" : "", told ? "told" : "", own && k === d.station ? "at" : "", told && beyond(told) ? "out" : ""].join(" ");
      svg("circle", { cx: u, cy: -v, r: own && k === d.station ? 1.7 * dot : dot, class: kind }, face);
      if (told && own) {
        const text = svg("text", { x: u, y: -v - 2.1 * dot, "font-size": 2.6 * dot, "text-anchor": "middle", class: "said" }, face);
        text.textContent = leafName(told.goes);
      }
    }));
  };

  const tapped = (event) => {
    const face = byId("face"), place = new DOMPoint(event.clientX, event.clientY).matrixTransform(face.getScreenCTM().inverse());
    let best = Infinity, at = 0;
    job.lines[draft().line].places.forEach(([u, v], k) => {
      const away = Math.hypot(u - place.x, -v - place.y);
      if (away < best) [best, at] = [away, k];
    });
    draft().station = at;
    changed();
  };

  // Whether a leaf that goes is thicker than any that was to be expected anywhere.
  const beyond = (told) => {
    const look = count.nowLook();
    return Boolean(look && told.goes > look.leaf_um[2] + job.rules.equal_um);
  };

  const tell = (goes, stops) => {
    const d = draft();
    d.stations[keyOf(d.line, d.station)] = { goes, stops: stops === Infinity ? "open" : stops };
    changed();
  };
  const told = () => draft().stations[keyOf(draft().line, draft().station)];
  const thicker = (um) => (job.leaves.find((leaf) => leaf.um > um) || { um: Infinity }).um;

  const step = (by) => {
    const d = draft(), line = job.lines[d.line];
    const next = d.station + by;
    if (next < 0 || next >= line.at.length) {
      const lines = job.lines.length;
      d.line = (d.line + (by > 0 ? 1 : lines - 1)) % lines;
      d.station = by > 0 ? 0 : job.lines[d.line].at.length - 1;
    } else d.station = next;
    changed();
  };

  const drawLeaves = () => {
    const d = draft(), line = job.lines[d.line], now = told();
    const look = count.nowLook();
    byId("leaf-band").textContent = look
      ? `Expected: the thickest that goes anywhere is ${look.leaf[1]}${look.leaf[0] === look.leaf[2] ? "" : ` (${look.leaf[0]} to ${look.leaf[2]})`}. The goal is met by now in ${Math.round(100 * look.reached)} cases of 100.`
      : "Nothing is expected here: it is between two checks.";
    const lines = byId("lines");
    lines.replaceChildren();
    job.lines.forEach((one, i) => {
      const read = one.at.filter((_, k) => d.stations[keyOf(i, k)]).length;
      const made = button(one.letter, lines, i === d.line, () => { d.line = i; d.station = 0; changed(); });
      made.setAttribute("aria-label", `Line ${one.letter}, ${one.name}, ${read} of ${one.at.length} read`);
      if (read) made.classList.add(read === one.at.length ? "all" : "some");
    });
    byId("station").textContent = `${line.letter}${d.station + 1}: ${line.name}, at ${line.said[d.station]} ${job.length_unit}`;
    const goes = byId("goes"), stops = byId("stops");
    goes.replaceChildren();
    stops.replaceChildren();
    for (const um of [0, ...job.leaves.map((leaf) => leaf.um)]) {
      button(leafName(um), goes, Boolean(now) && now.goes === um, () => tell(um, thicker(um)));
    }
    if (now) {
      for (const um of [...job.leaves.map((leaf) => leaf.um).filter((x) => x > now.goes), Infinity]) {
        const own = now.stops === "open" ? Infinity : now.stops;
        button(leafName(um), stops, own === um, () => tell(now.goes, um));
      }
      button("clear", stops, false, () => { delete d.stations[keyOf(d.line, d.station)]; changed(); });
    }
    const limit = [...job.leaves].reverse().find((leaf) => leaf.um <= job.rules.limit_um + job.rules.equal_um);
    byId("rest").hidden = !limit;
    if (limit) byId("rest").textContent = `The ${limit.name} ${job.leaf_unit} leaf goes in nowhere else`;
    const out = Object.values(d.stations).filter(beyond).length;
    byId("leaf-mark").textContent = out ? `▲ Thicker than expected at ${out} station${out > 1 ? "s" : ""}.` : low(look) ? "▼ Thinner than expected everywhere." : "";
  };

  const whole = () => job.lines.every((line, i) => line.at.every((_, k) => draft().stations[keyOf(i, k)]));
  const low = (look) => Boolean(look) && whole() &&
    Math.max(...Object.values(draft().stations).map((one) => one.goes)) < look.leaf_um[0] - job.rules.equal_um;

  const rest = () => {
    const limit = [...job.leaves].reverse().find((leaf) => leaf.um <= job.rules.limit_um + job.rules.equal_um);
    job.lines.forEach((line, i) => line.at.forEach((_, k) => {
      draft().stations[keyOf(i, k)] ||= { goes: 0, stops: limit.um };
    }));
    changed();
  };

  // Weights in grams, from a number in the unit of the field, or numbers with units, such as 5 lb 8.02 oz.
  const unitNow = () => job.weights[draft().weighs];
  const weight = (text) => {
    const parts = [...text.trim().matchAll(/(\d+(?:[.,]\d*)?|[.,]\d+)\s*([a-z]*)\s*/gy)];
    if (!parts.length || parts.map((part) => part[0]).join("") !== text.trim()) return NaN;
    if (parts.length > 1 && parts.some((part) => !part[2])) return NaN;
    const grams = parts.reduce((sum, [, value, unit]) =>
      sum + Number(value.replace(",", ".")) * (unit ? job.weights.units[unit] ?? NaN : unitNow().grams), 0);
    return Number(grams.toPrecision(12));
  };
  const weighed = (kind, grams) => {
    const { unit, grams: one } = job.weights[kind];
    return `${one === 1 ? grams : Number((grams / one).toPrecision(8))} ${unit}`;
  };
  const shown = (x) => Number(x.toPrecision(3)).toString();

  // Grams off in all if what stands in the field were written down.
  const offWith = (grams) => {
    const entry = draft().weighs === "part" ? { part_g: grams } : { swarf_g: grams };
    return benchRules.metalOff([...count.entries(), { ...entry, at: count.total() }]);
  };

  const drawGrams = () => {
    const d = draft(), look = count.nowLook(), { part, swarf } = job.weights;
    const off3 = look ? look.grams.map((x) => shown(x / swarf.grams)) : [];
    byId("weigh-unit").textContent = byId("scale-unit").textContent = unitNow().unit;
    byId("weighs-part").setAttribute("aria-pressed", String(d.weighs === "part"));
    byId("weighs-swarf").setAttribute("aria-pressed", String(d.weighs === "swarf"));
    const first = count.entries().find((e) => e.part_g !== undefined);
    let words = look ? `Expected off in all: ${off3[1]} ${swarf.unit} (${off3[0]} to ${off3[2]})` : "Nothing is expected here: it is between two checks";
    if (look && d.weighs === "part" && first && first.at === 0) {
      const places = Math.max(2, (String(first.scale_g ? Number((first.scale_g / part.grams).toPrecision(5)) : "").split(".")[1] || "").length);
      words += `, so the part some ${((first.part_g - look.grams[1]) / part.grams).toFixed(places)} ${part.unit}`;
    }
    byId("gram-band").textContent = `${words}.`;
    const grams = weight(d.grams), off = Number.isFinite(grams) ? offWith(grams) : null;
    let mark = "";
    if (off && count.total()) {
      mark = `${shown(off.grams / swarf.grams)} ${swarf.unit} off in all`;
      if (look && off.grams > look.grams[2]) mark = `▲ ${mark}, more than expected`;
      else if (look && off.grams < look.grams[0]) mark = `▼ ${mark}, less than expected`;
      mark += ".";
    }
    byId("gram-mark").textContent = mark;
  };

  const drawDye = () => {
    const d = draft(), look = count.nowLook(), box = byId("zones");
    const per = (x) => `${Math.round(100 * x)} %`;
    byId("dye-band").textContent = look && look.gone
      ? `Expected: gone on ${per(look.gone[1])} of the face (${per(look.gone[0])} to ${per(look.gone[2])}), fading or gone on ${per(look.faded[1])} (${per(look.faded[0])} to ${per(look.faded[2])}).`
      : "Nothing is expected of the dye here.";
    [...byId("brushes").children].forEach((one) => one.setAttribute("aria-pressed", String(one.dataset.state === brush)));
    const odd = [];
    [...box.children].forEach((zone, k) => {
      const state = d.zones[k], chance = look && look.zones ? look.zones[k] : null;
      const out = chance !== null && ((state === "g" && chance < 1 - CERTAIN) || ((state === "u" || state === "f") && chance > CERTAIN));
      zone.className = `zone ${state === "?" ? "unseen" : `state-${state}`}${out ? " out" : ""}`;
      const name = STATES.find(([letter]) => letter === state)[1];
      zone.textContent = (out ? "▲ " : "") + (state === "?" ? "" : name);
      zone.setAttribute("aria-label", `${["far", "middle", "near"][Math.floor(k / 5)]} row, column ${1 + (k % 5)}: ${name}`);
      if (out) odd.push(k);
    });
    byId("dye-mark").textContent = odd.length ? `▲ Not as expected in ${odd.length} zone${odd.length > 1 ? "s" : ""}.` : "";
    byId("dyed").setAttribute("aria-pressed", String(d.dyed));
  };

  const paint = (k) => {
    const d = draft();
    if (d.zones[k] === brush) return;
    d.zones = d.zones.slice(0, k) + brush + d.zones.slice(k + 1);
    count.save();
    drawDye();
  };

  const draw = () => {
    drawFace();
    drawLeaves();
    drawGrams();
    drawDye();
    const look = count.nowLook();
    byId("look-head").textContent = count.s.open.strokes || !look ? `Look, ${count.total()} strokes in all` : "Look";
    for (const id of ["grams", "scale", "note"]) if (document.activeElement !== byId(id)) byId(id).value = draft()[id];
  };

  // What the look says as keys of an entry of the log, or what is wrong with it.
  const read = () => {
    const d = draft(), entry = {}, faults = [];
    const lines = job.lines.map((line, i) => ({
      name: line.name, from: line.from, to: line.to, held: line.held,
      stations: line.at.flatMap((at, k) => {
        const one = d.stations[keyOf(i, k)];
        return one ? [[at, one.goes === 0 ? "none" : one.goes, one.stops]] : [];
      }),
    })).filter((line) => line.stations.length);
    if (lines.length) entry.readings = lines;
    if (d.grams.trim()) {
      const grams = weight(d.grams), scale = weight(d.scale);
      if (!Number.isFinite(grams)) faults.push(`“${d.grams}” is no number of ${job.weights.words}.`);
      if (!(scale > 0)) faults.push("Say in what steps the scale shows, such as 0.01.");
      const before = count.entries().filter((e) => e.part_g !== undefined).pop();
      if (d.weighs === "part" && before && grams > before.part_g + scale + (before.scale_g || 0) + 0.001) {
        faults.push(`The part weighed ${weighed("part", before.part_g)} before, and does not get heavier: is there oil or water in it?`);
      }
      entry[d.weighs === "part" ? "part_g" : "swarf_g"] = grams;
      entry.scale_g = scale;
    }
    if (d.zones !== "?".repeat(15)) entry.dye_seen = d.zones.match(/.{5}/g).join(" ");
    if (d.dyed) entry.dyed = true;
    const note = d.note.replace(/[\p{C}\p{Z}]+/gu, " ").trim();
    if (note) entry.note = note;
    return { entry: Object.keys(entry).length ? entry : null, faults };
  };

  for (const [state, name] of STATES) {
    button(name, byId("brushes"), state === brush, () => { brush = state; drawDye(); }).dataset.state = state;
  }
  const zones = byId("zones");
  for (let k = 0; k < 15; k++) {
    const zone = button("", zones, false, () => paint(k));
    zone.removeAttribute("aria-pressed");
    zone.addEventListener("pointerdown", (event) => { painting = true; zone.releasePointerCapture?.(event.pointerId); paint(k); });
    zone.addEventListener("pointerenter", () => { if (painting) paint(k); });
  }
  window.addEventListener("pointerup", () => { painting = false; });
  zones.addEventListener("pointermove", (event) => {
    const under = painting && document.elementFromPoint(event.clientX, event.clientY);
    const k = under ? [...zones.children].indexOf(under) : -1;
    if (k >= 0) paint(k);
  });
  byId("face").addEventListener("pointerdown", tapped);
  byId("back").addEventListener("click", () => step(-1));
  byId("on").addEventListener("click", () => step(1));
  byId("rest").addEventListener("click", rest);
  for (const kind of ["part", "swarf"]) {
    byId(`weighs-${kind}`).addEventListener("click", () => {
      draft().weighs = kind;
      if (!draft().scale || Object.values(job.scales).map(String).includes(draft().scale)) draft().scale = String(job.scales[kind] ?? draft().scale);
      changed();
    });
  }
  for (const id of ["grams", "scale", "note"]) {
    byId(id).addEventListener("input", () => { draft()[id] = byId(id).value; count.save(); drawGrams(); });
  }
  byId("dyed").addEventListener("click", () => { draft().dyed = !draft().dyed; changed(); });
  byId("dye-signs").textContent = job.dye_signs;
  if (!draft().scale && job.scales[draft().weighs]) draft().scale = String(job.scales[draft().weighs]);
  return { draw, read, weighed };
};
