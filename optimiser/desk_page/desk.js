// The edit page: a design, its undo, what it measures; saving and sheets.

import { showChoice } from "/assets/desk_choose.js";
import { make, shown, signed } from "/assets/desk_draw.js";
import { drawMap } from "/assets/desk_map.js";
import { bandStrip, changesTable, drawCourse, drawStrips, sharesTable } from "/assets/desk_plots.js";

const at = (id) => document.getElementById(id);
const TOLD_AFTER = 350; // ms of rest before shares are asked for
const UNDO_MOST = 500;

/** The state of the page. `design` is as its file has it. */
const state = {
  design: null, undo: [], redo: [], clean: "", file: "", seen: "", chosen: 0,
  first: null, // what the design measured when it was opened
  answer: null, told: null, faults: [], map: null, profile: null, points: [], kinds: {}, fills: [],
  obstacles: [], // why what was measured cannot be built
};
let live = null; // design before a drag began
let waiting = false; // whether an answer is on its way
let late = false; // whether the design has changed since it was asked for
let since = null; // when the first edit was made that no picture shows yet
let resting = 0;
let writing = false; // whether papers are being written

// ------------------------------------------------------------------------- asking

async function ask(path, body) {
  const options = body === undefined ? {} : {
    method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) };
  const response = await fetch(path, options);
  let answer;
  try { answer = await response.json(); } catch { answer = { error: "the program gave no answer" }; }
  return { ok: response.ok && !answer.faults && !answer.error, answer };
}

async function measure() {
  if (waiting) { late = true; return; }
  waiting = true;
  do {
    late = false;
    const begun = since;
    since = null;
    try {
      const { ok, answer } = await ask("/data/measure", { design: state.design });
      // a newer edit is on its way; yet a drag is to be followed
      show(ok, answer);
    } catch {
      show(false, { error: "The program does not answer. Is it still running? Nothing is lost on this page." });
    }
    if (begun !== null) note(begun);
  } while (late);
  waiting = false;
  clearTimeout(resting);
  resting = setTimeout(tell, TOLD_AFTER);
}

/** Notes how long it took from an edit until its values stood on the page. */
function note(begun) {
  requestAnimationFrame(() => setTimeout(() => {
    performance.measure("edit to redraw", { start: begun, end: performance.now() });
    if (performance.getEntriesByName("edit to redraw").length > 2000) performance.clearMeasures("edit to redraw");
  }, 0));
}

async function tell() {
  if (state.faults.length) return;
  const asked = JSON.stringify(state.design);
  try {
    const { ok, answer } = await ask("/data/explain", { design: state.design });
    if (!ok || asked !== JSON.stringify(state.design)) return;
    state.told = answer;
    showTold();
  } catch { /* said by measure */ }
}

function show(ok, answer) {
  if (ok) {
    state.answer = answer;
    Object.assign(state, { profile: answer.profile, points: answer.points, faults: [], obstacles: answer.obstacles });
    // where a newer edit is under way, the map already is as that one has it
    if (!late) state.map = answer.map;
    state.map ??= answer.map;
    state.first ??= answer;
  } else {
    state.faults = answer.faults ?? [{ text: answer.error, flag: null, table: null, key: null }];
    state.obstacles = [];
  }
  at("told").classList.add("stale");
  showFaults();
  showStanding();
  if (!state.answer) return;
  for (const id of ["map", "strips", "measures"]) at(id).classList.toggle("stale", !ok);
  fillFlags();
  if (ok) {
    if (!late) drawMap(at("map"), state, hands);
    drawStrips(at("strips"), state);
    showMetrics();
  }
}

// ------------------------------------------------------------------------- editing

/** Changes the design by a function; one step of undo. */
function edit(change) {
  const before = JSON.stringify(state.design);
  const next = JSON.parse(before);
  change(next);
  if (JSON.stringify(next) === before) return;
  // a changed design does not go by the id of the one that it was made from
  const isNamedSo = state.first && next.name === state.design.name && next.name.endsWith(` ${state.first.id}`);
  if (isNamedSo) next.name += " changed";
  since ??= performance.now();
  if (live === null) remember(before);
  state.design = next;
  settle();
}

function remember(before) {
  state.undo.push(before);
  if (state.undo.length > UNDO_MOST) state.undo.shift();
  state.redo = [];
}

function settle() {
  state.chosen = Math.min(state.chosen, state.design.flag.length - 1);
  showFlags();
  showFields();
  showStanding();
  measure();
}

