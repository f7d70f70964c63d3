// A face to feel: the learner lays the straightedge, finds out whether it rocks, and pushes leaves.
"use strict";
(() => {
  const byId = (id) => document.getElementById(id), job = JSON.parse(byId("feel-data").textContent), felt = feltOf(job);
  const { lines, leaves } = job, KEY = `handlap felt ${job.head.exercise} ${job.key}`, TALL = 150;
  // By line: how it is held ("" before that was said), whether its ends were pressed, by station what went and stopped.
  const blank = () => ({ lines: lines.map(({ at }) => ({ held: "", pressed: false, read: at.map(() => ({ goes: -1, stops: leaves.length, tried: [] })) })), answers: {} });
  let s = blank(), line = 0, station = 0, last = null, kept = true;
  const stored = () => {
    try {
      const found = JSON.parse(window.localStorage.getItem(KEY) || "null");
      if (found && found.lines && found.lines.length === lines.length) s = found;
    } catch { kept = false; }
  };
  const save = () => { try { window.localStorage.setItem(KEY, JSON.stringify(s)); kept = true; } catch { kept = false; } };

  const now = () => s.lines[line], here = () => now().read[station];
  const touched = (one) => one.tried.length > 0;
  const whole = (one) => touched(one) && one.stops === one.goes + 1;
  const goesWords = (one) => (one.goes < 0 ? job.none : String(leaves[one.goes]));
  const stopsWords = (one) => (one.stops >= leaves.length ? job.open : String(leaves[one.stops]));
  const made = (tag, text, parent, className = "") => {
    const found = document.createElement(tag);
    found.textContent = text;
    if (className) found.className = className;
    parent.append(found);
    return found;
  };

  // ---- what the page hands over

  const value = (words) => (words === job.none || words === job.open ? words : Number(words));
  const text = () => {
    const read = lines.flatMap((one, k) => {
      const found = Object.fromEntries(s.lines[k].read.flatMap((r, i) => (touched(r) ? [[one.labels[i], [value(goesWords(r)), value(stopsWords(r))]]] : [])));
      return Object.keys(found).length ? [{ line: one.letter, held: s.lines[k].held, read: found }] : [];
    });
    const given = Object.fromEntries(Object.entries(s.answers).filter(([, words]) => words.trim()));
    return handOver.textOf([job.head, ...read, ...(Object.keys(given).length ? [{ answers: given }] : [])]);
  };

  // ---- drawing

  const drawPlan = () => {
    const canvas = byId("plan"), rim = job.outline[0], us = rim.map((p) => p[0]), vs = rim.map((p) => p[1]);
    const [u0, u1, v0, v1] = [Math.min(...us), Math.max(...us), Math.min(...vs), Math.max(...vs)];
    const broad = canvas.clientWidth, scale = Math.min((broad - 60) / (u1 - u0), 300 / (v1 - v0)), tall = (v1 - v0) * scale + 60, [pen] = penOf(canvas, tall);
    const X = (u) => broad / 2 + (u - (u0 + u1) / 2) * scale, Y = (v) => tall / 2 - (v - (v0 + v1) / 2) * scale, path = new Path2D();
    for (const ring of job.outline) { ring.forEach(([u, v], k) => (k ? path.lineTo(X(u), Y(v)) : path.moveTo(X(u), Y(v)))); path.closePath(); }
    pen.fillStyle = colourOf("metal");
    pen.fill(path, "evenodd");
    pen.strokeStyle = colourOf("ink");
    pen.stroke(path);
    lines.forEach((one, k) => {
      const on = k === line, place = (at) => [0, 1].map((i) => one.start[i] + (at / one.length) * (one.end[i] - one.start[i]));
      pen.strokeStyle = colourOf(on ? "act" : "line");
      pen.lineWidth = on ? 7 : 2;
      pen.beginPath(); pen.moveTo(X(one.start[0]), Y(one.start[1])); pen.lineTo(X(one.end[0]), Y(one.end[1])); pen.stroke();
      one.at.forEach((at, i) => {
        const [u, v] = place(at), done = whole(s.lines[k].read[i]);
        pen.beginPath(); pen.arc(X(u), Y(v), on && i === station ? 8 : 4.5, 0, 2 * Math.PI);
        pen.fillStyle = on && i === station ? colourOf("mark") : done ? colourOf("act") : colourOf("sheet");
        pen.fill();
        pen.lineWidth = 1.2; pen.strokeStyle = colourOf("ink"); pen.stroke();
      });
    });
    // Letters stand on a disc at the start of their line, over whatever is there.
    lines.forEach((one, k) => {
      const along = [one.end[0] - one.start[0], one.start[1] - one.end[1]], far = Math.hypot(...along);
      const x = Math.max(11, Math.min(broad - 11, X(one.start[0]) - (17 * along[0]) / far)), y = Math.max(11, Math.min(tall - 11, Y(one.start[1]) - (17 * along[1]) / far));
      pen.beginPath(); pen.arc(x, y, 10, 0, 2 * Math.PI);
      pen.fillStyle = colourOf(k === line ? "act" : "sheet"); pen.fill();
      pen.strokeStyle = colourOf("line"); pen.lineWidth = 1; pen.stroke();
      pen.fillStyle = colourOf(k === line ? "on-act" : "ink");
      pen.textAlign = "center"; pen.textBaseline = "middle"; pen.fillText(one.letter, x, y + 1);
    });
    canvas.place = { X, Y };
  };
  const drawLaid = () => {
    const [pen, broad] = penOf(byId("laid"), TALL), one = lines[line], X = (at) => 14 + ((broad - 28) * at) / one.length;
    pen.fillStyle = colourOf("line"); pen.fillRect(6, 28, broad - 12, 30);
    pen.fillStyle = colourOf("metal"); pen.fillRect(6, 74, broad - 12, TALL - 100);
    pen.fillStyle = colourOf("ink"); pen.textAlign = "left"; pen.textBaseline = "alphabetic";
    const held = now().held;
    pen.fillText(held ? `${one.letter} ${one.name}, ${held === "rest" ? "at rest" : held === "level" ? "held level" : held}` : `${one.letter} ${one.name}, not held yet`, 14, 48);
    pen.fillText("the face; what is between cannot be seen", 14, 100);
    one.at.forEach((at, i) => {
      pen.fillStyle = colourOf(i === station ? "mark" : "faint");
      pen.textAlign = "center";
      pen.fillText(one.labels[i].replace(/^[A-Z]+/, ""), X(at), TALL - 6);
      pen.fillRect(X(at) - (i === station ? 2 : 1), TALL - 26, i === station ? 4 : 2, 6);
    });
    if (last && last.line === line && last.station === station) {
      // A leaf that goes reaches under the edge; one that stops stands before it.
      pen.fillStyle = colourOf("mark");
      const x = X(one.at[station]), thick = 3 + (7 * last.leaf) / leaves.length;
      if (last.goes) pen.fillRect(x - 9, 58 + (16 - thick) / 2, 18, thick);
      else { pen.fillRect(x - 9, 8, 18, thick); pen.beginPath(); pen.moveTo(x, 27); pen.lineTo(x - 5, 20); pen.lineTo(x + 5, 20); pen.fill(); }
    }
  };
  const buttons = (parent, items) => {
    byId(parent).replaceChildren();
    items.forEach(({ words, small, label, on, className, act }) => {
      const one = made("button", words, byId(parent), className || "");
      one.type = "button";
      if (small) made("small", small, one);
      if (label) one.setAttribute("aria-label", label);
      if (on !== undefined) one.setAttribute("aria-pressed", String(on));
      one.addEventListener("click", act);
    });
  };
  const redraw = (parent, items) => {
    // The focus stays where it was, though buttons are made anew.
    const at = [...byId(parent).children].indexOf(document.activeElement);
    buttons(parent, items);
    if (at >= 0 && byId(parent).children[at]) byId(parent).children[at].focus();
  };
  const show = () => {
    redraw("lines", lines.map((one, k) => {
      const done = s.lines[k].read.filter(whole).length;
      return { words: one.letter, small: `${done}/${one.at.length}`, label: `${one.letter}, ${one.name}: ${done} of ${one.at.length} stations read`, on: k === line, className: done === one.at.length ? "read" : "", act: () => lay(k) };
    }));
    redraw("stations", lines[line].at.map((at, i) => ({ words: lines[line].labels[i], small: touched(now().read[i]) ? `${goesWords(now().read[i])} / ${stopsWords(now().read[i])}` : "–", on: i === station, className: whole(now().read[i]) ? "read" : "", act: () => { station = i; last = null; byId("says").textContent = ""; show(); } })));
    redraw("leaves", leaves.map((leaf, k) => {
      const done = here().tried.includes(k), goes = done && k <= here().goes;
      return { words: String(leaf), small: done ? (goes ? "goes" : "stops") : "–", label: `Push ${leaf} µm under ${lines[line].labels[station]}${done ? (goes ? ", goes" : ", stops") : ""}`, className: done ? (goes ? "goes" : "stops") : "", act: () => push(k) };
    }));
    byId("holds").querySelectorAll("button").forEach((one) => one.setAttribute("aria-pressed", String(one.dataset.held === now().held)));
    byId("table-says").textContent = `${lines[line].letter}, ${lines[line].name}${now().held ? "" : ": say how it is held"}`;
    byId("rows").replaceChildren();
    now().read.forEach((one, i) => {
      const row = made("tr", "", byId("rows"));
      [lines[line].labels[i], String(Number((1e3 * lines[line].at[i]).toFixed(1))), touched(one) ? goesWords(one) : "", touched(one) ? stopsWords(one) : ""].forEach((words, k) => {
        const cell = made(k ? "td" : "th", words, row);
        if (!k) cell.scope = "row";
      });
    });
    const all = s.lines.flatMap((one) => one.read), done = all.filter(whole).length;
    byId("progress").textContent = done === all.length ? `All ${done} stations are read: hand them over.` : `${done} of ${all.length} stations read${all.some((one) => touched(one) && !whole(one)) ? ", some with leaves left to try" : ""}.`;
    byId("text").value = text();
    byId("kept-says").textContent = kept ? "The page keeps what was felt in this browser until it is felt anew." : "This browser keeps nothing for this page: save the text before you close it.";
    drawPlan();
    drawLaid();
  };

  // ---- doing

  const lay = (k) => { line = k; station = 0; last = null; byId("says").textContent = ""; rocksSays(); show(); };
  const rocksSays = () => {
    byId("rocks").textContent = !now().pressed ? "" : felt[line].rocks ? "It rocks: one end dips, then the other." : "It sits still on two places well apart.";
  };
  const hold = (held) => {
    if (now().held === held) return;
    const lost = now().held && now().read.some(touched);
    s.lines[line] = { ...blank().lines[line], pressed: now().pressed, held };
    byId("says").textContent = lost ? "Held otherwise, every gap is another: this line is felt anew." : "";
    last = null;
    save();
    show();
  };
  const push = (k) => {
    if (!now().held) { byId("says").textContent = "Say first how the straightedge is held."; return; }
    const goes = k < felt[line].goes[job.holds.indexOf(now().held)][station], one = here();
    one.tried = [...new Set([...one.tried, k])];
    if (goes) one.goes = Math.max(one.goes, k); else one.stops = Math.min(one.stops, k);
    last = { line, station, leaf: k, goes };
    byId("says").textContent = `${lines[line].labels[station]}: ${leaves[k]} µm ${goes ? "goes" : "stops"}.${whole(one) ? " Read." : ""}`;
    save();
    show();
  };
  byId("press").addEventListener("click", () => { now().pressed = true; rocksSays(); save(); });
  byId("holds").addEventListener("click", (event) => { if (event.target.dataset.held) hold(event.target.dataset.held); });
  byId("anew").addEventListener("click", () => { s.lines[line] = blank().lines[line]; last = null; byId("says").textContent = `${lines[line].letter} is to be felt anew.`; rocksSays(); save(); show(); });
  byId("plan").addEventListener("click", (event) => {
    // The station nearest to the touch.
    const box = byId("plan").getBoundingClientRect(), { X, Y } = byId("plan").place, x = event.clientX - box.left, y = event.clientY - box.top;
    let best = Infinity, found = [0, 0];
    lines.forEach((one, k) => one.at.forEach((at, i) => {
      const [u, v] = [0, 1].map((j) => one.start[j] + (at / one.length) * (one.end[j] - one.start[j])), off = Math.hypot(X(u) - x, Y(v) - y);
      if (off < best) { best = off; found = [k, i]; }
    }));
    if (found[0] !== line) lay(found[0]);
    station = found[1];
    last = null;
    show();
  });
  document.querySelectorAll("[data-answer]").forEach((one) => {
    one.addEventListener("input", () => { s.answers[one.dataset.answer] = one.value; save(); byId("text").value = text(); });
  });
  byId("keep").addEventListener("click", () => { handOver.keep(text(), job.file); byId("hand-says").textContent = `Saved as ${job.file}.`; });
  byId("copy").addEventListener("click", async () => { byId("hand-says").textContent = (await handOver.copy(text(), byId("text"))) ? "Copied." : "Copying was not allowed: mark the text below and copy it."; });
  let waiting = 0;
  const again = () => { cancelAnimationFrame(waiting); waiting = requestAnimationFrame(show); };
  window.addEventListener("resize", again);
  window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", again);

  stored();
  document.querySelectorAll("[data-answer]").forEach((one) => { one.value = s.answers[one.dataset.answer] || ""; });
  document.documentElement.classList.remove("quiet");
  rocksSays();
  show();
})();
