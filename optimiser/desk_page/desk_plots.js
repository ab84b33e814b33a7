// What stands along the shaft below the flag map, and the bars of shares.

import { draw, make, shown, signed, steps } from "/assets/desk_draw.js";
import { scaleOf } from "/assets/desk_map.js";

/** Height of a strip: on a laptop the table of flags is to be in sight below. */
const stripHeight = () => Math.max(64, Math.min(118, 0.207 * innerHeight - 89));
const GAP = 20;
const STRIPS = [
  { key: "ei_n_m2", label: "EI", unit: "N·m²", decimals: 1 },
  { key: "gj_n_m2", label: "GJ", unit: "N·m²", decimals: 1 },
  { key: "margin", label: "Margin", unit: "up to 2", decimals: 2, most: 2, floor: -0.2 },
];

/** Draws EI, GJ and margin along the shaft; dashed: the design as it was opened. */
export function drawStrips(svg, state) {
  const width = svg.clientWidth || 900;
  const tall = stripHeight();
  const high = (tall + GAP) * STRIPS.length;
  svg.setAttribute("viewBox", `0 0 ${width} ${high + 4}`);
  svg.setAttribute("height", high + 4);
  const scale = scaleOf(state.map, width);
  const parts = STRIPS.flatMap((strip, i) => stripParts(state, scale, strip, i * (tall + GAP) + 8, tall));
  const line = draw("line", { y1: 8, y2: high - GAP + 8, stroke: "#1f2a36", "stroke-opacity": 0.5, visibility: "hidden" });
  const said = STRIPS.map((_, i) =>
    draw("text", { x: scale.right, y: i * (tall + GAP) + 20, "text-anchor": "end" }));
  svg.replaceChildren(...parts, line, ...said);
  svg.onpointermove = (event) => {
    const box = svg.getBoundingClientRect();
    const x = ((event.clientX - box.left) * width) / box.width;
    const station = scale.station(x);
    const inside = station >= 0 && station <= state.map.length_mm;
    line.setAttribute("visibility", inside ? "visible" : "hidden");
    line.setAttribute("x1", x);
    line.setAttribute("x2", x);
    STRIPS.forEach((strip, i) => {
      const value = inside ? between(state.profile, strip.key, station) : null;
      said[i].textContent = value === null ? "" :
        `${shown(value, strip.decimals)} ${strip.most ? "" : strip.unit} at ${shown(station, 0)} mm`;
    });
  };
  svg.onpointerleave = () => {
    line.setAttribute("visibility", "hidden");
    said.forEach((text) => { text.textContent = ""; });
  };
}

function stripParts(state, scale, strip, top, tall) {
  const values = state.profile[strip.key];
  const points = strip.key === "ei_n_m2" ? state.points : [];
  const first = state.first?.profile;
  const all = [...values, ...(first ? first[strip.key] : []), ...points.map((p) => p.high)]
    .filter((v) => v !== null);
  const floor = strip.floor ?? 0;
  const most = strip.most ?? Math.max(...all, 1e-9) * 1.06;
  const y = (v) => top + tall - ((Math.min(Math.max(v, floor), most) - floor) / (most - floor)) * tall;
  const parts = [draw("text", { x: 12, y: top + 14 }, strip.label),
    draw("text", { x: 12, y: top + 30, class: "quiet" }, strip.unit)];
  for (const at of steps(most, 3)) {
    parts.push(
      draw("line", { x1: scale.left, x2: scale.right, y1: y(at), y2: y(at), stroke: at ? "#e3e7ea" : "#8a949e" }),
      draw("text", { x: scale.left - 8, y: y(at) + 4, "text-anchor": "end", class: "quiet" }, String(Number(at.toPrecision(6)))));
  }
  if (first) parts.push(draw("path", { d: course(first, strip.key, scale, y), fill: "none", stroke: "#8a949e", "stroke-width": 1.4, "stroke-dasharray": "5 4" }));
  parts.push(draw("path", { d: course(state.profile, strip.key, scale, y), fill: "none", stroke: "#155a8a", "stroke-width": 2 }));
  for (const point of points) {
    const x = scale.at(point.station_mm);
    parts.push(
      draw("path", { d: `M${x - 5} ${y(point.low)}h10M${x - 5} ${y(point.high)}h10M${x} ${y(point.low)}V${y(point.high)}`, stroke: "#b3261e", "stroke-width": 1.8, fill: "none" },
        draw("title", {}, `asked ${shown(point.low, 2)} to ${shown(point.high, 2)} N·m²`)));
  }
  return parts;
}

function course(profile, key, scale, y) {
  let path = "";
  let pen = "M";
  profile[key].forEach((value, i) => {
    if (value === null) { pen = "M"; return; }
    path += `${pen}${scale.at(profile.station_mm[i]).toFixed(1)} ${y(value).toFixed(1)}`;
    pen = "L";
  });
  return path;
}

function between(profile, key, station) {
  const x = profile.station_mm;
  let i = x.findIndex((at) => at >= station);
  if (i <= 0) i = i < 0 ? x.length - 1 : 1;
  const [a, b] = [profile[key][i - 1], profile[key][i]];
  if (a === null || b === null) return null;
  const span = x[i] - x[i - 1];
  return span > 0 ? a + ((b - a) * (station - x[i - 1])) / span : b;
}

