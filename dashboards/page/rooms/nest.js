// One nest: its card, its graph with all that happened, what else was measured, what is watched of it and what it has shown of itself.
import { makeCard, updateCard } from "../card.js";
import { el, keyed, setClass, setText } from "../dom.js";
import { Graph } from "../graph.js";
import { inOrder } from "../lists.js";
import { judgedOf, restOf, urgencyOf } from "../nest.js";
import { oneNest } from "../nestlines.js";
import { texts } from "../texts.js";
import { way } from "../ways.js";

export function make(box) {
  const others = el("nav", { class: "others", "aria-label": texts.nest.others });
  const missing = el("p", { role: "status" });
  const held = el("div", { class: "held" });
  box.append(others, missing, held);
  let [id, words] = ["", []];
  let parts = null;

  function furnish(nest) {
    const said = (w) => history.replaceState(null, "", way("nest", nest.id, ...w));
    parts = { id: nest.id, card: makeCard(nest, { alone: true }), rest: el("ul", { class: "rest" }), judged: el("ul", { class: "judged" }), learned: el("ul", { class: "rest" }), graph: new Graph(oneNest(nest.id), { label: texts.graph.of(nest.id), said }) };
    parts.compare = el("a", { class: "go", href: way("compare", "nests", nest.id), text: texts.nest.compare });
    const part = (heading, node) => el("section", {}, el("h3", { text: heading }), node);
    held.replaceChildren(parts.card, parts.graph.node, el("div", { class: "known" }, part(texts.nest.measured, parts.rest), part(texts.nest.judged, parts.judged), part(texts.nest.learned, parts.learned), parts.compare));
    parts.graph.open(words);
  }

  return {
    open(w) {
      [id = "", ...words] = w;
      if (parts?.id === id) parts.graph.open(words);
    },
    update(state, old) {
      const nest = state.nests.find((n) => n.id === id);
      setText(missing, nest ? "" : texts.nest.none(id));
      held.hidden = !nest;
      keyed(others, state.nests.length > 1 ? state.nests : [], (n) => n.id, (n) => el("a", { text: n.id }), (a, n) => {
        a.href = way("nest", n.id);
        setClass(a, `is-${urgencyOf(n)}`);
        if (n.id === id) a.setAttribute("aria-current", "page");
        else a.removeAttribute("aria-current");
      });
      if (!nest) return;
      if (parts?.id !== id) {
        parts?.graph.discard();
        furnish(nest);
      }
      updateCard(parts.card, nest, inOrder(state.alarms.filter((a) => a.alarm && a.nest === id)), state, old);
      keyed(parts.rest, restOf(nest), (r) => r.key, () => el("li"), (li, r) => {
        setClass(li, r.stale ? "stale" : "");
        setText(li, r.text);
      });
      keyed(parts.judged, old ? [{ key: "old", text: texts.unknownSince(units.clock(Date.parse(state.time))) }] : judgedOf(nest), (j) => j.key, () => el("li"), (li, j) => setText(li, j.text));
      keyed(parts.learned, nest.learned?.text ?? [], (t) => t, () => el("li"), setText);
      for (const list of [parts.rest, parts.learned]) list.parentElement.hidden = list.children.length === 0;
      parts.compare.hidden = state.nests.length < 2;
      parts.graph.update(state);
    },
    redraw: () => parts?.graph.redraw(),
    shut: () => parts?.graph.shut(),
  };
}
