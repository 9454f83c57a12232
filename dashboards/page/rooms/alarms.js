// Alarms: what stands, what is over or silenced, who is called, and what happened before.
import { el } from "../dom.js";
import { inOrder, updateList } from "../lists.js";
import { Past } from "../past.js";
import { Calls } from "../calls.js";
import { texts } from "../texts.js";
import { makeSeveral, makeWhole } from "../several.js";

export function make(box) {
  const [alarms, quiet, past] = ["alarms", "quiet", "past"].map((id) => el("section", { id }));
  const several = makeSeveral();
  const whole = makeWhole();
  const calls = new Calls();
  const journal = new Past();
  past.append(el("h2", { text: texts.headings.past }), calls.node, journal.node, calls.quality);
  box.append(alarms, quiet, several.node, whole.node, past);
  return {
    open(_, state) {
      calls.look();
      if (state) journal.update(state);
      for (const part of [journal, calls]) part.again(); // what was left open is of another time
    },
    update(state) {
      updateList(alarms, texts.headings.alarms, inOrder(state.alarms.filter((a) => a.alarm)), state, Infinity);
      updateList(quiet, texts.headings.quiet, state.quiet, state, Infinity, { quiet: true });
      several.update(state);
      whole.update(state);
      calls.update(state);
      journal.update(state);
    },
    redraw: () => journal.redraw(),
  };
}