function step(from, to) {
  if (!from.length) return;
  since ??= performance.now();
  to.push(JSON.stringify(state.design));
  state.design = JSON.parse(from.pop());
  settle();
}

const undo = () => step(state.undo, state.redo);
const redo = () => step(state.redo, state.undo);

/** Length as a file has it: a plain number is of millimetres. */
const length = (text) => (/^[+-]?(\d+\.?\d*|\.\d+)$/.test(text) ? `${text} mm` : text);
const bare = (value) => (typeof value === "string" && / mm$/.test(value) ? value.slice(0, -3) : String(value ?? ""));
const plain = (text) => (/^[+-]?(\d+\.?\d*|\.\d+)$/.test(text) ? Number(text) : text);

const hands = {
  choose(k) { if (state.chosen !== k) { state.chosen = k; showFlags(); showTold(); } },
  move(k, ends) {
    live ??= JSON.stringify(state.design);
    edit((design) => {
      design.flag[k].start = `${Number(ends.start.toFixed(4))} mm`;
      design.flag[k].end = `${Number(ends.end.toFixed(4))} mm`;
    });
    // the flag follows the pointer at once; its values follow when they are there
    stretch(k, ends);
    drawMap(at("map"), state, hands);
  },
  done() {
    if (live !== null && live !== JSON.stringify(state.design)) remember(live);
    live = null;
    showStanding();
  },
};

function stretch(k, ends) {
  const outline = state.map.rows[k].outline;
  const tip = outline[1][0] - outline[0][0];
  const butt = outline[3][0] - outline[2][0];
  const start = ends.start <= 0 ? state.map.start_mm : ends.start;
  const end = ends.end >= state.map.length_mm ? state.map.end_mm : ends.end;
  state.map.rows[k].outline = [[start, 0], [start + tip, 1], [end - butt, 1], [end, 0]];
}

// ---------------------------------------------------------------------- flag table

const CELLS = [
  { key: "name", head: "Flag", kind: "words", read: (f) => f.name, write: (f, t) => { f.name = t; } },
  { key: "material", head: "Material", kind: "choice", read: (f) => f.material, write: (f, t) => { f.material = t; } },
  { key: "angle", head: "Angle °", kind: "number", read: (f) => String(f.angle), write: (f, t) => { f.angle = t; } },
  { key: "start", head: "Start mm", kind: "number", read: (f) => bare(f.start), write: (f, t) => { f.start = length(t); } },
  { key: "end", head: "End mm", kind: "number", read: (f) => bare(f.end), write: (f, t) => { f.end = length(t); } },
  { key: "wraps", head: "Wraps", kind: "number", also: "width", read: amount, write: setAmount,
    title: "Turns; or the widths of a straight-edged piece at tip and butt, such as 68/97" },
  { key: "run_out", head: "Run-out tip", kind: "number", read: (f) => bare(f.run_out?.tip), write: (f, t) => runOut(f, "tip", t) },
  { key: "run_out", head: "Run-out butt", kind: "number", read: (f) => bare(f.run_out?.butt), write: (f, t) => runOut(f, "butt", t) },
  { key: "clock", head: "Cut edge", kind: "number", read: (f) => f.clock ?? "",
    write: (f, t) => { if (t) f.clock = /^[+-]?[\d.]+$/.test(t) ? `${t} deg` : t; else delete f.clock; },
    title: "Where the cut edge lies round the shaft, such as 90 deg; empty: spread evenly" },
];

function amount(flag) {
  return flag.width ? `${bare(flag.width.tip)}/${bare(flag.width.butt)}` : String(flag.wraps ?? "");
}

function setAmount(flag, text) {
  const [tip, butt] = text.split("/").map((part) => part.trim());
  delete flag.width;
  delete flag.wraps;
  if (butt === undefined) flag.wraps = plain(text);
  else { flag.width = { tip: length(tip), butt: length(butt) }; delete flag.run_out; }
}

function runOut(flag, end, text) {
  const both = { tip: "0 mm", butt: "0 mm", ...flag.run_out, [end]: text ? length(text) : "0 mm" };
  if (both.tip === "0 mm" && both.butt === "0 mm") delete flag.run_out;
  else flag.run_out = both;
}

