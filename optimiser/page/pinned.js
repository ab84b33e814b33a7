/* Up to four designs side by side. */
"use strict";

const plyPinned = (() => {
  const { node, svg, flagMap, mapLegend, profiles, metricTable, LINES, fixed } = plyDraw;
  const find = (id) => document.getElementById(id);

  function command(label, text, say) {
    const field = node("input", { type: "text", readonly: true, value: text,
      "aria-label": label, on: { focus: (event) => event.target.select() } });
    const copy = node("button", { type: "button", class: "copy",
      "aria-label": `Copy: ${label}`, on: { click: () => copyText(field, text, say) } },
    "Copy");
    return node("div", { class: "command" }, node("span", {}, label), field, copy,
      node("code", { class: "print-only" }, text));
  }

  async function copyText(field, text, say) {
    try {
      await navigator.clipboard.writeText(text);
    } catch {
      /* a page from disk may not be let near the clipboard in the modern way */
      field.focus();
      field.select();
      if (!document.execCommand("copy")) {
        say("Not copied: press Ctrl and C while the command is marked.");
        return;
      }
    }
    say(`Copied: ${text}`);
  }

  function heads(state, actions) {
    find("pin-heads").replaceChildren(...state.pins.map(({ i, style }) => {
      const id = plyData.ids[i], line = LINES[style];
      const titles = plyData.picks.filter((pick) => pick.id === id)
        .map((pick) => pick.title);
      const sign = svg("svg", { width: 46, height: 10, "aria-hidden": "true" },
        svg("line", { x1: 0, x2: 46, y1: 5, y2: 5, stroke: line.colour,
          "stroke-width": 2.6, "stroke-dasharray": { solid: "none", dash: "9 5",
            dashdot: "9 4 2 4", dot: "2 4" }[line.dash] }));
      const within = plyBands.kept[i] ? null
        : node("span", { class: "miss" }, "outside a band you set");
      return node("div", { class: "pin", style: `border-color:${line.colour}` },
        node("div", { class: "pin-head" },
          node("strong", {}, node("span", { style: `color:${line.colour}` }, line.mark), ` ${id}`), sign,
          node("button", { type: "button", "aria-label": `Let ${id} go`,
            on: { click: () => actions.toggle(i) } }, "Let go")),
        node("div", {}, titles.join(", "), titles.length && within ? ", " : "", within),
        ...(plyData.warnings[id] || []).map((text) =>
          node("p", { class: "note" }, text)),
        command("Layup sheet", plyData.sheetCommand.replace("@id@", id), actions.say),
        command("Exact values", plyData.exactCommand.replace("@id@", id), actions.say),
        ...plyExplained.card(i, actions, command));
    }));
    const none = state.pins.length === 0;
    find("pin-body").hidden = none;
    if (none) {
      find("pin-heads").append(node("p", { class: "quiet" },
        "No design is pinned. Click one in the trade-off, or choose it in the list."));
    }
  }

  function body(state) {
    const shafts = state.pins.map(({ i, style }) => ({ name: plyData.ids[i], style,
      ...plyData.profile(i), values: plyData.valuesOf(i),
      exact: plyData.exactOf(i) }));
    if (!shafts.length) return Promise.resolve();
    const drawn = profiles({ EI: find("plot-ei"), GJ: find("plot-gj"),
      margin: find("plot-margin") }, shafts, { points: plyData.points,
      marginFloor: plyData.marginFloor, height: 250 });
    const least = shafts.map((shaft) => {
      let at = -1;
      shaft.margin.forEach((value, k) => {
        if (value !== null && (at < 0 || value < shaft.margin[at])) at = k;
      });
      return at < 0 ? `${shaft.name}: none asked for`
        : `${shaft.name} ${fixed(shaft.margin[at], 3)} near ` +
          `${fixed(shaft.station[at], 0)} mm`;
    });
    find("profile-words").textContent =
      `Least margin: ${least.join("; ")}. Dotted red: ` +
      (plyData.marginFloor ? "the least that is asked for." : "no margin left.") +
      (plyData.points.length ? " Diamonds: EI asked for, with its tolerance." : "");
    const maps = state.pins.map(({ i }) => plyData.flagMap(i));
    const wide = state.pins.length > 1 ? 500 : 900;
    find("maps").replaceChildren(...state.pins.map(({ i, style }, k) => {
      const host = node("div", {}), line = LINES[style];
      flagMap(host, maps[k], { width: wide });
      return node("figure", {}, node("figcaption", {},
        `${line.mark} ${plyData.ids[i]}, on mandrel ${plyData.mandrelOf[i]} set ` +
        `${fixed(plyData.setOf[i], 1)} mm`), host);
    }));
    find("maps").classList.toggle("two", state.pins.length > 1);
    mapLegend(find("map-legend"), maps);
    metricTable(find("metrics"), plyData.columns, shafts,
      { all: find("all-metrics").checked });
    const without = shafts.filter((shaft) => !shaft.exact).map((shaft) => shaft.name);
    find("exact-words").textContent =
      "Values are those of the fast section, as the search used them; where the exact " +
      "one gives another value it stands below." + (without.length
        ? ` The run has kept no exact values of ${without.join(", ")}; the command ` +
          "above computes them."
        : "");
    plyExplained.draw(state);
    return drawn;
  }

  return { heads, body };
})();
