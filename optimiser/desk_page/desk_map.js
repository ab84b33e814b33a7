// The flag map: flags along the shaft, to scale, whose ends are dragged.

import { draw, shown } from "/assets/desk_draw.js";

const ROW = 30;
const TOP = 26;
const LEFT = 150;
const RIGHT = 16;
const SNAP = 1; // mm
const NEAR = 4; // mm within which an end falls onto the end of the shaft
const LEAST = 10; // mm of a flag that is left at least

/** Scale from stations to pixels, shared by all that stands along the shaft. */
export function scaleOf(map, width) {
  const span = map.end_mm - map.start_mm;
  const per = (width - LEFT - RIGHT) / span;
  return {
    left: LEFT,
    right: width - RIGHT,
    at: (station) => LEFT + (station - map.start_mm) * per,
    station: (x) => map.start_mm + (x - LEFT) / per,
    per,
  };
}

/** Draws the map. `hands` takes what people do: choose, move(live), done. */
export function drawMap(svg, state, hands) {
  const { map } = state;
  // flags that came or went are drawn when they have been measured
  if (map.rows.length !== state.design.flag.length) return;
  const width = svg.clientWidth || 900;
  const bottom = TOP + ROW * map.rows.length + 4;
  svg.setAttribute("viewBox", `0 0 ${width} ${bottom + 22}`);
  svg.setAttribute("height", bottom + 22);
  const scale = scaleOf(map, width);
  const focused = document.activeElement?.dataset?.end ?? null;
  svg.replaceChildren(hatches());
  if (map.tip_parallel_mm) {
    svg.append(draw("rect", { x: scale.at(0), y: TOP - 6, height: bottom - TOP + 6,
      width: map.tip_parallel_mm * scale.per, fill: "#eaeff3" },
      draw("title", {}, `tip parallel, ${shown(map.tip_parallel_mm, 0)} mm`)));
  }
  for (const at of map.breaks) {
    const x = scale.at(at.station_mm);
    svg.append(
      draw("line", { x1: x, x2: x, y1: TOP - 6, y2: bottom, stroke: "#8a949e", "stroke-dasharray": "2 3" }),
      draw("text", { x, y: TOP - 11, "text-anchor": "middle", class: "quiet" }, `⌀${shown(at.diameter_mm, 2)}`));
  }
  for (const station of [0, map.length_mm]) {
    const x = scale.at(station);
    svg.append(draw("line", { x1: x, x2: x, y1: TOP - 6, y2: bottom, stroke: "#1f2a36" }));
  }
  svg.append(
    draw("text", { x: scale.at(0), y: bottom + 15, class: "quiet" }, "0, tip"),
    draw("text", { x: scale.at(map.length_mm), y: bottom + 15, "text-anchor": "end", class: "quiet" },
      `${shown(map.length_mm, 1)} mm, butt`));
  map.rows.forEach((row, k) => svg.append(...flagParts(svg, state, hands, scale, row, k)));
  if (focused !== null) svg.querySelector(`[data-end="${focused}"]`)?.focus();
}

/** Fibre directions as fills that also read in grey. */
function hatches() {
  const lines = { straight: "M0 4H8", bias: "M0 0L8 8M0 8L8 0", hoop: "M4 0V8", up: "M0 8L8 0", down: "M0 0L8 8" };
  return draw("defs", {}, ...Object.entries(lines).map(([kind, d]) =>
    draw("pattern", { id: `fibres-${kind}`, width: 8, height: 8, patternUnits: "userSpaceOnUse" },
      draw("path", { d, stroke: "#1f2a36", "stroke-opacity": 0.16, fill: "none" }))));
}

