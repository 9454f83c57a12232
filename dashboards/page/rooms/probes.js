// Probes: what is known of each, and what nestmon cannot see.
import { el } from "../dom.js";
import { updateBlind } from "../lists.js";

export function make(box) {
  const blind = el("section", { id: "probes-blind" });
  box.append(blind);
  return { update: (state) => updateBlind(blind, state) };
}