/** Builds the table anew only where flags come or go, so that no cell loses its cursor. */
function showFlags() {
  const table = at("flags");
  const flags = state.design.flag;
  if (table.rows.length !== flags.length + 1) {
    table.replaceChildren(
      make("thead", {}, make("tr", {}, make("th", {}, ""), ...CELLS.map((c, i) => make("th", { class: i < 2 ? "left" : "", title: c.title }, c.head)),
        make("th", {}, "g"), make("th", {}, state.currency || "cost"), make("th", {}, ""))),
      make("tbody", {}, ...flags.map((_, k) => flagRow(k))));
  }
  flags.forEach((flag, k) => {
    const row = table.rows[k + 1];
    row.classList.toggle("chosen", k === state.chosen);
    row.querySelectorAll("[data-cell]").forEach((input) => {
      if (input !== document.activeElement || input.tagName === "SELECT") input.value = CELLS[input.dataset.cell].read(flag);
    });
  });
  fillFlags();
}

function flagRow(k) {
  const change = (i) => (event) => {
    const text = event.target.value.trim();
    if (text !== CELLS[i].read(state.design.flag[k])) edit((design) => CELLS[i].write(design.flag[k], text));
  };
  const input = (cell, i) => {
    const common = { "data-cell": i, "aria-label": `${cell.head}, flag ${k + 1}`, change: change(i), focus: () => hands.choose(k) };
    if (cell.kind !== "choice") {
      return make("input", { ...common, class: cell.kind, spellcheck: "false", keydown: (event) => {
        if (event.key === "Enter") event.target.blur();
        if (event.key === "Escape") { event.target.value = cell.read(state.design.flag[k]); event.target.blur(); }
      } });
    }
    const select = make("select", common, ...state.prepregs.map((p) => make("option", { value: p.name }, p.name)));
    return select;
  };
  const act = (text, label, action) => make("button", { title: label, "aria-label": `${label}, flag ${k + 1}`, click: action }, text);
  return make("tr", { click: () => hands.choose(k) },
    make("td", { class: "quiet" }, String(k + 1)),
    ...CELLS.map((cell, i) => make("td", { class: i < 2 ? "left" : "" }, input(cell, i))),
    make("td", { "data-is": "mass" }), make("td", { "data-is": "cost" }),
    make("td", {},
      act("↑", "Roll earlier", () => shift(k, -1)), " ", act("↓", "Roll later", () => shift(k, 1)), " ",
      act("2×", "Double", () => edit((d) => { d.flag.splice(k + 1, 0, { ...structuredClone(d.flag[k]), name: freeName(`${d.flag[k].name} again`) }); })), " ",
      act("✕", "Take away", () => edit((d) => { d.flag.splice(k, 1); }))));
}

function shift(k, by) {
  const to = k + by;
  if (to < 0 || to >= state.design.flag.length) return;
  if (state.chosen === k) state.chosen = to;
  edit((design) => { design.flag.splice(to, 0, ...design.flag.splice(k, 1)); });
}

function freeName(base) {
  const names = new Set(state.design.flag.map((flag) => flag.name));
  let name = base;
  for (let n = 2; names.has(name); n += 1) name = `${base} ${n}`;
  return name;
}

function addFlag() {
  edit((design) => {
    const like = design.flag[state.chosen];
    const flag = { name: freeName("new flag"), material: like?.material ?? state.prepregs[0].name,
      angle: "0", start: "0 mm", end: design.shaft.length, wraps: 1 };
    state.chosen = Math.min(state.chosen + 1, design.flag.length);
    design.flag.splice(state.chosen, 0, flag);
  });
}

/** Puts weights and costs into the table, and marks what is amiss. */
function fillFlags() {
  const rows = at("flags").rows;
  const flags = state.answer?.flags ?? [];
  for (let k = 0; k + 1 < rows.length; k += 1) {
    const row = rows[k + 1];
    const known = !state.faults.length && flags.length === rows.length - 1 ? flags[k] : null;
    row.querySelector("[data-is=mass]").textContent = known ? shown(known.mass_g, 2) : "–";
    row.querySelector("[data-is=cost]").textContent = known ? shown(known.cost, 2) : "–";
    const amiss = allAmiss().filter((fault) => fault.flag === k);
    row.querySelectorAll("[data-cell]").forEach((input) => {
      const cell = CELLS[input.dataset.cell];
      const fault = amiss.find((f) => f.key === cell.key || (cell.also && f.key === cell.also));
      input.classList.toggle("amiss", Boolean(fault));
      input.title = fault ? fault.message : cell.title ?? "";
    });
  }
}

// ------------------------------------------------------------------ shaft and finish

