// Draws the frames of a followed lap and lets the reader run through them.  All numbers and words come
// from the program that wrote this page; nothing is worked out here but places of pixels.
"use strict";
(() => {
  const data = JSON.parse(document.getElementById("frames").textContent);
  const byId = (id) => document.getElementById(id);
  const slider = byId("stroke"), button = byId("play"), spoken = byId("spoken");
  const last = data.strokes.length - 1;
  const calm = window.matchMedia("(prefers-reduced-motion: reduce)");
  const WHOLE_RUN = 12000, CALM_STEP = 1000, CALM_STEPS = 20;  // milliseconds, and steps of a calm run
  const TALLEST = 420, RIM = 12;  // pixels
  let frame = 0, timer = null;

  const bytes = (text) => Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
  const columns = data.raster.columns, rows = data.raster.rows;
  const cells = new Uint16Array(bytes(data.raster.cells).buffer);
  const tables = Object.fromEntries(Object.entries(data.views).map(([key, view]) => [key, bytes(view.colours)]));
  const maps = data.ways.map((way) =>
    Object.fromEntries(Object.entries(way.maps).map(([key, text]) => [key, bytes(text)])));

  // For each pixel of the raster the cell that colours it: its own, or near the rim its neighbour's, so
  // that the picture can be cut along the outline.
  const source = new Int32Array(rows * columns).fill(-1);
  cells.forEach((at, i) => { source[at] = i; });
  for (let round = 0; round < 3; round++) {
    const before = source.slice();
    for (let at = 0; at < before.length; at++) {
      if (before[at] >= 0) continue;
      const x = at % columns;
      for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1], [1, 1], [-1, 1], [1, -1], [-1, -1]]) {
        const near = at + dx + dy * columns;
        if (x + dx < 0 || x + dx >= columns || near < 0 || near >= before.length) continue;
        if (before[near] >= 0) { source[at] = before[near]; break; }
      }
    }
  }

  // Level of a cell in a frame, 0 to 255; the three states of dye are packed four cells to a byte.
  const levelAt = (way, key, i) => {
    const map = maps[way][key], count = cells.length;
    if (data.views[key].bits === 2) {
      const stride = Math.ceil(count / 4);
      return (k) => Math.round(((map[i * stride + (k >> 2)] >> (6 - 2 * (k & 3))) & 3) * 127.5);
    }
    return (k) => map[i * count + k];
  };

  const small = document.createElement("canvas");
  small.width = columns;
  small.height = rows;

  const fitted = (canvas, wide, tall) => {
    const ratio = Math.min(window.devicePixelRatio || 1, 2);
    canvas.style.height = `${tall}px`;
    canvas.width = Math.max(1, Math.round(wide * ratio));
    canvas.height = Math.max(1, Math.round(tall * ratio));
    const pen = canvas.getContext("2d");
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    return pen;
  };

  const drawMap = (canvas, i) => {
    const key = canvas.dataset.view, way = Number(canvas.dataset.way);
    const wide = canvas.clientWidth;
    if (!wide) return;
    const { length, width, left, right, near, far } = data.raster;
    const scale = Math.min((wide - 2 * RIM) / length, (TALLEST - 2 * RIM) / width);
    const tall = width * scale + 2 * RIM;
    const pen = fitted(canvas, wide, tall);
    const X = (u) => wide / 2 + u * scale, Y = (v) => tall / 2 - v * scale;

    const level = levelAt(way, key, i), table = tables[key];
    const brush = small.getContext("2d"), picture = brush.createImageData(columns, rows);
    for (let at = 0; at < source.length; at++) {
      if (source[at] < 0) continue;
      const k = 3 * level(source[at]);
      const to = 4 * ((rows - 1 - Math.floor(at / columns)) * columns + (at % columns));
      picture.data[to] = table[k];
      picture.data[to + 1] = table[k + 1];
      picture.data[to + 2] = table[k + 2];
      picture.data[to + 3] = 255;
    }
    brush.putImageData(picture, 0, 0);

    const outline = new Path2D();
    for (const ring of data.outline) {
      ring.forEach(([u, v], n) => (n ? outline.lineTo(X(u), Y(v)) : outline.moveTo(X(u), Y(v))));
      outline.closePath();
    }
    pen.save();
    pen.clip(outline, "evenodd");
    pen.imageSmoothingEnabled = true;
    pen.drawImage(small, X(left), Y(far), (right - left) * scale, (far - near) * scale);
    if (key === "height") drawLevels(pen, level, X, Y);
    pen.restore();
    pen.strokeStyle = "#22262b";
    pen.lineWidth = 1;
    pen.stroke(outline);
    if (key === "pressure") drawArrow(pen, data.ways[way].away[i], X, Y);
  };

  // Lines of equal height over the plane full, under it broken, so that the two tell apart in grey too.
  const drawLevels = (pen, level, X, Y) => {
    const { left, right, near, far } = data.raster;
    const stepX = (right - left) / columns, stepY = (far - near) / rows;
    const value = (x, y) => {
      const k = source[y * columns + x];
      return k < 0 ? NaN : level(k);
    };
    pen.lineWidth = 0.8;
    for (const [line, colour] of data.lines) {
      const at = line + 0.5;
      pen.strokeStyle = colour;
      pen.beginPath();
      for (let y = 0; y + 1 < rows; y++) {
        for (let x = 0; x + 1 < columns; x++) {
          if (at < 127 && ((x + y) >> 1) % 2) continue;
          const corner = [value(x, y), value(x + 1, y), value(x + 1, y + 1), value(x, y + 1)];
          if (corner.some(Number.isNaN)) continue;
          const spots = [];
          [[0, 0], [1, 0], [1, 1], [0, 1]].forEach(([px, py], n, all) => {
            const a = corner[n], b = corner[(n + 1) % 4], [qx, qy] = all[(n + 1) % 4];
            if (a < at === b < at) return;
            const share = (at - a) / (b - a);
            spots.push([x + 0.5 + px + share * (qx - px), y + 0.5 + py + share * (qy - py)]);
          });
          for (let n = 0; n + 1 < spots.length; n += 2) {
            pen.moveTo(X(left + spots[n][0] * stepX), Y(near + spots[n][1] * stepY));
            pen.lineTo(X(left + spots[n + 1][0] * stepX), Y(near + spots[n + 1][1] * stepY));
          }
        }
      }
      pen.stroke();
    }
  };

  const drawArrow = (pen, away, X, Y) => {
    const { length, width } = data.raster;
    const c = Math.cos(away), s = Math.sin(away);
    const reach = Math.min(
      Math.abs(c) > 1e-6 ? length / 2 / Math.abs(c) : Infinity,
      Math.abs(s) > 1e-6 ? width / 2 / Math.abs(s) : Infinity);
    const x = X(reach * c) + 2 * c, y = Y(reach * s) - 2 * s, size = RIM - 3;
    pen.fillStyle = "#22262b";
    pen.beginPath();
    pen.moveTo(x + size * c, y - size * s);
    pen.lineTo(x - 0.75 * size * s, y - 0.75 * size * c);
    pen.lineTo(x + 0.75 * size * s, y + 0.75 * size * c);
    pen.closePath();
    pen.fill();
  };

  const drawBar = (canvas) => {
    const table = tables[canvas.dataset.bar];
    canvas.width = 256;
    canvas.height = 1;
    const pen = canvas.getContext("2d"), picture = pen.createImageData(256, 1);
    for (let k = 0; k < 256; k++) {
      for (let n = 0; n < 3; n++) picture.data[4 * k + n] = table[3 * k + n];
      picture.data[4 * k + 3] = 255;
    }
    pen.putImageData(picture, 0, 0);
  };

  const words = (i) => `Stroke ${data.strokes[i]}: ` +
    data.ways.map((way) => (data.ways.length > 1 ? `${way.letter}, ${way.name}: ` : "") + way.sentences[i]).join(". ") + ".";

  const canvases = [...document.querySelectorAll("canvas[data-view]")];
  const show = (i) => {
    frame = Math.max(0, Math.min(last, i));
    slider.value = String(frame);
    if (timer === null) slider.setAttribute("aria-valuetext", words(frame));
    byId("count").textContent = `stroke ${data.strokes[frame]} of ${data.strokes[last]}`;
    byId("told").textContent = words(frame);
    canvases.forEach((canvas) => drawMap(canvas, frame));
    data.ways.forEach((way, w) => {
      for (const [key, texts] of Object.entries(way.captions)) {
        byId(`${key}-${w}`).textContent = texts[frame];
        const canvas = byId(`map-${key}-${w}`);
        if (canvas) canvas.setAttribute("aria-label", `${canvas.dataset.title}: ${texts[frame]}`);
      }
      way.figures[frame].forEach((text, n) => { byId(`now-${w}-${n}`).textContent = text; });
      const { x, flatness, straightedge } = data.curve[w];
      const line = byId(`now-${w}`);
      line.setAttribute("x1", x[frame]);
      line.setAttribute("x2", x[frame]);
      for (const [name, y] of [["flatness", flatness], ["straightedge", straightedge]]) {
        const spot = byId(`spot-${name}-${w}`);
        spot.setAttribute("cx", x[frame]);
        spot.setAttribute("cy", y[frame]);
      }
    });
  };

  // What is spoken: nothing while it plays, then where it stopped.
  const speak = () => {
    slider.setAttribute("aria-valuetext", words(frame));
    spoken.textContent = words(frame);
  };

  const pause = () => {
    if (timer === null) return;
    window.clearInterval(timer);
    timer = null;
    button.textContent = "Play";
    speak();
  };

  const play = () => {
    if (timer !== null) return;
    if (frame === last) show(0);
    const step = calm.matches ? Math.ceil(last / CALM_STEPS) : 1;
    const pace = calm.matches ? CALM_STEP : Math.max(80, Math.min(400, WHOLE_RUN / Math.max(1, last)));
    spoken.textContent = "";
    button.textContent = "Pause";
    timer = window.setInterval(() => {
      show(frame + step);
      if (frame === last) pause();
    }, pace);
  };

  const toggle = () => (timer === null ? play() : pause());
  const go = (i) => { pause(); show(i); };

  slider.max = String(last);
  slider.addEventListener("input", () => go(Number(slider.value)));
  button.addEventListener("click", toggle);
  document.addEventListener("keydown", (event) => {
    if (event.altKey || event.ctrlKey || event.metaKey || event.shiftKey) return;
    const on = event.target;
    if (event.key === " " && on !== button && on.tagName !== "SUMMARY") {
      event.preventDefault();
      toggle();
    } else if (on !== slider && (event.key === "ArrowRight" || event.key === "ArrowLeft")) {
      event.preventDefault();
      go(frame + (event.key === "ArrowRight" ? 1 : -1));
      speak();
    } else if (on === button && (event.key === "Home" || event.key === "End")) {
      // Elsewhere they are the page's own, as on the slider they are the slider's.
      event.preventDefault();
      go(event.key === "Home" ? 0 : last);
      speak();
    }
  });
  let waiting = 0;
  window.addEventListener("resize", () => {
    window.cancelAnimationFrame(waiting);
    waiting = window.requestAnimationFrame(() => canvases.forEach((canvas) => drawMap(canvas, frame)));
  });

  document.documentElement.classList.remove("quiet");
  document.querySelectorAll("canvas[data-bar]").forEach(drawBar);
  show(0);
})();
