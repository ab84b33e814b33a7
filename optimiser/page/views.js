/* Views of all designs: two metrics traded, all metrics side by side, the search. */
"use strict";

const plyViews = (() => {
  const { node, fixed, shade, axis, layout, LINES, SCALE, PLOT, INK, QUIET } =
    plyDraw;
  const { n, byKey, columns, ids } = plyData;

  /* ---- the trade-off */

  const hasGl = (() => {
    try {
      return Boolean(document.createElement("canvas").getContext("webgl"));
    } catch {
      return false;
    }
  })();
  const POINTS = hasGl ? "scattergl" : "scatter";
  const OUT = 0, IN = 1, RINGS = 2, PINS = 3;

  /* many designs need small marks */
  const SMALL = n > 1500 ? 4 : n > 300 ? 5 : 6;

  function sizes(column) {
    if (!column) return null;
    const span = column.most - column.least || 1;
    return Array.from(column.values, (value) =>
      isFinite(value) ? SMALL * (1 + 1.6 * (value - column.least) / span) : SMALL);
  }

  function padded(column) {
    const pad = 0.05 * (column.most - column.least || Math.abs(column.most) || 1);
    return [column.least - pad, column.most + pad];
  }

  function scatter(host, state, onDesign) {
    const [x, y, colour, size] = state.axes.map((key) => byKey.get(key) || null);
    const wide = sizes(size);
    const marker = { size: wide || 1.5 * SMALL,
      line: { width: n > 1500 ? 0.3 : 0.6, color: "white" } };
    if (colour) {
      Object.assign(marker, { cmin: colour.least, cmax: colour.most,
        colorscale: SCALE.map((tint, k) => [k / (SCALE.length - 1), tint]),
        colorbar: { title: { text: colour.heading, side: "right" }, thickness: 12,
          outlinewidth: 0, len: 1, ticks: "outside", ticklen: 3 } });
    } else marker.color = SCALE[1];
    const tip = `%{customdata}<br>${x.label} %{x}<br>${y.label} %{y}` +
      (colour ? `<br>${colour.label} %{marker.color}` : "") + "<extra></extra>";
    const traces = [
      { type: POINTS, mode: "markers", x: [], y: [], hoverinfo: "skip",
        marker: { size: 4, color: "#D5DAE0" } },
      { type: POINTS, mode: "markers", x: [], y: [], customdata: [], hovertemplate: tip,
        marker },
      { type: POINTS, mode: "markers+text", x: [], y: [], text: [], hoverinfo: "skip",
        textfont: { size: 12, color: INK },
        marker: { symbol: "circle-open", size: 17, color: "#B3261E",
          line: { width: 2 } } },
      { type: POINTS, mode: "markers", x: [], y: [], hoverinfo: "skip",
        marker: { size: 12, line: { width: 2, color: "white" } } },
    ];
    Object.assign(traces[OUT], split(state).out);
    const within = split(state).within;
    Object.assign(traces[IN], { x: within.x, y: within.y,
      customdata: within.customdata });
    if (within.color) marker.color = within.color;
    if (within.size) marker.size = within.size;
    Object.assign(traces[RINGS], rings(state));
    const marked = pins(state);
    Object.assign(traces[PINS], { x: marked.x, y: marked.y });
    Object.assign(traces[PINS].marker, { color: marked.color, symbol: marked.symbol });
    const drawn = Plotly.react(host, traces, layout({ height: 400, hovermode: "closest",
      dragmode: "pan", margin: { l: 60, r: 8, t: 8, b: 44 },
      xaxis: axis(x.heading, { range: padded(x) }),
      yaxis: axis(y.heading, { range: padded(y) }),
    }), { ...PLOT, displayModeBar: false, scrollZoom: false });
    if (!host.isWired) {
      host.isWired = true;
      host.on("plotly_click", (event) => {
        const point = event.points.find((p) => p.curveNumber === IN);
        if (point) onDesign(plyData.indexOf.get(point.customdata));
      });
    }
    return drawn;
  }

  function split(state) {
    const [x, y, colour, size] = state.axes.map((key) => byKey.get(key) || null);
    const wide = sizes(size), out = { x: [], y: [] };
    const within = { x: [], y: [], customdata: [], color: colour ? [] : null,
      size: wide ? [] : null };
    for (let i = 0; i < n; i++) {
      const to = plyBands.kept[i] ? within : out;
      to.x.push(x.values[i]);
      to.y.push(y.values[i]);
      if (to === within) {
        within.customdata.push(ids[i]);
        if (colour) within.color.push(colour.values[i]);
        if (wide) within.size.push(wide[i]);
      }
    }
    return { out, within };
  }

  function rings(state) {
    const [x, y] = state.axes.map((key) => byKey.get(key) || null);
    const made = { x: [], y: [], text: [] };
    const seen = new Map();
    plyData.picks.forEach((pick, k) => {
      const i = plyData.indexOf.get(pick.id);
      if (i === undefined) return;
      if (seen.has(i)) { made.text[seen.get(i)] += `, ${k + 1}`; return; }
      seen.set(i, made.text.length);
      made.x.push(x.values[i]);
      made.y.push(y.values[i]);
      made.text.push(String(k + 1));
    });
    /* a name that would leave the frame stands on the other side of its mark */
    const far = (column, value) => value > column.least +
      0.9 * (column.most - column.least);
    made.textposition = made.x.map((value, k) =>
      `${far(y, made.y[k]) ? "bottom" : "top"} ${far(x, value) ? "left" : "right"}`);
    return made;
  }

  function pins(state) {
    const [x, y] = state.axes.map((key) => byKey.get(key) || null);
    return { x: state.pins.map((p) => x.values[p.i]),
      y: state.pins.map((p) => y.values[p.i]),
      color: state.pins.map((p) => LINES[p.style].colour),
      symbol: state.pins.map((p) => LINES[p.style].symbol) };
  }

  function scatterFilter(host, state) {
    const { out, within } = split(state);
    const update = { x: [out.x, within.x], y: [out.y, within.y],
      customdata: [null, within.customdata] };
    if (within.color) update["marker.color"] = ["#D5DAE0", within.color];
    if (within.size) update["marker.size"] = [4, within.size];
    return Plotly.restyle(host, update, [OUT, IN]);
  }

  function scatterPins(host, state) {
    const { x, y, color, symbol } = pins(state);
    return Plotly.restyle(host, { x: [x], y: [y], "marker.color": [color],
      "marker.symbol": [symbol] }, [PINS]);
  }

  function sizeWords(state) {
    const size = byKey.get(state.axes[3]);
    if (!size) return "";
    return `Size: ${size.label.toLowerCase()}, smallest ${fixed(size.least, size.decimals)}, ` +
      `largest ${fixed(size.most, size.decimals)} ${size.unit}`.trimEnd();
  }

  /* ---- all metrics side by side */

  const TALL = 250, TOP = 8, FOOT = 8, QUICK = 1200;

  function parallel(host, state) {
    /* axes of all metrics that differ; a line a design within the bands */
    const shown = columns.filter((column) => column.most > column.least);
    const head = node("div", { class: "axis-heads" });
    const canvas = node("canvas", { class: "parallel", role: "img",
      "aria-label": "Every metric of the designs within the bands" });
    const tops = node("div", { class: "axis-ends" }), feet = node("div",
      { class: "axis-ends" });
    host.replaceChildren(head, tops, canvas, feet);
    for (const column of shown) {
      const sense = column.trade || column.better;
      head.append(node("div", { title: column.note }, column.heading,
        sense ? node("span", { class: "quiet" },
          sense === "less" ? " ↓ better" : " ↑ better") : null));
      tops.append(node("div", {}, fixed(column.most, column.decimals)));
      feet.append(node("div", {}, fixed(column.least, column.decimals)));
    }
    let wide = 0, later = 0;
    const X = (k) => (k + 0.5) * wide / shown.length;
    const Y = (column, value) => TOP + (TALL - TOP - FOOT) *
      (1 - (value - column.least) / (column.most - column.least));

    function draw(isQuick) {
      clearTimeout(later);
      const ratio = window.devicePixelRatio || 1;
      wide = canvas.clientWidth;
      canvas.width = wide * ratio;
      canvas.height = TALL * ratio;
      const pen = canvas.getContext("2d");
      pen.setTransform(ratio, 0, 0, ratio, 0, 0);
      pen.clearRect(0, 0, wide, TALL);
      const rows = [];
      for (let i = 0; i < n; i++) if (plyBands.kept[i]) rows.push(i);
      const stride = isQuick ? Math.max(1, Math.ceil(rows.length / QUICK)) : 1;
      const colour = byKey.get(state.axes[2]);
      const alpha = Math.max(0.1, Math.min(0.8, 40 / Math.sqrt(rows.length * 12 + 1) / 2));
      const tints = Array.from({ length: 25 }, (_, k) =>
        `rgba(${shade(k / 24).join(",")},${alpha})`);
      pen.lineWidth = 1;
      for (let r = 0; r < rows.length; r += stride) {
        const i = rows[r];
        const share = colour ? (colour.values[i] - colour.least) /
          (colour.most - colour.least || 1) : 0.25;
        pen.strokeStyle = tints[Math.round(24 * Math.max(0, Math.min(1, share || 0)))];
        line(pen, i);
      }
      axes(pen);
      for (const { i, style } of state.pins) {
        const { colour: tint, dash } = LINES[style];
        pen.lineWidth = 5;
        pen.strokeStyle = "rgba(255,255,255,0.85)";
        pen.setLineDash([]);
        line(pen, i);
        pen.lineWidth = 2.6;
        pen.strokeStyle = tint;
        pen.setLineDash({ solid: [], dash: [9, 5], dashdot: [9, 4, 2, 4],
          dot: [2, 4] }[dash]);
        line(pen, i);
        pen.setLineDash([]);
      }
      /* while bands move only some lines are drawn, the rest once they rest */
      if (stride > 1) later = setTimeout(() => draw(false), 150);
    }

    function line(pen, i) {
      pen.beginPath();
      shown.forEach((column, k) => {
        const value = column.values[i];
        if (!isFinite(value)) return;
        if (k) pen.lineTo(X(k), Y(column, value));
        else pen.moveTo(X(k), Y(column, value));
      });
      pen.stroke();
    }

    function axes(pen) {
      shown.forEach((column, k) => {
        pen.lineWidth = 1;
        pen.strokeStyle = QUIET;
        pen.beginPath();
        pen.moveTo(X(k), TOP);
        pen.lineTo(X(k), TALL - FOOT);
        pen.stroke();
        const clip = (value) => Math.max(TOP - 4, Math.min(TALL - FOOT + 4,
          Y(column, value)));
        if (column.low !== null || column.high !== null) {
          const a = clip(column.high ?? column.most), b = clip(column.low ?? column.least);
          pen.strokeStyle = "#2E7D66";
          pen.lineWidth = 1.5;
          pen.strokeRect(X(k) - 4, a, 8, Math.max(2, b - a));
        }
        const band = plyBands.set.get(column.key);
        if (band) {
          const a = clip(band.high ?? column.most), b = clip(band.low ?? column.least);
          pen.fillStyle = "rgba(31,42,54,0.16)";
          pen.fillRect(X(k) - 9, a, 18, Math.max(2, b - a));
          pen.strokeStyle = INK;
          pen.lineWidth = 1.5;
          pen.strokeRect(X(k) - 9, a, 18, Math.max(2, b - a));
        }
      });
    }

    function axisAt(event) {
      const box = canvas.getBoundingClientRect();
      const k = Math.floor((event.clientX - box.left) / (wide / shown.length));
      const column = shown[Math.max(0, Math.min(shown.length - 1, k))];
      const at = (moved) => {
        const share = (moved.clientY - box.top - TOP) / (TALL - TOP - FOOT);
        const value = column.most - Math.max(0, Math.min(1, share)) *
          (column.most - column.least);
        return Number(value.toFixed(column.decimals + 1));
      };
      return { column, at };
    }

    canvas.addEventListener("pointerdown", (event) => {
      const { column, at } = axisAt(event), start = at(event), y = event.clientY;
      const move = (moved) => {
        if (Math.abs(moved.clientY - y) < 4) return;
        const now = at(moved);
        plyBands.put(column.key, Math.min(start, now), Math.max(start, now));
      };
      const stop = () => {
        canvas.removeEventListener("pointermove", move);
        canvas.removeEventListener("pointerup", stop);
      };
      canvas.setPointerCapture(event.pointerId);
      canvas.addEventListener("pointermove", move);
      canvas.addEventListener("pointerup", stop);
    });
    canvas.addEventListener("dblclick", (event) =>
      plyBands.put(axisAt(event).column.key, null, null));
    new ResizeObserver(() => { if (canvas.clientWidth !== wide) draw(false); })
      .observe(canvas);
    return draw;
  }

  /* ---- the search */

  function history(host) {
    const { evaluations, hypervolume, feasible } = plyData.history;
    return Plotly.newPlot(host, [
      { type: "scatter", mode: "lines", x: evaluations, y: hypervolume,
        name: "hypervolume (left)", line: { color: LINES[0].colour, width: 2.2 } },
      { type: "scatter", mode: "lines", x: evaluations, y: feasible, yaxis: "y2",
        name: "feasible designs (right)",
        line: { color: LINES[1].colour, width: 2, dash: "dash" } },
    ], layout({ height: 260, showlegend: true, margin: { l: 60, r: 60, t: 30, b: 40 },
      legend: { orientation: "h", x: 0.5, xanchor: "center", y: 1.02,
        yanchor: "bottom" },
      xaxis: axis("Evaluations", { rangemode: "tozero" }),
      yaxis: axis("Hypervolume", { rangemode: "tozero" }),
      yaxis2: axis("Feasible designs", { rangemode: "tozero", overlaying: "y",
        side: "right", showgrid: false, tickmode: "auto" }),
    }), PLOT);
  }

  return { scatter, scatterFilter, scatterPins, sizeWords, parallel, history, hasGl };
})();