const FIELDS = [
  ["shaft", "length", "Length"], ["shaft", "mandrel", "Mandrel"], ["shaft", "mandrel_set", "Mandrel set"],
  ["shaft", "trim_tip", "Trim, tip"], ["shaft", "trim_butt", "Trim, butt"],
  ["finish", "grind", "Grind, radial"], ["finish", "tip_diameter", "Tip diameter"],
  ["finish", "tip_parallel", "Tip parallel"], ["finish", "tip_blend", "Tip blend"],
  ["finish", "coating", "Coating"], ["finish", "resin_bleed", "Resin bleed"],
];
const NUMBERS = new Set(["resin_bleed", "tip_taper"]);
const NO_LENGTHS = new Set(["mandrel", "coating", ...NUMBERS]);

function showFields() {
  const place = at("body");
  if (!place.children.length) place.append(...FIELDS.map(([table, key, label]) => fieldOf(table, key, label)));
  for (const input of place.querySelectorAll("[data-key]")) {
    const { table, key } = input.dataset;
    if (input !== document.activeElement || input.tagName === "SELECT") input.value = String(state.design[table]?.[key] ?? "");
  }
  if (document.activeElement !== at("name")) at("name").value = state.design.name;
}

function fieldOf(table, key, label) {
  const change = (event) => {
    const text = event.target.value.trim();
    edit((design) => {
      design[table] ??= {};
      if (!text) delete design[table][key];
      else design[table][key] = NUMBERS.has(key) ? plain(text) : NO_LENGTHS.has(key) ? text : length(text);
    });
  };
  const common = { "data-table": table, "data-key": key, "aria-label": label, change };
  const input = key === "mandrel"
    ? make("select", common, ...state.mandrels.map((name) => make("option", { value: name }, name)))
    : make("input", { ...common, spellcheck: "false", keydown: (event) => { if (event.key === "Enter") event.target.blur(); } });
  return make("label", {}, label, input);
}

// ------------------------------------------------------------------------ showing

function drawAll() {
  drawMap(at("map"), state, hands);
  drawStrips(at("strips"), state);
}

/** What keeps the design from being measured, or being measured, from being built. */
const allAmiss = () => [...state.faults, ...state.obstacles];

function showFaults() {
  const place = at("faults");
  const all = allAmiss();
  place.hidden = !all.length;
  place.replaceChildren(make("strong", {}, state.faults.length
    ? "This cannot be measured as it stands. What is pale is of the last that could:"
    : "This cannot be built yet. What is shown is what it would measure:"),
    make("ul", {}, ...all.map((fault) => make("li", {}, fault.text))));
  for (const input of at("body").querySelectorAll("[data-key]")) {
    const fault = all.find((f) => f.table === input.dataset.table && f.key === input.dataset.key);
    input.classList.toggle("amiss", Boolean(fault));
    input.title = fault ? fault.message : "";
  }
}

const MARKS = { in: "✓", low: "▼ low", high: "▲ high", "": "" };

function showMetrics() {
  const first = new Map(state.first.metrics.map((row) => [row.what, row]));
  const asked = state.answer.metrics.some((row) => row.asked);
  const head = ["", "Now", "Change", ...(asked ? ["Asked", "", ""] : [])];
  at("metrics").replaceChildren(
    make("thead", {}, make("tr", {}, ...head.map((text, i) => make("th", { class: i ? "" : "left", title: text === "Change" ? "since the design was opened" : null }, text)))),
    make("tbody", {}, ...state.answer.metrics.map((row) => {
      const was = first.get(row.what)?.value;
      const by = row.value === null || was === null || was === undefined ? null : row.value - was;
      const [low, high] = [row.low, row.high].map((v) => (v === null ? "" : String(Number(v.toPrecision(7)))));
      const band = low && high ? `${low} to ${high}` : low ? `≥ ${low}` : high ? `≤ ${high}` : "";
      return make("tr", {}, make("td", { class: "left" }, row.unit ? `${row.label} [${row.unit}]` : row.label),
        make("td", { class: row.state, "data-metric": row.what }, row.shown),
        make("td", { class: "quiet" }, by !== null && Math.abs(by) >= 0.5 * 10 ** -row.decimals ? signed(by, row.decimals) : ""),
        ...(asked ? [make("td", { class: "band", title: row.asked }, band), make("td", {}, bandStrip(row)), make("td", { class: row.state }, MARKS[row.state])] : []));
    })));
  const said = [...state.answer.misses.map((text) => `misses ${text}`), ...state.answer.notes];
  at("missed").replaceChildren(said.length ? make("ul", {}, ...said.map((text) => make("li", {}, text))) : "");
}

