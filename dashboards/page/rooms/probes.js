// Probes: what nestmon cannot see, its lines, every probe with its health, and the work with them: which is it, and what does it read in ice.
import { can } from "../act.js";
import { el } from "../dom.js";
import { Ice } from "../ice.js";
import { updateBlind } from "../lists.js";
import { Buses, Probes } from "../probelist.js";
import { texts } from "../texts.js";
import { Warm } from "../warm.js";
import { Work } from "../work.js";

export function make(box) {
  const blind = el("section", { id: "probes-blind" });
  const locked = el("p", { class: "locked", text: texts.locked });
  const [buses, probes] = [new Buses(), new Probes()];
  const work = new Work((now) => {
    warm.show(now);
    ice.show(now);
    if (now?.over) look(); // an offset may have been stored
  });
  const warm = new Warm(work);
  const ice = new Ice(work);
  box.append(blind, el("div", { class: "work" }, locked, warm.node, ice.node), probes.node, buses.node);
  let started = null;
  let state = null;

  async function look() {
    const known = await work.look();
    if (!known) return;
    started = state.started;
    for (const part of [probes, warm, ice]) part.know(known.probes, state);
  }

  return {
    open(_, now) {
      state = now;
      if (state) look();
    },
    update(now, old) {
      const first = !state;
      state = now;
      updateBlind(blind, state, old);
      locked.hidden = can.changes || !can.asked;
      buses.update(state, old);
      probes.update(state, old);
      warm.update(state);
      ice.update(state);
      if (first || (started && started !== state.started)) look();
    },
    redraw() {
      warm.redraw();
      ice.redraw();
    },
    shut: () => work.leave(),
  };
}
