// Pictures of the page with knobs: maps on the raster, the course against strokes, colours from the style.
"use strict";
const colourOf = (name) => getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();
const penOf = (canvas, tall) => {
  const ratio = Math.min(window.devicePixelRatio || 1, 2), broad = canvas.clientWidth;
  canvas.style.height = `${tall}px`;
  canvas.width = Math.max(1, Math.round(broad * ratio));
  canvas.height = Math.max(1, Math.round(tall * ratio));
  const pen = canvas.getContext("2d");
  pen.setTransform(ratio, 0, 0, ratio, 0, 0);
  pen.font = '13px "DejaVu Sans", Verdana, sans-serif';
  return [pen, broad];
};
const niceAbove = (x) => {
  if (!(x > 0)) return 1;
  const power = 10 ** Math.floor(Math.log10(x));
  return [1, 1.2, 1.6, 2, 2.4, 3, 4, 5, 6, 8, 10].find((k) => k * power >= x * (1 - 1e-9)) * power;
};
const makeMaps = (job) => {
  const { rows, columns } = job.raster, cells = new Uint16Array(bytesOf(job.raster.cells));
  const tables = Object.fromEntries(Object.entries(job.colours).map(([key, text]) => [key, new Uint8Array(bytesOf(text))]));
  const L = 2 * job.halfLength, W = 2 * job.halfWidth, RIM = 8, TALLEST = 240;
  // For each pixel the cell that colours it: its own, or near the rim and in openings its neighbour's.
  const source = new Int32Array(rows * columns).fill(-1);
  cells.forEach((at, i) => { source[at] = i; });
  for (let round = 0; round < 3; round++) {
    const before = source.slice();
    before.forEach((cell, at) => {
      if (cell >= 0) return;
      const x = at % columns;
      for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
        const near = at + dx + dy * columns;
        if (x + dx < 0 || x + dx >= columns || near < 0 || near >= before.length || before[near] < 0) continue;
        source[at] = before[near];
        return;
      }
    });
  }
  const small = document.createElement("canvas");
  small.width = columns;
  small.height = rows;
  const placed = (broad) => {
    const scale = Math.min((broad - 2 * RIM) / L, (TALLEST - 2 * RIM) / W), tall = W * scale + 2 * RIM;
    return { scale, tall, X: (u) => broad / 2 + u * scale, Y: (v) => tall / 2 - v * scale,
      back: (x, y) => [(x - broad / 2) / scale, (tall / 2 - y) / scale] };
  };
  // A map of values (cells) between low and high in one of the tables; bare: the outline alone.
  const draw = (canvas, values, low, high, key) => {
    if (!canvas.clientWidth) return null;
    const place = placed(canvas.clientWidth), [pen] = penOf(canvas, place.tall), outline = new Path2D();
    for (const ring of job.outline) {
      ring.forEach(([u, v], k) => (k ? outline.lineTo(place.X(u), place.Y(v)) : outline.moveTo(place.X(u), place.Y(v))));
      outline.closePath();
    }
    pen.save();
    pen.clip(outline, "evenodd");
    if (values) {
      const brush = small.getContext("2d"), picture = brush.createImageData(columns, rows), table = tables[key];
      for (let at = 0; at < source.length; at++) {
        if (source[at] < 0) continue;
        const share = Math.max(0, Math.min(1, (values[source[at]] - low) / (high - low))), k = 3 * Math.round(255 * share);
        const to = 4 * ((rows - 1 - Math.floor(at / columns)) * columns + (at % columns));
        picture.data.set([table[k], table[k + 1], table[k + 2], 255], to);
      }
      brush.putImageData(picture, 0, 0);
      pen.drawImage(small, place.X(-L / 2), place.Y(W / 2), L * place.scale, W * place.scale);
    } else {
      pen.fillStyle = colourOf("metal");
      pen.fillRect(0, 0, canvas.clientWidth, place.tall);
    }
    pen.restore();
    pen.strokeStyle = colourOf("ink");
    pen.lineWidth = 1;
    pen.stroke(outline);
    return { pen, ...place };
  };
  const bar = (canvas, key) => {
    canvas.width = 256;
    canvas.height = 1;
    const pen = canvas.getContext("2d"), picture = pen.createImageData(256, 1);
    for (let k = 0; k < 256; k++) picture.data.set([tables[key][3 * k], tables[key][3 * k + 1], tables[key][3 * k + 2], 255], 4 * k);
    pen.putImageData(picture, 0, 0);
  };
  // Courses against strokes: each { looks, values, name, dashed }, values in the unit shown.
  const curve = (canvas, courses, limit, at, unit) => {
    if (!canvas.clientWidth) return;
    const tall = 190, [pen, broad] = penOf(canvas, tall), box = [46, 12, broad - 10, tall - 34];
    const top = niceAbove(1.02 * Math.max(limit, ...courses.flatMap((one) => one.values)));
    const X = (n) => box[0] + ((box[2] - box[0]) * n) / job.strokes, Y = (h) => box[3] - ((box[3] - box[1]) * h) / top;
    pen.fillStyle = colourOf("faint");
    pen.strokeStyle = colourOf("line");
    pen.lineWidth = 0.6;
    for (let k = 0; k <= 4; k++) {
      const h = (top * k) / 4;
      pen.beginPath(); pen.moveTo(box[0], Y(h)); pen.lineTo(box[2], Y(h)); pen.stroke();
      pen.textAlign = "right"; pen.fillText(String(Number(h.toPrecision(3))), box[0] - 5, Y(h) + 4);
    }
    pen.textAlign = "left"; pen.fillText("0", box[0], tall - 14);
    pen.textAlign = "right"; pen.fillText(`${job.strokes} strokes`, box[2], tall - 14);
    const line = (points, colour, thick, dash) => {
      pen.strokeStyle = colour; pen.lineWidth = thick; pen.setLineDash(dash);
      pen.beginPath(); points.forEach(([x, y], k) => (k ? pen.lineTo(x, y) : pen.moveTo(x, y))); pen.stroke(); pen.setLineDash([]);
    };
    line([[box[0], Y(limit)], [box[2], Y(limit)]], colourOf("ink"), 1.2, [6, 4]);
    for (const one of courses) line(one.looks.map((n, k) => [X(n), Y(one.values[k])]), colourOf(one.dashed ? "faint" : "act"), 2.4, one.dashed ? [2, 4] : []);
    line([[X(at), box[1]], [X(at), box[3]]], colourOf("mark"), 1.4, []);
  };
  return { draw, bar, curve, placed, cells, rows, columns };
};
