// Settings: this device, alarms on it, the limits, and whatever else is in force.
import { el } from "../dom.js";
import { Push } from "../push.js";
import { makeDevice } from "../settings/device.js";
import { factsOf } from "../settings/facts.js";
import { makeLimits } from "../settings/limits.js";
import { texts } from "../texts.js";
import * as units from "../units.js";

export function make(box) {
  const device = makeDevice();
  const phone = el("section", { id: "push", hidden: true });
  const limits = makeLimits();
  const facts = el("section", { id: "facts", hidden: true }, el("h2", { text: texts.settings.facts.heading }), el("p", { class: "quiet", text: texts.settings.facts.why }), el("div"));
  box.append(el("div", { class: "own" }, device.node, phone), el("div", { class: "common" }, limits.node, facts));
  const push = new Push(phone);
  let shown = null;

  async function read() {
    draw(await limits.read());
  }

  function draw(settings) {
    facts.hidden = settings === null;
    if (settings === null || JSON.stringify([settings, units.display()]) === shown) return;
    shown = JSON.stringify([settings, units.display()]);
    facts.lastElementChild.replaceChildren(...factsOf(settings));
  }

  let started = ""; // of the program that was asked; a new one may have another configuration
  return {
    open() {
      push.look();
      read();
      limits.open();
    },
    shut: () => limits.shut(),
    update(state) {
      device.update();
      if (started && started !== state.started) read();
      started = state.started;
      limits.draw();
    },
    redraw() {
      limits.draw();
      draw(limits.settings());
    },
  };
}
