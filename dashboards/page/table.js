// The same as a graph in rows: lowest, mean and highest of each hour, day or week, the newest first.
import { el } from "./dom.js";
import { texts } from "./texts.js";
import * as units from "./units.js";

const day = 86400e3;
// The longest span, in ms, of which a row is an hour or a day; ours, no source.
const longest = [["hour", 2 * day], ["day", 92 * day]];

export const rowsFor = (length) => longest.find(([, most]) => length <= most)?.[0] ?? "week";

// fillTable writes starts (unix s) and lines {name, unit, mean, low, high} by row. begin names a row.
export function fillTable(box, { starts, lines, by, begin }) {
  const number = (v, unit) => (unit === "C" ? units.temperatureNumber(v) : units.quantity(v, unit));
  const cell = (l, i) => {
    if (l.mean[i] === null || l.mean[i] === undefined) return el("td", { text: texts.graph.none });
    return el("td", {}, number(l.mean[i], l.unit), el("small", { text: `${number(l.low[i], l.unit)} – ${number(l.high[i], l.unit)}` }));
  };
  const rows = [];
  for (let i = starts.length - 1; i >= 0; i--) {
    if (lines.some((l) => l.mean[i] !== undefined) || starts.length <= 200) rows.push(el("tr", {}, el("th", { scope: "row", text: begin(starts[i] * 1e3) }), ...lines.map((l) => cell(l, i))));
  }
  const head = (l) => el("th", { scope: "col", text: l.unit === "C" ? `${l.name} ${units.unitSign()}` : l.name });
  box.replaceChildren(el("table", {}, el("caption", { text: texts.graph.tableNote(texts.graph.each[by]) }),
    el("thead", {}, el("tr", {}, el("th", { scope: "col", text: texts.graph.time }), ...lines.map(head))), el("tbody", {}, ...rows)));
}
