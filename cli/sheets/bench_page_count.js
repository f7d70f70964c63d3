// The count: strokes, what falls due, what was written down; kept in the browser's own storage after every
// stroke.  Nothing here touches the page.
const makeCount = (job) => {
  const START = "handlap-bench ", key = `${START}${job.head.part} ${job.head.scenario} ${job.head.page}`;
  const MOST_UNDO = 30, PAUSE = 30000;
  const store = (() => {
    try {
      window.localStorage.setItem(`${START}try`, "1");
      window.localStorage.removeItem(`${START}try`);
      return window.localStorage;
    } catch { return null; }
  })();
  const letters = "abcdefghijklmnopqrstuvwxyz0123456789";
  const newPhone = () => [...crypto.getRandomValues(new Uint8Array(6))].map((x) => letters[x % 36]).join("");
  const emptyDraft = (old) => ({
    stations: {}, line: 0, station: 0, grams: "", weighs: old ? old.weighs : "part",
    scale: old ? old.scale : "", zones: "???????????????", dyed: false, note: "",
  });
  const freshOpen = () => ({ strokes: 0, marks: [], skipped: [], newSheet: false, brushed: false, active: 0, last: 0 });
  const fresh = () => ({
    phone: newPhone(), next: 1, journal: [], handed: 0, stage: 0, count: 0, turned: job.turned, due: [],
    told: [], held: [], open: freshOpen(), sheetFrom: job.stages.length ? job.stages[0].on_sheet : 0, draft: emptyDraft(), undo: [], begun: false,
    pace: job.pace, byPace: false, sound: true, buzz: true,
  });
  let s = fresh(), kept = Boolean(store);

  const save = () => {
    if (!store) return;
    try {
      store.setItem(key, JSON.stringify(s));
      kept = true;
    } catch { kept = false; }
  };
  const load = () => {
    try {
      const found = JSON.parse((store && store.getItem(key)) || "null");
      if (found && Array.isArray(found.journal) && found.open) s = { ...fresh(), ...found };
    } catch { /* what cannot be read is begun anew, and the old text stays until the next stroke */ }
  };

  // Entries of older pages of this job on this phone which the log did not hold when this page was made.
  const leftBehind = () => {
    if (!store) return [];
    const found = [], known = new Set(job.known), before = `${START}${job.head.part} ${job.head.scenario} `;
    for (let i = 0; i < store.length; i++) {
      const name = store.key(i);
      if (!name.startsWith(before) || name === key) continue;
      try {
        const old = JSON.parse(store.getItem(name));
        const back = new Set(old.journal.map((e) => e.takes_back).filter(Boolean));
        const new_ = old.journal.filter((e) => !known.has(e.id) && !e.takes_back && !back.has(e.id));
        if (new_.length || old.open.strokes) found.push({ head: old.head, journal: old.journal, open: old.open.strokes, count: new_.length });
      } catch { /* no page of ours */ }
    }
    return found.filter((old) => old.head);
  };

  const stage = () => job.stages[s.stage];
  const entries = () => benchRules.standing([...job.before, ...s.journal]);
  const total = () => entries().reduce((sum, e) => sum + (e.strokes || 0), 0) + s.open.strokes;
  const hits = (every, n) => every > 0 && n > 0 && n % every === 0;

  const dueAt = (n) => {
    const st = stage(), found = [];
    if (st.looks.some((look) => look.at === n)) found.push("look");
    if (hits(st.sheet_every, s.sheetFrom + n)) found.push("sheet");
    else if (hits(st.brush_every, n)) found.push("brush");
    if (job.turns.length > 1 && hits(st.turn_every, st.since_turn + n)) found.push("turn");
    return found;
  };

  // What comes next, nearest first: [kind, strokes to it].
  const ahead = () => {
    const st = stage();
    if (!st) return [];
    const to = (every, n) => (every > 0 ? every - (n % every) : Infinity);
    const look = st.looks.find((one) => one.at > s.count);
    const found = [["look", look ? look.at - s.count : Infinity]];
    const sheet = to(st.sheet_every, s.sheetFrom + s.count), brush = to(st.brush_every, s.count);
    found.push(["sheet", sheet]);
    if (brush !== sheet) found.push(["brush", brush]);
    if (job.turns.length > 1) found.push(["turn", to(st.turn_every, st.since_turn + s.count)]);
    return found.filter(([, n]) => Number.isFinite(n)).sort((a, b) => a[1] - b[1]);
  };

  const watch = () => {
    s.held = benchRules.rulesThatHold(job, entries(), total());
    for (const rule of s.held) {
      if (!s.told.includes(rule)) {
        s.told.push(rule);
        s.due.unshift(`rule ${rule}`);
      }
    }
    s.told = s.told.filter((rule) => s.held.includes(rule));
    s.due = s.due.filter((one) => !one.startsWith("rule ") || s.held.includes(one.slice(5)));
  };

  const stroke = () => {
    if (!stage() || s.due.length || s.open.strokes >= job.most_strokes) return false;
    const now = Date.now();
    if (s.open.last && now - s.open.last < PAUSE) s.open.active += now - s.open.last;
    else s.open.active += 60000 / s.pace;
    s.open.last = now;
    s.open.strokes += 1;
    s.count += 1;
    s.begun = true;
    s.due = dueAt(s.count);
    watch();
    save();
    return true;
  };

  const unstroke = () => {
    if (!s.open.strokes) return false;
    s.open.strokes -= 1;
    s.count -= 1;
    s.open.marks = s.open.marks.filter((m) => m.s <= s.open.strokes);
    s.due = s.due.filter((one) => one.startsWith("rule "));
    watch();
    save();
    return true;
  };

  const mark = (kind) => {
    const at = s.open.strokes;
    if (at === 0 && kind === "sheet") { s.open.newSheet = true; s.open.brushed = false; }
    else if (at === 0 && kind === "brush") s.open.brushed = true;
    else s.open.marks.push({ s: at, k: kind, t: Date.now() });
    if (kind === "turn") s.turned = (s.turned + 1) % job.turns.length;
    if (kind === "sheet") s.sheetFrom = -s.count;
  };

  const settle = (what, done) => {
    s.due = s.due.filter((one) => one !== what);
    if (done && ["sheet", "brush", "turn"].includes(what)) mark(what);
    else if (!done && ["sheet", "brush", "turn"].includes(what)) s.open.skipped.push(`${what} left out at ${s.count}`);
    if (what === "begin") s.begun = true;
    save();
  };

  const stamp = (time, after) => new Date(Math.max(time, after)).toISOString().replace(/\.\d+Z$/, "Z");

  // Write down the strokes counted, with what was seen at the look, if anything was.
  const write = (look) => {
    const st = stage(), open = s.open, own = [];
    const saved = JSON.stringify({ stage: s.stage, count: s.count, turned: s.turned, sheetFrom: s.sheetFrom, open, draft: s.draft, due: s.due });
    const last = s.journal.length ? Date.parse(s.journal[s.journal.length - 1].when) : 0;
    let when = last, note = (look && look.note) || "";
    if (open.skipped.length) note = [note, ...open.skipped].filter(Boolean).join("; ").slice(0, 1000);
    const pieces = open.strokes ? benchRules.segments({
      ...open, turns: job.turns.length > 1, turnEvery: st.turn_every, sinceTurn: st.since_turn + s.count - open.strokes,
    }) : [];
    const put = (entry, time) => {
      const text = stamp(time, when + 1000);
      when = Date.parse(text);
      own.push({ id: `${s.phone}-${s.next++}`, when: text, ...entry });
    };
    pieces.forEach(({ end, ...one }, i) => {
      const ended = open.marks.find((m) => m.s === end);
      const minutes = (open.active / 60000) * (one.strokes / open.strokes);
      const entry = { paper: st.paper, ...one };
      if (minutes * job.most_pace >= one.strokes) entry.minutes = Math.round(minutes * 100) / 100;
      if (entry.minutes * job.most_pace < one.strokes) delete entry.minutes;
      if (i === pieces.length - 1 && look) Object.assign(entry, look);
      if (i === pieces.length - 1 && note) entry.note = note;
      put(entry, i < pieces.length - 1 && ended ? ended.t : Date.now());
    });
    if (!pieces.length && look) {
      const entry = { ...look };
      if (note) entry.note = note;
      put(entry, Date.now());
    }
    if (!own.length) return [];
    s.journal.push(...own);
    if (pieces.length) {
      const atEnd = open.marks.filter((m) => m.s >= open.strokes).map((m) => m.k);
      s.open = { ...freshOpen(), newSheet: atEnd.includes("sheet"), brushed: atEnd.includes("brush") };
    } else s.open.skipped = [];
    s.undo.push({ ids: own.map((e) => e.id), saved });
    s.undo = s.undo.slice(-MOST_UNDO);
    s.draft = emptyDraft(s.draft);
    s.due = s.due.filter((one) => one !== "look");
    s.begun = true;
    watch();
    save();
    return own;
  };

  // Take the last entry back: it stays in the text, and its strokes are open again to be written anew.
  const takeBack = () => {
    const last = s.undo[s.undo.length - 1];
    if (!last) return "Nothing was written down on this page yet.";
    const saved = JSON.parse(last.saved);
    if (saved.stage !== s.stage && s.open.strokes) return "Write down the strokes on this paper first.";
    s.undo.pop();
    let when = Date.parse(s.journal[s.journal.length - 1].when);
    for (const id of last.ids) {
      when += 1000;
      s.journal.push({ id: `${s.phone}-${s.next++}`, when: stamp(Date.now(), when), takes_back: id });
    }
    const before = saved.open.strokes, now = s.open;
    s.open = {
      ...saved.open,
      strokes: before + now.strokes,
      active: saved.open.active + now.active,
      marks: [...saved.open.marks.filter((m) => m.s < before || !now.strokes),
        ...(now.strokes && now.newSheet && before ? [{ s: before, k: "sheet", t: Date.now() }] : []),
        ...(now.strokes && now.brushed && before ? [{ s: before, k: "brush", t: Date.now() }] : []),
        ...saved.open.marks.filter((m) => m.s >= before && now.strokes && m.k === "turn"),
        ...now.marks.map((m) => ({ ...m, s: m.s + before }))],
      skipped: [...saved.open.skipped, ...now.skipped],
    };
    s.count = saved.count + now.strokes;
    s.stage = saved.stage;
    if (!now.strokes) [s.turned, s.sheetFrom, s.due] = [saved.turned, saved.sheetFrom, saved.due];
    s.draft = saved.draft;
    watch();
    save();
    return "";
  };

  const nextPaper = (to) => {
    if (s.open.strokes) write(null);
    s.stage = to;
    s.count = 0;
    s.open.newSheet = true;
    s.open.brushed = false;
    s.sheetFrom = 0;
    s.due = s.due.filter((one) => one.startsWith("rule "));
    save();
  };

  const head = () => ({ ...job.head, phone: s.phone });
  const text = () => benchRules.textOf(head(), s.journal, s.open.strokes);

  // Go on from a text that was copied: of this page, or of another phone with the same page.
  const goOn = (given) => {
    const found = benchRules.readText(given);
    for (const name of ["part", "scenario", "page"]) {
      if (found.head[name] !== job.head[name]) {
        throw new Error(name === "page" ? "This text is of another page of this job: bring it in at the machine instead."
          : `This text is of another job, ${found.head.scenario}.`);
      }
    }
    if (s.journal.some((e) => !found.entries.some((other) => other.id === e.id)) || s.open.strokes) {
      throw new Error("This page holds entries that are not in the text: hand them over first. Nothing was taken in.");
    }
    s.journal = found.entries;
    s.next = 1 + Math.max(0, ...found.entries.map((e) => Number(e.id.split("-")[1])).filter(Number.isFinite));
    const own = benchRules.standing(s.journal).filter((e) => e.strokes);
    const paper = own.length ? own[own.length - 1].paper : "";
    const at = job.stages.findIndex((st) => st.paper === paper);
    s.stage = Math.max(0, at);
    s.count = own.filter((e) => e.paper === stage().paper).reduce((sum, e) => sum + e.strokes, 0) + found.open;
    s.open = { ...freshOpen(), strokes: found.open };
    s.undo = [];
    s.due = [];
    s.begun = s.journal.length > 0;
    watch();
    save();
  };

  load();
  s.head = job.head;
  if (!s.journal.length && !s.begun && !s.open.strokes && stage() && !s.due.length) {
    if (!job.laid || job.laid !== stage().paper) s.due.push("first sheet");
    if (!job.strokes && !job.before.length) s.due.unshift("begin");
  }
  watch();
  save();
  return {
    get s() { return s; },
    get kept() { return kept && Boolean(store); },
    key, stage, entries, total, ahead, stroke, unstroke, settle, write, takeBack, nextPaper, text, goOn, leftBehind,
    save, reload: () => { load(); },
    firstSheet: (done) => { s.due = s.due.filter((one) => one !== "first sheet"); s.open.newSheet = done; save(); },
    look: () => { const st = stage(); return st && (st.looks.find((one) => one.at >= s.count) || null); },
    nowLook: () => { const st = stage(); return st && (st.looks.find((one) => one.at === s.count) || null); },
    turnTo: (k) => { s.turned = (k + job.turns.length) % job.turns.length; save(); },
    handed: () => { s.handed = s.journal.length; save(); },
  };
};