function flagParts(svg, state, hands, scale, row, k) {
  const y = TOP + ROW * k;
  const high = ROW - 9;
  const flag = state.design.flag[k];
  const corners = row.outline
    .map(([station, share]) => `${scale.at(station).toFixed(1)},${(y + high * (1 - share)).toFixed(1)}`)
    .join(" ");
  const chosen = state.chosen === k ? " chosen" : "";
  let hatch = row.kind;
  if (row.kind === "bias" && !row.is_pair) hatch = row.angle_deg > 0 ? "up" : "down";
  const [from, to] = [row.outline[0][0], row.outline.at(-1)[0]];
  const middle = (scale.at(from) + scale.at(to)) / 2;
  const wide = scale.at(to) - scale.at(from);
  const words = row.label;
  const fits = wide > words.length * 6.3 + 18;
  const beside = scale.right - scale.at(to) > words.length * 6.3 + 50;
  const place = fits
    ? { x: middle, "text-anchor": "middle" }
    : beside ? { x: scale.at(to) + 44 } : { x: scale.at(from) - 44, "text-anchor": "end" };
  const parts = [
    draw("text", { x: LEFT - 12, y: y + high - 5, "text-anchor": "end" },
      draw("title", {}, flag.name), `${k + 1}  ${shorten(String(flag.name), 19)}`),
    draw("polygon", { points: corners, fill: state.kinds[row.kind].colour }),
    draw("polygon", { points: corners, fill: `url(#fibres-${hatch})`, stroke: "#1f2a36", class: `flag${chosen}`,
      pointerdown: (event) => grab(event, svg, state, hands, scale, k, "both") },
      draw("title", {}, `${flag.name}: drag to move`)),
    draw("text", { ...place, y: y + high - 5, class: `label${fits ? " over" : ""}` }, words),
  ];
  for (const [end, station] of [["start", row.outline[0][0]], ["end", row.outline.at(-1)[0]]]) {
    const x = scale.at(station);
    const inside = station > 0.05 && station < state.map.length_mm - 0.05;
    if (inside) {
      const side = end === "start" ? { x: x - 5, "text-anchor": "end" } : { x: x + 5 };
      parts.push(draw("text", { ...side, y: y + high - 5, class: "end" }, shown(station, station % 1 ? 1 : 0)));
    }
    parts.push(draw("rect", {
      x: x - 5, y: y - 2, width: 10, height: high + 4, rx: 3, class: "handle", tabindex: 0,
      role: "slider", "aria-label": `${end} of ${flag.name}`, "aria-valuenow": shown(station, 1),
      "data-end": `${k} ${end}`,
      pointerdown: (event) => grab(event, svg, state, hands, scale, k, end),
      keydown: (event) => nudge(event, state, hands, k, end),
    }));
  }
  return parts;
}

function shorten(text, most) {
  return text.length > most ? `${text.slice(0, most - 1)}…` : text;
}

function ends(state, k) {
  const length = state.map.length_mm;
  const outline = state.map.rows[k].outline;
  const inside = (x) => Math.min(Math.max(x, 0), length);
  return { start: inside(outline[0][0]), end: inside(outline.at(-1)[0]) };
}

function runOuts(state, k) {
  const outline = state.map.rows[k].outline;
  return outline[1][0] - outline[0][0] + outline[3][0] - outline[2][0];
}

function bounded(state, before, after, which, need) {
  const length = state.map.length_mm;
  const least = Math.max(LEAST, need);
  const snapped = { ...after };
  for (const end of ["start", "end"]) {
    if (which !== "both" && which !== end) { snapped[end] = before[end]; continue; }
    snapped[end] = Math.round(snapped[end] / SNAP) * SNAP;
    if (snapped[end] < NEAR) snapped[end] = 0;
    if (snapped[end] > length - NEAR) snapped[end] = length;
  }
  if (which === "start") snapped.start = Math.min(snapped.start, before.end - least);
  if (which === "end") snapped.end = Math.max(snapped.end, before.start + least);
  if (snapped.start < 0 || snapped.end > length || snapped.end - snapped.start < least) return before;
  return snapped;
}

function grab(event, svg, state, hands, scale, k, which) {
  if (event.button !== 0) return;
  event.preventDefault();
  hands.choose(k);
  const before = ends(state, k);
  const need = runOuts(state, k);
  const from = event.clientX;
  const ratio = svg.viewBox.baseVal.width / svg.getBoundingClientRect().width;
  let last = before;
  const move = (now) => {
    const by = ((now.clientX - from) * ratio) / scale.per;
    let after = { start: before.start + by, end: before.end + by };
    if (which === "both") {
      // a flag that is moved keeps its length
      const held = Math.min(Math.max(by, -before.start), state.map.length_mm - before.end);
      after = { start: before.start + held, end: before.end + held };
      if (Math.abs(by) * scale.per < 3) return;
    }
    const next = bounded(state, before, after, which, need);
    if (next.start === last.start && next.end === last.end) return;
    last = next;
    hands.move(k, next);
  };
  const stop = () => {
    window.removeEventListener("pointermove", move);
    window.removeEventListener("pointerup", stop);
    window.removeEventListener("pointercancel", stop);
    hands.done();
  };
  window.addEventListener("pointermove", move);
  window.addEventListener("pointerup", stop);
  window.addEventListener("pointercancel", stop);
}

function nudge(event, state, hands, k, which) {
  const steps = { ArrowLeft: -1, ArrowRight: 1 };
  if (!(event.key in steps)) return;
  event.preventDefault();
  const by = steps[event.key] * (event.shiftKey ? 10 : 1);
  const before = ends(state, k);
  const at = before[which];
  const length = state.map.length_mm;
  // from the end of the shaft the first step leaves what an end falls onto
  const leap = (at === 0 && by > 0) || (at === length && by < 0) ? Math.sign(by) * Math.max(NEAR, Math.abs(by)) : by;
  const next = bounded(state, before, { ...before, [which]: at + leap }, which, runOuts(state, k));
  hands.choose(k);
  hands.move(k, next);
  hands.done();
}