function showTold() {
  if (!state.told) return;
  at("told").classList.remove("stale");
  at("shares").replaceChildren(sharesTable(state.told, state.fills, state.chosen, (k) => { hands.choose(k); drawAll(); }));
  drawCourse(at("course"), state.told, state.fills, state.chosen);
  const flag = state.design.flag[state.chosen];
  at("changes").replaceChildren(make("h2", {}, `What small changes of ${flag ? `“${flag.name}”` : "a flag"} and of the mandrel set do`),
    changesTable(state.told, state.chosen));
  at("share-notes").replaceChildren(...state.told.notes.map((text) => make("p", {}, text)));
}

const isClean = () => JSON.stringify(state.design) === state.clean;

function showStanding() {
  at("undo").disabled = !state.undo.length;
  at("redo").disabled = !state.redo.length;
  const id = state.faults.length ? "not to be measured" : state.answer?.id ?? "";
  // the name of a design that a search has found holds its id already
  const told = state.design.name.split(/\s+/).includes(id) ? "" : id;
  at("standing").textContent = [told, state.obstacles.length ? "cannot be built yet" : "", state.file, isClean() ? "" : "not saved"]
    .filter(Boolean).join(", ");
  document.title = `${isClean() ? "" : "• "}${state.design.name} – plyfront`;
}

// ------------------------------------------------------------------------- saving

function dialog(title, ...parts) {
  const place = at("dialog");
  place.replaceChildren(make("h2", {}, title), ...parts);
  if (!place.open) place.showModal();
  return place;
}

const close = () => at("dialog").close();
const cautions = () => make("div", { class: "caution" }, ...state.cautions.map((text) => make("p", {}, text)));

function askSave(said = "") {
  const name = make("input", { id: "file-name", "aria-label": "File name", value: state.file || state.suggested, spellcheck: "false" });
  const go = () => save(name.value, false);
  name.addEventListener("keydown", (event) => { if (event.key === "Enter") { event.preventDefault(); go(); } });
  dialog("Save the design", make("p", { class: "quiet" }, `in ${state.folder}`), name,
    make("p", { class: "said" }, said), cautions(),
    make("p", { class: "row" }, make("button", { click: close }, "Do not save"), make("button", { class: "main", id: "do-save", click: go }, "Save")));
  name.select();
}

async function save(name, over) {
  const body = JSON.stringify(state.design);
  const seen = name.replace(/\.toml$/, "") === state.file.replace(/\.toml$/, "") ? state.seen : "";
  const { ok, answer } = await ask("/data/save", { design: state.design, file: name, over, seen });
  if (ok) {
    Object.assign(state, { file: answer.file, seen: answer.seen, clean: body });
    const address = new URL(location.href);
    address.search = `?file=${encodeURIComponent(answer.file)}`;
    history.replaceState(null, "", address);
    showStanding();
    const yet = answer.obstacles.length
      ? make("div", { class: "said", id: "not-yet" }, "It cannot be built yet:", make("ul", {}, ...answer.obstacles.map((fault) => make("li", {}, fault.text)))) : "";
    dialog(answer.obstacles.length ? `Saved as ${answer.file}; cannot be built yet` : `Saved as ${answer.file}`, yet, cautions(), make("p", { class: "row" }, make("button", { class: "main", id: "go-on", click: close }, "Go on")));
    return;
  }
  if (answer.reason === "exists") {
    const isOwn = name.replace(/\.toml$/, "") === state.file.replace(/\.toml$/, "");
    if (!isOwn) { askSave(`${answer.error} Give another name.`); return; }
    dialog("Write over it?", make("p", {}, `${answer.error} It holds what this page opened or saved last.`),
      make("p", { class: "row" }, make("button", { click: () => askSave() }, "Another name"),
        make("button", { class: "main", id: "do-over", click: () => save(name, true) }, "Write over it")));
    return;
  }
  askSave(answer.faults ? answer.faults.map((fault) => fault.text).join(" ") : answer.error);
}

