// Alarms: what stands, what is over or silenced, and what happened before.
import { el } from "../dom.js";
import { inOrder, updateList } from "../lists.js";
import { updatePast } from "../past.js";
import { texts } from "../texts.js";

export function make(box) {
  const [alarms, quiet, past] = ["alarms", "quiet", "past"].map((id) => el("section", { id }));
  box.append(alarms, quiet, past);
  return {
    update(state) {
      updateList(alarms, texts.headings.alarms, inOrder(state.alarms.filter((a) => a.alarm)), state, Infinity);
      updateList(quiet, texts.headings.quiet, state.quiet, state, Infinity, { quiet: true });
      updatePast(past, state);
    },
  };
}
