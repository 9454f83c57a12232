// What is done about more than one alarm in one go: all that is not urgent is acknowledged, a whole nest silenced.
import { act, anyBusy, can, hush } from "./act.js";
import { nameOf } from "./alarm.js";
import { el, keyed, setText } from "./dom.js";
import { inOrder } from "./lists.js";
import { texts } from "./texts.js";

// makeSeveral acknowledges one after another what stands or is over and was not seen, each as it was shown: what was raised anew meanwhile is
// refused. What is urgent somebody looks at one by one. It ends with the first that is not saved.
export function makeSeveral() {
  let list = [];
  let running = 0;
  const button = el("button", { type: "button", onclick: () => run() });
  const node = el("section", { class: "several", hidden: true }, button, el("p", { class: "quiet", text: texts.several.note }));

  async function run() {
    if (running) return;
    const todo = list;
    running = todo.length;
    for (const [i, a] of todo.entries()) {
      const body = { action: "acknowledge", nest: a.nest ?? "", event: a.event, since: a.since, time: a.time };
      const how = { saving: texts.several.saving(i + 1, todo.length), saved: texts.several.saved(i + 1, todo.length) };
      if ((await act(`${a.nest}/${a.event}`, "acknowledge", "api/alarms/act", body, texts.doing.what(nameOf(a), texts.actions.acknowledge), how)) === null) break;
    }
    running = 0;
  }

  return {
    node,
    update(state) {
      const unseen = (a) => a.event !== "" && !a.chore && a.severity !== "urgent" && (a.status === "unacknowledged" || a.status === "returned-unacknowledged");
      list = inOrder([...state.alarms.filter((a) => a.alarm), ...state.quiet].filter(unseen));
      node.hidden = !can.changes || (list.length < 2 && !running);
      setText(button, running ? texts.doing.button : texts.several.button(list.length));
      button.setAttribute("aria-disabled", String(running > 0));
    },
  };
}

const shelves = [900, 3600]; // s: to look, to work there; a whole nest is shelved for an hour at most

// makeWhole silences all alarms of a nest, and those that come. What is silenced so stands in the list above, with the way back.
export function makeWhole() {
  const pick = el("select", { id: "whole-nest" });
  const buttons = el("div", { class: "buttons" });
  const ask = el("div", { class: "ask", hidden: true }, el("p", { tabindex: "-1" }), el("div", { class: "buttons" },
    el("button", { type: "button", class: "take", text: texts.whole.yes, onclick: () => (close(), send("out-of-service", texts.actions["out-of-service"])) }),
    el("button", { type: "button", text: texts.whole.no, onclick: () => close() })));
  const node = el("details", { id: "whole", class: "panel", hidden: true }, el("summary", { text: texts.whole.open }), el("p", { text: texts.whole.why }),
    el("label", { for: "whole-nest", text: texts.whole.nest }), pick, buttons, ask);
  for (const s of shelves) buttons.append(el("button", { type: "button", text: texts.actions.shelve(s < 3600 ? texts.minute(s / 60) : texts.hour(s / 3600)), onclick: () => send("shelve", texts.actions.shelve(s < 3600 ? texts.minute(s / 60) : texts.hour(s / 3600)), { for_s: s }) }));
  const out = el("button", { type: "button", text: texts.actions["out-of-service"], onclick: () => {
    setText(ask.firstElementChild, texts.whole.ask(texts.whole.name(pick.value)));
    hush();
    ask.hidden = false;
    ask.firstElementChild.focus({ preventScroll: true });
    ask.scrollIntoView({ block: "center" }); // the doors lie over the lower edge
  } });
  buttons.append(out);
  pick.addEventListener("change", () => (ask.hidden = true));

  function close() {
    ask.hidden = true;
    out.focus();
  }

  function send(action, words, extra) {
    const what = texts.doing.what(texts.whole.name(pick.value), words);
    return act(`${pick.value || null}/`, action, "api/alarms/act", { action, nest: pick.value, event: "", ...extra }, what);
  }

  return {
    node,
    update(state) {
      node.hidden = !can.changes;
      keyed(pick, [...state.nests.map((n) => n.id), ""], (id) => id || "-", (id) => el("option", { value: id }), (option, id) => setText(option, id || texts.whole.site));
      for (const b of buttons.children) b.setAttribute("aria-disabled", String(anyBusy(`${pick.value || null}/`)));
    },
  };
}
