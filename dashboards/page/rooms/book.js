// The litter book: what is to do, what was written down, and how something is entered.
import { el } from "../dom.js";
import { inOrder, updateList } from "../lists.js";
import { texts } from "../texts.js";

export function make(box) {
  const chores = el("section", { id: "chores" });
  box.append(chores);
  return {
    update(state) {
      updateList(chores, texts.headings.chores, inOrder(state.alarms.filter((a) => a.chore)), state, Infinity);
    },
  };
}
