// The page itself: what is shown, tapped, heard and handed over.
(() => {
  const job = JSON.parse(document.getElementById("job").textContent);
  const byId = (id) => document.getElementById(id);
  const NS = "http://www.w3.org/2000/svg", GUARD = 500;
  const count = makeCount(job);
  makePhoto(job);
  let view = "count", timer = 0, next = 0, shownSince = 0, sounds = null, lock = null;

  const NAMES = {
    turn: ["Turn the part", "Turned"], brush: ["Brush or rinse the paper", "Brushed"],
    sheet: ["Lay a new sheet", "Laid"], look: ["Check: clean, look, weigh, read", "Look now"],
    "first sheet": ["Lay a fresh sheet", "Laid"],
    begin: ["Before the first stroke: weigh the part, put dye on", "Look now"],
  };
  const SHORT = { turn: "turn", brush: "brush", sheet: "new sheet", look: "check" };

  // ---- sound, buzz, wakefulness

  const tone = (pitch, from, long, loud) => {
    const voice = sounds.createOscillator(), volume = sounds.createGain(), at = sounds.currentTime + from;
    voice.frequency.value = pitch;
    volume.gain.setValueAtTime(loud, at);
    volume.gain.exponentialRampToValueAtTime(0.0001, at + long);
    voice.connect(volume).connect(sounds.destination);
    voice.start(at);
    voice.stop(at + long);
  };
  const heard = (make) => {
    if (!count.s.sound) return;
    try {
      sounds ||= new AudioContext();
      if (sounds.state === "suspended") sounds.resume();
      make();
    } catch { /* a browser without sound still shows and buzzes */ }
  };
  const tick = () => heard(() => tone(1400, 0, 0.03, 0.04));
  const alarm = (hard) => {
    heard(() => { for (let k = 0; k < (hard ? 4 : 2); k++) tone(k % 2 ? 660 : 880, 0.22 * k, 0.2, 0.3); });
    if (count.s.buzz && navigator.vibrate) navigator.vibrate(hard ? [300, 120, 300, 120, 300] : [180, 90, 180]);
  };
  const wake = async () => {
    try {
      if (!lock || lock.released) lock = await navigator.wakeLock.request("screen");
      byId("awake").textContent = "The screen is kept awake while this page is in sight.";
    } catch { byId("awake").textContent = "This browser does not keep the screen awake: set the phone to do so."; }
  };

  // ---- counting

  const pause = () => {
    window.clearTimeout(timer);
    timer = 0;
    drawCount();
  };
  const counted = () => {
    const before = count.s.due.length;
    if (!count.stroke()) { if (timer) pause(); return; }
    if (count.s.due.length > before) {
      shownSince = performance.now();
      alarm(count.s.due.some((one) => one.startsWith("rule ")));
      if (timer) pause();
    } else if (timer) tick();
    drawCount();
  };
  const beat = () => {
    counted();
    if (!timer) return;
    next += 60000 / count.s.pace;
    timer = window.setTimeout(beat, Math.max(0, next - performance.now()));
  };
  const start = () => {
    if (timer || count.s.due.length || !count.stage()) return;
    wake();
    next = performance.now() + 60000 / count.s.pace;
    timer = window.setTimeout(beat, 60000 / count.s.pace);
    drawCount();
  };
  const press = () => {
    if (!count.s.byPace) { wake(); counted(); } else if (timer) pause(); else start();
  };

  // ---- what is due, as cards

  const made = (name, text, into, kind) => {
    const one = document.createElement(name);
    if (text !== undefined) one.textContent = text;
    if (kind) one.className = kind;
    into.append(one);
    return one;
  };
  const act = (text, into, does, kind) => {
    const one = made("button", text, into, kind);
    one.type = "button";
    one.addEventListener("click", () => {
      // A thumb that was still tapping strokes does not answer what has just come up.
      if (performance.now() - shownSince < GUARD) return;
      does();
    });
    return one;
  };
  const card = (what, into) => {
    const rule = what.startsWith("rule ") ? what.slice(5) : "";
    const box = made("div", undefined, into, rule ? "card stop" : "card due");
    box.dataset.due = what;
    const [head, yes] = rule ? [job.says[rule][0], "Understood"] : NAMES[what];
    made("h2", what.endsWith("sheet") ? `${head}: ${count.stage().paper}` : head, box);
    if (rule) made("p", job.says[rule][1], box);
    if (what === "turn") made("p", job.turns[(count.s.turned + 1) % job.turns.length].words, box);
    const row = made("div", undefined, box, "row");
    act(yes, row, () => {
      if (what === "look") { show("look"); return; }
      if (what === "begin") { count.settle(what, true); show("look"); return; }
      if (what === "first sheet") count.firstSheet(true); else count.settle(what, true);
      draw();
    }, "main");
    if (!rule) {
      act(what === "first sheet" ? "It lies already" : "Not now", row, () => {
        if (what === "first sheet") count.firstSheet(false); else count.settle(what, false);
        draw();
      });
    }
  };

  const drawRound = () => {
    const face = byId("round"), turn = job.turns[count.s.turned], [long, wide] = job.plate;
    const scale = Math.min(150 / Math.max(long, job.size[0]), 104 / Math.max(wide, job.size[1]));
    const put = (name, attributes) => {
      const one = document.createElementNS(NS, name);
      for (const [key, value] of Object.entries(attributes)) one.setAttribute(key, value);
      face.append(one);
    };
    face.replaceChildren();
    put("rect", { x: 100 - (long * scale) / 2, y: 75 - (wide * scale) / 2, width: long * scale, height: wide * scale, class: "plate" });
    const spin = `translate(100 75) rotate(${(-turn.part * 180) / Math.PI}) scale(${scale})`;
    put("path", { d: job.outline.map((ring) => `M${ring.map(([u, v]) => `${u} ${-v}`).join("L")}Z`).join(""), transform: spin, class: "metal" });
    // The mark of one corner shows the turn where the part looks alike.
    const [u, v] = job.outline[0].reduce((best, p) => (p[0] + p[1] > best[0] + best[1] ? p : best));
    put("circle", { cx: 0.86 * u, cy: -0.8 * v, r: 5 / scale, transform: spin, class: "corner" });
    // You stand outside the plate, where the stroke comes from.
    const c = Math.cos(turn.stand), s = Math.sin(turn.stand);
    const reach = 14 + Math.min((long * scale) / 2 / Math.max(1e-6, Math.abs(c)), (wide * scale) / 2 / Math.max(1e-6, Math.abs(s)));
    put("path", { d: "M-9 -9L9 0L-9 9Z", transform: `translate(${100 - reach * c} ${75 + reach * s}) rotate(${(-turn.stand * 180) / Math.PI})`, class: "you" });
    const place = `${count.s.turned + 1} of ${job.turns.length}`;
    byId("lie").textContent = job.turns.length > 1 ? `It lies now as ${place} of the round.` : "It is not turned.";
    byId("step").textContent = job.turns.length > 1 ? `${job.turning} Dot: the same corner. Arrow: you, pushing.` : "Arrow: you, pushing.";
    face.setAttribute("aria-label", byId("lie").textContent);
    byId("lie-next").hidden = job.turns.length < 2;
  };

  const drawCount = () => {
    const s = count.s, st = count.stage(), due = s.due;
    byId("paper").textContent = st ? st.paper : job.advice;
    byId("total").textContent = `${count.total()} strokes in all`;
    byId("number").textContent = String(s.open.strokes);
    byId("unit").textContent = st ? `since the last entry; ${s.count} of ${st.strokes} here` : "";
    byId("doing").textContent = s.byPace ? (timer ? "Tap to pause" : "Tap to start") : "Tap each stroke";
    byId("stroke").classList.toggle("runs", Boolean(timer));
    byId("stroke").hidden = due.length > 0 || !st;
    byId("steps").hidden = !st;
    byId("less").disabled = !s.open.strokes;
    byId("ten").disabled = due.length > 0 || Boolean(timer);
    byId("pace").textContent = s.byPace ? "By tap" : "By pace";
    byId("pace-now").textContent = `${s.pace} a minute`;
    byId("ahead").replaceChildren(...count.ahead().map(([kind, n]) => {
      const one = document.createElement("span");
      one.textContent = `${SHORT[kind]} in ${n}`;
      return one;
    }));
    const cards = byId("cards");
    if (cards.dataset.due !== JSON.stringify([due, s.stage, s.turned])) {
      cards.dataset.due = JSON.stringify([due, s.stage, s.turned]);
      cards.replaceChildren();
      due.forEach((what) => card(what, cards));
      const last = st && s.count >= st.strokes && !due.length && !s.open.strokes;
      if (last) after(cards);
    }
    if (st && s.count >= st.strokes && !due.length && !s.open.strokes && !cards.childElementCount) after(cards);
  };

  // All that was planned on a paper is done and written down.
  const after = (into) => {
    const box = made("div", undefined, into, "card due"), on = count.s.stage + 1 < job.stages.length;
    made("h2", "All planned on this paper is done", box);
    made("p", on ? `If the goal is met here, go on to ${job.stages[count.s.stage + 1].paper}; else stay on this one.`
      : `Hand over, then at the machine: ${job.replan}`, box);
    const row = made("div", undefined, box, "row");
    if (on) act(`On to ${job.stages[count.s.stage + 1].paper}`, row, () => { count.nextPaper(count.s.stage + 1); draw(); }, "main");
    act("Hand over", row, () => show("hand"));
  };

  const drawTold = () => {
    const box = byId("told"), due = count.s.due;
    const words = count.s.held.filter((rule) => !due.includes(`rule ${rule}`));
    box.replaceChildren();
    for (const rule of words) {
      const one = made("p", undefined, box, "held");
      made("b", `${job.says[rule][0]}. `, one);
      made("span", job.says[rule][1], one);
    }
    if (count.s.held.some((rule) => rule !== "goal")) document.documentElement.dataset.stop = "yes";
    else delete document.documentElement.dataset.stop;
  };

  // ---- handing over

  const words = (e) => {
    const parts = [];
    if (e.takes_back) parts.push(`takes ${e.takes_back} back`);
    if (e.strokes) parts.push(`${e.strokes} strokes on ${e.paper}`);
    if (e.new_sheet) parts.push("new sheet");
    if (e.brushed) parts.push("brushed");
    if (e.brush_every) parts.push(`brushed every ${e.brush_every}`);
    if (e.part_g !== undefined) parts.push(`part ${look.weighed("part", e.part_g)}`);
    if (e.swarf_g !== undefined) parts.push(`swarf ${look.weighed("swarf", e.swarf_g)}`);
    if (e.readings) parts.push(`${e.readings.reduce((n, line) => n + line.stations.length, 0)} readings`);
    if (e.dye_seen) parts.push(`dye ${e.dye_seen}`);
    if (e.dyed) parts.push("dyed");
    if (e.note) parts.push(`“${e.note}”`);
    return parts.join(", ");
  };
  const drawHand = () => {
    const s = count.s, fresh = s.journal.length - s.handed;
    byId("unhanded").textContent = fresh > 0 ? ` (${fresh})` : "";
    byId("hand-words").textContent = s.journal.length
      ? `${s.journal.length} line${s.journal.length > 1 ? "s" : ""} on this page, ${fresh} not handed over yet. The text always holds all of them; the log takes in what it has not.`
      : "Nothing is written down yet.";
    if (s.open.strokes) byId("hand-words").textContent += ` ${s.open.strokes} strokes are counted and not written down.`;
    byId("command").textContent = `${job.command} ${job.file}`;
    if (view === "hand") byId("text").value = count.text();
    const list = byId("list"), back = new Set(s.journal.map((e) => e.takes_back).filter(Boolean));
    list.replaceChildren();
    s.journal.forEach((e) => made("li", `${e.when.slice(11, 16)} ${words(e)}`, list, back.has(e.id) ? "gone" : ""));
    byId("undo").disabled = !s.undo.length;
  };
  const said = (text) => { byId("hand-said").textContent = text; };
  const copy = (text) => handOver.copy(text, byId("text")), keep = handOver.keep;

  const drawKept = () => {
    const box = byId("unkept");
    box.hidden = count.kept;
    box.textContent = "This browser keeps nothing for this page. Before it is closed or loaded anew, copy the text under “Hand over”; it can be gone on from there.";
    const left = count.leftBehind(), behind = byId("behind");
    behind.hidden = !left.length;
    behind.replaceChildren();
    for (const old of left) {
      made("p", `An older page of this job on this phone holds ${old.count} entries${old.open ? ` and ${old.open} strokes` : ""} that were not in the log when this page was made. Bring them in first.`, behind);
      act("Copy their text", behind, async () => {
        const text = benchRules.textOf({ ...old.head, phone: "" }, old.journal, old.open);
        byId("text").value = text;
        said((await copy(text)) ? "Copied: the text of the older page." : "Copy the text below: it is that of the older page.");
        view = "";
        show("hand", text);
      });
    }
  };

  const draw = () => {
    drawCount();
    drawRound();
    drawTold();
    drawHand();
    if (view === "look") look.draw();
  };
  const show = (name, text) => {
    if (name !== "count") pause();
    view = name;
    for (const one of ["count", "look", "hand"]) byId(`${one}-view`).hidden = one !== name;
    document.querySelectorAll("nav button").forEach((one) => one.setAttribute("aria-current", String(one.dataset.view === name)));
    byId("faults").textContent = "";
    window.scrollTo(0, 0);
    draw();
    if (text) byId("text").value = text;
  };
  const look = makeLook(job, count, () => { drawTold(); drawHand(); });

  // ---- wiring

  byId("stroke").addEventListener("pointerdown", (event) => { event.preventDefault(); press(); });
  byId("stroke").addEventListener("click", (event) => { if (event.detail === 0) press(); });  // keys
  byId("less").addEventListener("click", () => { count.unstroke(); draw(); });
  byId("ten").addEventListener("click", () => { for (let k = 0; k < 10 && !count.s.due.length; k++) counted(); });
  byId("pace").addEventListener("click", () => { pause(); count.s.byPace = !count.s.byPace; count.save(); draw(); });
  for (const [id, by] of [["slower", -2], ["faster", 2]]) {
    byId(id).addEventListener("click", () => {
      count.s.pace = Math.max(4, Math.min(job.most_pace, count.s.pace + by));
      count.save();
      drawCount();
    });
  }
  for (const id of ["sound", "buzz"]) {
    const set = () => byId(id).setAttribute("aria-pressed", String(count.s[id]));
    byId(id).addEventListener("click", () => { count.s[id] = !count.s[id]; count.save(); set(); });
    set();
  }
  byId("lie-next").addEventListener("click", () => { count.turnTo(count.s.turned + 1); draw(); });
  byId("brush-now").addEventListener("click", () => { pause(); count.settle("brush", true); draw(); });
  byId("sheet-now").addEventListener("click", () => { pause(); count.settle("sheet", true); draw(); });
  byId("paper-now").addEventListener("click", () => { pause(); count.nextPaper(count.s.stage + 1); draw(); });
  byId("write").addEventListener("click", () => {
    const { entry, faults } = look.read();
    byId("faults").textContent = faults.join(" ");
    if (faults.length) return;
    if (!count.write(entry).length) { byId("faults").textContent = "Nothing to write down yet: no stroke, nothing read, weighed or seen."; return; }
    if (count.s.due.some((one) => one.startsWith("rule "))) { shownSince = performance.now(); alarm(true); }
    show("count");
  });
  byId("copy").addEventListener("click", async () => {
    if (await copy(byId("text").value)) { count.handed(); drawHand(); said("Copied."); } else said("Copying was not allowed: mark the text below and copy it.");
  });
  byId("keep").addEventListener("click", () => { keep(byId("text").value, job.file); count.handed(); drawHand(); said(`Saved as ${job.file}.`); });
  byId("share").addEventListener("click", async () => {
    const text = byId("text").value, file = new File([text], job.file, { type: "text/plain" });
    try {
      await navigator.share(navigator.canShare && navigator.canShare({ files: [file] }) ? { files: [file] } : { text });
      count.handed();
      drawHand();
      said("Shared.");
    } catch { said("It was not shared: copy or save it instead."); }
  });
  byId("undo").addEventListener("click", () => { said(count.takeBack() || "Taken back; its strokes are open again, to be written down anew."); draw(); });
  byId("take").addEventListener("click", () => {
    try {
      count.goOn(byId("given").value);
      byId("given").value = "";
      said("It goes on from that text.");
    } catch (fault) { said(fault.message); }
    draw();
  });
  document.querySelectorAll("nav button").forEach((one) => one.addEventListener("click", () => show(one.dataset.view)));
  document.addEventListener("visibilitychange", () => {
    // Nobody counts what nobody sees.
    if (document.hidden) pause(); else if (lock) wake();
  });
  window.addEventListener("storage", (event) => {
    if (event.key !== count.key) return;
    pause();
    count.reload();
    draw();
  });
  window.addEventListener("beforeunload", (event) => {
    if (!count.kept && (count.s.open.strokes || count.s.journal.length > count.s.handed)) event.preventDefault();
  });

  byId("title").textContent = job.title;
  byId("wanted").textContent = job.wanted;
  byId("reasons").replaceChildren(...job.reasons.map((reason) => {
    const one = document.createElement("li");
    one.textContent = reason;
    return one;
  }));
  byId("paper-now").hidden = job.stages.length < 2;
  byId("share").hidden = !navigator.share;
  document.documentElement.classList.remove("quiet");
  drawKept();
  look.draw();
  show("count");
})();
