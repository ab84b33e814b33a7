/* Drawing that pages share: the flag map, profiles along a shaft, metrics with bands.
   Plain functions on plain objects; needs the plotting library for profiles only. */
"use strict";

const plyDraw = (() => {
  const INK = "#1F2A36", QUIET = "#5B6672", GRID = "#DDE1E5", MARK = "#B3261E";
  /* hues apart for colour-blind readers, dashes and marks for grey printers */
  const LINES = [
    { colour: "#155A8A", dash: "solid", mark: "●", symbol: "circle" },
    { colour: "#D98A00", dash: "dash", mark: "■", symbol: "square" },
    { colour: "#3B3B3B", dash: "dashdot", mark: "▲", symbol: "triangle-up" },
    { colour: "#8E5AA8", dash: "dot", mark: "◆", symbol: "diamond" },
  ];
  /* dark to light, so that it also reads in grey */
  const SCALE = ["#14304F", "#2C6E91", "#5FA89A", "#BFCB72", "#F7D35C"];
  const KINDS = {
    straight: { label: "0°, straight", fill: "#7FB2D9" },
    bias: { label: "bias", fill: "#F6C667" },
    hoop: { label: "90°, hoop", fill: "#E4E1DC" },
  };
  const NONE = "–";

  /* ---- small things */

  function fixed(value, decimals) {
    if (value === null || value === undefined || !isFinite(value)) return NONE;
    const text = value.toFixed(decimals);
    return /^-0\.?0*$/.test(text) ? text.slice(1) : text;
  }

  function edge(value, decimals) {
    /* the edge of a band keeps the digits it was given in, up to two more */
    if (value === null || value === undefined || !isFinite(value)) return NONE;
    let text = value.toFixed(decimals + 2);
    for (let k = 0; k < 2 && text.endsWith("0"); k++) text = text.slice(0, -1);
    return text.endsWith(".") ? text.slice(0, -1) : text;
  }

  function node(name, attributes, ...children) {
    const made = document.createElement(name);
    for (const [key, value] of Object.entries(attributes || {})) {
      if (key === "on") {
        for (const [event, act] of Object.entries(value)) {
          made.addEventListener(event, act);
        }
      } else if (value !== null && value !== undefined && value !== false) {
        made.setAttribute(key, value === true ? "" : value);
      }
    }
    made.append(...children.filter((child) => child !== null && child !== undefined));
    return made;
  }

  function svg(name, attributes, ...children) {
    const made = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(attributes || {})) {
      made.setAttribute(key, value);
    }
    made.append(...children);
    return made;
  }

  function shade(share) {
    /* colour of a share from 0 to 1, as [r, g, b] */
    const at = Math.max(0, Math.min(1, share)) * (SCALE.length - 1);
    const k = Math.min(SCALE.length - 2, Math.floor(at));
    const part = (text, i) => parseInt(text.slice(1 + 2 * i, 3 + 2 * i), 16);
    return [0, 1, 2].map((i) =>
      Math.round(part(SCALE[k], i) + (at - k) *
        (part(SCALE[k + 1], i) - part(SCALE[k], i))));
  }

  function niceStep(span, most) {
    const raw = span / most, base = 10 ** Math.floor(Math.log10(raw));
    return [1, 2, 5, 10].map((k) => k * base).find((step) => step >= raw);
  }

  /* ---- flag map */

  let patterns = 0;

  function fibres(defs, row) {
    /* fill of a flag: its kind's colour with lines the way the fibres run */
    const id = `ply-fibres-${++patterns}`;
    const pattern = svg("pattern", {
      id, width: 7, height: 7, patternUnits: "userSpaceOnUse",
    });
    pattern.append(svg("rect", { width: 7, height: 7, fill: KINDS[row.kind].fill }));
    const lines = {
      straight: "M0 3.5H7",
      hoop: "M3.5 0V7",
      /* fibres of +angle rise towards the butt, those of -angle fall */
      bias: row.isPair ? "M0 0L7 7M0 7L7 0" : row.angle > 0 ? "M0 7L7 0" : "M0 0L7 7",
    };
    pattern.append(svg("path", {
      d: lines[row.kind], stroke: INK, "stroke-opacity": 0.3, "stroke-width": 0.8,
      fill: "none",
    }));
    defs.append(pattern);
    return `url(#${id})`;
  }

  function flagMap(host, map, options = {}) {
    /* Flags along the shaft to scale, first rolled on top.
       map: {rows: [{order, name, label, kind, angle, isPair, outline: [[mm, share]..]}],
             start, end, length, tipParallel, breaks: [[mm, diameter mm]..]}
       options: {width, rowHeight, onRow(index, event), selected} */
    const width = options.width || Math.max(320, host.clientWidth || 640);
    const tall = options.rowHeight || 24, top = map.breaks.length ? 30 : 14;
    const names = Math.min(150, Math.max(70, 0.22 * width));
    const height = top + tall * map.rows.length + 34;
    const from = names + 6, to = width - 10;
    const scale = (to - from) / (map.end - map.start);
    const X = (mm) => from + (mm - map.start) * scale;
    const page = svg("svg", {
      viewBox: `0 0 ${width} ${height}`, width: "100%", class: "flag-map", role: "img",
      "aria-label": `Flag map, ${map.rows.length} flags in rolling order`,
    });
    const defs = svg("defs");
    page.append(defs);
    const foot = top + tall * map.rows.length;
    if (map.tipParallel > 0) {
      page.append(svg("rect", {
        x: X(0), y: top - 6, width: map.tipParallel * scale, height: foot - top + 6,
        fill: "#EAEFF3",
      }, svg("title", {}, `tip parallel, ${fixed(map.tipParallel, 1)} mm`)));
    }
    const step = niceStep(map.length, Math.max(3, Math.floor((to - from) / 62)));
    for (let mm = 0; mm <= map.length + 0.01; mm += step) {
      page.append(svg("line", {
        x1: X(mm), x2: X(mm), y1: top - 6, y2: foot, stroke: GRID,
      }));
      page.append(write(X(mm), foot + 14, fixed(mm, 0), { "text-anchor": "middle" }));
    }
    page.append(write((from + to) / 2, foot + 29, "mm from the tip", {
      "text-anchor": "middle",
    }));
    for (const mm of [0, map.length]) {
      page.append(svg("line", {
        x1: X(mm), x2: X(mm), y1: top - 8, y2: foot, stroke: INK, "stroke-width": 1.3,
      }));
    }
    let last = -Infinity;
    for (const [mm, diameter] of map.breaks) {
      page.append(svg("line", {
        x1: X(mm), x2: X(mm), y1: top - 8, y2: foot, stroke: QUIET,
        "stroke-dasharray": "2 3",
      }));
      if (X(mm) - last < 40) continue;
      last = X(mm);
      const isLast = width - X(mm) < 18;
      page.append(write(isLast ? width : X(mm), top - 13, `⌀${edge(diameter, 0)}`, {
        "text-anchor": isLast ? "end" : "middle", fill: QUIET,
      }));
    }
    map.rows.forEach((row, i) => page.append(mapRow(row, i)));
    host.replaceChildren(page);
    return page;

    function write(x, y, text, more) {
      return svg("text", { x, y, "font-size": 11, fill: INK, ...more }, text);
    }

    function mapRow(row, i) {
      const y = top + tall * i, low = y + tall - 3, high = y + 3;
      const points = row.outline.map(([mm, share]) =>
        `${X(mm).toFixed(1)},${(low - (low - high) * share).toFixed(1)}`).join(" ");
      const group = svg("g", { class: "flag-row", "data-row": i });
      group.append(svg("title", {}, `${row.order} ${row.name}: ${row.label}`));
      const room = Math.floor(names / 6.1) - 3;
      const name = row.name.length > room ? `${row.name.slice(0, room - 1)}…` : row.name;
      group.append(write(names, y + tall / 2 + 4, `${name}  ${row.order}`, {
        "text-anchor": "end",
        "font-weight": options.selected === i ? "700" : "400",
      }));
      group.append(svg("polygon", {
        points, fill: fibres(defs, row), stroke: options.selected === i ? MARK : INK,
        "stroke-width": options.selected === i ? 2 : 1,
      }));
      /* the words stand in the flag where they fit, else in the free space beside it */
      const need = row.label.replace(/ +/g, " ").length * 5.8 + 8;
      const a = X(row.outline[0][0]), b = X(row.outline[3][0]);
      let x = (a + b) / 2, anchor = "middle";
      const fits = (b - a + (X(row.outline[2][0]) - X(row.outline[1][0]))) / 2 >= need;
      if (!fits && to - b >= need) { x = b + 4; anchor = "start"; }
      else if (!fits && a - from >= need) { x = a - 4; anchor = "end"; }
      const words = write(x, y + tall / 2 + 4, row.label, {
        "text-anchor": anchor, class: "halo",
      });
      group.append(words);
      if (options.onRow) {
        group.setAttribute("tabindex", "0");
        group.setAttribute("role", "button");
        group.setAttribute("aria-label", `${row.order} ${row.name}: ${row.label}`);
        group.addEventListener("click", (event) => options.onRow(i, event));
        group.addEventListener("keydown", (event) => {
          if (event.key === "Enter" || event.key === " ") {
            event.preventDefault();
            options.onRow(i, event);
          }
        });
      }
      return group;
    }
  }

  function mapLegend(host, maps) {
    /* what the fills of some flag maps mean */
    const kinds = Object.keys(KINDS).filter((kind) =>
      maps.some((map) => map.rows.some((row) => row.kind === kind)));
    const signs = kinds.map((kind) => {
      const defs = svg("defs");
      const fill = fibres(defs, { kind, isPair: true, angle: 1 });
      return node("span", { class: "sign" },
        svg("svg", { width: 28, height: 14 }, defs,
          svg("rect", { width: 28, height: 14, fill, stroke: INK })),
        ` ${KINDS[kind].label}`);
    });
    if (maps.some((map) => map.tipParallel > 0)) {
      signs.push(node("span", { class: "sign" },
        svg("svg", { width: 28, height: 14 },
          svg("rect", { width: 28, height: 14, fill: "#EAEFF3" })), " tip parallel"));
    }
    if (maps.some((map) => map.breaks.length)) {
      signs.push(node("span", { class: "sign" },
        svg("svg", { width: 28, height: 14 }, svg("path", {
          d: "M14 0V14", stroke: QUIET, "stroke-dasharray": "2 3",
        })), " mandrel taper changes, ⌀ mm"));
    }
    host.replaceChildren(...signs);
  }

  /* ---- profiles along the shaft */

  const FONT = { family: "system-ui, 'Segoe UI', Roboto, sans-serif", size: 12,
    color: INK };
  const PLOT = { displaylogo: false, responsive: true, displayModeBar: false };

  function axis(title, more) {
    return { title: { text: title, standoff: 6 }, gridcolor: GRID, zeroline: false,
      linecolor: QUIET, tickcolor: QUIET, ticks: "outside", ticklen: 4,
      automargin: true, ...more };
  }

  function layout(more) {
    return { font: FONT, paper_bgcolor: "white", plot_bgcolor: "white",
      margin: { l: 56, r: 12, t: 8, b: 40 }, showlegend: false,
      hoverlabel: { font: { size: 12 } }, ...more };
  }

  function profile(host, lines, options) {
    /* One quantity of some shafts along their length.
       lines: [{name, x: [mm], y, style}], style an index into LINES
       options: {title, points: [{station, target, tolerance}], floor, most, height} */
    const traces = lines.map((line) => {
      const style = LINES[line.style % LINES.length];
      return { type: "scatter", mode: "lines", name: line.name, x: line.x, y: line.y,
        line: { color: style.colour, dash: style.dash, width: 2 },
        hovertemplate: `%{y:.4~g} at %{x:.0f} mm<extra>${line.name}</extra>` };
    });
    if (options.points && options.points.length) {
      traces.push({ type: "scatter", mode: "markers", name: "target",
        x: options.points.map((point) => point.station),
        y: options.points.map((point) => point.target),
        error_y: { type: "data", array: options.points.map((point) => point.tolerance),
          color: MARK, thickness: 1.8, width: 5 },
        marker: { color: MARK, symbol: "diamond-open", size: 9, line: { width: 2 } },
        hovertemplate: "target %{y} at %{x} mm<extra></extra>" });
    }
    const shapes = options.floor === undefined ? [] : [{ type: "line", xref: "paper",
      x0: 0, x1: 1, y0: options.floor, y1: options.floor,
      line: { color: MARK, width: 1.5, dash: "dot" } }];
    const y = options.most === undefined ? { rangemode: "tozero" }
      : { range: [Math.min(0, options.least || 0), options.most] };
    return Plotly.react(host, traces, layout({
      height: options.height || 260, shapes,
      xaxis: axis("mm from the tip"), yaxis: axis(options.title, y),
    }), PLOT);
  }

  function profiles(hosts, shafts, options = {}) {
    /* EI, GJ and margins of some shafts.
       hosts: {EI, GJ, margin} elements, any of them may be missing
       shafts: [{name, style, station: [mm], EI, GJ, margin}]
       options: {points, marginFloor, height} */
    const lines = (key) => shafts.map((shaft) => ({ name: shaft.name,
      style: shaft.style, x: shaft.station, y: shaft[key] }));
    const height = options.height;
    const drawn = [];
    if (hosts.EI) {
      drawn.push(profile(hosts.EI, lines("EI"),
        { title: "Bending stiffness EI [N·m²]", points: options.points, height }));
    }
    if (hosts.GJ) {
      drawn.push(profile(hosts.GJ, lines("GJ"),
        { title: "Torsional stiffness GJ [N·m²]", height }));
    }
    if (hosts.margin) {
      /* where little is borne margins are huge; what counts is near the least of them */
      const least = Math.min(...shafts.flatMap((shaft) =>
        shaft.margin.filter((value) => value !== null && isFinite(value))));
      const most = Math.max(1, 4 * Math.abs(isFinite(least) ? least : 0));
      drawn.push(profile(hosts.margin, lines("margin"),
        { title: "Durability margin", floor: options.marginFloor, most,
          least: isFinite(least) ? 1.1 * least : 0, height }));
    }
    return Promise.all(drawn);
  }

  /* ---- metrics with their bands */

  function inBand(column, value) {
    if (value === null || value === undefined || !isFinite(value)) return null;
    return !(column.low !== null && value < column.low) &&
      !(column.high !== null && value > column.high);
  }

  function bandText(column) {
    const low = edge(column.low, column.decimals);
    const high = edge(column.high, column.decimals);
    const said = column.low !== null && column.high !== null ? [`${low} to ${high}`]
      : column.low !== null ? [`at least ${low}`]
        : column.high !== null ? [`at most ${high}`] : [];
    if (column.trade) said.push(`${column.trade} is better`);
    return said.join(", ");
  }

  function bandStrip(column, value, style) {
    /* where a value lies in its band, with a quarter of the band's width on each side */
    const W = 92, H = 12;
    const strip = svg("svg", { width: W, height: H, class: "strip",
      "aria-hidden": "true" });
    const both = column.low !== null && column.high !== null;
    const bound = column.low ?? column.high;
    /* beside a bound of nothing the value itself gives the width */
    const span = both ? column.high - column.low : Math.abs(bound) || Math.abs(value) || 1;
    if (!(span > 0)) return strip;
    const from = column.low !== null ? column.low - span / 4 : column.high - span;
    const to = column.high !== null ? column.high + span / 4 : column.low + span;
    const X = (v) => Math.max(2, Math.min(W - 2, W * (v - from) / (to - from)));
    const low = column.low === null ? 0 : X(column.low);
    const high = column.high === null ? W : X(column.high);
    strip.append(svg("rect", { x: 0, y: 4, width: W, height: 4, fill: "#EDEFF2" }));
    strip.append(svg("rect", { x: low, y: 4, width: high - low, height: 4,
      fill: "#9CC5B8" }));
    for (const x of [low, high]) {
      if (x > 0 && x < W) {
        strip.append(svg("line", { x1: x, x2: x, y1: 1, y2: H - 1, stroke: QUIET }));
      }
    }
    strip.append(svg("line", { x1: X(value), x2: X(value), y1: 0, y2: H,
      stroke: LINES[style % LINES.length].colour, "stroke-width": 3 }));
    return strip;
  }

  function metricTable(host, columns, shafts, options = {}) {
    /* Values of some shafts beside what is asked.
       columns: [{key, label, unit, decimals, low, high, trade, note}], low and high may
                be null
       shafts: [{name, style, values: {key: number}, exact: {key: number} or null}]
       options: {caption, all}: all shows columns that nobody asks for too */
    const shown = columns.filter((column) => options.all || column.low !== null ||
      column.high !== null || column.trade);
    const head = node("tr", {}, node("th", { scope: "col" }, "Metric"),
      node("th", { scope: "col" }, "Asked"),
      ...shafts.map((shaft) => {
        const style = LINES[shaft.style % LINES.length];
        /* the colour is on the mark: as letters it would be too pale to read */
        return node("th", { scope: "col" },
          node("span", { style: `color:${style.colour}` }, style.mark), ` ${shaft.name}`);
      }));
    const rows = shown.map((column) => {
      const unit = column.unit ? ` [${column.unit}]` : "";
      return node("tr", {},
        node("th", { scope: "row", title: column.note || "" }, column.label + unit),
        node("td", { class: "asked" }, bandText(column)),
        ...shafts.map((shaft) => cell(column, shaft)));
    });
    const table = node("table", { class: "metrics" },
      options.caption ? node("caption", {}, options.caption) : null,
      node("thead", {}, head), node("tbody", {}, ...rows));
    host.replaceChildren(table);
    return table;

    function cell(column, shaft) {
      const value = shaft.values[column.key];
      const text = fixed(value, column.decimals);
      const fits = inBand(column, value);
      const asked = column.low !== null || column.high !== null;
      const made = node("td", { class: fits === false ? "value out" : "value" },
        node("span", { class: "figure" }, text));
      if (fits !== null && asked) {
        made.append(" ", bandStrip(column, value, shaft.style));
      }
      if (fits === false) made.append(node("span", { class: "miss" }, " outside"));
      const exact = shaft.exact ? shaft.exact[column.key] : undefined;
      const other = exact === undefined || exact === null ? text
        : fixed(exact, column.decimals);
      if (other !== text && other !== NONE) {
        made.append(node("span", { class: "exact" }, `exact ${other}`));
        if (fits && inBand(column, exact) === false) {
          made.append(node("span", { class: "miss" }, " outside"));
        }
      }
      return made;
    }
  }

  return { INK, QUIET, GRID, MARK, LINES, SCALE, KINDS, NONE, PLOT, fixed, edge, node,
    svg, shade, niceStep, flagMap, mapLegend, axis, layout, profile, profiles, inBand,
    bandText, bandStrip, metricTable };
})();
