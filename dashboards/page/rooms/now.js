// The room that is seen first: what concerns all of the site, every nest in the order of urgency, the weather, and what nestmon cannot see.
import { makeCard, updateCard } from "../card.js";
import { el, keyed, setText } from "../dom.js";
import { bySeverity, inOrder, updateBattery, updateBlind, updateList, updateOutside } from "../lists.js";
import { urgencyOf } from "../nest.js";
import { texts } from "../texts.js";

export function make(box) {
  const parts = {
    site: el("section", { class: "site", hidden: true }), name: el("h2"), nests: el("div", { id: "nests" }),
    outside: el("section", { id: "outside" }), battery: el("section", { id: "battery", hidden: true }), blind: el("section", { id: "blind" }),
  };
  box.append(parts.site, el("section", { class: "nests" }, parts.name, parts.nests), el("div", { class: "tail" }, parts.outside, parts.battery, parts.blind));
  setText(parts.name, texts.headings.nests);
  return {
    update(state, old) {
      const all = inOrder(state.alarms.filter((a) => a.alarm && a.nest === null));
      updateList(parts.site, texts.headings.site, all, state, Infinity);
      updateBlind(parts.blind, state, old);
      updateOutside(parts.outside, state);
      updateBattery(parts.battery, state);
      parts.nests.parentElement.hidden = state.nests.length === 0;
      const of = Map.groupBy(inOrder(state.alarms.filter((a) => a.alarm && a.nest !== null)), (a) => a.nest);
      const nests = [...state.nests].sort((a, b) => bySeverity(urgencyOf(a), urgencyOf(b)) || past(b) - past(a) || seen(of.get(a.id)) - seen(of.get(b.id))); // stable: equals stay as configured
      keyed(parts.nests, nests, (n) => n.id, makeCard, (node, n) => updateCard(node, n, of.get(n.id) ?? [], state, old));
    },
  };
}

const past = (nest) => Number(nest.past_limit !== null);

// seen is 0 where the worst alarm of a nest still waits for somebody, else 1.
const seen = (alarms) => (alarms?.[0]?.status === "unacknowledged" ? 0 : 1);
