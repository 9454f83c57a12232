// Two nests over the same time, or two litters by age, one graph over the other: #/compare/nests/b1/b2/7d, #/compare/litters/12/9.
import { el, setText } from "../dom.js";
import { Graph } from "../graph.js";
import { broods } from "../lines.js";
import { twoLitters, twoNests } from "../nestlines.js";
import { texts } from "../texts.js";
import * as units from "../units.js";
import { way } from "../ways.js";
import { why } from "../why.js";

const kinds = ["nests", "litters"];

export function make(box) {
  let [kind, a, b, words] = ["nests", "", "", []];
  let state = null;
  let litters = null; // null until they are known
  let graph = null;

  const kindOf = el("select", { onchange: () => choose({ kind: kindOf.value, a: "", b: "" }) }, ...kinds.map((k) => el("option", { value: k, text: texts.compare[k] })));
  const [firsts, seconds] = [el("select", { onchange: () => choose({ a: firsts.value }) }), el("select", { onchange: () => choose({ b: seconds.value }) })];
  const status = el("p", { role: "status" });
  const held = el("div");
  const field = (text, select) => el("label", {}, el("span", { text }), select);
  box.append(el("h2", { text: texts.compare.heading }), el("form", { class: "choose", onsubmit: (e) => e.preventDefault() }, field(texts.compare.what, kindOf), field(texts.compare.first, firsts), field(texts.compare.second, seconds)), status, held);

  const who = (l) => texts.compare.litter(l.litter, l.doe);
  const options = () => (kind === "nests" ? state.nests.map((n) => ({ value: n.id, text: n.id })) : (litters ?? []).map((l) => ({ value: String(l.litter), text: texts.compare.option(who(l), units.day(Date.parse(l.kindled), Date.parse(state.time))) })));

  function choose(change) {
    ({ kind, a, b } = { kind, a, b, ...change });
    words = [];
    graph?.discard();
    graph = null;
    settle();
  }

  // settle fills what is not chosen, and makes the graph of it.
  async function settle() {
    if (kind === "litters" && !litters) {
      try {
        litters = await broods();
      } catch (problem) {
        setText(status, texts.compare.failed(why(problem)));
        return;
      }
    }
    if (graph || !state) return;
    const all = options();
    kindOf.value = kind;
    for (const select of [firsts, seconds]) select.replaceChildren(...all.map((o) => el("option", o)));
    const has = (v) => all.some((o) => o.value === v);
    if (!has(a)) a = all.find((o) => o.value !== b)?.value ?? "";
    if (!has(b)) b = all.find((o) => o.value !== a)?.value ?? "";
    [firsts.value, seconds.value] = [a, b];
    setText(status, all.length < 2 ? texts.compare.few : a === b ? texts.compare.same : "");
    held.replaceChildren();
    if (status.textContent) return;
    const of = (id) => litters.find((l) => String(l.litter) === id);
    const label = texts.compare.label(...(kind === "nests" ? [a, b] : [of(a), of(b)].map(who)));
    const said = (w) => history.replaceState(null, "", way("compare", kind, a, b, ...w));
    graph = kind === "nests" ? new Graph(twoNests(a, b), { label, said }) : new Graph(twoLitters(of(a), of(b)), { label, said, buttons: ["day", "week", "month", "all"] });
    held.append(graph.node);
    graph.open(words);
    said(words);
    graph.update(state);
  }

  return {
    open([k, x = "", y = "", ...w]) {
      [kind, a, b, words] = [kinds.includes(k) ? k : "nests", x, y, w];
      litters = null;
      graph?.discard();
      graph = null;
    },
    update(newest) {
      state = newest;
      if (graph) graph.update(state);
      else if (!status.textContent) settle();
    },
    redraw: () => graph?.redraw(),
    shut: () => graph?.shut(),
  };
}
