// The rules of the page, without any state: what stands, what is off, when to stop, and the text that is
// handed over.  Thresholds come from the program as data; sim/bench/bench_page_text.py reads and writes the same
// text, and the tests hold the two against each other.
"use strict";
const benchRules = (() => {
  const TORN = "The text was cut short or changed on its way: copy it again, whole.";

  // Entries that are not taken back, with the strokes done in all by then.
  const standing = (entries) => {
    const back = new Set(entries.map((e) => e.takes_back).filter(Boolean));
    let done = 0;
    return entries.filter((e) => !e.takes_back && !back.has(e.id)).map((e) => {
      done += e.strokes || 0;
      return { ...e, at: done };
    });
  };

  // Grams off since the start of the job, as far as they were weighed.
  const metalOff = (entries) => {
    const weighed = entries.filter((e) => e.part_g !== undefined);
    const last = weighed[weighed.length - 1];
    if (weighed.length > 1 && weighed[0].at === 0 && last.at > 0) {
      return { grams: weighed[0].part_g - last.part_g, by: "part" };
    }
    const swarf = entries.filter((e) => e.swarf_g !== undefined);
    return swarf.length ? { grams: swarf.reduce((sum, e) => sum + e.swarf_g, 0), by: "swarf" } : null;
  };

  const weighedNow = (entries) => {
    for (const e of [...entries].reverse()) {
      if (e.part_g !== undefined || e.swarf_g !== undefined) return true;
      if (e.strokes) return false;
    }
    return false;
  };

  const gap = ([at, goes, stops]) =>
    ({ at, goes: goes === "none" ? 0 : goes, stops: stops === "open" || stops === undefined ? Infinity : stops });

  // Lines read since the last stroke; of a line that was read twice, the later reading.
  const readingsAfter = (entries) => {
    let worked = 0;
    entries.forEach((e, i) => { if (e.strokes) worked = i; });
    const found = new Map();
    for (const e of entries.slice(worked)) for (const line of e.readings || []) found.set(line.name, line);
    return [...found.values()];
  };

  const sameLine = (rules, read, line) => read.name === line.name &&
    [...read.from, ...read.to].every((x, i) => Math.abs(x - [...line.from, ...line.to][i]) <= rules.same_line_mm);

  // Readings against the limit, line by line: "met as checked", "not met" or "open".
  const checkLines = (rules, lines, read) => {
    const takes = [], untold = [], missing = [];
    const call = (line, at) => {
      const k = line.at.findIndex((own) => Math.abs(own - at) <= rules.named_by_mm);
      return k < 0 ? `${line.letter} at ${at.toFixed(0)} mm` : `${line.letter}${k + 1}`;
    };
    lines.forEach((line, i) => {
      const own = read.filter((r) => sameLine(rules, r, line)).flatMap((r) => r.stations.map(gap));
      own.sort((a, b) => a.at - b.at);
      if (!own.length) { missing.push(`${line.letter} (${line.name})`); return; }
      if (!readAlong(rules, line, rules.lengths_mm[i], own.map((s) => s.at))) {
        missing.push(`${line.letter} (${line.name}) but for a part`);
      }
      for (const s of own) {
        if (s.goes >= rules.limit_um - rules.equal_um) takes.push(call(line, s.at));
        else if (s.stops > rules.limit_um + rules.equal_um) untold.push(call(line, s.at));
      }
    });
    const answer = takes.length ? "not met" : untold.length || missing.length ? "open" : "met as checked";
    return { answer, takes, untold, missing };
  };

  const widest = (at, otherwise) =>
    at.length < 2 ? otherwise : Math.max(...at.slice(1).map((x, i) => x - at[i]));

  const readAlong = (rules, line, length, at) => {
    if (!line.at.length) return true;
    const ends = at[0] <= line.at[0] + rules.near_end_mm &&
      at[at.length - 1] >= line.at[line.at.length - 1] - rules.near_end_mm;
    const allowed = Math.max(rules.widest_gap * length, widest(line.at, 0));
    return ends && widest(at, length) <= allowed + rules.named_by_mm;
  };

  // Stations that went up less those that went down since the readings before, and the thickest that goes.
  const stationsUp = (rules, entries) => {
    const read = entries.filter((e) => e.readings && e.readings.length);
    if (!read.length) return { balance: 0, thickest: 0 };
    const now = read[read.length - 1].readings;
    const thickest = Math.max(0, ...now.flatMap((line) => line.stations.map((s) => gap(s).goes)));
    let balance = 0;
    if (read.length > 1) {
      const before = new Map(read[read.length - 2].readings.map((line) => [line.name, line]));
      for (const line of now) {
        for (const s of line.stations.map(gap)) {
          const old = (before.get(line.name)?.stations || []).map(gap)
            .find((o) => Math.abs(o.at - s.at) <= rules.same_station_mm);
          if (old) balance += Number(s.goes >= old.stops) - Number(s.stops <= old.goes);
        }
      }
    }
    return { balance, thickest };
  };

  // The rules that hold, by their names; entries: those that stand; strokes: all that were done.
  const rulesThatHold = (job, entries, strokes) => {
    const rules = job.rules, held = [];
    const written = entries.length ? entries[entries.length - 1].at : 0;
    const read = readingsAfter(entries);
    if (strokes === written && read.length && rules.by_straightedge &&
        checkLines(rules, job.lines, read).answer === "met as checked") held.push("goal");
    const off = metalOff(entries), most = rules.allowance_g;
    if (most !== null && off && off.grams >= most) held.push("allowance grams");
    else if (rules.allowance_strokes !== null && strokes >= rules.allowance_strokes &&
        (most === null || !off || strokes !== written || !weighedNow(entries))) held.push("allowance strokes");
    if (rules.worse_strokes !== null && strokes >= rules.worse_strokes) held.push("worse strokes");
    const up = stationsUp(rules, entries);
    if (up.balance >= 1 && up.thickest >= rules.reread_um) held.push("worse stations");
    return held;
  };

  // Strokes between two looks as entries of the log: cut where a sheet was laid, and where it was brushed
  // out of step; brushings in step and turns go in as how often.
  const segments = (block) => {
    const pieces = [], inside = block.marks.filter((m) => m.s > 0 && m.s < block.strokes);
    let from = 0, sheet = block.newSheet, brushed = block.brushed;
    const lay = (to) => {
      const own = inside.filter((m) => m.k === "brush" && m.s > from && m.s < to).map((m) => m.s - from);
      const every = own[0] || 0, long = to - from;
      const inStep = !every || (own.length === Math.ceil(long / every) - 1 && own.every((b, i) => b === every * (i + 1)));
      const end = inStep ? to : from + every;
      pieces.push(piece(block, from, end, { sheet, brushed, every: inStep ? every : 0 }));
      from = end;
      sheet = false;
      brushed = true;
      if (!inStep) lay(to);
    };
    const cuts = [...new Set(inside.filter((m) => m.k === "sheet").map((m) => m.s))].sort((a, b) => a - b);
    for (const cut of [...cuts, block.strokes]) {
      lay(cut);
      sheet = true;
      brushed = false;
    }
    return pieces;
  };

  const piece = (block, from, to, { sheet, brushed, every }) => {
    const found = { strokes: to - from, end: to };
    if (sheet) found.new_sheet = true;
    if (brushed) found.brushed = true;
    if (every) found.brush_every = every;
    if (block.turns) {
      const step = block.turnEvery, done = block.marks.filter((m) => m.k === "turn" && m.s > from && m.s < to).length;
      const after = (x) => (step ? Math.floor((block.sinceTurn + x) / step) : 0);
      const wanted = Math.max(0, after(to - 1) - after(from));
      if (done === wanted) found.turn_every = step;
      else found.turn_every = done ? Math.max(1, Math.round((to - from) / (done + 1))) : 0;
    }
    return found;
  };

  const textOf = (head, entries, uncounted) => handOver.textOf([head, ...entries, ...(uncounted ? [{ open: uncounted }] : [])]);

  // What a text holds: its first line, its entries, and strokes not written down; torn, it is refused.
  const readText = (text) => {
    const lines = text.split(/\r?\n/).map((line) => line.trimEnd());
    while (lines.length && !lines[lines.length - 1]) lines.pop();
    const objects = lines.map((line, i) => {
      try { return JSON.parse(line); } catch { throw new Error(`Line ${i + 1}: ${TORN}`); }
    });
    const head = objects[0], last = objects[objects.length - 1];
    if (!head || !head.handlap_bench) throw new Error("Line 1: this is not the text of a page for the bench.");
    if (last.end !== objects.length - 2 || last.sum !== handOver.crc(lines.slice(0, -1).join("\n") + "\n")) {
      throw new Error(`Line ${objects.length}: ${TORN}`);
    }
    const inner = objects.slice(1, -1);
    const open = inner.length && "open" in inner[inner.length - 1] ? inner.pop().open : 0;
    return { head, entries: inner, open };
  };

  return Object.freeze({ standing, metalOff, readingsAfter, checkLines, stationsUp, rulesThatHold, segments, textOf, readText });
})();
