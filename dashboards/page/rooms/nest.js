// One nest: its card, what else was measured, what is watched of it and what it has shown of itself, and its graph.
import { makeCard, updateCard } from "../card.js";
import { el, keyed, setClass, setText } from "../dom.js";
import { Day } from "../graph.js";
import { inOrder } from "../lists.js";
import { judgedOf, restOf } from "../nest.js";
import { texts } from "../texts.js";

export function make(box) {
  const missing = el("p", { role: "status" });
  const held = el("div", { class: "held" });
  box.append(missing, held);
  let id = "";
  let parts = null;

  function furnish(nest) {
    parts = { id: nest.id, card: makeCard(nest, { alone: true }), rest: el("ul", { class: "rest" }), judged: el("ul", { class: "judged" }), learned: el("ul", { class: "rest" }), day: new Day() };
    const part = (heading, node) => el("section", {}, el("h3", { text: heading }), node);
    held.replaceChildren(parts.card, parts.day.node, part(texts.nest.measured, parts.rest), part(texts.nest.judged, parts.judged), part(texts.nest.learned, parts.learned));
    return parts.day;
  }

  return {
    open(words) {
      id = words[0] ?? "";
    },
    update(state, old) {
      const nest = state.nests.find((n) => n.id === id);
      setText(missing, nest ? "" : texts.nest.none(id));
      held.hidden = !nest;
      if (!nest) return;
      if (parts?.id !== id) furnish(nest).show(nest, state);
      else parts.day.refresh(nest, state);
      updateCard(parts.card, nest, inOrder(state.alarms.filter((a) => a.alarm && a.nest === id)), state, old);
      keyed(parts.rest, restOf(nest), (r) => r.key, () => el("li"), (li, r) => {
        setClass(li, r.stale ? "stale" : "");
        setText(li, r.text);
      });
      keyed(parts.judged, judgedOf(nest), (j) => j.key, () => el("li"), (li, j) => setText(li, j.text));
      keyed(parts.learned, nest.learned?.text ?? [], (t) => t, () => el("li"), setText);
      for (const list of [parts.rest, parts.learned]) list.parentElement.hidden = list.children.length === 0;
    },
    redraw: () => parts?.day.again(),
  };
}