/** Table of shares with a bar each; a row chooses its flag. */
export function sharesTable(told, fills, chosen, choose) {
  const keys = Object.keys(told.headings);
  const rows = told.shares.filter((row) => row.order || keys.some((key) => Math.abs(row.share_pct[key] ?? 0) >= 0.05));
  return make("table", {},
    make("thead", {}, make("tr", {}, make("th", { class: "left" }, "Flag"),
      ...keys.map((key) => make("th", {}, `${told.headings[key]} %`)))),
    make("tbody", {}, ...rows.map((row) => {
      const fill = row.order ? fills[(row.order - 1) % fills.length] : "#c9d0d6";
      const swatch = make("span", { class: "swatch" });
      swatch.style.background = fill;
      return make("tr", { class: row.order ? (row.order - 1 === chosen ? "pick chosen" : "pick") : "",
        click: () => { if (row.order) choose(row.order - 1); } },
        make("td", { class: "left", title: row.title }, swatch, row.order ? `${row.order} ${row.flag}` : `(${row.flag})`),
        ...keys.map((key) => {
          const value = row.share_pct[key];
          const cell = make("td", {}, shown(value, 1));
          const wide = Math.min(Math.max(value ?? 0, 0), 100);
          cell.style.background = `linear-gradient(to right, ${fill}38 ${wide}%, transparent ${wide}%)`;
          return cell;
        }));
    })));
}

/** Draws bending stiffness along the shaft, flag upon flag. */
export function drawCourse(svg, told, fills, chosen) {
  const width = svg.clientWidth || 480;
  const [left, right, top, high] = [46, 10, 20, 190];
  svg.setAttribute("viewBox", `0 0 ${width} ${high + top + 24}`);
  svg.setAttribute("height", high + top + 24);
  const { station_mm: stations, ei_n_m2: whole, by_flag_n_m2: parts } = told.along;
  const most = Math.max(...whole) * 1.04;
  const x = (station) => left + (station / stations.at(-1)) * (width - left - right);
  const y = (value) => top + high - (value / most) * high;
  const below = stations.map(() => 0);
  const areas = parts.map((part, k) => {
    const under = below.map((value, i) => `${x(stations[i]).toFixed(1)},${y(value).toFixed(1)}`).reverse();
    part.forEach((value, i) => { below[i] += Math.max(value ?? 0, 0); });
    const over = below.map((value, i) => `${x(stations[i]).toFixed(1)},${y(value).toFixed(1)}`);
    return draw("polygon", { points: [...over, ...under].join(" "), fill: fills[k % fills.length],
      "fill-opacity": chosen === k ? 1 : 0.72, stroke: "white", "stroke-width": 0.6 },
      draw("title", {}, `${k + 1} ${told.shares[k].flag}`));
  });
  const marks = steps(most, 4).flatMap((at) => [
    draw("line", { x1: left, x2: width - right, y1: y(at), y2: y(at), stroke: "#e3e7ea" }),
    draw("text", { x: left - 6, y: y(at) + 4, "text-anchor": "end", class: "quiet" }, String(Number(at.toPrecision(6))))]);
  svg.replaceChildren(...marks, ...areas,
    draw("text", { x: left, y: 12 }, "EI by flag, N·m²"),
    draw("text", { x: left, y: high + top + 17, class: "quiet" }, "tip"),
    draw("text", { x: width - right, y: high + top + 17, "text-anchor": "end", class: "quiet" }, "butt"));
}

/** Table of what small changes of a flag do. */
export function changesTable(told, chosen) {
  const rows = told.changes.filter((change) => change.order === chosen + 1 || change.order === 0);
  const columns = told.asked;
  return make("table", {},
    make("thead", {}, make("tr", {}, make("th", { class: "left" }, "Change"), make("th", { class: "left" }, "To"),
      ...columns.map((column) => make("th", {}, told.columns[column])), make("th", { class: "left" }, "Notes"))),
    make("tbody", {}, ...rows.map((row) => make("tr", {},
      make("td", { class: "left" }, row.said), make("td", { class: "left" }, row.to || "–"),
      ...columns.map((column) => make("td", {}, signed(row.difference[column], told.decimals[column] ?? 2))),
      make("td", { class: "words" }, [row.obstacle, row.leaves.length ? `leaves ${row.leaves.join(", ")}` : ""].filter(Boolean).join("; "))))));
}

/** Where a value lies in its band, a third of the band shown to either side. */
export function bandStrip(row) {
  if (row.value === null || (row.low === null && row.high === null)) return "";
  const [width, high] = [58, 12];
  const span = row.low !== null && row.high !== null
    ? row.high - row.low : Math.max(Math.abs((row.low ?? row.high) * 0.5), 1e-9);
  const from = row.low !== null ? row.low - span / 3 : row.high - span;
  const to = row.high !== null ? row.high + span / 3 : row.low + span;
  const x = (value) => Math.min(Math.max(((value - from) / (to - from)) * width, 1.5), width - 1.5);
  const [a, b] = [row.low === null ? 0 : x(row.low), row.high === null ? width : x(row.high)];
  return draw("svg", { width, height: high, class: "strip", "aria-hidden": "true" },
    draw("rect", { x: 0, y: 4, width, height: 4, fill: "#e6eaed" }),
    draw("rect", { x: a, y: 4, width: Math.max(b - a, 1), height: 4, fill: "#9cc5b8" }),
    draw("rect", { x: x(row.value) - 1.5, y: 0, width: 3, height: high, fill: row.state === "in" ? "#155a8a" : "#b3261e" }));
}