async function sheet(over = false) {
  if (writing) return;
  const name = state.file || state.suggested;
  const row = (...buttons) => make("p", { class: "row" }, make("button", { id: "sheet-close", click: close }, "Close"), ...buttons);
  writing = true;
  at("sheet").disabled = true;
  dialog("Papers for the shop", make("p", { id: "sheet-works", role: "status" },
    "Writing the sheet, workbook, patterns, lays and bill. This takes some seconds …"), make("progress", { "aria-label": "Being written" }));
  let ok = false;
  let answer = { error: "The program does not answer. Is it still running?" };
  try { ({ ok, answer } = await ask("/data/sheet", { design: state.design, file: name, over })); } catch { /* said below */ }
  writing = false;
  at("sheet").disabled = false;
  if (ok) {
    const entries = answer.files.map((file) => make("li", {},
      file.opens ? make("a", { href: `/sheet/${encodeURIComponent(answer.folder)}/${encodeURIComponent(file.name)}`, target: "_blank", rel: "noopener" }, file.name) : make("span", {}, file.name),
      file.what ? make("span", { class: "quiet" }, ` ${file.what}`) : ""));
    dialog("Papers for the shop", make("p", {}, `${answer.files.length} written into `, make("strong", { id: "sheet-where" }, answer.where),
      `, lays and bill for ${answer.batch} shafts${isClean() ? "" : "; the design itself is not saved yet"}:`),
      make("ul", { id: "sheet-files" }, ...entries), ...answer.notes.map((text) => make("p", { class: "said" }, text)), cautions(), row());
  } else if (answer.reason === "exists") {
    dialog("Write over them?", make("p", {}, answer.error), row(make("button", { class: "main", id: "sheet-over", click: () => sheet(true) }, "Write over them")));
  } else {
    dialog("No papers", make("p", { class: "said" }, answer.faults ? answer.faults.map((f) => f.text).join(" ") : answer.error), row());
  }
}

// ------------------------------------------------------------------------ starting

function normal(design) {
  for (const flag of design.flag) {
    if (typeof flag.run_out === "string") flag.run_out = { tip: flag.run_out, butt: flag.run_out };
  }
  return design;
}

async function openDesign(query) {
  const { ok, answer } = await ask(`/data/design${query}`);
  if (!ok) {
    at("choose").hidden = false;
    at("choose").replaceChildren(make("p", {}, answer.faults ? answer.faults.map((f) => f.text).join(" ") : answer.error), make("a", { href: "/" }, "Back"));
    return;
  }
  Object.assign(state, answer, { design: normal(answer.design) });
  state.clean = JSON.stringify(state.design);
  at("desk").hidden = at("tools").hidden = at("name").hidden = false;
  at("cautions").replaceChildren(...state.cautions.map((text) => make("p", {}, text)));
  settle();
}

async function begin() {
  const { answer: start } = await ask("/data/start");
  const query = new URLSearchParams(location.search);
  at("others").hidden = !start.designs.length;
  if (query.has("id") || query.has("file")) await openDesign(location.search);
  else if (start.opens) await openDesign("");
  else {
    at("choose").hidden = false;
    document.title = `${start.title} – plyfront`;
    showChoice(at("choose"), start);
  }
}

at("undo").addEventListener("click", undo);
at("redo").addEventListener("click", redo);
at("save").addEventListener("click", () => askSave());
at("sheet").addEventListener("click", () => sheet());
at("add").addEventListener("click", addFlag);
at("name").addEventListener("change", (event) => edit((design) => { design.name = event.target.value.trim(); }));
window.addEventListener("resize", () => { if (state.map) drawAll(); });
window.addEventListener("beforeunload", (event) => { if (state.design && !isClean()) event.preventDefault(); });
window.addEventListener("keydown", (event) => {
  if (!(event.ctrlKey || event.metaKey) || at("dialog").open || !state.design) return;
  const key = event.key.toLowerCase();
  if (key === "s") { event.preventDefault(); document.activeElement?.blur?.(); askSave(); return; }
  // within a cell that is being written, undo is the cell's own
  const isWriting = document.activeElement?.matches?.("input") && document.activeElement.value !== valueOf(document.activeElement);
  if (isWriting) return;
  if (key === "z" && !event.shiftKey) { event.preventDefault(); undo(); }
  if ((key === "z" && event.shiftKey) || key === "y") { event.preventDefault(); redo(); }
});

/** Value that a cell had when nothing was written into it yet. */
function valueOf(input) {
  if (input.dataset.cell !== undefined) return CELLS[input.dataset.cell].read(state.design.flag[input.closest("tr").rowIndex - 1]);
  if (input.dataset.key !== undefined) return String(state.design[input.dataset.table]?.[input.dataset.key] ?? "");
  return input.id === "name" ? state.design.name : input.value;
}

begin();
