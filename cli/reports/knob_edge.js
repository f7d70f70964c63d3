// A straightedge to lay on the face shown, and leaves to push under it.
"use strict";
const makeEdge = (job, figures, maps, byId) => {
  const lines = job.lines.map((line) => ({ ...line, s: wide(line.s) })), canvas = byId("laid"), TALL = 150;
  let h = null, line = 0, place = 0, tried = [];
  const leafWords = (k) => byId("leaf").options[k].textContent;
  const spots = () => {
    const { s, from } = lines[line], z = h.subarray(from, from + s.length);
    return { s, z, edge: figures.edgeOver(s, z, lines[line].length) };
  };
  // The gap at a place along the line [m]; null over an opening.
  const gapAt = (at) => {
    const { s, edge } = spots(), open = (2.2 * lines[line].length) / 50;
    let k = 0;
    while (k < s.length - 2 && s[k + 1] < at) k++;
    if (s[k + 1] - s[k] > open && at - s[k] > 1e-3 && s[k + 1] - at > 1e-3) return null;
    const share = Math.max(0, Math.min(1, (at - s[k]) / (s[k + 1] - s[k])));
    return Math.max(0, edge.gap(k) + share * (edge.gap(k + 1) - edge.gap(k)));
  };
  const draw = () => {
    if (!h || !canvas.clientWidth) return;
    const [pen, broad] = penOf(canvas, TALL), { s, z, edge } = spots(), X = (x) => 12 + ((broad - 24) * x) / lines[line].length;
    const most = Math.max(2e-6, ...Array.from(s, (_, k) => edge.gap(k))), Y = (gap) => 54 + (gap / most) * 58;
    pen.fillStyle = colourOf("metal");
    pen.beginPath(); pen.moveTo(X(s[0]), TALL - 18);
    s.forEach((x, k) => pen.lineTo(X(x), Y(edge.gap(k))));
    pen.lineTo(X(s[s.length - 1]), TALL - 18); pen.closePath(); pen.fill();
    pen.strokeStyle = colourOf("ink"); pen.lineWidth = 1; pen.stroke();
    pen.fillStyle = colourOf("line");
    pen.fillRect(4, 26, broad - 8, 26);
    pen.fillStyle = colourOf("ink");
    pen.textAlign = "left";
    pen.fillText(edge.rocks ? "straightedge, rocks: held level" : "straightedge, sits still", 10, 44);
    const gap = gapAt(place);
    if (gap !== null) {
      // The leaf is pushed in from the front as far as it goes.
      pen.fillStyle = colourOf("mark");
      pen.fillRect(X(place) - 7, 54, 14, Math.max(3, Math.min(Y(gap), TALL - 20) - 54));
    }
    pen.fillStyle = colourOf("mark");
    pen.beginPath(); pen.moveTo(X(place), 20); pen.lineTo(X(place) - 6, 8); pen.lineTo(X(place) + 6, 8); pen.fill();
    pen.fillStyle = colourOf("faint");
    pen.textAlign = "center";
    pen.fillText(`${(place * job.per.length).toFixed(job.units.length === "in" ? 1 : 0)} ${job.units.length} from its start`, broad / 2, TALL - 3);
    const map = maps.draw(byId("laid-map"), null, 0, 1, "height"), { start, end } = lines[line];
    if (!map) return;
    map.pen.strokeStyle = colourOf("act");
    map.pen.lineWidth = 6;
    map.pen.beginPath(); map.pen.moveTo(map.X(start[0]), map.Y(start[1])); map.pen.lineTo(map.X(end[0]), map.Y(end[1])); map.pen.stroke();
    const part = place / lines[line].length;
    map.pen.fillStyle = colourOf("mark");
    map.pen.beginPath();
    map.pen.arc(map.X(start[0] + part * (end[0] - start[0])), map.Y(start[1] + part * (end[1] - start[1])), 7, 0, 2 * Math.PI);
    map.pen.fill();
  };
  const push = () => {
    const leaf = Number(byId("leaf").value), gap = gapAt(place), name = leafWords(byId("leaf").selectedIndex);
    const says = gap === null ? "No metal there: the leaf hangs in an opening." : gap >= leaf ? `${name} goes.` : `${name} stops.`;
    if (gap !== null) tried.push({ leaf, goes: gap >= leaf });
    const goes = Math.max(0, ...tried.filter((one) => one.goes).map((one) => one.leaf)), stops = Math.min(Infinity, ...tried.filter((one) => !one.goes).map((one) => one.leaf));
    const named = (value) => leafWords([...byId("leaf").options].findIndex((one) => Number(one.value) === value));
    const so = tried.length < 2 ? "" : ` So far here: ${goes ? `${named(goes)} goes` : "none goes"}${stops < Infinity ? `, ${named(stops)} stops` : ""}.`;
    byId("leaf-says").textContent = says + so;
    return gap;
  };
  const anew = () => { tried = []; byId("leaf-says").textContent = ""; draw(); };
  const at = (x) => { place = Math.max(0, Math.min(lines[line].length, x)); anew(); };
  lines.forEach((one, k) => byId("line").add(new Option(one.name, String(k))));
  byId("line").addEventListener("change", () => { line = Number(byId("line").value); at(lines[line].length / 2); });
  byId("push-leaf").addEventListener("click", push);
  byId("place").addEventListener("input", () => at((Number(byId("place").value) / 100) * lines[line].length));
  const touched = (event) => {
    const box = canvas.getBoundingClientRect();
    at(((event.clientX - box.left - 12) / (box.width - 24)) * lines[line].length);
    byId("place").value = String(Math.round((100 * place) / lines[line].length));
  };
  canvas.addEventListener("pointerdown", (event) => { canvas.setPointerCapture(event.pointerId); touched(event); });
  canvas.addEventListener("pointermove", (event) => { if (event.buttons) touched(event); });
  byId("laid-map").addEventListener("click", (event) => {
    // The line that runs nearest to the touch, and the place on it.
    const box = byId("laid-map").getBoundingClientRect(), [u, v] = maps.placed(box.width).back(event.clientX - box.left, event.clientY - box.top);
    let best = Infinity, found = 0;
    lines.forEach(({ start, end, length }, k) => {
      const s = Math.max(0, Math.min(length, ((u - start[0]) * (end[0] - start[0]) + (v - start[1]) * (end[1] - start[1])) / length));
      const off = Math.hypot(u - start[0] - (s / length) * (end[0] - start[0]), v - start[1] - (s / length) * (end[1] - start[1]));
      if (off < best) { best = off; line = k; found = s; }
    });
    byId("line").value = String(line);
    byId("place").value = String(Math.round((100 * found) / lines[line].length));
    at(found);
  });
  place = lines[0].length / 2;
  return { show: (face) => { h = face; anew(); }, draw, gapAt: (k, x) => { const before = line; line = k; const gap = gapAt(x); line = before; return gap; } };
};
